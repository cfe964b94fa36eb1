"""Polygons of outlines made all at once, against those made one after the other."""

import numpy as np

from measure.field.basics.polygons import largest, outline_of, polygon_of, polygons_of


def test_polygons_made_at_once_are_those_made_one_by_one():
    square = np.array([[0, 0], [4, 0], [4, 4], [0, 4]], np.float32)
    crossed = np.array([[0, 0], [6, 6], [6, 0], [0, 4]], np.float32)
    outlines = [square, crossed, square[:3] + np.float32(0.3)]
    at_once, one_by_one = polygons_of(outlines), [polygon_of(outline) for outline in outlines]
    assert [shape.wkb for shape in at_once] == [shape.wkb for shape in one_by_one]
    assert all(shape.is_valid for shape in at_once)
    assert polygons_of([]) == []


def test_holes_are_filled_and_an_outline_comes_back():
    ring = polygon_of(np.array([[0, 0], [9, 0], [9, 9], [0, 9]])).difference(
        polygon_of(np.array([[3, 3], [6, 3], [6, 6], [3, 6]]))
    )
    assert largest(ring).area == 81.0
    assert outline_of(ring).tolist() == outline_of(largest(ring)).tolist()
