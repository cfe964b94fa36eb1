"""Tails: what hangs on a piece without being part of it, such as a thread, a streak of shadow, a scale bar.

The half level of an edge follows the plateau beside it, so a faint strip that hangs on a strong piece is
outlined at half of itself and goes with the piece. Two things give it away once the outline is known. What is
below half of the piece itself, farther from all that is not than blur carries an edge, is not that piece's
own; and no corner, facet or torn skin is several times longer than wide and far thinner than its piece.
Either must stick out of a solid piece: a pale part that fills a bead out to its round form belongs to it, and
the horns of a crescent are what is seen of another.
"""

from typing import NamedTuple

import cv2
import numpy as np

from measure.field.basics.masks import dilated, drawn, fill_holes, opened_to, solidity
from measure.field.basics.outline import area
from measure.field.basics.quick import colours_at, median, percentile
from measure.field.edges.edge import SMOOTHING_SIGMA_PX, Piece, along_own_colour, edge_reach

_STICKS_OUT = 0.01  # area missing in the hull over the piece's, below which nothing hangs on it
_LEAST_BAY_PX2 = 6.0
_BODY = 0.92  # solidity from which the rest is surely one piece, on which something else can hang
_HALF = 0.5  # of the piece's height, below which a part is not its own
_FLANK_PX = 1.5  # how far beyond the half level pixel steps and texture may carry an outline
_BLUR = 3.0  # standard deviations of the edge's blur within which a sharp corner may fade
_THREAD_HALF = 0.15  # half the width of a thread over the deepest place of its piece, at most
_LENGTHS = 1.8  # times its width, from which a thin part is a thread
_FEW_PX = 5
_LEAST_DEEP_PX = 4.0  # half the thickness of a piece from which it may have threads
_FOUND_PX = 4.0  # how far beyond its outline a piece may have been found


class Trimmed(NamedTuple):
    """A piece without its tails, and those of them that may be pieces themselves."""

    piece: Piece
    cut_off: list[Piece]


def without_tails(piece: Piece, outline: np.ndarray, least_px2: float) -> Trimmed | None:
    """Cut the tails off a piece.

    Parameters
    ----------
    piece : Piece
    outline : (P, 2) ndarray of float32
        Its outline, in its crop.
    least_px2 : float
        Smallest area of a tail that becomes a piece.

    Returns
    -------
    trimmed : Trimmed or None
        None where it has none; its outline is to be placed anew otherwise.
    """
    own = area(outline)
    bays = float(cv2.contourArea(cv2.convexHull(outline.astype(np.float32)))) - own
    if piece.rim_only or bays < max(_LEAST_BAY_PX2, _STICKS_OUT * own):
        return None
    mask = drawn(outline, piece.mask.shape)
    inside = mask.view(bool)
    if not inside.any():
        return None
    field = along_own_colour(piece.delta, colours_at(piece.delta, piece.mask.view(bool)))
    height = median(field[inside])
    weak, threads = _faint(mask, field, height, piece), _threads(mask)
    tails = weak | threads
    if not tails.any():
        return None
    rest, pieces = _main_part(mask & ~tails & 1), []
    if solidity(rest) < _BODY:
        return None
    off = mask & ~rest & 1
    _, parts, stats, _ = cv2.connectedComponentsWithStats(off, connectivity=8)
    others = piece.others | (threads & off).view(bool)
    for n in np.flatnonzero(stats[1:, cv2.CC_STAT_AREA] >= least_px2) + 1:
        part = parts == n
        if percentile(field[part], 90) >= _HALF * height:
            pieces.append(piece._replace(mask=part.view(np.uint8), others=piece.others | rest.view(bool)))
            others |= part
    # what was found of the tail beyond its outline goes with it
    beside = dilated(off, _FOUND_PX) & ~dilated(rest, 1.0) & 1
    body = piece.mask & ~off & ~beside & 1
    if not body.any():
        return None  # what was found lies all in the tail
    return Trimmed(piece._replace(mask=body, others=others), pieces)


def _main_part(rest: np.ndarray) -> np.ndarray:
    """Largest connected part, (M, N) uint8."""
    count, parts, stats, _ = cv2.connectedComponentsWithStats(rest, connectivity=4)
    if count <= 2:
        return rest
    return (parts == 1 + int(stats[1:, cv2.CC_STAT_AREA].argmax())).view(np.uint8)


def _faint(mask: np.ndarray, field: np.ndarray, height: float, piece: Piece) -> np.ndarray:
    """Parts below half of the piece, too far from what is not for its own blurred edge, (M, N) uint8."""
    strong = fill_holes(mask & (field >= _HALF * height).view(np.uint8))
    weak, tails = mask & ~strong & 1, np.zeros(mask.shape, mask.dtype)
    if cv2.countNonZero(weak) < _FEW_PX or not strong.any():
        return tails
    away = cv2.distanceTransform(1 - strong, cv2.DIST_L2, 5)
    away[weak == 0] = 0.0
    if away.max() <= _FLANK_PX + _BLUR * SMOOTHING_SIGMA_PX:
        return tails
    sigma = edge_reach(field, piece.mask, piece.mask.view(bool))[1]
    count, parts = cv2.connectedComponents(weak, connectivity=8)
    reach = np.zeros(count, np.float32)
    np.maximum.at(reach, parts.ravel(), away.ravel())
    whole = solidity(mask)
    for n in np.flatnonzero(reach > _FLANK_PX + _BLUR * sigma):
        part = (parts == n).view(np.uint8)
        if solidity(mask & ~part & 1) > whole:
            tails |= part
    return tails


def _threads(mask: np.ndarray) -> np.ndarray:
    """Parts far thinner than the piece and longer than wide, (M, N) uint8."""
    framed = cv2.copyMakeBorder(mask, 1, 1, 1, 1, cv2.BORDER_REPLICATE)
    depth = cv2.distanceTransform(framed, cv2.DIST_L2, 5)
    deepest, threads = float(depth.max()), np.zeros(framed.shape, framed.dtype)
    if deepest < _LEAST_DEEP_PX:
        return threads[1:-1, 1:-1]
    body = opened_to(framed, depth, max(1.0, _THREAD_HALF * deepest))
    thin = framed & ~body & 1
    if cv2.countNonZero(thin) < _FEW_PX:
        return threads[1:-1, 1:-1]
    away = cv2.distanceTransform(1 - body, cv2.DIST_L2, 5)
    _, parts, stats, _ = cv2.connectedComponentsWithStats(thin, connectivity=8)
    for n in np.flatnonzero(stats[1:, cv2.CC_STAT_AREA] >= _FEW_PX) + 1:
        part = parts == n
        if away[part].max() > _LENGTHS * 2.0 * depth[part].max():
            threads[part] = 1
    return threads[1:-1, 1:-1].copy()
