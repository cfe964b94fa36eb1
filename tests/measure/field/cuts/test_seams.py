"""Pieces parted along the line that is seen between them."""

import cv2
import numpy as np
import pytest

from measure.field.basics.masks import SQUARE
from measure.field.cuts.pale_lines import PaleLines
from measure.field.cuts.seams import _are_pieces, along_seams, cut_by_seams, seam_between

PIECE, LINE = -20.0, -8.0  # lightness against the oil
FRONT, BEHIND, RADIUS = (42, 50), (82, 50), 30


def _disc(centre: tuple[int, int], radius: int = RADIUS) -> np.ndarray:
    mask = np.zeros((100, 125), np.uint8)
    cv2.circle(mask, centre, radius, 1, -1)
    return mask


def _picture(mask: np.ndarray, line: np.ndarray | None = None) -> np.ndarray:
    tone = np.where(mask > 0, np.float32(PIECE), np.float32(0.0))
    if line is not None:
        tone[(line > 0) & (mask > 0)] = LINE
    grain = np.random.default_rng(3).normal(0.0, 0.4, (*mask.shape, 3)).astype(np.float32)
    delta = np.dstack([tone, np.zeros_like(tone), np.zeros_like(tone)]) + grain
    return cv2.GaussianBlur(delta, (0, 0), 0.8)


def _arc(centre: tuple[int, int], radius: int = RADIUS) -> np.ndarray:
    line = np.zeros((100, 125), np.uint8)
    cv2.circle(line, centre, radius, 1, 2)
    return line


def _pair() -> tuple[np.ndarray, np.ndarray]:
    """Two discs of one tone, the edge of the front one seen as a pale line, and their picture."""
    both = _disc(FRONT) | _disc(BEHIND)
    return both, _picture(both, _arc(FRONT) & cv2.erode(both, np.ones((3, 3), np.uint8)))


def test_overlapping_discs_are_cut_along_the_edge_that_is_seen():
    both, delta = _pair()
    labels = cut_by_seams(both, delta, 50.0, both)
    assert labels.max() == 2
    front = labels == labels[FRONT[1], FRONT[0]]
    common = np.count_nonzero(front & (_disc(FRONT) > 0))
    assert common > 0.94 * np.count_nonzero(front | (_disc(FRONT) > 0))
    assert np.array_equal(labels > 0, both > 0)


@pytest.mark.parametrize(("cut_strength", "parts"), [(0.05, 1), (0.4, 2), (1.0, 2)])
def test_the_less_is_to_be_cut_the_plainer_a_line_must_be(cut_strength: float, parts: int):
    both, delta = _pair()
    assert cut_by_seams(both, delta, 50.0, both, cut_strength).max() == parts


@pytest.mark.parametrize("mask", [_disc(FRONT) | _disc(BEHIND), _disc((60, 50), 40)])
def test_without_a_line_nothing_is_cut(mask: np.ndarray):
    assert cut_by_seams(mask, _picture(mask), 50.0, mask).max() == 1


def test_a_line_through_one_round_piece_is_no_seam():
    mask = _disc((60, 50), 40)
    line = np.zeros_like(mask)
    cv2.line(line, (60, 5), (60, 95), 1, 2)
    assert cut_by_seams(mask, _picture(mask, line), 50.0, mask).max() == 1


def test_a_side_that_hardly_borders_the_oil_is_no_piece():
    both, delta = _pair()
    front = _disc(FRONT)
    sides = [front, both & (1 - front)]
    ends = [np.array(place, np.float32) for place in ((62, 28), (62, 72))]  # where the two outlines cross
    (line,) = PaleLines(both, delta).between(ends[0], [ends[1]])
    assert line is not None
    oil = cv2.dilate(1 - both, SQUARE)
    assert _are_pieces(both, sides, line, oil)
    # as where two see-through pieces overlap, and others lie all round
    assert not _are_pieces(both, sides, line, np.zeros_like(oil))


def test_a_cut_stays_where_one_piece_is_seen_through_the_other():
    both, delta = _pair()
    lens = (_disc(FRONT) & _disc(BEHIND)) > 0
    darker = delta.copy()
    darker[lens, 0] += 0.5 * PIECE
    straight = np.where(np.arange(125) < 62, 1, 2) * both.astype(np.int32)
    assert not np.array_equal(along_seams(straight, delta), straight)
    assert np.array_equal(along_seams(straight, darker), straight)


def test_a_straight_cut_is_laid_along_the_line():
    both, delta = _pair()
    straight = np.where(np.arange(125) < 62, 1, 2) * both.astype(np.int32)
    before = np.count_nonzero((straight == 1) != (_disc(FRONT) > 0))
    moved = along_seams(straight, delta)
    assert np.count_nonzero((moved == 1) != (_disc(FRONT) > 0)) < 0.4 * before
    assert np.array_equal(along_seams(straight, _picture(both)), straight)


def test_neighbours_with_a_line_between_them_stay_apart():
    both, delta = _pair()
    front = _disc(FRONT)
    behind = both & (1 - front)
    assert seam_between(front, behind, delta)
    assert not seam_between(front, behind, _picture(both))


def test_a_cut_is_laid_alike_however_much_room_is_about_the_pieces():
    both, delta = _pair()
    straight = np.where(np.arange(125) < 62, 1, 2) * both.astype(np.int32)
    laid = along_seams(straight, delta)
    assert not np.array_equal(laid, straight)
    room = ((40, 36), (28, 50))
    grain = np.random.default_rng(4).normal(0.0, 0.3, (176, 203, 3)).astype(np.float32)
    inner = np.s_[40:-36, 28:-50]
    grain[inner] = delta
    wide = along_seams(np.pad(straight, room), grain)
    assert np.array_equal(wide[inner], laid)
