"""Flooding gives the labels of scikit-image's watershed, which it leaves out the preparation of."""

import numpy as np
import pytest
from skimage.segmentation import watershed

from measure.field.basics import flood


def _case(seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Heights with many ties, seeds some of which lie outside the mask or at the border."""
    rng = np.random.default_rng(seed)
    shape = tuple(rng.integers(1, 40, 2))
    heights = rng.integers(0, 5, shape).astype(np.float32) - np.float32(rng.uniform(0, 1))
    mask = rng.uniform(size=shape) < rng.uniform(0.5, 1.0)
    seeds = np.where(rng.uniform(size=shape) < 0.05, rng.integers(1, 9, shape), 0).astype(np.int32)
    return heights, seeds, mask


@pytest.mark.parametrize("seed", range(40))
def test_labels_are_those_of_the_library(seed: int):
    heights, seeds, mask = _case(seed)
    basins = flood.flooded(heights, seeds, mask)
    assert basins.dtype == np.int32
    assert np.array_equal(basins, watershed(heights, seeds, mask=mask))


def test_the_compiled_routine_is_used_and_inputs_stay():
    assert flood.ready() is not None
    heights, seeds, mask = _case(3)
    before = heights.copy(), seeds.copy(), mask.copy()
    flood.flooded(heights, seeds, mask)
    for now, then in zip((heights, seeds, mask), before, strict=True):
        assert np.array_equal(now, then)


def test_without_the_routine_the_public_function_is_called(monkeypatch: pytest.MonkeyPatch):
    heights, seeds, mask = _case(5)
    expected = flood.flooded(heights, seeds, mask)
    monkeypatch.setattr(flood, "ready", lambda: None)
    assert np.array_equal(flood.flooded(heights, seeds, mask), expected)
