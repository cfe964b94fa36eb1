"""Crystals whose rim is followed through the bodies that lie over or under them.

What was found of a crystal may end at the edge of a body in any form. In the open its sides are straight;
from where they meet the body they run straight on, and where the rim is seen along a way that closes them
inside the body, that is the rest of its outline (`hidden_ways`).
"""

from collections.abc import Sequence

import cv2
import numpy as np
import shapely

from measure.field.basics.masks import drawn, square
from measure.field.basics.polygons import largest, traced_finely
from measure.field.basics.quick import median, turned
from measure.field.crystals.hidden_sides import depth_of_rim, most_worth, way_worth
from measure.field.crystals.hidden_ways import ridges_at, sampled, side_end, ways_between
from measure.field.crystals.rim_faces import ridges

_MARGIN_PX = 12
_BESIDE_PX = 2.5  # from a body, an outline may be that of the body
_LEAST_OPEN, _LEAST_OPEN_PX = 0.3, 12.0  # of an outline, what must lie in the open in one stretch
_BEND = ((1.0, 0.03), (1.8, 0.045))  # by which a side may bend, px and over the size
_SEEN = 0.5  # of the rim along the hidden way
_INSIDE_PX = 0.25  # how far outside the line of a rim it is followed
_CONVEX = 0.95
_LEAST_ADDED, _MOST_ADDED = 0.02, 1.2  # of a crystal
_LOST = 0.12  # share of a crystal that may lie outside of the new outline
_IN_BODY = 0.75  # share of what is added that must lie in bodies


def rim_through(
    shape: shapely.Polygon, bodies: Sequence[shapely.Polygon], density: np.ndarray
) -> shapely.Polygon | None:
    """Complete a crystal by its rim inside bodies.

    Parameters
    ----------
    shape : Polygon
        What was found of it.
    bodies : sequence of Polygon
        Those it meets.
    density : (M, N, 3) ndarray of float32
        Optical density against the oil.

    Returns
    -------
    Polygon or None
    """
    hidden = shapely.union_all([body.buffer(0.5) for body in bodies])
    x0, y0, x1, y1 = shape.union(hidden).bounds
    reach = 0.8 * float(np.sqrt(shape.area)) + _MARGIN_PX
    left, top = max(0, int(max(x0, shape.bounds[0] - reach))), max(0, int(max(y0, shape.bounds[1] - reach)))
    right, bottom = int(min(x1, shape.bounds[2] + reach)) + 2, int(min(y1, shape.bounds[3] + reach)) + 2
    window = density[top:bottom, left:right]
    corner = np.array([left, top], float)
    edges = ridges(window.mean(axis=2))
    whole = _mask(shape.union(hidden), corner, edges.shape)
    inset = max(depth_of_rim(edges, _mask(shape, corner, edges.shape)) - _INSIDE_PX, 0.0)
    inner = largest(shape.buffer(-inset, join_style="mitre"))
    if inner.is_empty:
        return None
    stretch = _open_stretch(inner, hidden)
    if stretch is None:
        return None
    fine = traced_finely(inner, 1.0) - corner
    followed = _Followed(edges)
    best, most = None, _SEEN
    for least_px, share in _BEND:
        bend_px = max(least_px, share * float(np.sqrt(inner.area)))
        arc = cv2.approxPolyDP(stretch, bend_px, False).reshape(-1, 2)
        if len(arc) < 3:
            continue
        new, seen = followed.closed(arc - corner, fine, bodies, corner, whole, most)
        if new is None:
            continue
        grown = shapely.affinity.translate(new, *corner).buffer(inset, join_style="mitre", mitre_limit=2.0)
        if _is_likely(grown, shape, hidden):
            best, most = grown, seen
    return best


def _mask(shape: shapely.Geometry, corner: np.ndarray, size: tuple[int, int]) -> np.ndarray:
    mask = np.zeros(size, np.uint8)
    for part in shapely.get_parts(shape):
        mask |= drawn(np.asarray(part.exterior.coords)[:-1] - corner, size)
    return mask


def _open_stretch(inner: shapely.Polygon, hidden: shapely.Geometry) -> np.ndarray | None:
    """The longest stretch of an outline in the open, (K, 1, 2); turns to the inside are positive."""
    points = traced_finely(shapely.geometry.polygon.orient(inner), 1.0)
    beside = hidden.buffer(_BESIDE_PX)
    shapely.prepare(beside)
    free = ~shapely.contains_xy(beside, points[:, 0], points[:, 1])
    if free.all() or not free.any():
        return None
    starts = np.flatnonzero(free & ~turned(free, 1))
    runs = [_run(points, free, int(start)) for start in starts]
    longest = max(runs, key=len)
    if len(longest) < max(_LEAST_OPEN_PX, _LEAST_OPEN * len(points)):
        return None
    return longest.astype(np.float32).reshape(-1, 1, 2)


def _run(points: np.ndarray, free: np.ndarray, start: int) -> np.ndarray:
    ahead = np.concatenate([free[start:], free[:start]])
    count = len(free) if ahead.all() else int(np.argmin(ahead))
    return np.concatenate([points[start:], points[:start]])[:count]


class _Followed:
    """Edges that are followed, (M, N)."""

    def __init__(self, edges: np.ndarray) -> None:
        self._wide, self._near = cv2.dilate(edges, square(5)), cv2.dilate(edges, square(3))
        self._borders: np.ndarray | None = None

    def closed(
        self,
        arc: np.ndarray,
        outline: np.ndarray,
        bodies: Sequence[shapely.Polygon],
        corner: np.ndarray,
        whole: np.ndarray,
        least: float,
    ) -> tuple[shapely.Polygon | None, float]:
        """An arc with the way inside a place that closes it where most is seen, other than borders of bodies.

        None where less is seen than ``least``.
        """
        usual = median(ridges_at(self._wide, sampled(arc)))
        start, end = side_end(outline, arc[-2], arc[-1]), side_end(outline, arc[1], arc[0])
        best, most = None, 0.0
        for way in ways_between(start, end, whole, self._near, usual):
            if most_worth(way) < least:
                continue
            if self._borders is None:
                self._borders = np.concatenate([traced_finely(body, 1.0) for body in bodies]) - corner
            seen = way_worth(way, self._borders, arc[[0, -1]])
            if seen < least or seen <= most:
                continue
            shape = shapely.Polygon(np.concatenate([arc[1:-1], way.corners])).buffer(0)
            if shape.geom_type == "Polygon" and shape.area >= _CONVEX * shape.convex_hull.area:
                best, most = shape, seen
        return best, most


def _is_likely(new: shapely.Polygon, old: shapely.Polygon, hidden: shapely.Geometry) -> bool:
    """Whether a completed outline holds what was found and adds to it inside bodies."""
    added = new.difference(old)
    return (
        old.difference(new.buffer(1.0)).area < _LOST * old.area
        and _LEAST_ADDED * old.area < added.area < _MOST_ADDED * old.area
        and added.intersection(hidden).area > _IN_BODY * added.difference(old.buffer(1.0)).area
    )
