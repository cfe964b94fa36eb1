"""Lenses that were found as pieces: where two neighbours lie over one another and neither has that area.

A piece between two others whose density is the sum of theirs (Beer-Lambert law), which hardly meets the oil
and without which they are no fuller, is what both have in common; it is given to both.
"""

from collections.abc import Sequence
from itertools import combinations

import cv2
import numpy as np
import shapely

from measure.field.basics.masks import SQUARE, drawn
from measure.field.basics.polygons import largest, outline_of, polygons_of
from measure.field.basics.quick import colours_at, median_colour, norm
from measure.field.overlaps.lenses import misfit

_MISFIT = 0.3  # of the fainter piece's density, up to which two densities add up to a third
# pieces are thinner towards their edges and blur takes from a narrow lens: where both become fuller with it
# by so much, it may be fainter than the sum
_THIN, _FULLER = 0.5, 0.01
_SMALLER = 0.65  # area of a lens over that of the smaller piece, at most
_REACH_PX = 2.5  # how far a lens may be from a piece it borders
_FREE, _SIDE = 0.25, 0.15  # share of a lens's outline that may meet the oil, and that must meet each piece
_LESS_FULL = 0.06  # solidity a piece may lose by the lens, at perfect fit
_GAP_PX = 1.2  # closed between a lens and a piece
_LEAST_PX2 = 9


def lone_lenses(
    outlines: Sequence[np.ndarray],
    rim_only: Sequence[bool],
    density: np.ndarray,
    polygons: Sequence[shapely.Polygon] | None = None,
) -> tuple[dict[int, np.ndarray], set[int]]:
    """Give lenses that stand as pieces to the two they belong to.

    Parameters
    ----------
    outlines : sequence of (P, 2) ndarray
        Pieces of a cluster, in the crop's coordinates.
    rim_only : sequence of bool
        Which of them are see-through.
    density : (M, N, 3) ndarray of float32
        Optical density against the oil.
    polygons : sequence of Polygon, optional
        Of the outlines, where they are known.

    Returns
    -------
    changed : dict of int to (P, 2) ndarray
        New outlines of some pieces.
    gone : set of int
        Pieces that were but lenses.
    """
    solid = [k for k, clear in enumerate(rim_only) if not clear]
    if len(solid) < 3:
        return {}, set()
    shapes = dict(enumerate(polygons or polygons_of(outlines)))
    shapes = {k: shapes[k] for k in solid}
    tree = shapely.STRtree([shapes[k] for k in solid])
    tones: dict[int, np.ndarray | None] = {}
    changed: dict[int, np.ndarray] = {}
    gone: set[int] = set()
    for lens in sorted(solid, key=lambda k: shapes[k].area):
        near = [solid[n] for n in tree.query(shapes[lens], predicate="dwithin", distance=_REACH_PX)]
        near = sorted(k for k in near if k not in gone and shapes[lens].area < _SMALLER * shapes[k].area)
        if len(near) < 2 or lens in changed:
            continue
        for k in (lens, *near):
            if k not in tones:
                tones[k] = _tone(k, shapes, density)
        pair = _pair(lens, near, shapes, tones)
        if pair is None:
            continue
        gone.add(lens)
        for k in pair:
            shapes[k] = _with(shapes[k], shapes[lens])
            changed[k] = outline_of(shapes[k])
    return {k: outline for k, outline in changed.items() if k not in gone}, gone


def _tone(k: int, shapes: dict[int, shapely.Polygon], density: np.ndarray) -> np.ndarray | None:
    """Median density of a piece away from its edge and from others over it, or None where nothing is left."""
    x0, y0, x1, y1 = shapes[k].bounds
    corner = np.array([max(0, int(x0) - 1), max(0, int(y0) - 1)], float)
    box = np.s_[int(corner[1]) : int(y1) + 2, int(corner[0]) : int(x1) + 2]
    size = density[box].shape[:2]
    own: np.ndarray = cv2.erode(drawn(outline_of(shapes[k]) - corner, size), SQUARE)
    for n, other in shapes.items():
        if n != k and other.area < shapes[k].area and other.intersects(shapes[k]):
            own = own & (1 - drawn(outline_of(other) - corner, size))
    if cv2.countNonZero(own) < _LEAST_PX2:
        return None
    return np.asarray(median_colour(colours_at(density[box], own > 0)), np.float64)


def _pair(
    lens: int,
    near: list[int],
    shapes: dict[int, shapely.Polygon],
    tones: dict[int, np.ndarray | None],
) -> tuple[int, int] | None:
    """The two pieces a lens belongs to, those whose densities add up best, or None."""
    tone, shape = tones[lens], shapes[lens]
    if tone is None:
        return None
    height = norm(tone)
    beside: dict[int, np.ndarray] = {}
    for k in near:
        own = tones[k]
        if own is not None and norm(own) < height:
            along = shape.exterior.intersection(shapes[k].buffer(_REACH_PX)).length
            if along >= _SIDE * shape.exterior.length:
                beside[k] = own
    best: tuple[int, int] | None = None
    least = _THIN
    for a, b in combinations(beside, 2):
        off = misfit(tone, beside[a], beside[b])
        if off >= least:
            continue
        both = shapely.union(shapes[a], shapes[b]).buffer(_REACH_PX)
        free = shape.exterior.difference(both).length / shape.exterior.length
        allowed = _LESS_FULL * (1.0 - off / _MISFIT) if off < _MISFIT else -_FULLER
        if free <= _FREE and all(_as_full(shapes[k], shape, allowed) for k in (a, b)):
            best, least = (a, b), off
    return best


def _as_full(piece: shapely.Polygon, lens: shapely.Polygon, allowed: float) -> bool:
    """Whether a piece is as full with a lens as without it."""
    whole, alone = _with(piece, lens), largest(piece.difference(lens))
    return _fullness(whole) >= _fullness(alone) - allowed


def _fullness(shape: shapely.Polygon) -> float:
    return float(shape.area / max(shape.convex_hull.area, 1e-9))


def _with(piece: shapely.Polygon, lens: shapely.Polygon) -> shapely.Polygon:
    both = shapely.union_all([piece.buffer(_GAP_PX), lens.buffer(_GAP_PX)]).buffer(-_GAP_PX)
    return shapely.Polygon(largest(both).exterior).simplify(0.05)
