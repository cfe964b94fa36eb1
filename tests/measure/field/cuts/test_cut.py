"""Cutting at necks: what is read from basins, and which necks are joined."""

import cv2
import numpy as np
from scipy import ndimage

from measure.field.cuts.cut import _Framed, _joined, cut_by_shape


def _discs(*places: tuple[int, int, int], size: tuple[int, int] = (80, 120)) -> np.ndarray:
    mask = np.zeros(size, np.uint8)
    for x, y, radius in places:
        cv2.circle(mask, (x, y), radius, 1, -1)
    return mask


def test_basins_are_described_as_their_pixels_say():
    rng = np.random.default_rng(2)
    basins = rng.integers(0, 5, (23, 31)).astype(np.int32)
    depth = rng.uniform(0, 9, basins.shape).astype(np.float32)
    flat = _Framed.of(basins, depth)
    expected = ndimage.maximum(depth, basins, range(1, 5))  # scipy, an independent reckoning
    assert flat.summits(4) == [0.0, *map(float, expected)]
    saddle = flat.saddles()
    assert list(saddle) == sorted(saddle)
    for (a, b), height in saddle.items():
        one, other = basins == a, basins == b
        sides = []
        for axis in (0, 1):
            for first, second in ((one, other), (other, one)):
                here = np.take(first, range(1, first.shape[axis]), axis)
                there = np.take(second, range(second.shape[axis] - 1), axis)
                deep = np.maximum(
                    np.take(depth, range(1, depth.shape[axis]), axis),
                    np.take(depth, range(depth.shape[axis] - 1), axis),
                )
                sides += deep[here & there].tolist()
        assert height == max(sides)


def test_ends_of_a_neck_lie_where_two_basins_meet_the_outside():
    mask = _discs((40, 40, 20), (72, 40, 18))
    basins = np.where(np.arange(120) < 57, 1, 2).astype(np.int32) * mask
    ends = _Framed.of(basins, mask.astype(np.float32)).neck_ends(mask)
    assert list(ends) == [(1, 2)]
    assert {(x, y > 40) for x, y in ends[1, 2]} <= {(56, True), (57, True), (56, False), (57, False)}
    assert len({y > 40 for _, y in ends[1, 2]}) == 2


def test_the_widest_neck_is_joined_first_and_the_wider_of_two_counts():
    # basin 2 goes to 1; both meet 3, 2 over a wide neck with a sharp notch, so 3 stays apart
    saddle = {(1, 2): 9.0, (1, 3): 2.0, (2, 3): 6.0}
    notch = {(1, 2): 0.5, (1, 3): 0.9, (2, 3): 0.1}
    assert _joined(saddle, [0.0, 10.0, 9.5, 10.0], notch, 1.42) == [0, 1, 1, 2]
    # with an open notch it is joined too
    assert _joined(saddle, [0.0, 10.0, 9.5, 10.0], notch | {(2, 3): 0.5}, 1.42) == [0, 1, 1, 1]


def test_touching_discs_are_cut_and_a_bar_is_not():
    touching = cut_by_shape(_discs((40, 40, 20), (76, 40, 18)), 0.5)
    assert touching.max() == 2
    assert touching[40, 30] != touching[40, 85]
    bar = np.zeros((40, 120), np.uint8)
    bar[12:28, 8:110] = 1
    assert cut_by_shape(bar, 0.5).max() == 1
    assert cut_by_shape(_discs((40, 40, 20), (76, 40, 18)), 0.0).max() == 1


def test_a_cluster_is_cut_alike_wherever_it_lies_and_however_much_room_is_about_it():
    rng = np.random.default_rng(5)
    for _ in range(12):
        cluster = np.zeros((60, 66), np.uint8)
        for x, y, radius in zip(*rng.integers(14, 46, (2, 6)), rng.integers(4, 14, 6), strict=True):
            cv2.circle(cluster, (int(x), int(y)), int(radius), 1, -1)
        labels = cut_by_shape(cluster, 0.5)
        wide = np.zeros((140, 150), np.uint8)
        top, left = (int(n) for n in 2 * rng.integers(0, 40, 2))  # parts are numbered in blocks of two by two
        box = np.s_[top : top + 60, left : left + 66]
        wide[box] = cluster
        cut = cut_by_shape(wide, 0.5)
        assert np.array_equal(cut[box], labels)
        assert np.array_equal(cut > 0, wide > 0)


def test_a_piece_that_fills_its_frame_is_one():
    assert cut_by_shape(np.ones((60, 80), np.uint8), 0.5).max() == 1
