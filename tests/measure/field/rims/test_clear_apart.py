"""See-through pieces that touch, with the wall between them given to the wrong one, or to both as one."""

import cv2
import numpy as np
import pytest

from measure.field.basics.component import Parts
from measure.field.rims.clear_apart import clear_apart

SHAPE = (100, 150)
BOTH = [(10, 15, 70, 80, 12), (70, 25, 130, 85, 9)]  # left, top, right, bottom, width of the rim


def _filled(*boxes: tuple[int, ...]) -> np.ndarray:
    mask = np.zeros(SHAPE, np.uint8)
    for left, top, right, bottom, *_ in boxes:
        mask[top:bottom, left:right] = 1
    return mask


def _field(boxes: list[tuple[int, ...]]) -> np.ndarray:
    rims = np.zeros(SHAPE, np.float32)
    for left, top, right, bottom, wide in boxes:
        ring = _filled((left, top, right, bottom)) - _filled(
            (left + wide, top + wide, right - wide, bottom - wide)
        )
        rims += 20.0 * ring
    return cv2.GaussianBlur(rims, (0, 0), 1.0)


def _areas(parts: Parts) -> list[int]:
    return [int((parts.labels == n).sum()) for group in parts.groups for n in group]


def test_a_wall_given_to_one_of_two_pieces_is_shared():
    labels = _filled(*BOTH).astype(np.int32)
    labels[:, 79:] *= 2  # the first has all of the wall
    parts = clear_apart(Parts(labels, [[1], [2]], frozenset([1, 2])), _field(BOTH), 3.0)
    assert _areas(parts) == pytest.approx([60 * 65, 60 * 60], rel=0.03)
    assert parts.groups == [[1], [2]]


def test_two_pieces_found_as_one_are_parted_in_its_group():
    labels = _filled(*BOTH).astype(np.int32)
    labels[90:95, 5:145] = 2  # a body
    parts = clear_apart(Parts(labels, [[1], [2]], frozenset([1])), _field(BOTH), 3.0)
    assert parts.groups == [[1, 3], [2]]
    assert parts.clear == {1, 3}
    assert sorted(_areas(parts)) == pytest.approx([140 * 5, 60 * 60, 60 * 65], rel=0.03)


def test_pieces_that_lie_over_one_another_are_left_as_they_are():
    over = [(10, 15, 80, 80, 8), (50, 25, 130, 85, 8)]
    labels = _filled(*over).astype(np.int32)
    labels[:, 81:] *= 2
    before = labels.copy()
    parts = clear_apart(Parts(labels, [[1], [2]], frozenset([1, 2])), _field(over), 3.0)
    assert np.array_equal(parts.labels, before)
