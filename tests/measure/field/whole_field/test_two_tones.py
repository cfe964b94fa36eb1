"""A bit of nut with skin on one side is one piece; a flake beside a kernel is another one."""

import cv2
import numpy as np
import pytest

from measure.field.pipeline import measure_field
from measure.field.whole_field.two_tones import common_of, is_one
from measure.model import FieldSettings, Picture

_SIDE = 560
_FLESH, _SKIN = (219, 194, 148), (97, 51, 26)
_PLACES = [(x, y) for x in (90, 280, 470) for y in (90, 280, 470)]
# corners of a chip round its middle, px
_CHIP = np.array([(-34, -20), (-8, -38), (26, -30), (38, 4), (18, 34), (-22, 30)], float)


def _drawn(pixels: np.ndarray, corners: np.ndarray, colour) -> None:
    cv2.fillPoly(pixels, [np.round(corners * 16).astype(np.int32)], colour, cv2.LINE_AA, 4)


def _counted(pixels: np.ndarray) -> np.ndarray:
    noise = np.random.default_rng(1).normal(0, 2, pixels.shape)
    picture = np.clip(cv2.GaussianBlur(pixels.astype(np.float32), (0, 0), 1.0) + noise, 0, 255)
    found = measure_field(Picture(picture.astype(np.uint8)), FieldSettings(), 1.0).particles
    return found["area_px2"][found["set_aside"] == ""]


def _turned(corners: np.ndarray, k: int) -> np.ndarray:
    c, s = np.cos(0.7 * k), np.sin(0.7 * k)
    return corners @ np.array([[c, s], [-s, c]])


@pytest.mark.parametrize("ground", [(140, 143, 148), (26, 26, 28)], ids=["between both tones", "dark"])
def test_a_chip_with_skin_on_one_side_is_one_piece(ground):
    pixels = np.full((_SIDE, _SIDE, 3), ground, np.uint8)
    for k, place in enumerate(_PLACES):
        half = _CHIP.copy()
        half[:, 0] = np.maximum(half[:, 0], 2.0)
        _drawn(pixels, _turned(_CHIP, k) + place, _FLESH)
        _drawn(pixels, _turned(half, k) + place, _SKIN)
    sizes = _counted(pixels)
    assert len(sizes) == len(_PLACES)
    assert sizes == pytest.approx(cv2.contourArea(_CHIP.astype(np.float32)), rel=0.08)


def test_pieces_of_two_tones_that_touch_stay_apart():
    pixels = np.full((_SIDE, _SIDE, 3), (140, 143, 148), np.uint8)
    for k, place in enumerate(_PLACES):
        for way, colour in ((-1, _FLESH), (1, _SKIN)):
            _drawn(pixels, _turned(0.7 * _CHIP + [way * 25, 0], k) + place, colour)
    assert len(_counted(pixels)) == 2 * len(_PLACES)


def _polygon(corners):
    from shapely import Polygon

    return Polygon(corners)


def test_halves_of_a_square_are_one_and_squares_corner_to_corner_are_not():
    left, right = (
        _polygon([(0, 0), (20, 0), (20, 40), (0, 40)]),
        _polygon([(21, 0), (40, 0), (40, 40), (21, 40)]),
    )
    common = common_of(left, right)
    assert common is not None
    assert common.outline.area == pytest.approx(1600, rel=0.01)
    assert common.turned_in == pytest.approx(0.5, abs=0.03)
    assert is_one(common)
    common = common_of(left, _polygon([(21, 20), (40, 20), (40, 60), (21, 60)]))
    assert common is not None
    assert not is_one(common)
    assert common_of(left, _polygon([(60, 0), (80, 0), (80, 40)])) is None


def test_a_strip_of_shade_beside_a_round_piece_and_another_round_piece_are_not_joined():
    from shapely import Point

    disc = Point(50, 50).buffer(18)
    shade = Point(53, 50).buffer(18).difference(disc.buffer(0.5))
    common = common_of(disc, max(getattr(shade, "geoms", [shade]), key=lambda part: part.area))
    assert common is None or not is_one(common)
    common = common_of(disc, Point(85, 50).buffer(17))
    assert common is not None
    assert not is_one(common)
