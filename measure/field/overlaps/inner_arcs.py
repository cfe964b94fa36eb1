"""Edges inside a heap of pieces as arcs: where a piece goes on in another its density rises along a line.

Along the outline of a piece the density rises inwards. Where light passes through what lies over it, or where
it lies on top, it rises so along the same outline inside the heap too. An arc is a line of steepest rise from
branching to branching, laid the way round that outlines are laid, with the denser side where the piece is.
"""

from dataclasses import dataclass
from typing import NamedTuple

import cv2
import numpy as np

from measure.field.basics.ovals import Oval
from measure.field.edges.edge import SMOOTHING_SIGMA_PX

_STEEP = 0.12  # of the steepest rise of the usual outline, from which an edge inside counts
_UNREST = 4.0  # times the slopes of the oil's noise
_DEEP_PX = 2.5  # from the outline, from where an edge is one inside
_LEAST, _MOST = 8, 30  # points of an arc; arcs of a heap, the longest ones
_REACH = 4  # points on either side of a place between which its turn is told
_OUTWARDS, _CORNER = np.deg2rad(20.0), np.deg2rad(60.0)  # turns at which one arc ends and the next begins
_EIGHT = np.ones((3, 3), np.uint8)
_NEAR_PX, _NEAR = 2, 0.06  # from an oval, up to which an edge is its own; over its radius
_ASIDE_PX = np.arange(-_NEAR_PX, _NEAR_PX + 1)[:, None, None]
_ALONG = 0.75  # cosine between an oval's normal and the rise of the edge
_SHRUNK = (0.7, 0.8)  # times an oval, where edges tell nothing of it
_FEW = 6  # points of a course that tell


class Edge(NamedTuple):
    """Share of an edge that is seen, and how much less is seen along it farther in."""

    seen: float
    clear: float


@dataclass(frozen=True, eq=False)
class InnerEdges:
    """Edges inside a heap.

    Attributes
    ----------
    arcs : list of (P, 2) ndarray of float32
        x and y in px of the crop.
    slopes : (M, N, 2) ndarray of float32
        Way in which the density rises, unit length, where an edge is; 0 elsewhere.
    depth : (M, N) ndarray of float32
        Distance from the oil.
    """

    arcs: list[np.ndarray]
    slopes: np.ndarray
    depth: np.ndarray

    def shown(self, oval: Oval, scale: float = 1.0) -> tuple[np.ndarray, np.ndarray]:
        """Return which points of an oval lie inside, and which along an edge rising inwards, (P,) bool."""
        ring, middle = oval.points(), np.array(oval.centre)
        away = oval.outward(ring)
        at = middle + scale * (ring - middle)
        high, wide = self.depth.shape
        x, y = np.floor(at + _ASIDE_PX * away).astype(int).transpose(2, 0, 1)
        x, y = np.clip(x, 0, wide - 1), np.clip(y, 0, high - 1)
        inside = self.depth[y[_NEAR_PX], x[_NEAR_PX]] > _DEEP_PX
        seen = ((self.slopes[y, x] * away).sum(axis=2) < -_ALONG).any(axis=0)
        return inside, seen & inside

    def unseen(self, oval: Oval) -> float:
        """Share of an oval that runs inside the heap and along no edge."""
        inside, seen = self.shown(oval)
        return float((inside & ~seen).mean())

    def within(self, one: Oval, other: Oval) -> Edge | None:
        """How well one oval's course inside another is seen; None where too little of it lies there."""
        course, seen = self.shown(one)
        course &= other.holds(one.points())
        if np.count_nonzero(course) < _FEW:
            return None
        beside = np.mean([self.shown(one, scale)[1][course].mean() for scale in _SHRUNK])
        share = float(seen[course].mean())
        return Edge(share, share - float(beside))

    def explained(self, ovals: list[Oval], own: np.ndarray) -> float:
        """Share of the arcs inside some pieces that lie along one of some ovals."""
        points = np.concatenate([*self.arcs, np.zeros((0, 2), np.float32)])
        x, y = np.clip(np.floor(points).astype(int).T, 0, np.array(own.shape[::-1])[:, None] - 1)
        points = points[own[y, x] > 0]
        if not len(points):
            return 0.0
        near = [max(_NEAR_PX, _NEAR * float(np.sqrt(np.prod(oval.axes))) / 2) for oval in ovals]
        along = [oval.distances(points) < reach for oval, reach in zip(ovals, near, strict=True)]
        return float(np.logical_or.reduce(along).mean())


