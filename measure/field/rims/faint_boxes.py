"""Faint crystals of several facets: thin dark lines go round them and run between their facets.

A crystal that lies askew shows facets hardly darker or brighter than the oil. Those that reach the level of
finding are found as pieces, the others not at all, but its outer edges close a straight-sided outline, in
which all that was found lies. What a single dark line closes in is no question here (`faint_rims`).
"""

from collections.abc import Iterator

import cv2
import numpy as np

from measure.field.basics.masks import opened, solidity
from measure.field.basics.quick import colours_at
from measure.field.basics.straight_sides import straight_sided
from measure.field.rims.rim_colour import colour_share

_LARGEST = 0.1  # of the picture, up to which it is a piece
_SPIKES_PX = 3.0  # half the width of what is no facet
_FULL = 0.93  # solidity of the outline
_FILLED = 0.5  # share of what the lines close in together, over the whole
_COLOURED = 0.22  # share of colour in a difference from the oil, from which it is no facet
_WITHIN = 0.85  # share of what was found that lies within
_RING_PX = 3.0  # depth of the outline in which its lines lie
_LINED = 0.9  # share of it along which a line is seen
_CLOSED = 0.7  # the same that one thing found lies along, from which it is the rim


def faint_boxes(
    ridge: np.ndarray, labels: np.ndarray, delta: np.ndarray, oil_lab: np.ndarray, least_px2: float
) -> Iterator[tuple[slice, slice, np.ndarray]]:
    """Find straight-sided outlines that thin dark lines close, with lines between facets in them.

    Parameters
    ----------
    ridge : (M, N) ndarray of uint8
        Thin dark lines.
    labels : (M, N) ndarray of int32
        What is found already; 0 for the oil.
    delta : (M, N, 3) ndarray of float32
    oil_lab : (3,) ndarray
    least_px2 : float
        Smallest area reported.

    Yields
    ------
    box : (slice, slice, (m, n) ndarray of uint8)
        Rows, columns and mask of each.
    """
    _, nets, stats, _ = cv2.connectedComponentsWithStats(ridge, connectivity=8)
    left, top, wide, high = stats[:, :4].T
    size = wide * high
    asked = (least_px2 < size) & (size < _LARGEST * labels.size) & (np.minimum(wide, high) >= 4 * _SPIKES_PX)
    asked &= (left > 0) & (top > 0) & (left + wide < labels.shape[1]) & (top + high < labels.shape[0])
    for k in (np.flatnonzero(asked[1:]) + 1).tolist():
        x, y, w, h = (int(v) for v in stats[k, :4])
        box = np.s_[max(0, y - 4) : y + h + 4, max(0, x - 4) : x + w + 4]
        net = (nets[box] == k).view(np.uint8)
        whole = _outline_of(net)
        if whole is None or cv2.countNonZero(whole) < least_px2:
            continue
        if _is_seen(whole, net) and _holds_facets(whole, labels, box, delta[box], oil_lab):
            yield (*box, whole)


def _outline_of(net: np.ndarray) -> np.ndarray | None:
    """What lines close in, if it is straight-sided and falls into more than one facet."""
    lines, tree = cv2.findContours(net, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    within = [parent >= 0 for _, _, _, parent in tree[0].tolist()]
    outer = [line for line, inner in zip(lines, within, strict=True) if not inner]
    holes = [line for line, inner in zip(lines, within, strict=True) if inner]
    facets = [line for line in holes if cv2.contourArea(line) > _SPIKES_PX**2]
    if len(facets) < 2:
        return None
    whole = np.zeros_like(net)
    cv2.drawContours(whole, outer, -1, 1, cv2.FILLED)
    whole = opened(whole, _SPIKES_PX)
    area = cv2.countNonZero(whole)
    if not area or sum(cv2.contourArea(line) for line in facets) < _FILLED * area:
        return None
    return whole if solidity(whole) >= _FULL and straight_sided(whole) else None


def _is_seen(whole: np.ndarray, net: np.ndarray) -> bool:
    """Whether a line goes all round an outline."""
    contours, _ = cv2.findContours(whole, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    near = cv2.distanceTransform(1 - net, cv2.DIST_L2, 3) <= _RING_PX
    outline = max(contours, key=len)[:, 0]
    return len(contours) == 1 and bool(near[outline[:, 1], outline[:, 0]].mean() >= _LINED)


def _holds_facets(
    whole: np.ndarray, labels: np.ndarray, box: tuple[slice, slice], delta: np.ndarray, oil_lab: np.ndarray
) -> bool:
    """Whether what was found in an outline is colourless, lies all within, and is no rim that closes it."""
    own = labels[box]
    inner = cv2.distanceTransform(whole, cv2.DIST_L2, 3)
    ring = (whole > 0) & (inner <= _RING_PX)
    for number in np.unique(own[whole > 0]).tolist():
        if number == 0:
            continue
        part = own == number
        within = part & (whole > 0)
        if np.count_nonzero(within) < _WITHIN * np.count_nonzero(labels == number):
            return False
        around = cv2.dilate(part.view(np.uint8), np.ones((3, 3), np.uint8)) > 0
        if np.count_nonzero(around & ring) > _CLOSED * np.count_nonzero(ring):
            return False
        if colour_share(colours_at(delta, within).mean(axis=0), oil_lab) > _COLOURED:
            return False
    return True
