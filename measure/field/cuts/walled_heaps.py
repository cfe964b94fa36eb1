"""A heap of many pieces of one tone cut along all the lines seen in it at once.

Cuts from notch to notch peel off what borders the oil. In a heap most pieces border others only, and a cut
through it leaves heaps on both sides, none of them an oval. There all lines are walls, and what they close in
are pieces where nearly all of it is compact and the walls show nearly all along. Mottle and cracks close in
nothing, or what is ragged.
"""

from typing import NamedTuple

import cv2
import numpy as np

from measure.field.basics.masks import SQUARE, kept_parts, solidity
from measure.field.basics.quick import median, percentile
from measure.field.cuts.cut import cut_by_shape
from measure.field.cuts.cut_colour import spread
from measure.field.cuts.pale_lines import PaleLines, shown_from
from measure.field.cuts.parts import borders_of_parts, heights_along, thick_parts, without_borders

_HEAP, _MANY = 0.93, 4  # solidity from which a body is no heap; pieces it must fall into
_LARGE = 40.0  # area of a heap over that of the smallest piece
_WALL = 1.0  # clearness from which a line is a wall
_SHOWN, _CLEAR = 0.7, 2.0  # share of a border that is wall, and its usual clearness
_COMPACT, _HIDDEN = 0.9, 0.6  # solidity of a piece in front, and of what they leave of others
_INNER_PX = 3.0  # from the borders of parts where unrest is measured again
_BELOW = 0.05  # how far lines lie below both sides, over the heap: gaps 0.15, feet of lenses less than 0


class _Needs(NamedTuple):
    """What parts must show to be pieces of a heap.

    Their number, usual area in px, usual clearness of all borders, usual height over that of the heap, and
    share of the heap in compact pieces.
    """

    pieces: int
    area: float
    clear: float
    deep: float
    in_front: float


# cracks of single pieces reach 2.9 and 0.25, borders of three pieces of paste 3.9 and 0.29 (left to other
# cuts), those of heaps of lit grains more. Where unrest was measured within the parts a net of many meshes is
# asked for, far wider than its lines: blobs of mottle and cells are hardly wider than what parts them
_USUAL, _NET = _Needs(_MANY, 0.0, 3.0, 0.3, 0.4), _Needs(8, np.pi * 8.0**2, 3.5, 0.2, 0.7)


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
    parts = _closed_in(mask, lines.clearness, least_px2, cut_strength)
    if parts is None:
        return whole
    labels = _large(_joined(parts, lines.clearness), mask, least_px2)
    if _is_heap(labels, lines.heights, lines.least, _USUAL):
        return labels
    calm = _unrest_within(parts, mask, lines.heights)
    clearness = lines.heights / np.float32(calm)
    parts = _closed_in(mask, clearness, least_px2, cut_strength)
    if parts is None:
        return whole
    labels = _large(_joined(parts, clearness), mask, least_px2)
    return labels if _is_heap(labels, lines.heights, calm, _NET) and _are_gaps(labels, lines.tone) else whole


def _closed_in(
    mask: np.ndarray, clearness: np.ndarray, least_px2: float, cut_strength: float
) -> np.ndarray | None:
    """Parts of a body that walls close in, grown over it; None where they are too few for a heap."""
    parts = cut_by_shape(mask & (clearness < _WALL).view(np.uint8), cut_strength)
    seeds = thick_parts(parts, 0.3 * least_px2)
    return spread(seeds, mask) if seeds.max() >= _MANY else None


def _unrest_within(parts: np.ndarray, mask: np.ndarray, heights: np.ndarray) -> float:
    """Height from which a line shows, by the unrest away from the borders of parts.

    Of a heap most of the lines are borders, and among all its px they would pass for unrest.
    """
    own = parts.astype(np.float32)
    inner = (cv2.dilate(own, SQUARE) == cv2.erode(own, SQUARE)) & (mask > 0)
    away = cv2.distanceTransform(inner.view(np.uint8), cv2.DIST_L2, 5) > _INNER_PX
    return shown_from(heights[away])


def _is_heap(labels: np.ndarray, heights: np.ndarray, least: float, needs: _Needs) -> bool:
    """Whether parts are compact pieces with a wall along most borders."""
    sizes = np.bincount(labels.ravel(), minlength=2)[1:]
    if len(sizes) < needs.pieces or np.median(sizes) < needs.area:
        return False
    usual = median(borders_of_parts(labels, heights)[2])
    if usual < needs.clear * least or usual < needs.deep:
        return False
    full = np.array([solidity((labels == k + 1).view(np.uint8)) for k in range(len(sizes))])
    in_front = sizes[full >= _COMPACT].sum() >= needs.in_front * sizes.sum()
    return bool(in_front and full.min() >= _HIDDEN)


def _are_gaps(labels: np.ndarray, tone: np.ndarray) -> bool:
    """Whether most of the borders are nearer to the oil than both sides.

    Beside the foot of a lens, where two pieces lie over one another, the paler side is as near.
    """
    usual = np.array([0.0, *(median(tone[labels == k]) for k in range(1, int(labels.max()) + 1))])
    one, other, line = borders_of_parts(labels, -tone)
    return percentile(np.minimum(usual[one], usual[other]) + line, 25) > _BELOW


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
