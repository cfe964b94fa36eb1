"""See-through pieces whose rim is so broken that its bits are found apart: put them together again.

Bits are thin. A set of them is one piece when they hug the border of their common hull, cover most of it, and
leave its inside empty.
"""

from dataclasses import dataclass
from itertools import combinations, pairwise
from typing import NamedTuple

import cv2
import numpy as np

from measure.field.basics.masks import numbered
from measure.field.basics.quick import percentile, turned
from measure.field.rims.rims import disc, fill_holes

_OWN_HEIGHT = 85  # percentile of a bit that is its height
_HOLE = 0.1  # of its own area, that a bit closes in and is a rim by itself
_SLENDER = 0.5  # thickness over length from which a bit is no bit of a rim
_THIN = 0.17  # half thickness over the size of the whole piece
_USUAL_THIN_PX = 5.0
_THIN_LARGE = 0.08  # the same for large pieces, whose rims are relatively thinner
_FLANK_PX = 3.5  # from where a bit begins at the low level to where it is half as high, and the pixel grid
_CORE, _EMPTY = 0.6, 0.2  # deeper than this share of the depth of the hull, at most this share is rim
_FOREIGN = 0.05  # share of the hull other components may take
_HUGGING = 0.85  # share of the bits' pixels that must lie at the border of the hull
_COVERED = (0.6, 0.6, 0.52)  # share of the hull's border to be covered: by one bit, two, three or more
_MOST_GAP = 0.34  # of the hull's border in one; the chord of half a circle is 0.39, a side of a square 0.25
_MOST_BITS = 4
_BEAD_PX = 2.5  # half thickness from which a spot is no bit of a thin rim, such as a side of a small crystal
_BEADS = 3
# area of a spot over its length squared: a disc has 0.79, a line three times as long as wide 0.33
_COMPACT = 0.35
_NEIGHBOURS = 5


@dataclass(frozen=True)
class _Bit:
    label: int
    points: np.ndarray  # (P, 2) int32, x and y of its outer contour
    box: np.ndarray  # left, top, right, bottom
    half_thickness: float  # at half its height
    length: float
    level: float  # half its height
    closed: bool  # round a place of its own


class _Field(NamedTuple):
    labels: np.ndarray  # (M, N) components
    distance: np.ndarray  # (M, N) from the oil
    solid: np.ndarray  # (K,) whether a component is no line
    least_px2: float


def rim_groups(
    labels: np.ndarray, stats: np.ndarray, distance: np.ndarray, least_px2: float
) -> list[tuple[list[int], np.ndarray]]:
    """Find sets of components that are bits of one broken rim.

    Parameters
    ----------
    labels : (M, N) ndarray of int32
        Components at the low level.
    stats : (K, 5) ndarray of int32
        Their boxes and areas as OpenCV gives them.
    distance : (M, N) ndarray of float32
        Distance from the oil.
    least_px2 : float
        Smallest area of a whole piece.

    Returns
    -------
    groups : list of (list of int, (P, 2) ndarray of int32)
        Labels of the bits and the hull of the piece, x and y of pixel centres.
    """
    bits = [bit for k in range(1, len(stats)) if (bit := _bit(labels, stats, distance, k)) is not None]
    bits.sort(key=lambda b: -b.length)
    solid = stats[:, cv2.CC_STAT_AREA] >= least_px2
    solid[[0, *(bit.label for bit in bits)]] = False
    field = _Field(labels, distance, solid, least_px2)
    used = {bit.label for bit in bits if bit.closed and _best_set(bit, [], field) is not None}
    groups = []
    for bit, beside in zip(bits, _neighbours(bits), strict=True):
        if bit.label in used:
            continue
        near = [bits[i] for i in beside if bits[i].label not in used][:_NEIGHBOURS]
        best = _best_set(bit, near, field)
        if best is not None:
            groups.append(best)
            used.update(best[0])
    return groups


def _neighbours(bits: list[_Bit]) -> list[list[int]]:
    """For each bit, those nearer to it than it is long, the nearest first."""
    from shapely import STRtree, box

    if not bits:
        return []
    boxes = np.array([bit.box for bit in bits])
    reach = np.array([bit.length for bit in bits])
    wide = box(*(boxes[:, :2] - reach[:, None]).T, *(boxes[:, 2:] + reach[:, None]).T)
    own, other = STRtree(box(*boxes.T)).query(wide)
    gaps = _gaps(boxes[own], boxes[other])
    near = (gaps < reach[own]) & (own != other)
    own, other, gaps = own[near], other[near], gaps[near]
    order = np.lexsort((other, gaps, own))
    start = np.searchsorted(own[order], np.arange(len(bits) + 1))
    return [other[order[a:b]].tolist() for a, b in pairwise(start)]


