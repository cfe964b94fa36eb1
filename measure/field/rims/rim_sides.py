"""The straight sides of a rim, and the outline they make where the rest of it is missing."""

import cv2
import numpy as np
import shapely

from measure.field.basics.quick import turned

_BEND = 0.035  # of the size, by which a side may bend
_LEAST_BEND_PX = 0.8
_SUPPORT = 0.6  # share of a side along which a rim must show
_LONG = 0.3  # side over the size, from which it gives a direction
_OPPOSITE = 0.45  # from which the side opposite is parallel to it
_STRAIGHT = 0.6  # share of the seen outline that must be long sides of a crystal
_SQUARE = 0.5  # least sine of the angle between two of them
_SPIKE = 0.64  # cosine of 50 degrees
_MOST = 1.4  # area over that of the hull above which corners put back are none
_CLOSE_PX = 1.5  # outline points so near to a side are its own
_ROUND_PX = 2.5  # ends of a side, rounded by blur, that do not tell its direction
_LEAST_POINTS = 6
_TURNED = 0.985  # cosine by which a fitted side may turn
_HALF = 0.5  # of the rim's height, from which a place shows a rim
_FAINT, _PARTS, _LEAST_EVEN_PX = 0.2, 3, 9.0  # of the rim's height, in each third of a side as long
_OUTSIDE_PX = (3.0, 5.0)  # where the oil beside a side is read


def completed(
    field: np.ndarray,
    hull: shapely.Polygon,
    outline: np.ndarray,
    corner: np.ndarray,
    height: float,
    half_width_px: float,
) -> tuple[shapely.Polygon, float]:
    """Complete a hull by the corners and sides its straight rims call for.

    Parameters
    ----------
    field : (M, N) ndarray of float32
        Colour difference from the oil in a window.
    hull : Polygon
        Convex, in picture coordinates.
    outline : (P, 2) ndarray
        Points of the outlines of its bits.
    corner : (2,) ndarray
        x and y of the window's corner in the picture.
    height : float
        Colour difference of the rim.
    half_width_px : float
        Half the width of the rim.

    Returns
    -------
    shape : Polygon
    seen : float
        Share of its outline along which a rim shows.
    """
    size = float(np.sqrt(hull.area))
    points = np.asarray(hull.exterior.coords)[:-1]
    sides = _sides(points, max(_LEAST_BEND_PX, _BEND * size))
    reach = half_width_px + 1.5
    middle = np.asarray(hull.centroid.coords[0]) - corner
    first, last = (np.array(ends) for ends in zip(*sides, strict=True))
    support = _support(field, first - corner, last - corner, middle, height, reach)
    lengths = np.hypot(*(last - first).T).astype(float)
    seen = float((support * lengths).sum() / lengths.sum())
    good = support >= _SUPPORT
    long = good & (lengths >= _LONG * size)
    if good.all() or not _crystal(sides, lengths, good, long):
        return hull, seen
    own = good
    if np.count_nonzero(long) == 2:  # a hook, whose ends would cut off the corner that is not seen
        own = good & ~_ends(good, ~long & (lengths < 2.0 * half_width_px + _ROUND_PX))
    lines = [_fitted(outline, *sides[i]) for i in np.flatnonzero(own)]
    shape = _bounded(hull, points, lines, lengths[own], size)
    if shape.is_empty or shape.geom_type != "Polygon":
        return hull, seen
    return shape, seen * hull.length / shape.length


def _sides(points: np.ndarray, bend_px: float) -> list[tuple[np.ndarray, np.ndarray]]:
    corners = cv2.approxPolyDP(points.astype(np.float32).reshape(-1, 1, 2), bend_px, True).reshape(-1, 2)
    return [(a, b) for a, b in zip(corners, turned(corners, -1), strict=True) if not (a == b).all()]


