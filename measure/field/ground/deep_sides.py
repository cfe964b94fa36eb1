"""Nearly black pieces in light from the side: where they shine, or blur mixes them with the ground.

Such pieces have no colour; they are known because no shadow takes so much light. Where they shine, and in
their blurred edge, they are as dark and neutral as shadow is. But shadow lies behind a piece as seen from its
lamp: what lies before a nearly black piece, no thicker than it, with the bare ground before that, is its lit
side. Along the other sides the blurred edge is the piece's own.
"""

import cv2
import numpy as np

from measure.field.basics.along import along
from measure.field.basics.masks import SQUARE, disc, fill_holes

_EDGE_PX = 1.5  # how far blur reaches beyond what is nearly black
_MOST = 0.5  # share of the ways of the light in which a side must lie before its piece
_DEEP = 0.5  # share of a piece that is nearly black, from which it is known by that

_HOLE = 0.1  # share of its piece up to which a dark hole is where it shines


def with_lit_sides(pieces: np.ndarray, deep: np.ndarray, dark: np.ndarray, ways: list[float]) -> np.ndarray:
    """Pieces with the lit sides and the blurred edges of those that are nearly black, (M, N) uint8.

    Parameters
    ----------
    pieces : (M, N) ndarray of uint8
        Known by their colour or depth.
    deep : (M, N) ndarray of bool
        What has lost more light than shadow does.
    dark : (M, N) ndarray of bool
        Dark and neutral pixels.
    ways : list of float
        In which the light of each lamp goes, radians from x towards y.
    """
    count, parts, stats, _ = cv2.connectedComponentsWithStats(pieces)
    black = np.bincount(parts.ravel(), deep.ravel(), count) > _DEEP * stats[:, cv2.CC_STAT_AREA]
    black[0] = False
    if not black.any() or not ways:
        return pieces
    own = black[parts]
    kinds = np.where(own, 1, np.where(pieces > 0, 3, 2 * dark)).astype(np.uint8)
    before = np.sum([along(kinds, way, _before_pieces) > 0 for way in ways], axis=0)
    lit = (before > _MOST * len(ways)).view(np.uint8)
    lit = cv2.morphologyEx(lit, cv2.MORPH_OPEN, disc(1.0))
    edge = cv2.dilate(own.view(np.uint8), disc(_EDGE_PX)) * dark.view(np.uint8)
    return np.asarray(np.maximum.reduce([pieces, lit, edge, _highlights(own.view(np.uint8), dark)]))


def _highlights(black: np.ndarray, dark: np.ndarray) -> np.ndarray:
    """Dark places closed in by nearly black pieces with no bare ground in them, (M, N) uint8."""
    holes = fill_holes(black) - black
    count, parts, stats, _ = cv2.connectedComponentsWithStats(holes, connectivity=4)
    bare = np.bincount(parts.ravel(), ~dark.ravel(), count)
    around = cv2.dilate(parts.astype(np.float32), SQUARE).astype(np.int32)
    of = cv2.connectedComponentsWithStats(black, connectivity=8)
    inside = np.zeros(count, bool)
    for k in range(1, count):
        x, y, w, h, size = (int(v) for v in stats[k])
        box = np.s_[max(y - 1, 0) : y + h + 1, max(x - 1, 0) : x + w + 1]
        piece = int(of[1][box][around[box] == k].max(initial=0))
        inside[k] = bare[k] == 0 and size < _HOLE * of[2][piece, cv2.CC_STAT_AREA]
    return inside.view(np.uint8)[parts]


def _before_pieces(kinds: np.ndarray) -> np.ndarray:
    """Mark runs of 2 that come after a run of 0 and before one of 1 that is at least as long."""
    flat = np.pad(kinds, ((0, 0), (1, 1)), constant_values=3).ravel()
    start = np.flatnonzero(np.diff(flat, prepend=255))
    size = np.diff(np.append(start, flat.size))
    kind = flat[start]
    before = (kind == 2) & (np.roll(kind, 1) == 0) & (np.roll(kind, -1) == 1) & (np.roll(size, -1) >= size)
    return np.repeat(before, size).reshape(len(kinds), -1)[:, 1:-1].astype(np.uint8)
