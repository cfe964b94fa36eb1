"""Parts of a body: what is seen where they meet, joined and cut further."""

import numpy as np

from measure.field.cuts.parts import (
    borders_of_parts,
    compact_parts,
    cut_each,
    half_widths,
    heights_along,
    thick_parts,
    without_borders,
)


def _stripes(*widths: int) -> np.ndarray:
    """Parts side by side, with nothing about them."""
    row = np.repeat(np.arange(1, len(widths) + 1), widths)
    return np.pad(np.tile(row, (6, 1)), 2).astype(np.int32)


def test_the_highest_line_beside_a_border_is_told():
    labels = _stripes(5, 5, 5)
    heights = np.zeros(labels.shape, np.float32)
    heights[:, 7] = 0.4
    one, other, height = borders_of_parts(labels, heights)
    assert len(one) == len(other) == len(height) == 12
    seen = heights_along(labels, heights)
    assert list(seen) == [(1, 2), (2, 3)]
    np.testing.assert_allclose(seen[1, 2], 0.4)
    np.testing.assert_array_equal(seen[2, 3], 0.0)


def test_parts_without_a_border_are_one():
    labels = _stripes(3, 3, 3, 3)
    np.testing.assert_array_equal(without_borders(labels, []), labels)
    joined = without_borders(labels, [(3, 4), (1, 3)])
    np.testing.assert_array_equal(joined[4], [0, 0, 1, 1, 1, 2, 2, 2, 1, 1, 1, 1, 1, 1, 0, 0])


def test_each_part_is_cut_further_in_order():
    labels = _stripes(4, 6)

    def halves(part: np.ndarray) -> np.ndarray:
        columns = np.flatnonzero(part.any(axis=0))
        cut = part.astype(np.int32)
        cut[:, columns[len(columns) // 2] :] *= 2
        return cut

    np.testing.assert_array_equal(cut_each(labels, halves)[4], [0, 0, 1, 1, 2, 2, 3, 3, 3, 4, 4, 4, 0, 0])


def test_parts_side_by_side_are_no_thicker_for_that():
    labels = np.zeros((30, 30), np.int32)
    labels[5:25, 5:9], labels[5:25, 9:25] = 1, 2
    np.testing.assert_allclose(half_widths(labels), [0, 2, 8], atol=0.3)
    np.testing.assert_array_equal(compact_parts(labels), [320])


def test_parts_that_are_thick_and_large_enough_are_kept_in_order():
    labels = _stripes(2, 5, 1, 5)
    np.testing.assert_array_equal(thick_parts(labels, 20)[4], [0] * 4 + [1] * 5 + [0] + [2] * 5 + [0] * 2)
    assert thick_parts(labels, 31).max() == 0


def test_compact_parts_are_hardly_larger_than_the_disc_in_them():
    labels = np.zeros((40, 80), np.int32)
    labels[10:20, 10:20] = 1
    labels[10:16, 30:70] = 2
    np.testing.assert_array_equal(compact_parts(labels), [100])
