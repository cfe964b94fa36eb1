"""Crystals told apart from coloured bodies by what is grey; densities add (Beer-Lambert law, from memory)."""

import cv2
import numpy as np
import pytest
from shapely import Point, Polygon, affinity, box

from measure.field.basics.component import Component
from measure.field.basics.found import Found
from measure.field.basics.polygons import outline_of
from measure.field.crystals.grey_layer import IN_GREY, grey_density, grey_layer
from measure.field.crystals.grey_rims import crossing_crystals
from measure.field.ground.absorbance import density, difference
from measure.field.ground.light import prepare
from measure.field.pipeline import measure_field
from measure.flags import FLAGS
from measure.model import FieldSettings, Picture

SHAPE = (140, 180)
OIL = np.array([87.0, -2.0, 16.0], np.float32)
BODY = np.array([0.28, 0.44, 0.66], np.float32)
NOISE = 0.008
CRYSTAL = affinity.rotate(box(40, 40, 95, 92), 18)
DISC = Point(105, 78).buffer(27)


def _cover(shape: Polygon) -> np.ndarray:
    fine = np.zeros((SHAPE[0] * 4, SHAPE[1] * 4), np.uint8)
    points = np.round((outline_of(shape) * 4 - 0.5) * 16).astype(np.int32)
    cv2.fillPoly(fine, [points], 1, shift=4)
    mean = cv2.resize(fine.astype(np.float32), SHAPE[::-1], interpolation=cv2.INTER_AREA)
    return cv2.GaussianBlur(mean, (0, 0), 1.2)


def _rim(crystal: Polygon) -> np.ndarray:
    return 0.5 * (_cover(crystal) - _cover(crystal.buffer(-3, join_style="mitre")))


def _density(rim: np.ndarray, body: np.ndarray, colour: np.ndarray = BODY) -> np.ndarray:
    whole = rim[..., None] + body[..., None] * colour
    noise = np.random.default_rng(5).normal(0, NOISE, whole.shape)
    return cv2.GaussianBlur((whole + noise).astype(np.float32), (0, 0), 0.8)


def _component(whole: np.ndarray) -> Component:
    delta = difference(whole, OIL)
    distance = (np.linalg.norm(delta, axis=2) / 0.7).astype(np.float32)
    low = distance > 3.5
    return Component(delta, distance, low, 50.0, 7.0, 0.5, (False,) * 4, 25.0, OIL)


def _alike(mask: np.ndarray, shape: Polygon) -> float:
    true = _cover(shape) > 0.5
    return float((true & (mask > 0)).sum() / (true | (mask > 0)).sum())


def test_what_a_body_and_a_rim_take_is_told_apart():
    rim, body = _rim(CRYSTAL), _cover(DISC)
    whole = _density(rim, body)
    grey = grey_density(whole, (body > 0.5).astype(np.uint8))
    assert np.abs(grey - np.maximum(rim, 0)).mean() < 0.01
    assert np.corrcoef(grey.ravel(), rim.ravel())[0, 1] > 0.97


def test_a_crystal_is_found_straight_through_a_body():
    layers = grey_layer(_component(_density(_rim(CRYSTAL), _cover(DISC))))
    assert layers is not None
    assert layers.crystals.max() == 1
    assert _alike(layers.crystals, CRYSTAL) > 0.9
    (part,) = (part for part, _ in layers.parts() if part.low.sum() > 200)
    assert part.low.sum() == pytest.approx(DISC.area, rel=0.2)
    left = density(layers.bodies.delta, OIL)
    inside = _cover(DISC.buffer(-4)) > 0.99
    assert np.ptp(np.percentile(left[inside][:, 2], [5, 95])) < 0.1  # the rim has left no line in it


def test_a_crystal_whose_rim_has_a_gap_is_found_too():
    rim = _rim(CRYSTAL)
    rim[_cover(Point(42, 76).buffer(9)) > 0.1] = 0.0
    layers = grey_layer(_component(_density(rim, _cover(DISC))))
    assert layers is not None
    assert _alike(layers.crystals, CRYSTAL) > 0.85


@pytest.mark.parametrize("gap_px", [-1.0, 1.0])
def test_a_crystal_that_only_touches_a_body_is_left_to_others(gap_px: float):
    apart = affinity.translate(DISC, CRYSTAL.bounds[2] + gap_px + 27 - 105)
    assert grey_layer(_component(_density(_rim(CRYSTAL), _cover(apart)))) is None


def test_the_grey_edge_of_pale_bodies_is_no_crystal():
    """A body that is refracted at its edge has a grey line all round, but no clear inside."""
    pale = _cover(CRYSTAL) * 0.4
    whole = _density(_rim(CRYSTAL) * 0.6, pale + _cover(DISC) * (pale < 0.2))
    assert grey_layer(_component(whole)) is None


def test_grey_bodies_and_dark_grounds_are_not_asked():
    grey = np.full(3, 0.45, np.float32)
    assert grey_layer(_component(_density(_rim(CRYSTAL), _cover(DISC), grey))) is None
    component = _component(_density(_rim(CRYSTAL), _cover(DISC)))
    dark = Component(**{**component.__dict__, "oil_lab": np.array([20.0, 0.0, 0.0], np.float32)})
    assert grey_layer(dark) is None


def test_a_density_turned_round_is_the_difference_it_came_from():
    delta = np.random.default_rng(1).uniform([-40, -3, -8], [-3, 6, 8], (20, 20, 3)).astype(np.float32)
    assert np.allclose(difference(density(delta, OIL), OIL), delta, atol=0.05)


def _crossing_picture() -> Picture:
    """A crystal across a body, and oil about them with a lone body that tells how sharp edges are."""
    oil = (np.array([226, 218, 190]) / 255.0) ** 2.2
    field = np.exp(-_density(_rim(CRYSTAL), _cover(DISC) * 1.2)) * oil
    lone = np.exp(-_density(np.zeros(SHAPE, np.float32), _cover(Point(80, 70).buffer(22)))) * oil
    light = np.vstack([field, lone])
    return Picture(np.clip(np.round(light ** (1 / 2.2) * 255), 0, 255).astype(np.uint8), name="drawn")


def test_crossing_pieces_of_a_picture_keep_their_whole_size():
    particles = measure_field(_crossing_picture(), FieldSettings(), 1.0).particles
    true = sorted([CRYSTAL.area, DISC.area, np.pi * 22**2])
    assert sorted(particles["area_px2"]) == pytest.approx(true, rel=0.04)
    largest = int(np.argmax(particles["area_px2"]))
    assert particles["flags"][largest] & FLAGS["overlap"].bit


def test_what_a_crystal_took_of_the_body_beside_it_is_left_out():
    light = prepare(_crossing_picture())
    too_much = CRYSTAL.union(DISC.intersection(CRYSTAL.buffer(14)))
    one = np.ones(1, np.int32)
    found = Found([outline_of(too_much).astype(np.float32)], 0 * one, IN_GREY * one, one.astype(np.int8))
    _, crystals = crossing_crystals(found, light, 80.0)
    (outline,) = crystals.outlines
    assert too_much.area > 1.25 * CRYSTAL.area
    assert Polygon(outline).area == pytest.approx(CRYSTAL.area, rel=0.08)