def _support(
    field: np.ndarray,
    first: np.ndarray,
    last: np.ndarray,
    middle: np.ndarray,
    height: float,
    reach_px: float,
) -> np.ndarray:
    """Share of each side, from one corner (K, 2) to the other, along which a rim shows just inside, (K,).

    Light from one side leaves some sides fainter: such a one shows in the mean of each of its parts.
    """
    step = np.arange(-_OUTSIDE_PX[1], reach_px + 0.5)
    way = last - first
    length = np.hypot(way[:, 0], way[:, 1])
    count = np.maximum(2, np.ceil(length).astype(int) + 1)
    owner = np.repeat(np.arange(len(first)), count)
    end = np.cumsum(count)
    along = (np.arange(len(owner)) - (end - count)[owner]) * (1.0 / (count - 1))[owner]
    along[end - 1] = 1.0
    normal = np.stack([way[:, 1], -way[:, 0]], axis=1) / np.maximum(length, 1e-6)[:, None]
    outward = ((middle - first) * normal).sum(axis=1) <= 0
    normal[outward] = -normal[outward]
    places = (first[owner] + along[:, None] * way[owner])[:, None, :]
    places = (places + step[None, :, None] * normal[owner][:, None, :] - 0.5).astype(np.float32)
    values = cv2.remap(
        field, places[..., 0], places[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    near = step >= -1.0
    shown = values[:, near].max(axis=1) >= _HALF * height
    strong = np.bincount(owner[shown], minlength=len(first)) / count
    # thirds of a side
    part = owner * _PARTS + np.minimum((along * _PARTS).astype(int), _PARTS - 1)
    size = np.maximum(np.bincount(part, minlength=_PARTS * len(first)), 1)
    mean = np.stack([np.bincount(part, column, minlength=len(size)) / size for column in values.T], axis=1)
    rise = mean[:, near].max(axis=1) - mean[:, step <= -_OUTSIDE_PX[0]].mean(axis=1)
    even = (rise >= _FAINT * height).reshape(-1, _PARTS).all(axis=1) & (length >= _LEAST_EVEN_PX)
    return np.maximum(strong, even)


def _crystal(
    sides: list[tuple[np.ndarray, np.ndarray]], lengths: np.ndarray, good: np.ndarray, long: np.ndarray
) -> bool:
    """Whether what is seen is made of long straight sides, two of them at a clear angle."""
    if long.sum() < 2 or lengths[long].sum() < _STRAIGHT * lengths[good].sum():
        return False
    turns = [np.arctan2(*(b - a)[::-1]) for (a, b), is_long in zip(sides, long, strict=True) if is_long]
    return max(abs(np.sin(p - q)) for p in turns for q in turns) >= _SQUARE


def _ends(good: np.ndarray, short: np.ndarray) -> np.ndarray:
    """Which sides are the ends of what is seen, (K,) of bool: as short as the rim is wide, beside a gap."""
    gap = ~good
    for _ in range(2):  # an end rounded by blur has two
        gap = gap | (short & (turned(gap, 1) | turned(gap, -1)))
    return gap & good


def _fitted(outline: np.ndarray, a: np.ndarray, b: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Point on a side and its unit direction, along the outlines' own points where there are enough."""
    length = float(np.hypot(*(b - a)))
    direction = (b - a) / length
    at = (a + b) / 2
    for close in (_CLOSE_PX, _CLOSE_PX, 0.5 * _CLOSE_PX):
        along = (outline - at) @ direction
        off = np.abs((outline - at) @ np.array([-direction[1], direction[0]]))
        own = outline[(off <= close) & (np.abs(along) < max(0.5 * length - _ROUND_PX, 0.3 * length))]
        if len(own) < _LEAST_POINTS:
            break
        middle = own.mean(axis=0)
        _, spread, axes = np.linalg.svd(own - middle, full_matrices=False)
        found = axes[0] if axes[0] @ direction > 0 else -axes[0]
        if abs(found @ direction) < _TURNED or spread[0] < 3.0 * spread[1]:
            break
        at, direction = middle, found
    return at, direction


def _bounded(
    hull: shapely.Polygon,
    points: np.ndarray,
    lines: list[tuple[np.ndarray, np.ndarray]],
    lengths: np.ndarray,
    size: float,
) -> shapely.Polygon:
    """What lies inside all seen sides, and inside the tangents parallel to the long ones."""
    middle = np.asarray(hull.centroid.coords[0])
    far = 6.0 * size
    shape = shapely.box(*(middle - far / 2), *(middle + far / 2))
    for (at, direction), length in zip(lines, lengths, strict=True):
        inward = np.array([-direction[1], direction[0]])
        inward = inward if (middle - at) @ inward > 0 else -inward
        shape = shape.intersection(_half_plane(at, direction, inward, far))
        if length >= _OPPOSITE * size:
            deepest = points[np.argmax((points - at) @ inward)]
            shape = shape.intersection(_half_plane(deepest, direction, -inward, far))
    return _blunted(shape, points, lines[int(np.argmax(lengths))][1], hull.area, far)


def _blunted(
    shape: shapely.Polygon, points: np.ndarray, along: np.ndarray, hull_area: float, far: float
) -> shapely.Polygon:
    """A completed outline within the box about what was seen, where two sides meet in a spike.

    No crystal of a cubic form has a corner so sharp: the side between the two is missing.
    """
    if shape.is_empty or shape.geom_type != "Polygon":
        return shape
    corners = np.asarray(shape.exterior.coords)[:-1]
    ahead, back = turned(corners, -1) - corners, turned(corners, 1) - corners
    lengths = np.maximum(np.hypot(*ahead.T) * np.hypot(*back.T), 1e-9)
    if ((ahead * back).sum(axis=1) / lengths).max() <= _SPIKE and shape.area <= _MOST * hull_area:
        return shape
    for way in (along, -along, np.array([-along[1], along[0]]), np.array([along[1], -along[0]])):
        edge = points[np.argmax(points @ way)]
        shape = shape.intersection(_half_plane(edge, np.array([-way[1], way[0]]), -way, far))
    return shape


def _half_plane(at: np.ndarray, along: np.ndarray, inward: np.ndarray, far: float) -> shapely.Polygon:
    return shapely.Polygon(
        [at - far * along, at + far * along, at + far * (along + inward), at + far * (inward - along)]
    )
