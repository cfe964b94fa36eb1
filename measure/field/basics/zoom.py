"""Small pieces are looked at twice as large, so that lines, necks and gaps are some pixels wide there too.

What parts two pieces that touch, a notch or a paler line, is a tenth as wide as they are: two pixels in
pieces of twenty, and every opening, closing and smoothing works in whole pixels. Cubic interpolation makes no
detail, but what lies between the pixels can be told apart. Where pieces are larger nothing would be gained.
"""

from collections.abc import Sequence

import cv2
import numpy as np

from measure.field.basics.outline import area
from measure.field.basics.quick import quantile

__all__ = ["SMALL_PX", "ZOOM", "zoom_of", "zoomed", "zoomed_mask"]

SMALL_PX = 20.0  # diameter from which a piece is large enough as it is
ZOOM = 2


def zoom_of(outlines: Sequence[np.ndarray], share: float = 0.5) -> int:
    """How many times larger some pieces that meet are looked at.

    Parameters
    ----------
    outlines : sequence of (P, 2) ndarray
        The pieces, px.
    share : float
        Which of their diameters counts: 0 for the smallest, 0.5 for the median, 1 for the largest.

    Returns
    -------
    int
        1 as they are, 2 where they are small.
    """
    middle = quantile(np.array([area(outline) for outline in outlines]), share)
    return ZOOM if 2.0 * np.sqrt(middle / np.pi) < SMALL_PX else 1


def zoomed(field: np.ndarray, zoom: int) -> np.ndarray:
    """A field of values so many times larger, (zoom M, zoom N[, 3]) of its type; itself for 1."""
    if zoom == 1:
        return field
    return cv2.resize(field, None, fx=zoom, fy=zoom, interpolation=cv2.INTER_CUBIC)


def zoomed_mask(mask: np.ndarray, zoom: int) -> np.ndarray:
    """A mask so many times larger, its border smoothed, (zoom M, zoom N) of bool."""
    return zoomed((mask > 0).astype(np.float32), zoom) > 0.5
