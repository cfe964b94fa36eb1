"""A heap of many pieces of one tone cut along all the lines seen in it at once.

Cuts from notch to notch peel off what borders the oil. In a heap most pieces border others only, and a cut
through it leaves heaps on both sides, none of them an oval. There all lines are walls, and what they close in
are pieces where nearly all of it is compact and the walls show nearly all along. Mottle and cracks close in
nothing, or what is ragged.
"""

import cv2
import numpy as np

from measure.field.basics.masks import kept_parts, solidity
from measure.field.basics.quick import median
from measure.field.cuts.cut import cut_by_shape
from measure.field.cuts.cut_colour import spread
from measure.field.cuts.pale_lines import PaleLines
from measure.field.cuts.parts import borders_of_parts, heights_along, thick_parts, without_borders

_HEAP, _MANY = 0.93, 4  # solidity from which a body is no heap; pieces it must fall into
_LARGE = 40.0  # area of a heap over that of the smallest piece
_WALL = 1.0  # clearness from which a line is a wall
_SHOWN, _CLEAR = 0.7, 2.0  # share of a border that is wall, and its usual clearness
# usual clearness of all borders, and height over that of the heap: cracks of single pieces reach 2.9 and
# 0.25, borders of three pieces of paste 3.9 and 0.29 (left to other cuts), those of heaps of lit grains more
_ALL_CLEAR, _DEEP = 3.0, 0.3
# solidity of a piece in front, share of the heap in such pieces, and solidity of what they leave of others
_COMPACT, _MOSTLY, _HIDDEN = 0.9, 0.4, 0.6


def cut_by_walls(
    mask: np.ndarray, delta: np.ndarray, least_px2: float, cut_strength: float = 0.5
) -> np.ndarray:
    """Label the pieces of a heap that lines close in.

    Parameters
    ----------
    mask : (M, N) ndarray of uint8
    delta : (M, N, 3) ndarray of float32
        CIELAB difference from the oil.
    least_px2 : float
        Smallest area of a part.
    cut_strength : float
        0..1; how shallow a neck is cut once the walls are taken out.

    Returns
    -------
    labels : (M, N) ndarray of int32
        0 outside, 1.. inside; all 1 where it is no heap.
    """
    whole = (mask > 0).astype(np.int32)
    if cv2.countNonZero(mask) < _LARGE * least_px2 or solidity(mask) >= _HEAP:
        return whole
    lines = PaleLines(mask, delta)
    open_ = mask & (lines.clearness < _WALL).view(np.uint8)
    parts = cut_by_shape(open_, cut_strength)
    seeds = thick_parts(parts, 0.3 * least_px2)
    if seeds.max() < _MANY:
        return whole
    labels = _large(_joined(spread(seeds, mask), lines.clearness), mask, least_px2)
    sizes = np.bincount(labels.ravel(), minlength=2)[1:]
    if len(sizes) < _MANY:
        return whole
    clear = median(borders_of_parts(labels, lines.clearness)[2])
    if clear < _ALL_CLEAR or clear * lines.least < _DEEP:
        return whole
    full = np.array([solidity((labels == k + 1).view(np.uint8)) for k in range(len(sizes))])
    in_front = sizes[full >= _COMPACT].sum() >= _MOSTLY * sizes.sum()
    return labels if in_front and full.min() >= _HIDDEN else whole


def _large(labels: np.ndarray, mask: np.ndarray, least_px2: float) -> np.ndarray:
    """Parts without those too small, whose pixels fall to the nearest others."""
    left = kept_parts(labels, np.bincount(labels.ravel()) >= least_px2)
    return spread(left, mask) if left.any() else labels


def _joined(labels: np.ndarray, clearness: np.ndarray) -> np.ndarray:
    """Parts without the borders at which no wall is seen, numbered anew."""
    unseen = []
    for pair, heights in heights_along(labels, clearness).items():
        values = np.array(heights)
        if (values > _WALL).mean() < _SHOWN or np.median(values) < _CLEAR:
            unseen.append(pair)
    return without_borders(labels, unseen)
