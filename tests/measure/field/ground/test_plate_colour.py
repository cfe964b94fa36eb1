"""Kinds on coloured plates lit from above: a surface does not take its colour from the ground beside it."""

import cv2
import numpy as np
import pytest

from measure.field.ground.plate_colour import against_grey, ground_light
from measure.field.kinds.kinds import table_of
from measure.field.pipeline import measure_field
from measure.model import KINDS, FieldSettings, Picture
from measure.particles import make_particles

_KERNEL, _SKIN = np.array([0.62, 0.47, 0.27]), np.array([0.30, 0.13, 0.07])
_GREY, _BLUE = (0.2, 0.2, 0.2), (0.08, 0.17, 0.36)


def _field(ground, balance=(1.0, 1.0, 1.0)) -> Picture:
    """Twelve mottled domes and eight even flakes, in linear light."""
    rng = np.random.default_rng(5)
    side, light = 700, np.ones((700, 700, 3)) * ground
    y, x = np.mgrid[:side, :side] + 0.5
    for n in range(20):
        cx, cy = 75 + 135 * (n % 5), 80 + 170 * (n // 5)
        angle = rng.uniform(0, np.pi)
        u = (x - cx) * np.cos(angle) + (y - cy) * np.sin(angle)
        v = (y - cy) * np.cos(angle) - (x - cx) * np.sin(angle)
        if n % 5 < 3:
            away = np.hypot(u / 24, v / 20)
            tone = (0.75 + 0.25 * np.sqrt(np.clip(1 - away**2, 0, 1)))[..., None] * _KERNEL
            mottle = cv2.GaussianBlur(rng.normal(0, 1, (side, side)), (0, 0), 3.0)
            tone = tone * (1 + 0.08 * mottle / mottle.std())[..., None]
        else:
            away = np.maximum(np.abs(u) / 26 + 0.25 * np.abs(v) / 26, np.abs(v) / 15 - 0.2 * u / 26)
            tone = np.broadcast_to(_SKIN, light.shape)
        inside = (away < 1.0)[..., None]
        light = np.where(inside, tone, light)
    light = cv2.GaussianBlur(light * np.array(balance), (0, 0), 1.2)
    light = light + rng.normal(0, 0.003, light.shape)
    return Picture(np.round(255 * np.clip(light, 0, 1) ** (1 / 2.2)).astype(np.uint8), name="plate")


def _kinds(picture: Picture) -> list[str]:
    found = measure_field(picture, FieldSettings(), 1.0).particles
    found_kinds = {}
    for x, y, kind, aside in zip(
        found["centre_x_px"], found["centre_y_px"], found["kind"], found["set_aside"], strict=True
    ):
        if aside == "":
            found_kinds[round((y - 80) / 170) * 5 + round((x - 75) / 135)] = str(KINDS[kind])
    return [found_kinds.get(n, "") for n in range(20)]


@pytest.mark.parametrize("ground", [_GREY, _BLUE])
def test_kinds_are_the_same_on_a_blue_plate_as_on_a_grey_one(ground):
    assert _kinds(_field(ground)) == (["kernel"] * 3 + ["skin"] * 2) * 4


def test_densities_on_a_blue_plate_become_those_on_a_grey_one():
    settings = FieldSettings()
    blue, grey = (measure_field(_field(g), settings, 1.0).particles for g in (_BLUE, (np.mean(_BLUE),) * 3))
    assert ground_light(blue) == pytest.approx(_BLUE, rel=0.05)
    told = against_grey(blue, table_of(blue))
    assert len(blue) == len(grey)
    for name in ("red_density", "green_density", "blue_density", "core_blue_density", "centre_density"):
        assert np.median(np.abs(told[name] - grey[name])) < 0.02
    assert np.median(np.abs(blue["red_density"] - grey["red_density"])) > 0.3
    again = against_grey(told, table_of(blue))
    assert np.allclose(again["red_density"], told["red_density"], atol=1e-4)


@pytest.mark.parametrize(
    "balance", [(1.0, 1.0, 1.0), (1.15, 1.0, 1 / 1.15), (1 / 1.15, 1.0, 1.15), (1.5, 1.0, 0.8)]
)
def test_a_grey_plate_under_any_balance_stays_as_it_is(balance):
    found = measure_field(_field(_GREY, balance), FieldSettings(), 1.0).particles
    assert against_grey(found, table_of(found)) is found


def test_oil_takes_light_from_what_lies_in_it():
    found = measure_field(_field(_BLUE), FieldSettings(), 1.0).particles
    assert against_grey(found, "colour on bright") is found


@pytest.mark.parametrize(
    ("density", "table"),
    [
        ((-0.25, 0.35, 0.15), "colour on bright, lighter"),  # a shaded brown surface: redder than the plate
        ((0.05, 0.35, 0.45), "colour on bright"),  # light comes through it
    ],
)
def test_dark_pieces_that_are_redder_than_a_green_plate_are_lit_from_above(density, table):
    assert table_of(_alike(np.array([0.07, 0.24, 0.12]), density, -12.0)) == table


@pytest.mark.parametrize(
    ("dark_rims", "table"),
    [
        (0, "colour on dark"),  # they shine, over oil that is stained
        (4, "colour on bright"),  # they take its place, and the sides of crystals turn light away
    ],
)
def test_where_all_pieces_shine_over_stained_oil_to_their_edges_no_light_comes_through(dark_rims, table):
    found = _alike(np.array([0.15, 0.09, 0.04]), (-0.22, -0.28, -0.34), 9.0)
    rims = np.where(np.arange(12) < dark_rims, -5.0, 5.0)
    assert table_of(found.replaced(rim_lightness_step=rims)) == table


def _alike(ground, density, lightness_step):
    """Twelve pieces of one density on a ground of that linear light."""
    names = ("red", "green", "blue")
    light = 255.0 * (ground * 10.0 ** -np.array(density)) ** (1 / 2.2)
    columns = {f"{c}_density": np.full(12, d) for c, d in zip(names, density, strict=True)}
    columns |= {c: np.full(12, v) for c, v in zip(names, light, strict=True)}
    columns |= {"lightness_step": np.full(12, lightness_step), "area_px2": np.full(12, 80.0)}
    square = np.array([[0, 0], [9, 0], [9, 9], [0, 9]], np.float32)
    return make_particles([square] * 12, **columns)