def inner_edges(delta: np.ndarray, both: np.ndarray, solid: np.ndarray) -> InnerEdges:
    """Find edges inside a heap.

    Parameters
    ----------
    delta : (M, N, 3) ndarray of float32
        CIELAB difference from the oil.
    both : (M, N) ndarray of uint8
        1 in the heap.
    solid : (M, N) ndarray of uint8
        1 in all that is no oil.
    """
    smooth = cv2.GaussianBlur(delta, (0, 0), SMOOTHING_SIGMA_PX)
    usual = smooth[both > 0].mean(axis=0)
    tone = smooth @ (usual / max(float(np.linalg.norm(usual)), 1e-6)).astype(np.float32)
    slope = np.stack([cv2.Sobel(tone, cv2.CV_32F, *way, scale=1 / 8) for way in ((1, 0), (0, 1))], axis=2)
    steep = np.hypot(slope[..., 0], slope[..., 1])
    depth = cv2.distanceTransform(solid, cv2.DIST_L2, 5)
    border = (depth > 0) & (depth <= _DEEP_PX)
    least = _STEEP * float(np.median(steep[border])) if border.any() else np.inf
    oil = cv2.dilate(solid, np.ones((9, 9), np.uint8)) == 0
    if oil.any():
        least = max(least, _UNREST * float(np.median(steep[oil])))
    unit = slope / np.maximum(steep, 1e-9)[..., None]
    edge = _steepest(steep, unit) & (steep > least) & (depth > _DEEP_PX)
    arcs = _arcs(edge, unit)
    slopes = np.where(edge[..., None], unit, np.float32(0))
    return InnerEdges(arcs, slopes, depth)


def _steepest(steep: np.ndarray, unit: np.ndarray) -> np.ndarray:
    """Where the rise is steepest across the line, (M, N) bool."""
    y, x = np.mgrid[: steep.shape[0], : steep.shape[1]].astype(np.float32)
    beside = [
        cv2.remap(steep, x + way * unit[..., 0], y + way * unit[..., 1], cv2.INTER_LINEAR) for way in (-1, 1)
    ]
    return (steep >= beside[0]) & (steep > beside[1])


def _arcs(edge: np.ndarray, unit: np.ndarray) -> list[np.ndarray]:
    """Lines from branching to branching, the longest first."""
    from skimage.morphology import skeletonize

    thin = skeletonize(edge).astype(np.uint8)
    neighbours = cv2.filter2D(thin, cv2.CV_8U, _EIGHT, borderType=cv2.BORDER_CONSTANT) - thin
    thin[(thin > 0) & (neighbours > 2)] = 0
    _, labels, stats, _ = cv2.connectedComponentsWithStats(thin, connectivity=8)
    order = np.argsort(-stats[1:, cv2.CC_STAT_AREA], kind="stable") + 1
    arcs: list[np.ndarray] = []
    for label in order[: 2 * _MOST].tolist():
        if stats[label, cv2.CC_STAT_AREA] < _LEAST:
            break
        x, y, w, h, _ = stats[label]
        arcs += _oriented(np.add(_walked(labels[y : y + h, x : x + w] == label), (x, y)), unit)
    return sorted(arcs, key=len, reverse=True)[:_MOST]


def _walked(mask: np.ndarray) -> np.ndarray:
    """Places of a line one px wide, x and y, from end to end."""
    left = {(int(x), int(y)) for y, x in zip(*np.nonzero(mask), strict=True)}

    def beside(place: tuple[int, int]) -> list[tuple[int, int]]:
        x, y = place
        ring = ((1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (1, -1), (-1, 1), (-1, -1))
        return [(x + u, y + v) for u, v in ring if (x + u, y + v) in left]

    ends = [place for place in sorted(left) if len(beside(place)) == 1]
    place = ends[0] if ends else min(left)
    line = [place]
    left.discard(place)
    while near := beside(place):
        place = near[0]
        left.discard(place)
        line.append(place)
    return np.array(line)


def _oriented(line: np.ndarray, unit: np.ndarray) -> list[np.ndarray]:
    """Convex parts of a line, laid so that the denser side lies where a piece laid so would be."""
    if len(line) < _LEAST:
        return []
    rise = unit[line[:, 1], line[:, 0]]
    wide = np.concatenate([np.repeat(line[:1], 2, axis=0), line, np.repeat(line[-1:], 2, axis=0)])
    smooth = np.stack([np.convolve(side, np.ones(5) / 5, "valid") for side in wide.T.astype(float)], axis=1)
    along = np.gradient(smooth, axis=0)
    if ((-along[:, 1] * rise[:, 0]) + along[:, 0] * rise[:, 1]).sum() < 0:
        smooth = smooth[::-1]
    return [part.astype(np.float32) + np.float32(0.5) for part in _convex(smooth) if len(part) >= _LEAST]


def _convex(line: np.ndarray) -> list[np.ndarray]:
    """Parts of a line between the places where it turns outwards, or inwards as sharply as a corner."""
    if len(line) <= 2 * _REACH:
        return [line]
    before, after = line[_REACH:-_REACH] - line[: -2 * _REACH], line[2 * _REACH :] - line[_REACH:-_REACH]
    crossed = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    turn = np.arctan2(crossed, (before * after).sum(axis=1))
    over = np.where(turn < 0, -turn / _OUTWARDS, turn / _CORNER)
    wide = np.concatenate([np.zeros(_REACH), over, np.zeros(_REACH)])
    most = np.lib.stride_tricks.sliding_window_view(wide, 2 * _REACH + 1).max(axis=1)
    cuts = np.flatnonzero((over >= most) & (over > 1.0)) + _REACH
    return np.split(line, cuts)
