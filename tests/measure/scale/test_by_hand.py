"""Scales set by hand on a drawn ruling."""

from dataclasses import replace

import numpy as np
import pytest

from measure.errors import InvalidInput
from measure.model import Picture
from measure.scale import lines_between, scale_from_points, snap_to_line, typed_scale
from tests.measure.scale.drawn_rulings import PLAIN, draw

DRAWING = replace(PLAIN, width=420, height=260, um_per_px=0.7, angle_deg=12.0, noise=0.01)


@pytest.fixture(scope="module")
def picture():
    return Picture(draw(DRAWING))


def place(i, across_um=30.0):
    """Return where graduation ``i`` lies in the picture, by the drawing's own geometry."""
    a = np.deg2rad(DRAWING.angle_deg)
    t, v = i * 10.0 - DRAWING.centre_um[0], across_um - DRAWING.centre_um[1]
    x, y = t * np.cos(a) - v * np.sin(a), t * np.sin(a) + v * np.cos(a)
    return x / DRAWING.um_per_px + DRAWING.width / 2, y / DRAWING.um_per_px + DRAWING.height / 2


def off_line(x, y, i):
    """Return the distance from the middle of graduation ``i`` in px."""
    a = np.deg2rad(DRAWING.angle_deg)
    x0, y0 = place(i)
    return abs((x - x0) * np.cos(a) + (y - y0) * np.sin(a))


@pytest.mark.parametrize(("dx", "dy"), [(0, 0), (3.1, 0), (-4, 1), (2, -3)])
def test_snap_meets_the_line(picture, dx, dy):
    x, y = place(52)
    assert off_line(*snap_to_line(picture, x + dx, y + dy, 9), 52) < 0.1


def test_snap_leaves_a_point_where_there_is_no_line(picture):
    assert snap_to_line(picture, 20.25, 240.5, 6) == (20.25, 240.5)
    assert snap_to_line(picture, -500, 9000, 6) == (-500, 9000)


def test_a_stroke_finds_every_line_it_crosses(picture):
    points = lines_between(picture, place(44.5), place(56.5))
    assert len(points) == 12
    assert max(off_line(x, y, i) for (x, y), i in zip(points, range(45, 57), strict=True)) < 0.15
    fit = scale_from_points(points, division_um=10.0, picture=picture)
    assert fit.scale.um_per_px == pytest.approx(0.7, rel=2e-3)
    assert abs(fit.scale.um_per_px - 0.7) < 3 * fit.scale.standard_uncertainty_um_per_px
    assert (fit.scale.method, fit.scale.width_px, fit.scale.graduations) == ("by hand", 420, 12)
    assert fit.index.tolist() == list(range(12))


def test_two_points_and_a_length():
    fit = scale_from_points([(100, 50), (500, 350)], lengths_um=[250.0])
    assert fit.scale.um_per_px == pytest.approx(0.5)
    # two points of 0.5 px each over 500 px (JCGM 100, 5.1.2): 0.5 * root 2 / 500
    assert fit.scale.relative_uncertainty == pytest.approx(0.5 * np.sqrt(2) / 500)
    assert "Only 2 points" in fit.warnings[0]
    exact = scale_from_points(
        [(100, 50), (500, 350)], lengths_um=[250.0], certificate_um=1.0, coverage_factor=2
    )
    assert exact.u_certificate == pytest.approx(0.5 / 250)


def test_gaps_and_order_do_not_matter():
    places = np.array([0, 1, 2, 5, 6, 9]) * 20.0
    points = np.column_stack([places[::-1], np.full(6, 7.0)])
    fit = scale_from_points(points, division_um=10.0)
    assert fit.scale.um_per_px == pytest.approx(0.5)
    assert fit.index.tolist() == [0, 1, 2, 5, 6, 9]
    listed = scale_from_points(points, lengths_um=(places * 0.5)[::-1])
    assert listed.scale.um_per_px == pytest.approx(0.5)


def test_a_point_on_the_wrong_line_is_doubted():
    points = np.column_stack([[0, 20, 40, 66, 80, 100], np.zeros(6)])
    fit = scale_from_points(points, lengths_um=np.arange(6) * 10.0)
    assert "unevenly" in fit.warnings[-1]
    assert np.abs(fit.residuals_px).argmax() == 3


@pytest.mark.parametrize(
    ("points", "options"),
    [
        ([(1, 1)], {"division_um": 10}),
        ([(1, 1), (1.5, 1)], {"division_um": 10}),
        ([(1, 1), (90, 1)], {}),
        ([(1, 1), (90, 1)], {"division_um": 0}),
        ([(1, 1), (90, 1)], {"lengths_um": [0]}),
        ([(1, 1), (90, 1)], {"lengths_um": [float("nan")]}),
        ([(1, 1), (90, 1), (99, 1)], {"lengths_um": [5]}),
        ([(1, 1), (90, float("nan"))], {"division_um": 10}),
        ([(1, 1), (90, 1)], {"lengths_um": [1e9]}),
    ],
)
def test_points_that_make_no_scale(points, options):
    with pytest.raises(InvalidInput):
        scale_from_points(points, **options)


def test_typed():
    scale = typed_scale("0.25", 0.001, "20x", (640, 480))
    assert (scale.um_per_px, scale.standard_uncertainty_um_per_px, scale.method) == (0.25, 0.001, "typed")
    assert "without an uncertainty" in typed_scale(0.25).notes[0]
    for value, u in ((0, 0), (0.25, -1), (0.25, 0.3), ("", 0)):
        with pytest.raises(InvalidInput):
            typed_scale(value, u)
