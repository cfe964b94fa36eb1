"""Outlines as geometry and pixels, against closed forms and shapely, an independent library."""

import numpy as np
import pytest
from shapely.geometry import Point, Polygon

from measure import outlines

SQUARE = np.array([[10, 10], [20, 10], [20, 20], [10, 20]], dtype=np.float32)


def ragged(seed: int, centre=(50.0, 40.0), radius=15.0) -> np.ndarray:
    rng = np.random.default_rng(seed)
    angle = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    r = radius * rng.uniform(0.5, 1.3, 40)
    return np.column_stack([centre[0] + r * np.cos(angle), centre[1] + r * np.sin(angle)]).astype(np.float32)


def test_bounds_of_a_square_and_of_none():
    assert outlines.bounds([SQUARE, SQUARE + 5]).tolist() == [[10, 10, 20, 20], [15, 15, 25, 25]]
    assert outlines.bounds([]).shape == (0, 4)


@pytest.mark.parametrize("seed", range(4))
def test_contains_and_distance_agree_with_shapely(seed):
    shape = ragged(seed)
    other = Polygon(shape.astype(float))
    for x, y in np.random.default_rng(seed + 100).uniform((25, 15), (75, 65), (60, 2)):
        assert outlines.contains(shape, x, y) == other.contains(Point(x, y))
        assert outlines.edge_distance(shape, x, y) == pytest.approx(
            other.exterior.distance(Point(x, y)), abs=1e-5
        )


def test_a_point_meets_the_smallest_piece_that_holds_it():
    large = (SQUARE - 15) * 4 + 15
    box = outlines.bounds([large, SQUARE])
    assert outlines.at_point([large, SQUARE], box, 15, 15) == 1
    assert outlines.at_point([large, SQUARE], box, 5, 5) == 0
    assert outlines.at_point([large, SQUARE], box, 90, 90) == -1


def test_a_point_just_beside_a_piece_meets_it_within_the_slack():
    box = outlines.bounds([SQUARE])
    assert outlines.at_point([SQUARE], box, 22, 15, slack_px=3) == 0
    assert outlines.at_point([SQUARE], box, 22, 15, slack_px=1) == -1


def test_a_line_names_the_pieces_it_runs_through_longest_inside_first():
    pieces = [SQUARE, SQUARE + np.array([20, 0]), SQUARE + np.array([0, 40])]
    line = np.array([[18.0, 15.0], [60.0, 15.0]])
    assert outlines.crossed(pieces, outlines.bounds(pieces), line).tolist() == [1, 0]


def test_simplified_outline_keeps_its_shape_with_fewer_points():
    angle = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    disc = np.column_stack([50 + 20 * np.cos(angle), 50 + 20 * np.sin(angle)]).astype(np.float32)
    fewer = outlines.simplified(disc, 0.2)
    assert len(fewer) < 60
    assert Polygon(fewer).symmetric_difference(Polygon(disc)).area < 0.02 * np.pi * 400


@pytest.mark.parametrize("factor", [1.0, 0.5])
def test_a_stroke_lies_on_the_outline(factor):
    image = np.zeros((40, 40, 4), dtype=np.uint8)
    outlines.stroke(image, [SQUARE], (0, 0, 255, 255), factor=factor)
    rows, columns = np.nonzero(image[..., 3] > 100)
    # the line is one pixel wide about x = 10 and x = 20, counted from pixel corners
    assert columns.min() == pytest.approx(10 * factor - 0.5, abs=0.6)
    assert columns.max() == pytest.approx(20 * factor - 0.5, abs=0.6)
    assert rows.min() == pytest.approx(10 * factor - 0.5, abs=0.6)


def test_a_stroke_into_a_crop_is_the_crop_of_the_stroke():
    whole, part = np.zeros((60, 60, 4), dtype=np.uint8), np.zeros((20, 25, 4), dtype=np.uint8)
    outlines.stroke(whole, [SQUARE], (10, 20, 30, 255))
    outlines.stroke(part, [SQUARE], (10, 20, 30, 255), origin_px=(5, 8))
    assert np.array_equal(part, whole[8:28, 5:30])


def test_shown_pixels_scale_each_depth_to_eight_bits():
    deep = np.full((2, 2, 3), 4095, dtype=np.uint16)
    assert outlines.shown_pixels(deep, 12)[0, 0].tolist() == [255, 255, 255, 255]
    red = np.zeros((2, 2, 3), dtype=np.uint8)
    red[..., 0] = 200
    assert outlines.shown_pixels(red)[0, 0].tolist() == [0, 0, 200, 255]


def test_levels_halve_until_small_and_keep_the_mean():
    image = np.random.default_rng(1).integers(0, 255, (1600, 1201, 4), dtype=np.uint8)
    stack = outlines.levels(image)
    assert [level.shape[:2] for level in stack] == [(1600, 1201), (800, 601)]
    assert stack[1].mean() == pytest.approx(image.mean(), abs=1)
