"""Straight-sided pieces that lie across one another, from their common outline and what shows of the rest.

Where two convex pieces cross, their common outline turns inwards at two corners, and between two such corners
it is the outline of one of them. Each piece goes on through the other: its sides run straight on from the
corners, until they meet or a further side joins them, and along them an edge is seen as dark as the edges in
the open. So the ways each part of the outline may be closed by are tried, and the set of ways is taken along
which most is seen, each line counted for one piece.
"""

from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import NamedTuple

import cv2
import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from measure.field.basics.masks import eroded, numbered, square
from measure.field.basics.quick import median, turned
from measure.field.crystals.hidden_ways import Way, ridges_at, sampled, side_end, ways_between
from measure.field.crystals.rim_faces import ridges

_BENDS = ((1.2, 0.025), (1.8, 0.04), (2.6, 0.04))  # by which a side may bend, px and over the size
_INWARDS = 0.2  # sine of the turn from which a corner is a notch
_BLUNT_PX = 5.0  # notches nearer to one another are one, rounded by blur
_MOST_NOTCHES = 6
_CONVEX = 0.93  # area over that of the hull of a piece
_ROUNDS = 3
_SAME_PX, _AT_NOTCH_PX = 2.5, 4.0  # from a line of another piece, and from notches, where lines meet
_END_PX = 1.5  # of a way, worth nothing
_DEEPEST_PX, _INSIDE_PX = (
    7.0,
    0.25,
)  # of the line of a rim within its foot, and how far outside that line it is cut
_KEPT = 0.3  # share of the mask that must be left so


class Crossing(NamedTuple):
    """Pieces that explain a common outline.

    Attributes
    ----------
    pieces : list of Polygon
        In the mask's coordinates, to the foot of their rims.
    seen : float
        How well edges show along the hidden ways, of the piece where it is least; 1 at most.
    own : float
        Least share of a piece that no other covers.
    open : float
        Least share of the outline of a piece that does not run through another.
    width : float
        Least width of what no other covers, over that of the whole piece.
    """

    pieces: list[shapely.Polygon]
    seen: float
    own: float
    open: float
    width: float


def crossing_sides(dark: np.ndarray, mask: np.ndarray, least_seen: float = 0.0) -> Iterator[Crossing]:
    """Sets of pieces that may make a common outline.

    Parameters
    ----------
    dark : (M, N) ndarray of float32
        Optical density against the oil.
    mask : (M, N) ndarray of uint8
        One filled part, to the foot of its rims.
    least_seen : float
        Sets along whose hidden ways less is seen may be left out.

    Yields
    ------
    Crossing
    """
    edges = ridges(dark)
    inset = max(depth_of_rim(edges, mask) - _INSIDE_PX, 0.0)
    inner = _inner(mask, inset)
    if inner is None:
        return
    outline = _outline(inner)
    size = float(np.sqrt(cv2.countNonZero(inner)))
    seen: set[bytes] = set()
    for least_px, share in _BENDS:
        arcs = _arcs(outline, max(least_px, share * size))
        key = b"".join(arc.tobytes() for arc in arcs)
        if not 2 <= len(arcs) <= _MOST_NOTCHES or key in seen:
            continue
        seen.add(key)
        best = _best(arcs, outline, inner, edges, least_seen)
        if best is not None:
            yield best._replace(pieces=[_grown(piece, inset) for piece in best.pieces])


def depth_of_rim(edges: np.ndarray, mask: np.ndarray) -> float:
    """How deep inside a mask, (M, N) uint8, its edge is darkest, px."""
    outline = _outline(mask)
    ahead = turned(outline, -3) - turned(outline, 3)
    inward = np.stack([-ahead[:, 1], ahead[:, 0]], axis=1)
    inward /= np.maximum(np.hypot(*inward.T), 1e-6)[:, None]
    depths = np.arange(0.0, _DEEPEST_PX + 0.1, 0.5)
    values = ridges_at(edges, outline[:, None, :] + depths[:, None] * inward[:, None, :])
    return median(depths[values.argmax(axis=1)])


def _inner(mask: np.ndarray, inset: float) -> np.ndarray | None:
    """The largest part of a mask cut back."""
    cut = eroded(mask, inset) if inset > 0 else mask
    count, parts, stats = numbered(cut, 4)
    if count < 2:
        return None
    largest = 1 + int(stats[1:count, cv2.CC_STAT_AREA].argmax())
    inner = (parts == largest).view(np.uint8)
    return inner if cv2.countNonZero(inner) >= _KEPT * cv2.countNonZero(mask) else None