def _bit(labels: np.ndarray, stats: np.ndarray, distance: np.ndarray, k: int) -> _Bit | None:
    x, y, w, h, n = (int(v) for v in stats[k])
    if n < 12 or (n > 0.75 * w * h and max(w, h) < 2 * min(w, h)):
        return None
    box = np.s_[y : y + h, x : x + w]
    own = labels[box] == k
    if not own.any():  # all of it is another piece's by now
        return None
    # the low level lies far out in the flanks of the blur, which makes a thin rim look thick
    level = 0.5 * percentile(distance[box][own], _OWN_HEIGHT)
    strong = cv2.copyMakeBorder(
        (own & (distance[box] >= level)).view(np.uint8), 1, 1, 1, 1, cv2.BORDER_CONSTANT
    )
    half = float(cv2.distanceTransform(strong, cv2.DIST_L2, 3).max()) - 0.5  # to the border
    if _is_beaded(strong, half):
        return None
    mask = cv2.copyMakeBorder(own.view(np.uint8), 1, 1, 1, 1, cv2.BORDER_CONSTANT)
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    points = np.concatenate(contours).reshape(-1, 2) + np.array([x - 1, y - 1])
    length = float(max(cv2.minAreaRect(points.astype(np.float32))[1])) + 1.0
    # a dark body in a wide haze is no line either
    border, _ = cv2.findContours(strong, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    core = float(max(cv2.minAreaRect(np.concatenate(border))[1])) + 1.0
    if 2.0 * half > _SLENDER * core:
        return None
    closed = cv2.countNonZero(fill_holes(mask)) > (1.0 + _HOLE) * n
    return _Bit(k, points.astype(np.int32), np.array([x, y, x + w, y + h]), half, length, level, closed)


def _is_beaded(strong: np.ndarray, half_px: float) -> bool:
    """Whether most of what is strong are three compact spots or more: small pieces in a row, no line."""
    if half_px <= _BEAD_PX:
        return False
    count, _, stats = numbered(strong, 8)
    if count <= _BEADS:
        return False
    area = stats[1:, cv2.CC_STAT_AREA].astype(float)
    length = stats[1:, [cv2.CC_STAT_WIDTH, cv2.CC_STAT_HEIGHT]].max(axis=1)
    compact = area > _COMPACT * length**2
    return int(compact.sum()) >= _BEADS and area[compact].sum() > 0.5 * area.sum()


def _best_set(bit: _Bit, near: list[_Bit], field: _Field) -> tuple[list[int], np.ndarray] | None:
    best, most = None, 0.0
    for count in range(_MOST_BITS):
        for extra in combinations(near, count):
            chosen = [bit, *extra]
            hull = cv2.convexHull(np.concatenate([b.points for b in chosen])).reshape(-1, 2)
            share, inside = _covered_share(chosen, hull, field)
            if share >= _COVERED[min(count, 2)] and share - inside > most + 0.02:
                best, most = ([b.label for b in chosen], hull), share - inside
    return best


def _gaps(boxes: np.ndarray, others: np.ndarray) -> np.ndarray:
    """Distance of each of K boxes from another, (K,)."""
    dx = np.maximum(np.maximum(boxes[:, 0] - others[:, 2], others[:, 0] - boxes[:, 2]), 0)
    dy = np.maximum(np.maximum(boxes[:, 1] - others[:, 3], others[:, 1] - boxes[:, 3]), 0)
    return np.hypot(dx, dy)


def _covered_share(chosen: list[_Bit], hull: np.ndarray, field: _Field) -> tuple[float, float]:
    """Share of the hull's border, and of its middle, that the bits cover; 0 when they are no rim."""
    whole = float(cv2.contourArea(hull))
    size = float(np.sqrt(whole))
    thin = min(_THIN * size, max(_USUAL_THIN_PX, _THIN_LARGE * size))
    if whole < field.least_px2 or max(b.half_thickness for b in chosen) > thin:
        return 0.0, 0.0
    x0, y0 = hull.min(axis=0)
    x1, y1 = hull.max(axis=0) + 1
    labels = field.labels[y0:y1, x0:x1]
    crop = labels == chosen[0].label
    for b in chosen[1:]:
        crop |= labels == b.label
    filled = np.zeros((y1 - y0 + 2, x1 - x0 + 2), np.uint8)
    cv2.fillConvexPoly(filled, hull - [x0 - 1, y0 - 1], 1)
    depth = cv2.distanceTransform(filled, cv2.DIST_L2, 3)[1:-1, 1:-1]
    reach = 2.0 * max(b.half_thickness for b in chosen) + _FLANK_PX
    strong = crop & (field.distance[y0:y1, x0:x1] >= min(b.level for b in chosen))
    if (depth[strong] <= reach).mean() < _HUGGING:
        return 0.0, 0.0
    inside = float(strong[depth > _CORE * depth.max()].mean())
    if inside > _EMPTY:  # two rims side by side
        return 0.0, 0.0
    foreign = (labels > 0) & ~crop & (depth > reach)
    # lines inside are edges of a crystal; round whole pieces of their own goes a thread
    if foreign.sum() > _FOREIGN * whole or field.solid[labels[foreign]].any():
        return 0.0, 0.0
    border = (depth > 0) & (depth <= 1.5)
    near = cv2.dilate(crop.astype(np.uint8), disc(2.0))
    if _longest_gap(hull - [x0, y0], near) > _MOST_GAP:
        return 0.0, 0.0
    return float(near[border].mean()), inside


def _longest_gap(hull: np.ndarray, near: np.ndarray) -> float:
    """Longest stretch of a hull without a bit near it, over all of its border."""
    ends = turned(hull, -1)
    count = np.maximum(np.hypot(*(ends - hull).T).astype(int), 1)
    along = [a + np.arange(n)[:, None] / n * (b - a) for a, b, n in zip(hull, ends, count, strict=True)]
    x, y = np.rint(np.concatenate(along)).astype(int).T
    covered = np.flatnonzero(near[y, x])
    if not len(covered):
        return 1.0
    return float(np.diff(covered, append=covered[0] + len(x)).max() - 1) / len(x)
