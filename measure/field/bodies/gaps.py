"""Gaps through which the oil is seen: they part pieces, however well these would fit together."""

from collections import Counter
from math import erf

import cv2
import numpy as np

from measure.field.basics.masks import square
from measure.field.basics.quick import median, norm
from measure.field.edges.edge import colour_length

_NO_OIL = 0.4  # share of the colour of the pieces beside it from which a place is no gap
_PALE = 0.18  # the same over what blur leaves of the pieces in the middle of a gap so wide
_DIP = 0.5  # the same over the fainter of both pieces
_ALONG = 0.9  # share of a border that must be a gap: a pale middle parts a piece, but not its rim


def parted_by_gaps(
    labels: np.ndarray, form: np.ndarray, asked: list[int], delta: np.ndarray, width_px: float
) -> bool:
    """Whether parts of one form are several pieces by the gaps between them.

    A piece that is broken in place, or pieces packed closely, fill one oval together as the parts of a
    single piece with a highlight or a pale middle do. Between pieces the oil is seen all along; what parts
    a single piece stays paler than the oil or ends inside.

    Parameters
    ----------
    labels : (M, N) ndarray of int32
        1.. for each part; 0 between them and outside.
    form : (M, N) ndarray of bool
        Where the parts lie, with all that is between them.
    asked : list of int
        The parts that may be pieces; others are what the form has of its neighbours, or shards.
    delta : (M, N, 3) ndarray of float32
        Difference from the oil.
    width_px : float
        10-90 % width of an edge.
    """
    inside = np.where(form, labels, 0)
    parts = np.unique(inside[inside > 0]).tolist()
    if len(parts) < 2:
        return False
    tones = {n: np.array([median(delta[inside == n][:, i]) for i in range(3)]) for n in parts}
    heights = np.zeros(parts[-1] + 1, np.float32)
    heights[parts] = [norm(tones[n]) for n in parts]
    nearest, away = _nearest(inside)
    # the border may run a px beside the middle of a gap
    lowest: np.ndarray = cv2.erode(colour_length(delta), square(3))
    most = np.minimum(_NO_OIL, _PALE + left_by_blur(away, width_px))
    # beyond the flank of the form itself, which runs across both ends of a border
    inner = cv2.distanceTransform(form.view(np.uint8), cv2.DIST_L2, 5) > 0.5 * width_px
    group = {n: n for n in parts}
    borders = _borders(np.where(inner, nearest, 0), lowest, most, heights)
    for (one, other), gap in borders.items():
        # between light and shade the tone passes that of the oil
        if gap < _ALONG or float(tones[one] @ tones[other]) < 0:
            group = {n: group[one] if g == group[other] else g for n, g in group.items()}
    # a strip along the outline has no border inside on which a gap could be seen
    inside_form = {n for pair in borders for n in pair}
    return len({group[n] for n in asked if n in inside_form}) > 1


def left_by_blur(depth_px: np.ndarray, width_px: float) -> np.ndarray:
    """Share that blur leaves of the pieces in the middle of a gap, so far from the edges to its sides.

    Both flanks reach the middle of a narrow gap; 10-90 % of a Gaussian edge is 2.56 sigma.

    Parameters
    ----------
    depth_px : ndarray of float
    width_px : float
        10-90 % width of an edge.
    """
    depths, where = np.unique(depth_px, return_inverse=True)
    left = np.array([1.0 - erf(2.56 * d / width_px / np.sqrt(2.0)) for d in depths.tolist()])
    return left[where].reshape(depth_px.shape)


def _nearest(labels: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Number of the part nearest to each px, and how far it is, px."""
    away, index = cv2.distanceTransformWithLabels(
        (labels == 0).view(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    table = np.zeros(int(index.max()) + 1, labels.dtype)
    table[index[labels > 0]] = labels[labels > 0]
    return table[index], away


def _borders(
    nearest: np.ndarray, lowest: np.ndarray, most: np.ndarray, heights: np.ndarray
) -> dict[tuple[int, int], float]:
    """Share of the border of each two parts that is gap.

    Parameters
    ----------
    nearest : (M, N) ndarray of int32
        Number of the nearest part; 0 where no border counts.
    lowest : (M, N) ndarray of float32
        Least difference from the oil at each px.
    most : (M, N) ndarray of float
        Most of it in a gap, over that of the parts.
    heights : (K,) ndarray of float32
        Difference of each part from the oil.
    """
    along: Counter[tuple[int, int]] = Counter()
    gaps: Counter[tuple[int, int]] = Counter()
    for near, far in ((np.s_[:, :-1], np.s_[:, 1:]), (np.s_[:-1], np.s_[1:])):
        at = (nearest[near] != nearest[far]) & (nearest[near] > 0) & (nearest[far] > 0)
        pairs = np.sort(np.stack([nearest[near][at], nearest[far][at]]), axis=0)
        lower = np.minimum(lowest[near][at], lowest[far][at])
        # blur leaves of both sides alike; a faint piece may show as little, but no less than itself
        gap = lower < np.maximum(most[near][at], most[far][at]) * heights[pairs].mean(axis=0)
        gap &= lower < _DIP * heights[pairs].min(axis=0)
        along.update(zip(*pairs.tolist(), strict=True))
        gaps.update(zip(*pairs[:, gap].tolist(), strict=True))
    return {pair: gaps[pair] / count for pair, count in along.items()}
