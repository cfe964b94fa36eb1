"""Masks: filled holes, discs and numbers against the plain ways to them, pixel for pixel."""

import cv2
import numpy as np
import pytest
from scipy import ndimage

from measure.field.basics import masks


def blotches(seed: int) -> np.ndarray:
    """A mask of some size with parts, holes and lines one pixel wide, (M, N) uint8."""
    rng = np.random.default_rng(seed)
    rows, cols = rng.integers(1, 70, 2)
    field = cv2.GaussianBlur(rng.random((rows, cols)).astype(np.float32), (0, 0), 0.1 + 3.0 * rng.random())
    return (field > np.quantile(field, 0.1 + 0.8 * rng.random())).astype(np.uint8)


@pytest.mark.parametrize("seed", range(60))
def test_holes_are_filled_as_the_reference_library_fills_them(seed: int):
    mask = blotches(seed)
    # parts hang together over corners, so oil does over sides alone
    expected = ndimage.binary_fill_holes(mask, ndimage.generate_binary_structure(2, 1))
    np.testing.assert_array_equal(masks.fill_holes(mask) > 0, expected)


@pytest.mark.parametrize("connectivity", [4, 8])
@pytest.mark.parametrize("seed", range(60))
def test_parts_have_the_numbers_boxes_and_areas_of_the_reference_library(seed: int, connectivity: int):
    mask = blotches(seed)
    count, parts, stats = masks.numbered(mask, connectivity)
    expected, numbers = cv2.connectedComponents(mask, connectivity=connectivity)
    assert count == expected
    assert parts.dtype == np.int32
    np.testing.assert_array_equal(parts, numbers)
    assert stats[0].tolist() == [0, 0, 0, 0, 0]
    for k, (rows, cols) in enumerate(ndimage.find_objects(numbers), 1):
        size = [cols.start, rows.start, cols.stop - cols.start, rows.stop - rows.start]
        assert stats[k].tolist() == [*size, int((numbers == k).sum())]


@pytest.mark.parametrize("radius", [0.2, 1.0, 1.5, 2.0, 2.3, np.sqrt(4.5), 4.999, 7.37, 20.0])
def test_a_disc_holds_all_within_its_radius(radius: float):
    found = masks.disc(radius)
    reach = len(found) // 2
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    assert reach == max(1, int(np.ceil(radius)))
    np.testing.assert_array_equal(found > 0, x * x + y * y <= radius * radius + 0.5)