def _outline(mask: np.ndarray) -> np.ndarray:
    """Pixels along the border of a mask, (P, 2) float32; turns to the inside are positive."""
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outline = max(contours, key=len)
    points: np.ndarray = outline.reshape(-1, 2).astype(np.float32) + np.float32(0.5)
    return points[::-1].copy() if cv2.contourArea(points.reshape(-1, 1, 2), True) < 0 else points


def _arcs(outline: np.ndarray, bend_px: float) -> list[np.ndarray]:
    """Corners of an outline from notch to notch, (K, 2) each."""
    corners = cv2.approxPolyDP(outline.reshape(-1, 1, 2), bend_px, True).reshape(-1, 2)
    before, after = corners - turned(corners, 1), turned(corners, -1) - corners
    lengths = np.hypot(*before.T) * np.hypot(*after.T)
    turns = (before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]) / np.maximum(lengths, 1e-6)
    notches = np.flatnonzero(turns < -_INWARDS)
    arcs = []
    for i, j in zip(notches, turned(notches, -1), strict=True) if len(notches) > 1 else ():
        arc = corners[np.arange(i, j + 1 if j > i else j + 1 + len(corners)) % len(corners)]
        if np.hypot(*np.diff(arc, axis=0).T).sum() > _BLUNT_PX:
            arcs.append(arc)
    return arcs


def _best(
    arcs: list[np.ndarray], outline: np.ndarray, inner: np.ndarray, edges: np.ndarray, least_seen: float
) -> Crossing | None:
    """The set of pieces along whose hidden ways most is seen."""
    ways = _Ways(arcs, outline, inner, edges, least_seen)
    notches = np.concatenate([arc[[0, -1]] for arc in arcs])
    best = None
    for blocks in _groupings(len(arcs)):
        pairs = [(a, b) for block in blocks for a, b in pairwise((*block, block[0]))]
        if not all(ways.between(*pair) for pair in pairs):
            continue
        chosen, seen = _chosen([ways.between(*pair) for pair in pairs], notches)
        if seen < least_seen or (best is not None and seen <= best.seen):
            continue
        closing = dict(zip(pairs, chosen, strict=True))
        pieces = [_piece(block, arcs, closing) for block in blocks]
        whole = [piece for piece in pieces if piece is not None]
        if len(whole) == len(blocks):
            best = Crossing(whole, seen, own_share(whole), _open_share(whole), _own_width(whole))
    return best


class _Ways:
    """The hidden ways between arcs of an outline, each looked for when it is asked for first."""

    def __init__(
        self,
        arcs: list[np.ndarray],
        outline: np.ndarray,
        inner: np.ndarray,
        edges: np.ndarray,
        least_seen: float,
    ) -> None:
        self._arcs, self._outline, self._inner, self._least = arcs, outline, inner, least_seen
        self._wide = cv2.dilate(edges, square(5))
        self._near = cv2.dilate(edges, square(3))
        self._usual: dict[int, float] = {}
        self._ends: dict[tuple[int, bool], tuple[np.ndarray, np.ndarray]] = {}
        self._known: dict[tuple[int, int], list[Way]] = {}

    def between(self, a: int, b: int) -> list[Way]:
        """Ways from where one arc goes in to where another comes out, if enough is seen along one."""
        if (a, b) not in self._known:
            usual = 0.5 * (self._strength(a) + self._strength(b))
            ways = ways_between(self._end(a, True), self._end(b, False), self._inner, self._near, usual)
            enough = any(most_worth(way) >= self._least for way in ways)
            self._known[a, b] = ways if enough else []
        return self._known[a, b]

    def _strength(self, arc: int) -> float:
        if arc not in self._usual:
            self._usual[arc] = median(ridges_at(self._wide, sampled(self._arcs[arc])))
        return self._usual[arc]

    def _end(self, k: int, last: bool) -> tuple[np.ndarray, np.ndarray]:
        if (k, last) not in self._ends:
            arc = self._arcs[k]
            inwards = (arc[-2], arc[-1]) if last else (arc[1], arc[0])
            self._ends[k, last] = side_end(self._outline, *inwards)
        return self._ends[k, last]


