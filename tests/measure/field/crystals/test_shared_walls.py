"""Crystals that touch end in the middle of the wall between them."""

import numpy as np
import pytest
from shapely import Polygon, box

from measure.field.basics.found import Found
from measure.field.basics.polygons import outline_of, polygon_of
from measure.field.crystals.shared_walls import with_shared_walls
from measure.flags import bits

FLAGS = bits("rim_only", "touching", "overlap")


def _found(*shapes: Polygon) -> Found:
    count = len(shapes)
    return Found(
        [outline_of(shape) for shape in shapes],
        np.ones(count, np.int32),
        np.full(count, FLAGS, np.int32),
        np.ones(count, np.int8),
    )


def test_two_crystals_end_in_the_middle_of_their_wall_wherever_it_was_found():
    before = _found(box(0, 0, 40, 40), box(40, 0, 80, 40))
    placed = _found(box(-1, -1, 43, 41), box(41.5, -1, 81, 41))
    one, other = (polygon_of(outline) for outline in with_shared_walls(placed, before).outlines)
    assert one.bounds == pytest.approx((-1, -1, 40, 41), abs=0.2)
    assert other.bounds == pytest.approx((40, -1, 81, 41), abs=0.2)
    assert one.intersection(other).area < 1.0


def test_what_crosses_or_is_no_neighbour_is_left_as_it_is():
    crossing = _found(box(0, 0, 40, 40), box(30, 10, 80, 60))
    apart = _found(box(0, 0, 40, 40), box(60, 0, 100, 40))
    for found in (crossing, apart):
        after = with_shared_walls(found, found).outlines
        assert all(np.array_equal(a, b) for a, b in zip(after, found.outlines, strict=True))
