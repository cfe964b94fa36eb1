"""Cut heaps of small pieces at their necks once the gaps between them are taken out.

Where many pieces lie close, blur fills what lies between them: at half of their height the heap is one body
with few necks left, and each cut leaves heaps on both sides. The gaps still show as lines towards the tone of
the oil. Without them a heap falls into many compact parts, and each of these speaks for the others: one piece
hardly ever falls into many. Mottle does so, but it is as lively within the parts as between them.
"""

import cv2
import numpy as np

from measure.field.basics.masks import SQUARE, kept_parts, solidity
from measure.field.basics.quick import median, percentile
from measure.field.cuts.cut import cut_by_shape
from measure.field.cuts.cut_colour import spread
from measure.field.cuts.cut_lobes import cut_by_lobes
from measure.field.cuts.neck_evidence import without_false_cuts
from measure.field.cuts.pale_lines import PaleLines
from measure.field.cuts.parts import compact_parts, cut_each, heights_along, thick_parts, without_borders

_FULL, _MANY = 0.93, 4  # solidity from which a body is no heap; compact parts it must fall into
_GAP = 0.12  # height of a line over that of the piece, from which it is a gap
_SMALL = 0.3  # share of the smallest area a part must have without its share of the gaps
_MOSTLY = 0.75  # of the heap in compact parts
# height of the usual line along a border, over that of the piece and over the unrest within the parts, which
# all but some of the borders reach: drawn heaps 0.17 and 3.1 and more, mottled pieces seldom so much of both
_SHOWN, _CALM, _ALL_BUT = 0.15, 3.5, 20
_SEEN = 0.09  # the same height from which two parts are not joined again
_INNER_PX, _UNREST = 2.0, 90  # from the nearest border; percentile of the heights there
_WITHIN = 0.7  # of a part in a piece that is full, from which it belongs to that


def cut_heap(mask: np.ndarray, delta: np.ndarray, least_px2: float, cut_strength: float) -> np.ndarray | None:
    """Label the pieces of a heap.

    Parameters
    ----------
    mask : (M, N) ndarray of uint8
    delta : (M, N, 3) ndarray of float32
        CIELAB difference from the oil.
    least_px2 : float
        Smallest area of a piece.
    cut_strength : float
        0..1.

    Returns
    -------
    labels : (M, N) ndarray of int32, or None
        0 outside, 1.. inside; None where it is no heap.
    """
    if cv2.countNonZero(mask) < _MANY * least_px2 or solidity(mask) > _FULL:
        return None
    heights = PaleLines(mask, delta).heights
    parts = cut_by_shape(mask & (heights < _GAP).view(np.uint8), cut_strength)
    if len(compact_parts(parts)) < _MANY:
        return None
    parts = cut_each(parts, lambda part: cut_by_lobes(part, least_px2))
    parts = without_false_cuts(parts, delta, cut_strength, crowded=True)
    labels = _joined(spread(thick_parts(parts, _SMALL * least_px2), mask), heights)
    compact = compact_parts(labels)
    if len(compact) < _MANY or compact.sum() < _MOSTLY * cv2.countNonZero(mask):
        return None
    return labels if _are_gaps(labels, heights) else None


def _usual_heights(labels: np.ndarray, heights: np.ndarray) -> dict[tuple[int, int], float]:
    """Height of the usual line along each border."""
    return {pair: median(np.array(values)) for pair, values in heights_along(labels, heights).items()}


def _joined(labels: np.ndarray, heights: np.ndarray) -> np.ndarray:
    """Parts without the borders along which no gap is seen."""
    usual = _usual_heights(labels, heights)
    return without_borders(labels, [pair for pair, height in usual.items() if height < _SEEN])


def _are_gaps(labels: np.ndarray, heights: np.ndarray) -> bool:
    """Whether lines show along the borders of parts, and hardly within them."""
    usual = _usual_heights(labels, heights)
    if not usual:
        return False
    least = percentile(np.array(list(usual.values())), _ALL_BUT)
    own = labels.astype(np.float32)
    border = cv2.dilate(own, SQUARE) != cv2.erode(own, SQUARE)
    away = cv2.distanceTransform(1 - border.view(np.uint8), cv2.DIST_L2, 5)
    inner = heights[(away >= _INNER_PX) & (labels > 0)]
    unrest = max(percentile(inner, _UNREST), 0.0) if inner.size else 0.0
    return bool(least > _SHOWN and least > _CALM * unrest)


def without_cuts_in_full(heap: np.ndarray, cut: np.ndarray) -> np.ndarray:
    """Parts of a heap once those are joined that lie in one full piece found otherwise.

    Parameters
    ----------
    heap, cut : (M, N) ndarray of int32
        0 outside, 1.. for the parts of one body, cut by its gaps and otherwise.
    """
    out = heap.copy()
    sizes = np.bincount(heap.ravel())
    for k in range(1, int(cut.max()) + 1):
        own = cut == k
        inside = np.bincount(heap[own], minlength=len(sizes)) > _WITHIN * sizes
        inside[0] = False
        if np.count_nonzero(inside) > 1 and solidity(own.view(np.uint8)) >= _FULL:
            out[inside[heap]] = np.flatnonzero(inside)[0]
    return kept_parts(out, np.bincount(out.ravel()) > 0)
