"""What the rim of a see-through piece closes in; what hangs on it beyond its rim is not the piece's.

Beside coloured bodies the place found for a crystal goes on to their edges. Where their colour is taken away
its own rim is left, which ends it: a crystal is convex, so it lies in the hull of its rim wherever that runs.
Beyond a gap of the rim a corner may lie, which stays.
"""

import cv2
import numpy as np
import shapely

from measure.field.basics.masks import dilated, drawn
from measure.field.basics.polygons import largest, outline_of, parts, polygon_of, traced_finely
from measure.field.basics.quick import percentile
from measure.field.edges.edge import SMOOTHING_SIGMA_PX, colour_length

_BAND_PX, _HEIGHT = 3.5, 90  # depth of the band a rim lies in, and percentile of it that is its height
_RIM = 0.5  # of that, from which a place shows it
_MOST = 0.6  # share of the piece that its rim closes in; less is a facet, or half of two
_ROUND = 0.75  # share of the hull's border along which the rim runs
_CLOSED = 0.8  # the same where something hangs on it
_NEAR_PX, _FLANK_PX = 1.5, 2.0  # from the border to the rim; what of the rim's own flank may lie outside
_LEAST_BEYOND = 0.03  # share of the piece
_SLIVER_PX = 0.05


def closed_in(outline: np.ndarray, delta: np.ndarray) -> np.ndarray:
    """Return the outline of a see-through piece without what hangs on it beyond its rim.

    Parameters
    ----------
    outline : (P, 2) ndarray
        In px.
    delta : (M, N, 3) ndarray of float32
        CIELAB difference from the oil, in which the rim shows, without bodies.
    """
    field = colour_length(cv2.GaussianBlur(delta, (0, 0), SMOOTHING_SIGMA_PX))
    mask = drawn(outline, field.shape)
    depth = cv2.distanceTransform(mask, cv2.DIST_L2, 5)
    band = field[(depth > 0) & (depth <= _BAND_PX)]
    if not band.size:
        return outline
    rim = ((field >= _RIM * percentile(band, _HEIGHT)) & (mask > 0)).view(np.uint8)
    inside, whole = _hull(rim), polygon_of(outline)
    if inside.area < _MOST * whole.area:
        return outline
    border = traced_finely(inside, 1.0)
    x, y = np.floor(border).astype(int).T
    seen = dilated(rim, _NEAR_PX)[y.clip(0, rim.shape[0] - 1), x.clip(0, rim.shape[1] - 1)] > 0
    if seen.mean() < _ROUND:
        return outline
    far = whole.difference(inside.buffer(_FLANK_PX))
    beyond = []
    for part in parts(whole.difference(inside.buffer(1.0))):
        foot = shapely.dwithin(part, shapely.points(border), _FLANK_PX)
        closed = foot.any() and seen[foot].mean() >= _CLOSED
        if closed and far.intersection(part).area >= _LEAST_BEYOND * whole.area:
            beyond.append(part)
    if not beyond:
        return outline
    # a little more, or slivers stay along the common border
    left = largest(whole.difference(shapely.union_all(beyond).buffer(_SLIVER_PX)))
    return outline_of(left).astype(outline.dtype)


def _hull(rim: np.ndarray) -> shapely.Polygon:
    points = cv2.findNonZero(rim)
    hull = None if points is None else cv2.convexHull(points)[:, 0] + 0.5
    return shapely.Polygon() if hull is None or len(hull) < 3 else shapely.Polygon(hull)
