"""Cut crystals that touch along their sides.

Crystals lie against one another with whole faces, so there is no neck between them. But sides are straight:
where the outline of a cluster turns inwards, the side of one of the two goes on inside, or a line leads to
the next such corner. What a cut leaves may be cut again; which parts are crystals is for others to say.
"""

from collections.abc import Iterator

import cv2
import numpy as np

from measure.field.basics.masks import dilated, numbered, solidity
from measure.field.basics.quick import turned

_BEND, _LEAST_BEND_PX = 0.025, 1.2  # by which a side may bend, over the size of the cluster
_TURN = 0.35  # sine of the least turn inwards, about 20 degrees
_SIDE = 0.15  # least length of a side beside such a corner, over the size of the cluster
_MOST_CORNERS, _MOST_PARTS = 8, 60  # of a cluster
_CONVEX = 0.97  # solidity from which a part is not cut again
_DEPTH = 3  # cuts one after another


def cut_at_sides(cluster: np.ndarray, least_px2: float, convex: float) -> list[np.ndarray]:
    """Convex parts of a cluster along the sides that go on inside it.

    Parameters
    ----------
    cluster : (M, N) ndarray of uint8
    least_px2 : float
        Smallest area of a part.
    convex : float
        Least solidity of a part.

    Returns
    -------
    parts : list of (M, N) ndarray of uint8
        Those of every cut, so they lie over one another; without the cluster itself.
    """
    x, y, wide, high = cv2.boundingRect(cluster)
    box = np.s_[y : y + high, x : x + wide]
    found: list[np.ndarray] = []
    seen: set[tuple[int, ...]] = set()
    waiting = [(np.ascontiguousarray(cluster[box]), 0)]
    for part, depth in waiting:  # grows as it goes
        if len(seen) >= _MOST_PARTS:
            break
        if depth >= _DEPTH or solidity(part) >= _CONVEX:
            continue
        for one in _parts(part, least_px2):
            if len(seen) >= _MOST_PARTS:
                break
            area = cv2.countNonZero(one)
            # cuts a pixel or two apart are the same
            key = tuple(value // 3 for value in (*cv2.boundingRect(one), round(np.sqrt(area))))
            if key in seen:
                continue
            seen.add(key)
            waiting.append((one, depth + 1))
            if solidity(one) >= convex:
                found.append(one)
    whole = [np.zeros(cluster.shape, cluster.dtype) for _ in found]
    for mask, part in zip(whole, found, strict=True):
        mask[box] = part
    return whole


def _parts(part: np.ndarray, least_px2: float) -> Iterator[np.ndarray]:
    """What each single cut leaves."""
    for start, end in _cuts(part):
        apart = part.copy()
        cv2.line(apart, start, end, 0, 1, cv2.LINE_4)
        count, parts, stats = numbered(apart, 4)
        large = [k for k in range(1, count) if stats[k, cv2.CC_STAT_AREA] >= least_px2]
        if len(large) > 1:
            yield from (dilated((parts == k).view(np.uint8), 1.0) & part for k in large)


def _cuts(part: np.ndarray) -> Iterator[tuple[tuple[int, int], tuple[int, int]]]:
    """Ends of the cuts from corners that turn inwards: along their sides, and from one to another."""
    corners, before, after = _inward_corners(part)
    for k, corner in enumerate(corners):
        for way in (before[k], after[k]):
            yield _pixel(corner - 2.0 * way), _pixel(corner + _reach(part, corner, way) * way)
        for other in corners[k + 1 :]:
            yield _pixel(corner), _pixel(other)


def _inward_corners(part: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Corners of the outline that turn inwards, (K, 2), and the ways on inside of their two sides."""
    contours, _ = cv2.findContours(part, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outline = max(contours, key=cv2.contourArea)
    size = float(np.sqrt(max(cv2.contourArea(outline), 1.0)))
    corners = cv2.approxPolyDP(outline, max(_LEAST_BEND_PX, _BEND * size), True).reshape(-1, 2).astype(float)
    if cv2.contourArea(corners.astype(np.float32), True) < 0:
        corners = corners[::-1]
    sides = turned(corners, -1) - corners
    length = np.maximum(np.hypot(*sides.T), 1e-6)
    ways = sides / length[:, None]
    come = turned(ways, 1)
    turn = come[:, 0] * ways[:, 1] - come[:, 1] * ways[:, 0]
    long = np.maximum(length, turned(length, 1)) > _SIDE * size
    inward = np.flatnonzero((turn < -_TURN) & long)
    inward = inward[np.argsort(turn[inward], kind="stable")][:_MOST_CORNERS]
    return corners[inward], come[inward], -ways[inward]


def _reach(part: np.ndarray, corner: np.ndarray, way: np.ndarray) -> float:
    """How far a way leads through a part until it leaves it."""
    steps = np.arange(3.0, float(sum(part.shape)))
    x, y = np.rint(corner[:, None] + way[:, None] * steps).astype(int)
    within = (x >= 0) & (y >= 0) & (x < part.shape[1]) & (y < part.shape[0])
    inside = np.zeros(len(steps), bool)
    inside[within] = part[y[within], x[within]] > 0
    return float(steps[int(np.argmin(inside))]) if not inside.all() else float(steps[-1])


def _pixel(point: np.ndarray) -> tuple[int, int]:
    return round(float(point[0])), round(float(point[1]))
