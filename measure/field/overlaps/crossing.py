"""Round see-through pieces that cross: both outlines followed through the other piece.

Where two round pieces lie over one another the common outline has two notches, and on either side of them it
follows an oval. Where the ovals go on inside, light passes through both pieces, so the density rises along
each of them by as much as at the free edge of the same piece (Beer-Lambert law). Only that is believed: the
densities themselves need not be even, as cells and seeds with a pale middle show.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import shapely
from shapely import Polygon

from measure.field.basics.ovals import Oval, arcs_at, bends, fitted, is_part, notches_of
from measure.field.basics.polygons import largest, outline_of, polygons_of, traced_evenly
from measure.field.basics.quick import median

_FIT = 0.06  # mean distance of an arc from its oval over the oval's radius
_SPAN, _LARGER = 0.5, 2.0  # share of its oval an arc goes round, and area of the oval over the part's
_BEND_DEG = 40.0  # between the two ovals at either notch; less is the bay of one piece
_RISE = (0.4, 2.0)  # rise of the density along an oval inside, over that at its free edge
_RISING, _LEAST_RISE = 0.75, 0.15  # share of the oval's course inside along which it rises by so much
_APART = 0.12  # distance of the places compared, over the oval's short axis
_APART_PX = (2.0, 5.0)
_LEAST_APART_PX = 1.2  # in a thin lens
_LEAST_POINTS = 6
_DEEP, _LEAST_DEEP_PX, _NOTCHES = (
    0.03,
    1.0,
    6,
)  # depth of a notch over the root of the area; deepest looked at
_LENS = (0.02, 0.65)  # area of a lens over that of the smaller piece seen alone
_GAP_PX = 0.8  # left between two pieces by a cut
_BESIDE_PX = 2 * _GAP_PX  # what is farther apart is not bridged, and one of the two would be lost


@dataclass(frozen=True)
class Crossing:
    """Two pieces that cross.

    Attributes
    ----------
    parts : (Polygon, Polygon)
        Each with the lens, whole.
    lens : Polygon
        Where both are.
    misfit : float
        Of the worse of the two ovals.
    """

    parts: tuple[Polygon, Polygon]
    lens: Polygon
    misfit: float


def crossing_pieces(
    outlines: Sequence[np.ndarray],
    density: np.ndarray,
    least_px2: float,
    shapes: Sequence[Polygon] | None = None,
) -> tuple[list[int], list[np.ndarray], int]:
    """Find round pieces of a cluster that cross, each whole.

    Parameters
    ----------
    outlines : sequence of (P, 2) ndarray
        Of the pieces as found, in the crop's coordinates.
    density : (M, N) ndarray of float32
        Optical density against the oil, mean of the colours.
    least_px2 : float
        Smallest area of a piece.
    shapes : sequence of Polygon, optional
        Of the outlines, where they are known.

    Returns
    -------
    gone : list of int
        Pieces to be replaced.
    whole : list of (P, 2) ndarray
        Outlines of the pieces that replace them.
    lenses : int
        How many crossings there are.
    """
    pieces = [(shape, {k}) for k, shape in enumerate(shapes or polygons_of(outlines))]
    changed: set[int] = set()
    lenses = 0
    split: list[tuple[Polygon, set[int]]] = []
    for shape, rows in pieces:
        found = crossing(shape, density, least_px2)
        if found is None:
            split.append((shape, rows))
        else:
            lenses += 1
            changed |= rows
            split += [(part, rows) for part in found.parts]
    wider: dict[int, Polygon] = {}
    for i, j in _beside([shape for shape, _ in split]):
        (a, rows), (b, others) = split[i], split[j]
        if rows & others:
            continue
        for k, shape in ((i, a), (j, b)):
            if k not in wider:
                wider[k] = shape.buffer(_GAP_PX)
        both = largest(shapely.union_all([wider[i], wider[j]]).buffer(-_GAP_PX))
        found = crossing(both, density, least_px2, (a, b))
        if found is not None:
            lenses += 1
            changed |= rows | others
            split[i], split[j] = (found.parts[0], rows), (found.parts[1], others)
            wider.pop(i), wider.pop(j)
    whole = [outline_of(largest(shape).simplify(0.05)) for shape, rows in split if rows & changed]
    return sorted(changed), whole, lenses


def _beside(shapes: list[Polygon]) -> list[tuple[int, int]]:
    """Pairs of pieces that nearly meet."""
    if len(shapes) < 2:
        return []
    near = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=_BESIDE_PX)
    return sorted((int(i), int(j)) for i, j in near.T if i < j)


def crossing(
    shape: Polygon, density: np.ndarray, least_px2: float, halves: tuple[Polygon, Polygon] | None = None
) -> Crossing | None:
    """Two round pieces that cross within a common outline, or None.

    Parameters
    ----------
    shape : Polygon
        The common outline.
    density : (M, N) ndarray of float32
    least_px2 : float
    halves : (Polygon, Polygon), optional
        The pieces as they were cut before; what is found must tell the same two.
    """
    if shape.is_empty or shape.area < 2 * least_px2:
        return None
    contour = traced_evenly(shape)
    notches, _ = notches_of(contour, max(_LEAST_DEEP_PX, _DEEP * float(np.sqrt(shape.area))), _NOTCHES)
    best = None
    for arcs in arcs_at(contour, notches):
        if not all(is_part(arc, least_px2) for arc in arcs):
            continue
        one = fitted(arcs[0], least_px2, _SPAN, _LARGER)
        if one is None or (misfit := one.misfit(arcs[0])) > _FIT:
            continue
        other = fitted(arcs[1], least_px2, _SPAN, _LARGER)
        if other is None:
            continue
        misfit = max(misfit, other.misfit(arcs[1]))
        if misfit > _FIT or (best is not None and misfit >= best.misfit):
            continue
        if bends(one, other, arcs[0][[0, -1]]).min() < _BEND_DEG:
            continue
        found = _checked(shape, density, arcs, (one, other), misfit)
        best = found or best
    return best if best is None or halves is None else _in_order(best, halves)


def _checked(
    shape: Polygon,
    density: np.ndarray,
    arcs: tuple[np.ndarray, np.ndarray],
    ovals: tuple[Oval, Oval],
    misfit: float,
) -> Crossing | None:
    """The crossing of two ovals where the density confirms it."""
    rounds = [Polygon(oval.points()) for oval in ovals]
    lens = largest(rounds[0].intersection(rounds[1]).intersection(shape))
    sides = [largest(Polygon(arc).buffer(0)) for arc in arcs]
    alone = min(side.difference(lens).area for side in sides)
    if lens.is_empty or not _LENS[0] * alone < lens.area < _LENS[1] * alone:
        return None
    thick = 2.0 * lens.area / max(lens.length, 1e-9)  # about two thirds of it in the middle
    for own, other, arc in ((0, 1, arcs[0]), (1, 0, arcs[1])):
        reach = float(np.clip(_APART * min(ovals[own].axes), *_APART_PX))
        reach = max(min(reach, 0.75 * thick), _LEAST_APART_PX)
        inside = _rises(density, ovals[own], ovals[own].points(), reach, rounds[other], shape)
        free = _rises(density, ovals[own], arc, reach, None, shape)
        if len(inside) < _LEAST_POINTS or len(free) < _LEAST_POINTS:
            return None
        edge = max(median(free), 1e-6)
        if not _RISE[0] < median(inside) / edge < _RISE[1] or (inside > _LEAST_RISE * edge).mean() < _RISING:
            return None
    parts = [largest(side.union(lens)) for side in sides]
    return Crossing((parts[0], parts[1]), lens, misfit)


def _in_order(found: Crossing, halves: tuple[Polygon, Polygon]) -> Crossing:
    """The parts in the order of the pieces they come from, each with what it had before."""
    one, other = found.parts
    if one.intersection(halves[0]).area < other.intersection(halves[0]).area:
        one, other = other, one
    first, second = halves
    return Crossing(
        (largest(one.union(first.difference(other))), largest(other.union(second.difference(one)))),
        found.lens,
        found.misfit,
    )


def _rises(
    density: np.ndarray,
    oval: Oval,
    points: np.ndarray,
    reach_px: float,
    other: Polygon | None,
    shape: Polygon,
) -> np.ndarray:
    """How much denser it is just inside an oval than just outside, at points near it.

    With another piece, only where the oval runs within it and the common outline.
    """
    away = oval.outward(points)
    inner, outer = points - reach_px * away, points + reach_px * away
    if other is not None:
        within = shapely.contains_xy(other, inner[:, 0], inner[:, 1])
        within &= shapely.contains_xy(other, outer[:, 0], outer[:, 1])
        within &= shapely.contains_xy(shape, outer[:, 0], outer[:, 1])
        inner, outer = inner[within], outer[within]
    if not len(inner):
        return np.zeros(0)
    return _read(density, inner) - _read(density, outer)


def _read(field: np.ndarray, points: np.ndarray) -> np.ndarray:
    at = (points - 0.5).astype(np.float32)
    read = cv2.remap(field, at[:, :1], at[:, 1:], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return read[:, 0]
