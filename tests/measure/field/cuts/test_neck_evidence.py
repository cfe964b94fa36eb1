"""Cuts across one piece are taken back, those between pieces that touch are kept; shapes from memory."""

import cv2
import numpy as np
import pytest

from measure.field.components.cut_body import cut_by_form
from measure.field.cuts.cut import cut_by_shape
from measure.field.cuts.neck_evidence import without_false_cuts

_BEIGE = np.array([-20.0, 3.0, 14.0], np.float32)
_RED = np.array([-14.0, 20.0, 3.0], np.float32)


def _star(seed: int, radius: float = 34.0) -> tuple[np.ndarray, np.ndarray]:
    """A piece with lobes all round, thin towards its edge: mask at half its height, and its colour."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[-60:60, -60:60].astype(np.float32)
    few = rng.normal(size=(14, 14)).astype(np.float32)
    lumps = cv2.resize(few, (120, 120), interpolation=cv2.INTER_CUBIC)
    height = np.sqrt(np.clip(1.0 - np.hypot(x, y) / radius + 0.35 * lumps, 0.0, 1.0))
    height = cv2.GaussianBlur(height, (0, 0), 1.3)
    count, parts, stats, _ = cv2.connectedComponentsWithStats((height > 0.4).astype(np.uint8))
    mask = (parts == 1 + int(stats[1:count, 4].argmax())).astype(np.uint8)
    lines = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0]
    return cv2.drawContours(mask, lines, -1, 1, -1), height[..., None] * _BEIGE


def _discs(*discs: tuple[int, int, int]) -> np.ndarray:
    mask = np.zeros((90, 140), np.uint8)
    for x, y, radius in discs:
        cv2.circle(mask, (x, y), radius, 1, -1)
    return mask


def _even(mask: np.ndarray, colour: np.ndarray = _BEIGE) -> np.ndarray:
    return cv2.GaussianBlur(mask[..., None] * colour, (0, 0), 1.3)


@pytest.mark.parametrize("seed", [0, 1, 5, 8, 13, 18, 22, 23, 31, 36])
def test_a_piece_with_lobes_all_round_is_not_cut_between_them(seed):
    mask, delta = _star(seed)
    assert cut_by_shape(mask, 0.5).max() > 1  # its necks alone would have it cut
    whole = cut_by_form(mask, 38.0, 0.5, delta)
    assert whole.max() == 1
    assert np.array_equal(whole > 0, mask > 0)


def test_more_strength_cuts_ragged_pieces_too():
    mask, delta = _star(1)
    parts = cut_by_shape(mask, 1.0)
    assert parts.max() > 1
    assert np.array_equal(without_false_cuts(parts, delta, 1.0), parts)


@pytest.mark.parametrize("discs", [((40, 45, 22), (82, 45, 22)), ((40, 45, 26), (78, 45, 15))])
@pytest.mark.parametrize("thin", [False, True])
def test_round_pieces_that_touch_stay_apart(discs, thin):
    mask = _discs(*discs)
    depth = cv2.distanceTransform(mask, cv2.DIST_L2, 5)
    delta = np.sqrt(np.minimum(depth / 15, 1))[..., None] * _BEIGE if thin else _even(mask)
    assert cut_by_form(mask, 38.0, 0.5, delta).max() == 2


def test_smooth_pieces_far_over_one_another_stay_apart():
    mask = _discs((50, 45, 30), (78, 45, 30))
    parts = np.where(np.arange(140) < 64, 1, 2) * mask.astype(np.int32)
    assert without_false_cuts(parts, _even(mask), 0.5).max() == 2


def test_parts_of_another_colour_stay_apart():
    mask, delta = _star(1)
    parts = cut_by_shape(mask, 0.5)
    height = np.linalg.norm(delta, axis=2) / np.linalg.norm(_BEIGE)
    other = np.where((parts == 1)[..., None], height[..., None] * _RED, delta)
    assert without_false_cuts(parts, delta, 0.5).max() == 1
    assert without_false_cuts(parts, other, 0.5).max() > 1


def test_parts_that_are_left_are_numbered_without_gaps():
    mask, delta = _star(1)
    parts = cv2.copyMakeBorder(cut_by_shape(mask, 0.5), 0, 0, 0, 60, cv2.BORDER_CONSTANT)
    delta = cv2.copyMakeBorder(delta, 0, 0, 0, 60, cv2.BORDER_CONSTANT)
    parts[40:80, 140:170] = parts.max() + 1  # a piece that touches nothing
    left = without_false_cuts(parts, delta, 0.5)
    assert left.dtype == np.int32
    assert np.array_equal(np.unique(left), [0, 1, 2])
    assert np.array_equal(left > 0, parts > 0)
    assert len(np.unique(left[40:80, 140:170])) == 1


def test_a_side_that_is_two_pieces_itself_counts_as_two():
    mask = _discs((28, 45, 16), (56, 45, 20), (82, 45, 20))
    # the two on the right lie so far over each other that only their ovals tell them apart
    assert cut_by_shape(mask, 0.5).max() == 2
    assert cut_by_form(mask, 38.0, 0.5, _even(mask)).max() == 3


def test_two_ovals_that_meet_in_cusps_stay_apart_in_one_tone():
    mask = np.zeros((120, 120), np.uint8)
    cv2.ellipse(mask, (60, 34), (30, 24), 10, 0, 360, 1, -1)
    cv2.ellipse(mask, (64, 82), (34, 26), -15, 0, 360, 1, -1)
    assert cut_by_form(mask, 38.0, 0.5, _even(mask)).max() == 2