def _groupings(count: int) -> Iterator[list[tuple[int, ...]]]:
    """Ways to give arcs to pieces: one or two each, never two beside one another."""

    def grown(blocks: list[tuple[int, ...]], arc: int) -> Iterator[list[tuple[int, ...]]]:
        if arc == count:
            yield blocks
            return
        for k, block in enumerate(blocks):
            if len(block) == 1 and arc - block[0] > 1 and arc - block[0] < count - 1:
                yield from grown([*blocks[:k], (*block, arc), *blocks[k + 1 :]], arc + 1)
        yield from grown([*blocks, (arc,)], arc + 1)

    yield from grown([], 0)


def _chosen(slots: list[list[Way]], notches: np.ndarray) -> tuple[list[Way], float]:
    """A way for each slot, each line counted once, and what is seen along the one where it is least."""
    picked = [ways[0] for ways in slots]
    worths = [0.0] * len(slots)
    for _ in range(_ROUNDS):
        for k, ways in enumerate(slots):
            others = np.concatenate([way.points for j, way in enumerate(picked) if j != k])
            worth = [way_worth(way, others, notches) for way in ways]
            best = int(np.argmax(worth))
            picked[k], worths[k] = ways[best], worth[best]
    return picked, min(worths)


def way_worth(way: Way, others: np.ndarray, notches: np.ndarray) -> float:
    """Mean of what is seen along a way, nothing beside places (K, 2) of other lines but at notches (L, 2)."""
    shared = _within(way.points, others, _SAME_PX) & ~_within(way.points, notches, _AT_NOTCH_PX)
    return float(np.where(shared, 0.0, way.shown).mean() - _END_PX / len(way.points))


def most_worth(way: Way) -> float:
    """What a way is worth at most, wherever other lines run."""
    return float(np.maximum(way.shown, 0.0).mean() - _END_PX / len(way.points))


def _within(points: np.ndarray, others: np.ndarray, reach_px: float) -> np.ndarray:
    """Which points, (K, 2), have one of some others, (L, 2), within reach, (K,) of bool."""
    beyond = reach_px + 1.0  # a px more, so that no rounding matters
    few = others[
        ((others >= points.min(axis=0) - beyond) & (others <= points.max(axis=0) + beyond)).all(axis=1)
    ]
    if not len(few):
        return np.zeros(len(points), bool)
    away = np.hypot(*(points[:, None, :] - few[None, :, :]).transpose(2, 0, 1))
    near: np.ndarray = away.min(axis=1) <= reach_px
    return near


def _piece(
    block: tuple[int, ...], arcs: list[np.ndarray], closing: dict[tuple[int, int], Way]
) -> shapely.Polygon | None:
    """Outline of a piece of some arcs and the ways between them, if it is convex."""
    parts = []
    for a, b in pairwise((*block, block[0])):
        parts += [arcs[a][1:-1], closing[a, b].corners]
    shape = shapely.Polygon(np.concatenate(parts)).buffer(0)
    if shape.geom_type != "Polygon" or shape.is_empty or shape.area < _CONVEX * shape.convex_hull.area:
        return None
    return shape


def own_share(pieces: Sequence[shapely.Polygon]) -> float:
    """Least share of a piece that no other covers."""
    return min(piece.difference(_others(piece, pieces)).area / piece.area for piece in pieces)


def _open_share(pieces: Sequence[shapely.Polygon]) -> float:
    """Least share of an outline that does not run through another piece."""
    return min(piece.exterior.difference(_others(piece, pieces)).length / piece.length for piece in pieces)


def _own_width(pieces: Sequence[shapely.Polygon]) -> float:
    """Least width of what no other piece covers, over that of the whole piece."""
    return min(_width(piece.difference(_others(piece, pieces))) / _width(piece) for piece in pieces)


def _width(shape: BaseGeometry) -> float:
    """Radius of the largest circle within a shape of some parts."""
    parts = [part for part in shapely.get_parts(shape) if part.geom_type == "Polygon"]
    return max((shapely.maximum_inscribed_circle(part, 0.2).length for part in parts), default=0.0)


def _others(piece: shapely.Polygon, pieces: Sequence[shapely.Polygon]) -> BaseGeometry:
    return shapely.union_all([other for other in pieces if other is not piece])


def _grown(piece: shapely.Polygon, by_px: float) -> shapely.Polygon:
    return piece.buffer(by_px + 0.5, join_style="mitre", mitre_limit=2.0)
