"""Pale pieces whose places hardly stand out of the noise, against glows, specks and compressed oil."""

import cv2
import numpy as np
import pytest

from measure.field.bodies.faint_bodies import faint_bodies
from measure.field.components.find import low_components
from measure.field.ground.light import prepare
from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture

OIL = np.array([150.0, 120.0, 100.0])
SHAPE = (420, 560)
PLACES = ((80, 90, 9), (250, 110, 12), (430, 90, 16), (110, 300, 22), (300, 290, 9), (460, 310, 12))
NOISE = 5.0


def _discs(step: float, sigma_px: float = 1.0) -> np.ndarray:
    """How much darker each place is, grey levels: discs with an edge blurred by so much."""
    dark = np.zeros(SHAPE, np.float32)
    for x, y, radius in PLACES:
        cv2.circle(dark, (x, y), radius, step, -1, cv2.LINE_AA)
    return cv2.GaussianBlur(dark, (0, 0), sigma_px)


def _picture(dark: np.ndarray, seed: int = 3) -> Picture:
    pixels = OIL - dark[..., None] + np.random.default_rng(seed).normal(0, NOISE, (*SHAPE, 3))
    return Picture(pixels=np.clip(pixels, 0, 255).astype(np.uint8), name="drawn")


def _found(picture: Picture) -> int:
    light = prepare(picture)
    labels, _, _ = low_components(light, 10.0, 0.5)
    return len(list(faint_bodies(light, labels, 40.0)))


def _counted(picture: Picture) -> tuple[np.ndarray, np.ndarray]:
    particles = measure_field(picture, FieldSettings(), 1.0).particles
    counted = particles["set_aside"] == ""
    middles = np.array([particles.outlines[i].mean(axis=0) for i in np.flatnonzero(counted)])
    return middles.reshape(-1, 2), particles.diameter_px[counted]


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_pale_piece_is_found_by_its_mean(sign):
    picture = _picture(_discs(sign * 7.0))
    assert prepare(picture).solid_distance.max() < 8.0  # hardly a place stands out
    middles, diameters = _counted(picture)
    assert len(middles) == len(PLACES)
    for x, y, radius in PLACES:
        away = np.hypot(*(middles - (x + 0.5, y + 0.5)).T)
        assert away.min() < 3.0
        assert diameters[away.argmin()] == pytest.approx(2 * radius, rel=0.15)


def test_nothing_is_found_in_oil_alone():
    assert _found(_picture(np.zeros(SHAPE, np.float32))) == 0


def test_a_glow_without_an_edge_is_no_piece():
    assert _found(_picture(_discs(7.0, 9.0))) == 0


def test_a_speck_smeared_wide_is_no_piece():
    dark = np.zeros(SHAPE, np.float32)
    for x, y, _ in PLACES:
        cv2.circle(dark, (x, y), 2, 22.0, -1, cv2.LINE_AA)
    assert _found(_picture(cv2.GaussianBlur(dark, (0, 0), 0.8))) == 0


def test_the_light_of_a_strong_piece_is_none_beside_it():
    dark = np.zeros(SHAPE, np.float32)
    cv2.circle(dark, (280, 210), 60, 70.0, -1, cv2.LINE_AA)
    assert _found(_picture(cv2.GaussianBlur(dark, (0, 0), 2.5))) == 0


@pytest.mark.parametrize("quality", [30, 60])
def test_squares_of_compressed_oil_are_no_pieces(quality):
    pixels = _picture(np.zeros(SHAPE, np.float32)).pixels
    _, packed = cv2.imencode(".jpg", pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    again = cv2.imdecode(packed, cv2.IMREAD_COLOR)[..., ::-1]
    assert _found(Picture(pixels=np.ascontiguousarray(again), name="drawn")) == 0


def test_a_piece_that_stands_out_in_several_places_is_one():
    dark = _discs(7.0)
    cv2.ellipse(dark, (280, 210), (60, 14), 0, 0, 360, 7.0, -1)
    for seed in range(6):
        light = prepare(_picture(cv2.GaussianBlur(dark, (0, 0), 1.0), seed))
        labels, _, _ = low_components(light, 10.0, 0.5)
        covered = np.zeros(SHAPE, int)
        for rows, cols, body in faint_bodies(light, labels, 40.0):
            covered[rows, cols] += body
            labels[rows, cols][body] = 1
        assert covered.max() == 1
