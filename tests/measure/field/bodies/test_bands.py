"""Fibres that touch or cross other things, and what is as even but no fibre."""

import cv2
import numpy as np
import pytest

from measure.field.bodies.band_course import course_of
from measure.field.bodies.bands import _half_widths, bands_in, fibres_in
from measure.field.pipeline import measure_field
from measure.model import FieldSettings
from tests.measure.field.drawn_shapes import cover_of, picture_of

_HALF = 5.0  # of the fibres, px
_WIDTH = 3.5  # of the edges


def _hollow(away, half=_HALF):
    """Where a see-through cylinder is dark: along both sides."""
    return (away < half) & (away > half - 2.5)


def _arc(x, y):
    """A fibre bent evenly, from left to right through the upper part; how far from its middle."""
    return np.where((x > 20) & (x < 280), np.abs(np.hypot(x - 150, y - 400) - 330), np.inf)


def _straight(x, y):
    return np.where((y > 20) & (y < 180), np.abs(x - 210 - 0.2 * (y - 100)), np.inf)


def _drawn(inside) -> tuple[np.ndarray, np.ndarray]:
    """Tone of a component and what of it is above half."""
    field = cv2.GaussianBlur(cover_of(inside, (200, 300)), (0, 0), 1.0) * 30
    return (field > 15).astype(np.uint8), field.astype(np.float32)


def _kernel(x, y):
    return np.hypot(x - 120, y - 112) < 40  # touches the arc from below


def _piled(x, y):
    return _hollow(_arc(x, y)) | _kernel(x, y) & (_arc(x, y) > _HALF)


def test_a_fibre_along_a_kernel_is_set_aside_and_the_kernel_is_whole():
    found = measure_field(picture_of(cover_of(_piled, (200, 300))), FieldSettings(), 1.0).particles
    counted = np.flatnonzero(found["set_aside"] == "")
    assert found.diameter_px[counted] == pytest.approx([80], rel=0.05)
    thread = found["set_aside"] != ""
    assert found["area_px2"][thread].sum() == pytest.approx(265 * 2 * _HALF, rel=0.15)
    assert thread.sum() == 1


def test_fibres_that_cross_are_threads_and_nothing_of_them_is_counted():
    def inside(x, y):
        return _hollow(_arc(x, y)) | _hollow(_straight(x, y)) | _kernel(x, y) & (_arc(x, y) > _HALF)

    found = measure_field(picture_of(cover_of(inside, (200, 300))), FieldSettings(), 1.0).particles
    counted = np.flatnonzero(found["set_aside"] == "")
    assert found.diameter_px[counted] == pytest.approx([80], rel=0.05)


def test_the_free_stretches_of_a_fibre_are_bands_and_its_course_joins_them():
    strong, field = _drawn(_piled)
    bands = bands_in(strong, field, _WIDTH)
    assert bands.max() >= 1
    fibres = fibres_in(strong, field, _WIDTH)
    assert fibres.max() == 1
    xs = np.nonzero(fibres)[1]
    assert xs.min() < 26
    assert xs.max() > 274


def test_a_course_is_met_again_behind_what_hides_it():
    def inside(x, y):
        return _hollow(_arc(x, y)) | (np.abs(x - 150) < 7) & (np.abs(y - 70) < 40)

    _, field = _drawn(inside)
    stretch = cover_of(lambda x, y: (_arc(x, y) < _HALF) & (x < 120), (200, 300))
    course = course_of((stretch > 0.5).astype(np.uint8), field)
    assert course is not None
    xs, ys = course.points.T + 0.5
    assert max(xs.max() - 278, 22 - xs.min()) < 6
    assert np.abs(np.hypot(xs - 150, ys - 400) - 330).max() < 1.5
    assert not course.seen[np.abs(xs - 150) < 4].any()


def _frame(x, y, long, wide, line=3.0):
    """The rim of a crystal."""
    outer = np.maximum(np.abs(x - 150) - long / 2, np.abs(y - 100) - wide / 2)
    return (outer < 0) & (outer > -line)


@pytest.mark.parametrize(
    "inside",
    [
        lambda x, y: _frame(x, y, 60, 20),  # a long crystal, three times as long as wide
        lambda x, y: _frame(x, y, 120, 110),
        # with bevelled edges: two lines side by side all round
        lambda x, y: _frame(x, y, 150, 130) | _frame(x, y, 130, 110),
        lambda x, y: _frame(x, y, 150, 130) & (x < 200),  # an open rim is as even as a fibre
        lambda x, y: np.hypot((x - 6) % 24 - 12, y - 100) < 12,  # a row of discs
        lambda x, y: (np.abs(y - 100) < 8) & (np.abs(x - 150) < 60),  # a solid sliver
    ],
)
def test_crystals_rims_rows_and_slivers_are_no_bands(inside):
    strong, field = _drawn(inside)
    assert not bands_in(strong, field, _WIDTH).any()


def _bevelled(x, y):
    """Bevels of a crystal, which send light aside; at its corners they meet in pale lines."""
    across, down = np.abs(x - 150) - 110, np.abs(y - 100) - 70
    depth = -np.maximum(across, down)
    return (depth > 0) & (depth < 15) & (np.abs(across - down) > 3.0)


def test_the_wide_sides_of_a_crystal_are_no_fibres():
    picture = picture_of(cover_of(_bevelled, (200, 300)), piece=(158, 150, 135))
    particles = measure_field(picture, FieldSettings(), 1.0).particles
    assert particles["area_px2"] == pytest.approx([220 * 140], rel=0.03)
    assert list(particles["set_aside"]) == [""]


def test_half_widths_are_those_of_which_many_px_are_in_the_middle():
    found = 0
    for seed in range(6):
        mask = np.zeros((90, 120), np.uint8)
        cv2.line(mask, (12, 14 + 9 * seed), (106, 70 - 7 * seed), 1, 4 + 3 * seed)
        cv2.circle(mask, (60, 45), 24 - 3 * seed, 1, -1)
        depth = cv2.distanceTransform(mask, cv2.DIST_L2, 5)
        middle = depth[(depth > 0) & (depth >= cv2.dilate(depth, np.ones((3, 3), np.uint8)))]
        halves = 2.0 * 1.2 ** np.arange(20)[::-1]
        many = [h for h in halves if np.count_nonzero((middle > 0.7 * h) & (middle <= h)) > 6.0 * h]
        assert _half_widths(depth) == pytest.approx(many)
        found += len(many)
    assert found
