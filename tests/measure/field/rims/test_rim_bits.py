"""Whether a form may be that of a bit of a rim, on forms whose hulls and thickness are known."""

import numpy as np
import pytest
from shapely import LineString, Point, affinity, box

from measure.field.rims.rim_bits import HOLLOW, drawn_in, is_hook, is_thick, is_thin, may_be_bit

_THIN = 0.19  # as stated in the module


def _asked_of_the_hull(shape):
    hull = shape.convex_hull.area
    if shape.area > HOLLOW * hull:
        return shape.area < 1.1 * _THIN * shape.length**2 / 4
    return shape.area / shape.length < _THIN * np.sqrt(hull)


def test_what_is_left_out_by_the_length_of_the_outline_is_left_out_by_the_hull_too():
    bars = [box(0, 0, 60, width) for width in np.arange(4.0, 60.0, 0.5)]
    ovals = [affinity.scale(Point(0, 0).buffer(20), share, 1.0) for share in np.arange(0.1, 1.0, 0.02)]
    hooks = [LineString([(0, 0), (40, 0), (40, 40)]).buffer(width) for width in np.arange(1.0, 25.0, 0.25)]
    answers = [may_be_bit(shape) for shape in (*bars, *ovals, *hooks)]
    assert answers == [_asked_of_the_hull(shape) for shape in (*bars, *ovals, *hooks)]
    assert any(answers)
    assert not all(answers)


@pytest.mark.parametrize(("width", "thick"), [(2.0, False), (12.0, True)])
def test_a_line_is_told_from_a_body_but_not_at_the_border(width, thick):
    shape = LineString([(30, 30), (70, 30), (70, 70)]).buffer(width)
    assert is_thick(shape, (100, 100)) == thick
    assert not is_thick(affinity.translate(shape, -28.0, 0.0), (100, 100))


@pytest.mark.parametrize(("corner", "hook"), [(0.0, False), (8.0, True), (16.0, False)])
def test_a_hook_may_be_thicker_where_its_sides_meet(corner, hook):
    # without a thick corner it is thin anyway, and is asked no more; with a large one it is a body with a bay
    arms = LineString([(20, 60), (20, 20), (60, 20)]).buffer(4.0)
    shape = arms.union(Point(20, 20).buffer(corner)) if corner else arms
    mask = drawn_in(shape, np.zeros(2), (80, 80))
    assert is_hook(mask) == (hook or corner == 0.0)
    assert is_thin(mask) == (corner == 0.0)
    assert not is_hook(drawn_in(shape.convex_hull, np.zeros(2), (80, 80)))
