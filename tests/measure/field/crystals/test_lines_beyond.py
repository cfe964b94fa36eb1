"""Fibres that cross make loops that are no crystals; they are fibres still where one is wider for a way."""

import cv2
import numpy as np
import pytest

from measure.field.basics.kind_shape import wide_share
from measure.field.crystals.lines_beyond import lines_beyond
from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture
from measure.particles import Particles

OIL = np.array([226.0, 214.0, 184.0])
SHAPE = (300, 400)
WIDTH = 5.0
FOOD = range(30, 400, 50)


def _lines(*ways: list[tuple[float, float]], width: float = WIDTH) -> np.ndarray:
    """Share of each pixel that lines of a width cover."""
    fine = np.zeros((SHAPE[0] * 4, SHAPE[1] * 4), np.uint8)
    for way in ways:
        cv2.polylines(fine, [np.round(np.array(way) * 4).astype(np.int32)], False, 1, int(4 * width))
    return cv2.resize(fine.astype(np.float32), SHAPE[::-1], interpolation=cv2.INTER_AREA)


def _counted(*ways: list[tuple[float, float]]) -> Particles:
    """What is counted of fibres in oil with a row of food above them."""
    food = _lines(*([(x, 20), (x + 0.25, 20)] for x in FOOD), width=22.0)
    density = 0.7 * sum(_lines(way) for way in ways)[..., None] + food[..., None] * np.array([0.3, 0.42, 0.7])
    light = (OIL / 255.0) ** 2.2 * np.exp(-density)
    light = cv2.GaussianBlur(light, (0, 0), 0.9)
    noise = np.random.default_rng(3).normal(0, 1.0, light.shape)
    pixels = np.clip(np.rint(255.0 * light ** (1 / 2.2) + noise), 0, 255).astype(np.uint8)
    particles = measure_field(Picture(pixels, name="fibres"), FieldSettings(), 1.0).particles
    return particles.select(particles["set_aside"] == "")


TRIANGLE = ([(90, 60), (250, 280)], [(60, 230), (340, 200)], [(300, 60), (150, 290)])
VEE = ([(60, 90), (330, 190)], [(60, 230), (340, 120)], [(200, 240), (250, 250), (290, 270)])
CROSS = ([(50, 60), (350, 220)], [(60, 230), (340, 90)])


@pytest.mark.parametrize("ways", [TRIANGLE, VEE, CROSS], ids=["triangle", "vee", "cross"])
def test_fibres_that_cross_are_set_aside_with_the_oil_between_them(ways):
    assert _counted(*ways)["centre_y_px"] == pytest.approx(np.full(len(FOOD), 20.0), abs=1.0)


def _square() -> np.ndarray:
    piece = np.zeros((120, 120), np.uint8)
    piece[35:85, 35:85] = 1
    return piece


def test_a_rim_that_ends_at_its_corners_has_no_line_beyond():
    rim = _square() & (1 - cv2.erode(_square(), np.ones((7, 7), np.uint8)))
    assert lines_beyond(_square(), rim) == 0


def test_sides_that_go_on_are_counted_at_both_ends():
    strong = np.zeros((120, 120), np.uint8)
    strong[35:38], strong[82:85] = 1, 1
    assert lines_beyond(_square(), strong) == 4


def test_a_line_that_crosses_the_middle_is_not_one_of_the_sides():
    strong = _square() & (1 - cv2.erode(_square(), np.ones((7, 7), np.uint8)))
    strong[58:61] = 1
    assert lines_beyond(_square(), strong) == 0


def test_the_wide_share_of_a_band_is_that_of_its_knot():
    half, knot = 2.0, 5.0
    band = [(0.0, -half), (45.0, -half), (45.0, -knot), (55.0, -knot), (55.0, -half), (100.0, -half)]
    outline = np.array(band + [(x, -y) for x, y in reversed(band)])
    assert wide_share(outline, 2 * half, 3 * half) == pytest.approx(100.0 / 460.0, rel=0.15)
    assert wide_share(outline, 2 * half, 3 * knot) == 0.0
