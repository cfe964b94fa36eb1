"""Coverage of pixels by polygons, against closed forms and shapely."""

import numpy as np
import pytest
import shapely

from measure.render.coverage import coverage, polygon_area


def test_square_between_pixels_is_exact():
    square = np.array([[1.25, 1.5], [3.75, 1.5], [3.75, 3.0], [1.25, 3.0]])
    found = coverage(square, 0, 0, 5, 4, lines=16)
    expected = np.outer([0, 0.5, 1, 0], [0, 0.75, 1, 0.75, 0])
    np.testing.assert_allclose(found, expected, atol=1e-6)


@pytest.mark.parametrize("seed", range(6))
def test_every_pixel_agrees_with_shapely(seed):
    rng = np.random.default_rng(seed)
    angle = np.sort(rng.uniform(0, 2 * np.pi, 17))
    radius = rng.uniform(2.0, 6.0, 17)
    outline = np.column_stack([7 + radius * np.cos(angle), 6.4 + radius * np.sin(angle)])
    found = coverage(outline, 0, 0, 14, 13, lines=64)
    polygon = shapely.Polygon(outline)
    exact = [
        [polygon.intersection(shapely.box(x, y, x + 1, y + 1)).area for x in range(14)] for y in range(13)
    ]
    np.testing.assert_allclose(found, exact, atol=0.02)
    assert found.sum() == pytest.approx(polygon.area, rel=2e-3)


def test_turning_direction_does_not_matter_and_outside_is_cut_off():
    outline = np.array([[-2.0, -1.0], [3.0, 1.0], [2.0, 9.0]])
    found = coverage(outline, 0, 0, 4, 5)
    np.testing.assert_allclose(found, coverage(outline[::-1], 0, 0, 4, 5), atol=1e-6)
    inside = shapely.Polygon(outline).intersection(shapely.box(0, 0, 4, 5)).area
    assert found.sum() == pytest.approx(inside, abs=0.02)


def test_mean_coverage_of_small_discs_has_no_bias():
    rng = np.random.default_rng(3)
    angle = np.linspace(0, 2 * np.pi, 360, endpoint=False)
    circle = 2.5 * np.column_stack([np.cos(angle), np.sin(angle)])
    sums = [coverage(circle + rng.uniform(4, 5, 2), 0, 0, 9, 9).sum() for _ in range(200)]
    assert np.mean(sums) == pytest.approx(np.pi * 2.5**2, rel=1e-3)


def test_area_of_a_known_triangle():
    assert polygon_area(np.array([[0.0, 0.0], [4.0, 0.0], [0.0, 3.0]])) == 6.0
