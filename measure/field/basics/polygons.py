"""Outlines as polygons: cut, joined, lengthened and traced evenly, in px, by shapely."""

from collections.abc import Sequence

import numpy as np
from shapely import (
    LineString,
    MultiPolygon,
    Point,
    Polygon,
    contains_xy,
    get_coordinates,
    get_num_interior_rings,
    is_valid,
    linearrings,
    polygons,
    segmentize,
)
from shapely.geometry.base import BaseGeometry
from shapely.ops import split, unary_union

from measure.errors import InvalidInput
from measure.field.basics.shape import resampled

SMALLEST_AREA_PX2 = 7.0  # three pixels across: less cannot be measured
_NECK_POINTS = 128


def cleaned(outline: np.ndarray) -> np.ndarray:
    """Return the outline without repeated points, (P, 2) ndarray of float32."""
    points = np.asarray(outline, dtype=np.float32).reshape(-1, 2)
    if len(points) < 2:
        return points
    changed = points != np.concatenate([points[-1:], points[:-1]])
    return points[changed[:, 0] | changed[:, 1]]


def polygon_of(outline: np.ndarray) -> Polygon:
    """Return a valid polygon of an outline; of a self-crossing one the largest part."""
    shape = Polygon(np.asarray(outline, dtype=float))
    return shape if shape.is_valid else largest(shape.buffer(0))


def polygons_of(outlines: Sequence[np.ndarray]) -> list[Polygon]:
    """Return `polygon_of` of some outlines, made all at once."""
    if not len(outlines):
        return []
    owner = np.repeat(np.arange(len(outlines)), [len(outline) for outline in outlines])
    rings = linearrings(np.concatenate(outlines).astype(float), indices=owner)
    shapes = polygons(rings)
    return [
        shape if valid else largest(shape.buffer(0))
        for shape, valid in zip(shapes.tolist(), is_valid(shapes).tolist(), strict=True)
    ]


def outline_of(shape: Polygon) -> np.ndarray:
    """Return the outer outline, (P, 2) ndarray of float32, first point not repeated."""
    whole = get_num_interior_rings(shape) == 0
    return cleaned(get_coordinates(shape if whole else shape.exterior)[:-1])


def parts(shape: BaseGeometry) -> list[Polygon]:
    """Return the polygons of a geometry, holes filled, largest first."""
    whole = [shape] if isinstance(shape, Polygon) else [g for g in getattr(shape, "geoms", ()) if g.area > 0]
    found = [Polygon(g.exterior) for g in whole if isinstance(g, Polygon) and not g.is_empty]
    return sorted(found, key=lambda g: -g.area)


def largest(shape: BaseGeometry) -> Polygon:
    """Return the largest polygon of a geometry; an empty one where there is none."""
    if isinstance(shape, Polygon) and get_num_interior_rings(shape) == 0:
        return shape
    return next(iter(parts(shape)), Polygon())


def line_of(points: np.ndarray, what: str) -> LineString:
    """Return a line through points.

    Raises
    ------
    InvalidInput
        With fewer than two different points.
    """
    line = np.asarray(points, dtype=float).reshape(-1, 2)
    if len(line) < 2 or not np.isfinite(line).all() or np.ptp(line, axis=0).max() == 0:
        raise InvalidInput(f"{what} needs two different points.")
    return LineString(line)


def lengthened(line: LineString, by_px: float) -> LineString:
    """Return the line with both ends pulled out in their own direction."""
    points = np.asarray(line.coords)
    ends = []
    for end, before in ((points[0], points[1]), (points[-1], points[-2])):
        way = end - before
        ends.append(end + way / max(np.hypot(*way), 1e-9) * by_px)
    return LineString(np.concatenate([[ends[0]], points, [ends[1]]]))


def split_by(shape: Polygon, line: LineString, label: int) -> list[Polygon]:
    """Split a polygon by a line; crumbs go to the part they hang on.

    Raises
    ------
    InvalidInput
        If the line does not cross the piece, or only a crumb would come off.
    """
    pieces = parts(split(shape, lengthened(line, 2.0 + 0.05 * np.sqrt(shape.area))))
    if len(pieces) < 2:
        raise InvalidInput(
            f"The line does not cross piece {label}; draw it from one side of it out to the other."
        )
    whole = [p for p in pieces if p.area >= SMALLEST_AREA_PX2]
    if len(whole) < 2:
        raise InvalidInput(
            f"The cut would take off less than {SMALLEST_AREA_PX2:g} square pixels of piece {label}, "
            "too little to measure; cut nearer to its middle."
        )
    for crumb in (p for p in pieces if p.area < SMALLEST_AREA_PX2):
        nearest = max(range(len(whole)), key=lambda i: whole[i].buffer(0.05).intersection(crumb).area)
        whole[nearest] = largest(unary_union([whole[nearest].buffer(0.02), crumb]))
    return whole


def joined(shapes: Sequence[Polygon], labels: Sequence[int]) -> Polygon:
    """Make one polygon of several and close the gaps between them.

    Raises
    ------
    InvalidInput
        If they lie too far apart.
    """
    union = unary_union(list(shapes))
    if not isinstance(union, MultiPolygon):
        return largest(union.buffer(0.6).buffer(-0.6).union(union))
    gap = max(min(a.distance(b) for b in union.geoms if b is not a) for a in union.geoms)
    allowed = max(6.0, 0.35 * np.sqrt(min(s.area for s in shapes)))
    if gap <= allowed:
        for reach in (gap + 1.0, 2.0 * gap + 1.0, 3.0 * gap + 2.0):
            closed = unary_union([union, union.buffer(reach).buffer(-reach)])
            if isinstance(closed, Polygon):
                return largest(closed)
    raise InvalidInput(
        f"Pieces {', '.join(str(v) for v in labels)} lie {gap:.0f} px apart, too far to be one piece; "
        "draw the outline by hand if they are."
    )


