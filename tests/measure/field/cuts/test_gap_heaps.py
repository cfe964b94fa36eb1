"""Heaps of small pieces fall into them at the gaps between; mottled and full pieces stay one. From memory."""

import cv2
import numpy as np
import pytest

from measure.field.cuts.gap_heaps import cut_heap, without_cuts_in_full
from measure.field.cuts.neck_evidence import crowd
from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture

_COLOUR = np.array([-40.0, 6.0, 12.0], np.float32)
_FINE = 8


def _cover(side: int, places: list[tuple[float, float]], radius: float, blur: float) -> np.ndarray:
    """Share of each px that discs cover, blurred, (side, side)."""
    fine = np.zeros((side * _FINE, side * _FINE), np.uint8)
    for x, y in places:
        cv2.circle(fine, (round(x * _FINE), round(y * _FINE)), round(radius * _FINE), 255, -1)
    cover = cv2.resize(fine, (side, side), interpolation=cv2.INTER_AREA).astype(np.float32) / 255
    return cv2.GaussianBlur(cover, (0, 0), blur)


def _rows(start: float, step: float, count: int) -> list[tuple[float, float]]:
    """Places of discs that lie in rows, each over the gaps of the last."""
    return [
        (start + step * (i + 0.5 * (j % 2)), start + step * np.sqrt(0.75) * j)
        for j in range(count)
        for i in range(count)
    ]


def _heap(radius: float = 6.0, step: float = 12.0) -> np.ndarray:
    return _cover(90, _rows(20.0, step, 4), radius, 1.2)


def _delta(height: np.ndarray, noise: float = 0.02) -> np.ndarray:
    grain = np.random.default_rng(1).normal(0, noise, height.shape).astype(np.float32)
    return (height + grain)[..., None] * _COLOUR


def _above_half(height: np.ndarray) -> np.ndarray:
    """What is above half, without its holes, as bodies are."""
    lines = cv2.findContours((height > 0.5).view(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0]
    return cv2.drawContours(np.zeros(height.shape, np.uint8), lines, -1, 1, -1)


def test_each_piece_of_a_heap_is_found():
    height = _heap()
    mask = _above_half(height)
    labels = cut_heap(mask, _delta(height), 20.0, 0.5)
    assert labels is not None
    assert ((labels > 0) == (mask > 0)).all()
    assert labels.max() == 16
    sizes = np.bincount(labels.ravel())[1:]
    assert sizes.min() > 0.75 * np.pi * 6**2


def test_a_mottled_piece_of_the_same_form_is_no_heap():
    mask = _above_half(_heap())
    mottle = cv2.GaussianBlur(np.random.default_rng(3).normal(size=mask.shape), (0, 0), 1.5)
    height = mask * (1 + 0.25 * mottle / mottle.std()).astype(np.float32)
    assert cut_heap(mask, _delta(height), 20.0, 0.5) is None


def test_a_full_piece_and_a_few_pieces_are_no_heap():
    disc = _cover(90, [(45.0, 45.0)], 25.0, 1.2)
    assert cut_heap(_above_half(disc), _delta(disc), 20.0, 0.5) is None
    three = _cover(90, _rows(30.0, 12.0, 2)[:3], 6.0, 1.2)
    assert cut_heap(_above_half(three), _delta(three), 20.0, 0.5) is None


def test_a_full_piece_found_otherwise_is_not_cut():
    heap = np.zeros((40, 60), np.int32)
    heap[5:35, 5:20], heap[5:35, 20:32], heap[5:35, 32:55] = 1, 2, 3
    cut = np.where(heap == 3, 2, (heap > 0).astype(np.int32)).astype(np.int32)
    out = without_cuts_in_full(heap, cut)
    assert out.max() == 2
    np.testing.assert_array_equal(out > 0, heap > 0)
    assert len(np.unique(out[heap > 0][heap[heap > 0] < 3])) == 1


def test_a_part_that_is_not_full_may_be_cut():
    heap = np.zeros((40, 60), np.int32)
    heap[5:35, 5:15], heap[25:35, 15:55] = 1, 2
    out = without_cuts_in_full(heap, (heap > 0).astype(np.int32))
    np.testing.assert_array_equal(out, heap)


def test_the_more_compact_parts_the_more_each_border_has_for_it():
    assert crowd(0) == crowd(3) == 0.0
    assert 0 < crowd(4) < crowd(10)


def _picture(height: np.ndarray, tone: tuple[int, int, int], oil: tuple[int, int, int]) -> Picture:
    noise = np.random.default_rng(2).normal(0, 1.5, (*height.shape, 3))
    pixels = np.array(oil) + height[..., None] * (np.array(tone) - np.array(oil)) + noise
    return Picture(np.clip(np.rint(pixels), 0, 255).astype(np.uint8), name="heap")


@pytest.mark.parametrize(
    ("tone", "oil"),
    [
        ((120, 80, 50), (232, 215, 170)),  # kernel in oil
        ((110, 105, 100), (232, 225, 210)),  # without colour, as crystals are
        ((200, 160, 120), (40, 38, 36)),  # lighter than a dark ground
    ],
)
def test_a_heap_in_a_field_is_counted_piece_by_piece(tone, oil):
    height = np.zeros((240, 240), np.float32)
    height[70:160, 70:160] = _cover(90, _rows(20.0, 12.0, 4), 6.0, 1.0)
    found = measure_field(_picture(height, tone, oil), FieldSettings(smallest_um=5.0), 1.0).particles
    counted = [k for k, why in enumerate(found["set_aside"]) if why == ""]
    assert len(counted) >= 15
    areas = [cv2.contourArea(found.outlines[k].astype(np.float32)) for k in counted]
    # the gaps, a tenth of all, fall to the pieces about them
    assert abs(2 * np.sqrt(np.median(areas) / np.pi) / 12 - 1) < 0.06
