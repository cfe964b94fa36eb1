"""Crystals that touch, cut along the sides that go on inside."""

import cv2
import numpy as np
import pytest

from measure.field.cuts.cut_sides import cut_at_sides


def _drawn(*corners: tuple[float, float]) -> np.ndarray:
    mask = np.zeros((140, 160), np.uint8)
    cv2.fillPoly(mask, [np.round(np.array(corners)).astype(np.int32)], 1)
    return mask


def _turned(mask: np.ndarray, angle: float) -> np.ndarray:
    way = cv2.getRotationMatrix2D((80.0, 70.0), angle, 1.0)
    return cv2.warpAffine(mask, way, mask.shape[::-1], flags=cv2.INTER_NEAREST)


def _best(parts: list[np.ndarray], piece: np.ndarray) -> float:
    """Greatest intersection over union."""
    return max((np.count_nonzero(p & piece) / np.count_nonzero(p | piece) for p in parts), default=0.0)


@pytest.mark.parametrize("angle", [0.0, 17.0, 40.0])
def test_a_small_crystal_against_the_side_of_a_large_one(angle: float):
    large = _turned(_drawn((30, 30), (90, 30), (90, 110), (30, 110)), angle)
    small = _turned(_drawn((90, 50), (125, 50), (125, 95), (90, 95)), angle)
    parts = cut_at_sides(large | small, 100.0, 0.93)
    assert _best(parts, large) > 0.9
    assert _best(parts, small) > 0.9


def test_three_in_a_row_take_two_cuts():
    boxes = [
        _drawn((15, 40), (55, 40), (55, 100), (15, 100)),
        _drawn((56, 20), (95, 20), (95, 75), (56, 75)),
        _drawn((96, 45), (140, 45), (140, 110), (96, 110)),
    ]
    parts = cut_at_sides(boxes[0] | boxes[1] | boxes[2], 100.0, 0.93)
    assert min(_best(parts, box) for box in boxes) > 0.94


def test_a_crystal_alone_is_not_cut():
    assert cut_at_sides(_drawn((30, 30), (90, 35), (85, 110), (25, 100)), 100.0, 0.93) == []