def neck_near(outline: np.ndarray, line: LineString, reach_px: float) -> LineString:
    """Move a cut to the shortest way across near it.

    Parameters
    ----------
    outline : (P, 2) ndarray
    line : LineString
        Crosses the outline.
    reach_px : float
        How far along the outline each end may move.

    Returns
    -------
    LineString
        The shortened cut, or the line itself where its ends cannot be told.
    """
    crossings = Polygon(outline).exterior.intersection(lengthened(line, 3.0))
    places = [np.array(p.coords[0]) for p in getattr(crossings, "geoms", [crossings]) if isinstance(p, Point)]
    if len(places) < 2:
        return line
    along = sorted(places, key=lambda p: line.project(Point(p)))
    points = resampled([outline], 4 * _NECK_POINTS)[0]
    step = Polygon(outline).exterior.length / len(points)
    first, second = (int(np.argmin(np.hypot(*(points - p).T))) for p in (along[0], along[-1]))
    span = np.arange(-int(reach_px / step), int(reach_px / step) + 1)
    if abs(first - second) <= 1:
        return line
    a, b = points[(first + span) % len(points)], points[(second + span) % len(points)]
    length = np.hypot(a[:, None, 0] - b[None, :, 0], a[:, None, 1] - b[None, :, 1])
    away = (span * step / max(reach_px, 1e-9)) ** 2
    # a nearer place is preferred unless the neck further off is clearly narrower
    cost = length * (1.0 + 0.25 * (away[:, None] + away[None, :]))
    i, j = np.unravel_index(np.argmin(cost), cost.shape)
    return line if length[i, j] < 1e-6 else LineString([a[i], b[j]])


def best_cut(shape: Polygon) -> tuple[float, LineString]:
    """Find the straight cut that parts a polygon best: short against the smaller part.

    Returns
    -------
    cost : float
        Length of the cut over the square root of the smaller part's area; 0.8 for a square, 1.6 for a disc
        halved, less where there is a neck.
    cut : LineString
    """
    points = resampled([np.asarray(shape.exterior.coords)[:-1]], _NECK_POINTS)[0]
    x, y = points.T
    following = np.roll(points, -1, axis=0)
    running = np.concatenate([[0.0], np.cumsum(x * following[:, 1] - y * following[:, 0])])
    i, j = np.triu_indices(_NECK_POINTS, 4)
    keep = i + _NECK_POINTS - j >= 4
    i, j = i[keep], j[keep]
    part = 0.5 * (running[j] - running[i] + x[j] * y[i] - y[j] * x[i])
    total = 0.5 * running[-1]
    smaller = np.minimum(np.abs(part), np.abs(total - part))
    length = np.hypot(x[i] - x[j], y[i] - y[j])
    cost = np.where(smaller > SMALLEST_AREA_PX2, length / np.sqrt(np.maximum(smaller, 1e-9)), np.inf)
    inner = np.linspace(0.1, 0.9, 7)
    for k in np.argsort(cost)[:4000]:
        way = points[i[k]] + inner[:, None] * (points[j[k]] - points[i[k]])
        if np.isfinite(cost[k]) and contains_xy(shape, way[:, 0], way[:, 1]).all():
            return float(cost[k]), LineString([points[i[k]], points[j[k]]])
    return np.inf, LineString([points[0], points[_NECK_POINTS // 2]])


def divided(shape: Polygon, pieces: int, label: int) -> list[Polygon]:
    """Divide a polygon in ``pieces`` parts at its deepest necks, one cut after the other.

    Raises
    ------
    InvalidInput
        If it is too small for that many.
    """
    found = [shape]
    cuts = [best_cut(shape)]
    while len(found) < pieces:
        pick = int(np.argmin([cost for cost, _ in cuts]))
        if not np.isfinite(cuts[pick][0]):
            raise InvalidInput(f"Piece {label} is too small to be cut in {pieces} pieces.")
        halves = split_by(found[pick], cuts[pick][1], label)
        found[pick : pick + 1] = halves
        cuts[pick : pick + 1] = [best_cut(half) for half in halves]
    return found


def traced_evenly(shape: Polygon) -> np.ndarray:
    """Return the outer outline as points a pixel apart along it, at least 24, (P, 2) ndarray of float32.

    The points of `shapely.line_interpolate_point`, which begins at the start again for each of them.
    """
    line = shape.exterior
    corners = get_coordinates(line)
    count = max(24, int(line.length))
    places = np.arange(count) * (line.length / count)
    side = corners[1:] - corners[:-1]
    length = np.sqrt(side[:, 0] * side[:, 0] + side[:, 1] * side[:, 1])
    end = np.cumsum(length)
    i = np.minimum(np.searchsorted(end, places, side="right"), len(side) - 1)
    part = np.minimum((places - np.concatenate([[0.0], end])[i]) / length[i], 1.0)
    return (side[i] * part[:, None] + corners[i]).astype(np.float32)


def traced_finely(shape: Polygon, step_px: float = 1.0) -> np.ndarray:
    """Return the outline with no side longer than ``step_px``."""
    return outline_of(segmentize(shape, step_px))
