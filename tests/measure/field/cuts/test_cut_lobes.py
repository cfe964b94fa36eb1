"""Widely overlapping ovals are cut between their notches; irregular single pieces are not."""

import cv2
import numpy as np
import pytest
from shapely import Polygon

from measure.field.basics.masks import drawn
from measure.field.basics.polygons import outline_of
from measure.field.cuts.cut import cut_by_shape
from measure.field.cuts.cut_lobes import cut_between_ovals, cut_by_lobes, oval_cut


def _canvas():
    return np.zeros((140, 160), np.uint8)


def _overlapping(distance):
    mask = _canvas()
    cv2.ellipse(mask, (60, 70), (30, 25), 20, 0, 360, 1, -1)
    cv2.ellipse(mask, (60 + distance, 70), (28, 26), -15, 0, 360, 1, -1)
    return mask


def test_two_ovals_far_over_one_another_are_two_where_the_neck_does_not_tell():
    mask = _overlapping(30)
    assert cut_by_shape(mask, 0.5).max() == 1
    labels = cut_by_lobes(mask, 60.0)
    assert labels.max() == 2
    assert ((labels > 0) == (mask > 0)).all()
    assert np.bincount(labels.ravel())[1:].min() > 0.35 * mask.sum()


def _placed(first, second):
    """Outline of two ovals to a fraction of a pixel, and its mask."""
    turn = np.linspace(0.0, 2.0 * np.pi, 400)
    ovals = [
        Polygon(np.stack([x + a * np.cos(turn), 70 + b * np.sin(turn)], axis=1))
        for x, a, b in (first, second)
    ]
    outline = outline_of(ovals[0].union(ovals[1])).astype(np.float32)
    return drawn(outline, (140, 160)), outline


def test_shallow_notches_between_two_nearly_perfect_ovals_are_seen_in_an_outline():
    mask, outline = _placed((66, 22, 20.5), (84, 14, 14))
    assert cut_by_lobes(mask, 60.0).max() == 1  # a contour of pixels does not tell
    labels = cut_between_ovals(outline, mask.shape, 60.0)
    assert labels is not None
    assert labels.max() == 2
    assert ((labels > 0) == (mask > 0)).all()


@pytest.mark.parametrize("uneven_px", [0.0, 1.5])
def test_what_is_no_two_ovals_stays_one_however_its_outline_bends(uneven_px):
    turn = np.linspace(0.0, 2.0 * np.pi, 200, endpoint=False)
    far = 30.0 + 6.0 * np.cos(turn) + 3.0 * np.cos(2.0 * turn) + uneven_px * np.cos(9.0 * turn)
    outline = np.stack([80 + far * np.cos(turn), 70 + far * np.sin(turn)], axis=1).astype(np.float32)
    assert cut_between_ovals(outline, (140, 160), 60.0) is None


@pytest.mark.parametrize("axes", [(40, 40), (60, 25)])
def test_one_oval_stays_one(axes):
    mask = _canvas()
    cv2.ellipse(mask, (80, 70), axes, 30, 0, 360, 1, -1)
    assert cut_by_lobes(mask, 60.0).max() == 1


def test_an_angular_piece_with_two_notches_stays_one():
    mask = _canvas()
    corners = [(20, 30), (75, 22), (82, 42), (140, 25), (128, 110), (84, 92), (70, 112), (30, 100)]
    cv2.fillPoly(mask, [np.array(corners, np.int32)], 1)
    assert cut_by_lobes(mask, 60.0).max() == 1


def test_the_cut_is_found_on_an_outline_too():
    contour = max(cv2.findContours(_overlapping(38), 0, cv2.CHAIN_APPROX_NONE)[0], key=len)[:, 0]
    ends = oval_cut(contour.astype(np.float32), 60.0)
    assert ends is not None
    assert abs(contour[ends[0], 0] - contour[ends[1], 0]) < 12
    assert abs(contour[ends[0], 1] - contour[ends[1], 1]) > 35


def test_a_long_fibre_of_varying_width_stays_whole():
    from measure.field.components.cut_body import cut_body

    mask = np.zeros((80, 420), np.uint8)
    x = np.arange(20, 400)
    half = 6 + 1.6 * np.cos(x / 60.0)
    for column, width in zip(x, half, strict=True):
        middle = 40 + 12 * np.sin(column / 90.0)
        mask[round(middle - width) : round(middle + width) + 1, column] = 1
    delta = np.where(mask[..., None] > 0, np.float32([-20, 2, 6]), np.float32(0))
    assert cut_body(mask, delta, 60.0, 0.5, np.array([80.0, 0.0, 20.0]), 3.0).max() == 1


# outlines of two single grains of sand in the electron micrograph of a glass melt
# of the SciPy lecture notes (CC BY 4.0)
_PEARS = (
    "27,3 19,3 15,8 13,17 8,26 6,27 3,37 5,45 17,57 26,53 32,45 29,35 30,34 29,30 30,29 31,16 30,15 30,8",
    "33,3 26,9 17,9 5,19 5,24 3,30 4,42 5,43 5,58 3,68 5,74 12,78 17,78 24,72 33,52 34,45 38,41 38,38 40,34 "
    "44,31 46,27 43,19 44,16 36,5",
)


@pytest.mark.parametrize("pear", _PEARS)
def test_a_pear_with_an_open_waist_stays_whole(pear):
    mask = _canvas()
    cv2.fillPoly(mask, [np.array([p.split(",") for p in pear.split()], np.int32)], 1)
    assert cut_by_lobes(mask, 38.0).max() == 1
