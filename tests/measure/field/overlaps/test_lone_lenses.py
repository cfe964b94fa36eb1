"""Lenses found as pieces of their own, where absorbances add (Beer-Lambert law, from memory)."""

import cv2
import numpy as np
import pytest
from shapely import Polygon

from measure.field.basics.outline import area
from measure.field.overlaps.lone_lenses import lone_lenses

ROUND = np.linspace(0, 2 * np.pi, 120, endpoint=False)
FIRST, SECOND = np.array([0.30, 0.36, 0.50], np.float32), np.array([0.25, 0.45, 0.60], np.float32)


def _disc(x: float, y: float, radius: float) -> np.ndarray:
    return np.stack([x + radius * np.cos(ROUND), y + radius * np.sin(ROUND)], axis=1)


def _cover(outline: np.ndarray) -> np.ndarray:
    """Mask of a polygon in a crop of 120 x 180 px, its edge as soft as a lens makes it."""
    fine = np.zeros((480, 720), np.uint8)
    cv2.fillPoly(fine, [np.round(outline * 4 - 0.5).astype(np.int32)], 1)
    mean = cv2.resize(fine.astype(np.float32), (180, 120), interpolation=cv2.INTER_AREA)
    return cv2.GaussianBlur(mean, (0, 0), 1.0)[..., None]


def _outline(shape: Polygon) -> np.ndarray:
    return np.asarray(shape.exterior.coords)[:-1]


def _noisy(density: np.ndarray) -> np.ndarray:
    return (density + np.random.default_rng(3).normal(0, 0.01, density.shape)).astype(np.float32)


LEFT, RIGHT = Polygon(_disc(60, 60, 32)), Polygon(_disc(106, 60, 28))
LENS = LEFT.intersection(RIGHT)
CUT = [_outline(LEFT.difference(RIGHT)), _outline(RIGHT.difference(LEFT)), _outline(LENS)]


def test_a_lens_that_stands_as_a_piece_goes_to_both():
    density = _noisy(_cover(_outline(LEFT)) * FIRST + _cover(_outline(RIGHT)) * SECOND)
    changed, gone = lone_lenses(CUT, [False] * 3, density)
    assert gone == {2}
    assert area(changed[0]) == pytest.approx(LEFT.area, rel=0.03)
    assert area(changed[1]) == pytest.approx(RIGHT.area, rel=0.03)


def test_a_piece_between_two_that_is_as_dense_as_one_of_them_stays():
    density = _noisy(_cover(_outline(LEFT)) * FIRST + _cover(CUT[1]) * SECOND)
    assert lone_lenses(CUT, [False] * 3, density) == ({}, set())


def test_a_dark_piece_that_lies_free_beside_two_stays():
    """As dense as both together, and touching both, but its outline is seen against the oil."""
    pieces = [_disc(50, 70, 28), _disc(130, 70, 28), _disc(90, 56, 16)]
    colours = FIRST, SECOND, FIRST + SECOND
    density = _noisy(sum(_cover(o) * c for o, c in zip(pieces, colours, strict=True)))
    assert lone_lenses(pieces, [False] * 3, density) == ({}, set())


def test_crystals_have_no_lenses():
    density = _noisy(_cover(_outline(LEFT)) * FIRST + _cover(_outline(RIGHT)) * SECOND)
    assert lone_lenses(CUT, [False, True, False], density) == ({}, set())


def test_a_lens_fainter_than_the_sum_goes_to_both_where_they_become_fuller():
    """Pieces are thinner towards their edges, and a lens is at the edge of both."""
    lens = _cover(CUT[2]) * 0.17 * (FIRST + SECOND)
    density = _noisy(_cover(_outline(LEFT)) * FIRST + _cover(_outline(RIGHT)) * SECOND - lens)
    changed, gone = lone_lenses(CUT, [False] * 3, density)
    assert gone == {2}
    assert set(changed) == {0, 1}
