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


@pytest.mark.parametrize("radius", [0.5, 1.5, 3.3, 4.6, 4.8, 9.0, 40.0])
def test_a_small_mask_in_a_large_array_grows_and_shrinks_as_in_any(radius: float, monkeypatch):
    for seed in range(8):
        rng = np.random.default_rng(seed)
        mask = np.zeros((118, 131), np.uint8)
        part = blotches(seed)
        y, x = (int(rng.integers(0, n - k + 1)) for n, k in zip(mask.shape, part.shape, strict=True))
        mask[y : y + part.shape[0], x : x + part.shape[1]] = part
        assert mask.size >= masks._MANY_PX
        own = masks.dilated(mask, radius), masks.eroded(mask, radius)
        with monkeypatch.context() as patched:
            patched.setattr(masks, "_MANY_PX", mask.size + 1)
            plain = masks.dilated(mask, radius), masks.eroded(mask, radius)
        for one, other in zip(own, plain, strict=True):
            assert one.dtype == other.dtype
            np.testing.assert_array_equal(one, other)
    assert masks._about(mask, 2) is not None


def test_the_box_about_a_mask_begins_at_even_places_and_holds_its_margin():
    mask = np.zeros((40, 50), np.uint8)
    mask[13:17, 3:9] = 1
    assert masks.box_about(mask, 6) == (slice(6, 23), slice(0, 15))
    assert masks.box_about(mask, 5)[0] == slice(8, 22)


def test_kept_parts_are_numbered_anew_in_order():
    labels = np.array([[0, 1, 2], [3, 3, 4]], np.int32)
    for nothing in (True, False):
        kept = masks.kept_parts(labels, np.array([nothing, False, True, False, True]))
        np.testing.assert_array_equal(kept, [[0, 0, 1], [0, 0, 2]])
        assert kept.dtype == np.int32
