"""Flooding of small crops from seeds, without the general library's preparation.

`skimage.segmentation.watershed` checks, converts and pads its arrays in Python, which takes as long as the
flooding of a small crop. Its compiled routine is called here with arrays made ready in fewer steps; where a
release of the library has it no more, or it takes other arguments, the public function is called instead.
"""

from collections.abc import Callable
from functools import lru_cache
from importlib import import_module
from typing import Any

import numpy as np

_COMPILED = "skimage.segmentation._watershed_cy"  # importing it alone leaves out most of the library


@lru_cache(maxsize=1)
def ready() -> Callable[..., Any] | None:
    """Return the compiled routine, or None where it does not do what is expected of it."""
    try:
        routine: Callable[..., Any] = import_module(_COMPILED).watershed_raveled
        seeds = np.array([[1, 0, 0, 2]], np.int32)
        known = _by_routine(routine, np.array([[0.0, 1.0, 2.0, 0.0]]), seeds, np.ones((1, 4), bool))
    except (ImportError, AttributeError, TypeError, ValueError):
        return None
    return routine if known.tolist() == [[1, 1, 2, 2]] else None


def flooded(heights: np.ndarray, seeds: np.ndarray, mask: np.ndarray) -> np.ndarray:
    """Basins flooded from seeds, over the four neighbours of each pixel; ties go by age.

    Parameters
    ----------
    heights : (M, N) ndarray of float
    seeds : (M, N) ndarray of int32
        1.. where a basin begins, 0 elsewhere.
    mask : (M, N) ndarray of bool
        Where the flood may go.

    Returns
    -------
    basins : (M, N) ndarray of int32
        The very labels of `skimage.segmentation.watershed`.
    """
    routine = ready()
    if routine is None:
        from skimage.segmentation import watershed

        return watershed(heights, seeds, mask=mask).astype(np.int32)
    return _by_routine(routine, heights, seeds, mask)


def _by_routine(
    routine: Callable[..., Any], heights: np.ndarray, seeds: np.ndarray, mask: np.ndarray
) -> np.ndarray:
    rows, cols = heights.shape
    framed = (rows + 2, cols + 2)  # a border that is not flooded stands in for the end of the array
    height, room = np.zeros(framed), np.zeros(framed, np.int8)
    basins = np.zeros(framed, np.int32)
    inner = np.s_[1:-1, 1:-1]
    height[inner], room[inner] = heights, mask
    np.multiply(seeds, mask, out=basins[inner], casting="unsafe")
    flat = basins.ravel()
    around = np.array([-(cols + 2), -1, 1, cols + 2], np.intp)  # in the order of rows, as the library's
    strides = np.array([cols + 2, 1], np.intp)
    routine(height.ravel(), np.flatnonzero(flat), around, room.ravel(), strides, 0.0, flat, False)
    return basins[inner]
