"""Crystals whose straight sides run on over or under a body.

The edge of a body ends what was found of a crystal that lies partly over it. The rim goes on inside the body
as a thin dark line, along the sides that are seen outside; the crystal gets the corners and sides they make
together where such lines are seen.
"""

from collections.abc import Sequence

import cv2
import numpy as np
import shapely

from measure.field.basics.masks import dilated, drawn
from measure.field.basics.polygons import largest, outline_of, polygons_of, traced_finely
from measure.field.basics.quick import percentile
from measure.field.crystals.rims_over import thin_lines
from measure.field.crystals.rims_through import rim_through
from measure.field.rims.rim_sides import completed

_LEAST_LINE = 0.06  # natural density of the faintest rim
_NEAR_PX = 2.0
_MARGIN_PX = 12
_LEAST_ADDED = 0.03  # of a crystal, for less no line tells
_MOST_ADDED = 1.2
_IN_BODY = 0.75  # share of what is added that must lie in bodies
_LINE = 0.4  # share of the rim's height from which a line shows
_SEEN = 0.65  # share of the added outline along which it must
_HIDDEN_PX = 3.0  # ends of the added outline, where the edge of the body is


def sides_over(
    outlines: Sequence[np.ndarray],
    rim_only: Sequence[bool],
    density: np.ndarray,
    shapes: Sequence[shapely.Polygon] | None = None,
) -> dict[int, np.ndarray]:
    """Complete crystals that go on in bodies.

    Parameters
    ----------
    outlines : sequence of (P, 2) ndarray
        Pieces of a cluster, in the crop's coordinates.
    rim_only : sequence of bool
        Which of them are see-through.
    density : (M, N, 3) ndarray of float32
        Optical density against the oil.
    shapes : sequence of Polygon, optional
        Of the outlines, where they are known.

    Returns
    -------
    dict of int to (P, 2) ndarray
        New outlines of some crystals.
    """
    if not any(rim_only) or all(rim_only):
        return {}
    shapes = shapes or polygons_of(outlines)
    bodies = [shape for shape, rim in zip(shapes, rim_only, strict=True) if not rim]
    changed: dict[int, np.ndarray] = {}
    for k, shape in enumerate(shapes):
        near = [b for b in bodies if rim_only[k] and b.dwithin(shape, _NEAR_PX)]
        new = (_completed(shape, near, density) or rim_through(shape, near, density)) if near else None
        if new is not None:
            changed[k] = outline_of(new)
    return changed


def _completed(
    shape: shapely.Polygon, bodies: list[shapely.Polygon], density: np.ndarray
) -> shapely.Polygon | None:
    """A crystal with what its sides enclose inside bodies, or None."""
    x0, y0, x1, y1 = shape.bounds
    reach = int(_MARGIN_PX + 0.6 * max(x1 - x0, y1 - y0))
    left, top = max(0, int(x0) - reach), max(0, int(y0) - reach)
    window = density[top : int(y1) + reach, left : int(x1) + reach]
    corner = np.array([left, top], float)
    lines, _ = thin_lines(window)
    mask = drawn(outline_of(shape) - corner, lines.shape)
    depth = cv2.distanceTransform(mask, cv2.DIST_L2, 5)
    rim = lines[(mask > 0) & (depth <= 3.5)]
    height = percentile(rim, 75) if rim.size else 0.0
    if height < _LEAST_LINE:
        return None
    strong = ((lines >= 0.5 * height) & (mask > 0)).view(np.uint8)
    half_width = percentile(cv2.distanceTransform(strong, cv2.DIST_L2, 3)[strong > 0], 90)
    whole, _ = completed(lines, shape.convex_hull, traced_finely(shape, 1.0), corner, height, half_width)
    frame = shapely.box(0, 0, density.shape[1], density.shape[0])
    whole = largest(whole.intersection(frame).union(shape))
    if whole.area - shape.area <= _LEAST_ADDED * shape.area:
        return None
    added = whole.difference(shape.buffer(0.5))
    if not _LEAST_ADDED * shape.area < added.area < _MOST_ADDED * shape.area:
        return None
    hidden = shapely.union_all([body.buffer(_NEAR_PX) for body in bodies])
    if added.intersection(hidden).area < _IN_BODY * added.area:
        return None
    way = whole.exterior.difference(shape.buffer(_HIDDEN_PX)).intersection(hidden)
    if _lined(way, lines, corner, height) < _SEEN:
        return None
    return shapely.Polygon(whole.exterior)


def _lined(way: shapely.Geometry, lines: np.ndarray, corner: np.ndarray, height: float) -> float:
    """Share of a way along which a line shows beside it."""
    if way.is_empty:
        return 0.0
    places = np.concatenate(
        [
            np.asarray([part.interpolate(d).coords[0] for d in np.arange(0.5, part.length, 1.0)]).reshape(
                -1, 2
            )
            for part in shapely.get_parts(way)
            if part.length > 0
        ]
    )
    at = np.floor(places - corner).astype(int)
    inside = (at >= 0).all(axis=1) & (at < lines.shape[::-1]).all(axis=1)
    if inside.sum() < _HIDDEN_PX:
        return 0.0
    shows = dilated((lines >= _LINE * height).view(np.uint8), 2.0)
    x, y = at[inside].T
    return float(shows[y, x].mean())
