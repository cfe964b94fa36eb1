"""Round pieces of one tone that lie over one another, told by their arcs: outside, and inside one another.

Thin wet heaps of round pieces are no darker where two lie over one another, or only a little: what tells
them is their outline, made of arcs, and fine lines or steps where the edge of one goes on within the other.
Both are asked: ovals must explain nearly all of the outline, and within their common area the edge of at
least one must be seen, as the upper one always has an edge, and seen better there than farther in, for
mottled pieces show lines anywhere. Of each oval an edge must tell, or it was found before as a piece.
"""

from dataclasses import replace
from itertools import combinations
from typing import NamedTuple

import cv2
import numpy as np
import shapely
from shapely import Polygon

from measure.field.basics.found import Found
from measure.field.basics.masks import drawn
from measure.field.basics.ovals import Oval
from measure.field.basics.polygons import largest, outline_of, polygons_of
from measure.field.edges.edge import SMOOTHING_SIGMA_PX
from measure.field.ground.light import Light
from measure.field.overlaps.inner_arcs import Edge, inner_edges
from measure.field.overlaps.oval_heaps import OvalHeap, oval_heap, traced
from measure.flags import bits

_SOLID = 0.97  # solidity from which a piece has no notches worth a look
_MOST_PIECES, _MOST_PX = 16, 600_000  # of a cluster, above which it is looked at piece by piece
_TOUCH_PX = 2.0  # from another piece, within which the outline is no outline of the heap
_CORNERS = 4  # sides of a quarter circle about corners bridged
_BRIDGED_PX = 1.2  # gaps left between pieces by cuts are twice as wide at most
_LEAST_FREE = 0.3  # share of the outline that must border the oil
_MARGIN_PX = 6
_COVERED = 0.85  # share of each piece that ovals must have
_EXPLAINED = 0.8  # share of the free outline that must lie along ovals
# share of the ovals, in the mean, that must run along the outline or edges inside; more where arcs lie
# farther from them than that (over the radius)
_BORNE, _FIT, _OF_MISFIT = 0.76, 0.015, 4.0
_TOLD = 0.4  # share of an edge within another oval from which it is seen
_HARDLY = 0.25  # of an oval unseen, which then needs no edge within another
# how much more of such edges must be seen than farther in; and where most edges inside are of no oval:
# mottle and streaks show some anywhere
_CLEAR, _CLEARLY, _OF_EDGES = 0.46, 0.9, 0.2
_LEAST_RADIUS_PX = 12.0  # of ovals within which an edge is told from what lies beside it
_TWO = 1.4  # times the area of one that two cover at the least
_OF_PIECE, _OF_OVAL = (
    0.5,
    0.3,
)  # share of a piece in an oval, or of an oval in a piece, of what belongs together
_OVER = 0.05  # share of the smaller of two ovals from which they lie over one another
_AS_SHARP = 0.45  # of the steepest outline of a heap is the least steep one: a shadow is softer
_BESIDE = 0.05  # distance from an oval over the root of its area, up to which its own edge may lie
_FEW = 6  # points that tell how steep the outline is
_THREE = np.ones((3, 3), np.uint8)
_OTHERWISE = bits("rim_only", "shade", "thread")
_FLAG = bits("touching", "overlap")


class _Heap(NamedTuple):
    """Rows of the pieces a heap stands in place of, and outlines of its own."""

    gone: list[int]
    outlines: list[np.ndarray]


def ovals_apart(found: Found, light: Light, least_px2: float) -> Found:
    """Take pieces apart that are several round ones over one another.

    Parameters
    ----------
    found : Found
        K pieces.
    light : Light
    least_px2 : float
        Smallest area of a piece.

    Returns
    -------
    Found
        The same, heaps replaced by their pieces, which come last, each with its whole outline.
    """
    usual = found.flags & _OTHERWISE == 0
    hollow = [k for k in np.flatnonzero(usual).tolist() if _is_hollow(found.outlines[k], least_px2)]
    if not hollow:
        return found
    shapes = polygons_of(found.outlines)
    heaps: list[_Heap] = []
    # all that hangs together first: cuts made before are not believed there
    for rows in _clusters(shapes, hollow, usual):
        heaps += _heaps(rows, [shapes[k] for k in rows], [], light, least_px2)
    taken = {k for heap in heaps for k in heap.gone}
    waiting = [k for k in hollow if k not in taken]
    for k, beside in _near(shapes, waiting).items():
        heaps += _heaps([k], [shapes[k]], [shapes[n] for n in beside], light, least_px2)
    return _replaced(found, heaps) if heaps else found


def _replaced(found: Found, heaps: list[_Heap]) -> Found:
    """What was found with heaps in place of the pieces they stand for."""
    gone = [k for heap in heaps for k in heap.gone]
    added = [outline for heap in heaps for outline in heap.outlines]
    number = int(found.parent.max(initial=0))
    parent = [number + n for n, heap in enumerate(heaps, 1) for _ in heap.outlines]
    kept = np.delete(np.arange(len(found.outlines)), gone)
    return replace(
        found,
        outlines=[found.outlines[k] for k in kept] + added,
        parent=np.concatenate([found.parent[kept], parent]).astype(np.int32),
        flags=np.concatenate([found.flags[kept], [_FLAG] * len(added)]).astype(np.int32),
        origin=np.concatenate([found.origin[kept], [1] * len(added)]).astype(np.int8),
    )


def _is_hollow(outline: np.ndarray, least_px2: float) -> bool:
    area = cv2.contourArea(outline)
    return area > _TWO * np.pi * _LEAST_RADIUS_PX**2 and area < _SOLID * cv2.contourArea(
        cv2.convexHull(outline)
    )


def _near(shapes: list[Polygon], rows: list[int]) -> dict[int, list[int]]:
    """Rows of what lies beside each of some pieces."""
    near: dict[int, list[int]] = {k: [] for k in rows}
    if rows:
        wanted = np.array([shapes[k] for k in rows], object)
        pairs = shapely.STRtree(shapes).query(wanted, "dwithin", distance=_TOUCH_PX)
        for n, k in sorted(zip(*pairs.tolist(), strict=True)):
            if rows[n] != k:
                near[rows[n]].append(k)
    return near


def _clusters(shapes: list[Polygon], hollow: list[int], usual: np.ndarray) -> list[list[int]]:
    """Rows of pieces that hang together, of which some are hollow."""
    near = _near(shapes, np.flatnonzero(usual).tolist())
    left, clusters = set(near), []
    for start in hollow:
        if start not in left:
            continue
        own, edge = {start}, [start]
        while edge:
            further = {n for k in edge for n in near[k] if n in left} - own
            own |= further
            edge = sorted(further)
        left -= own
        if 1 < len(own) <= _MOST_PIECES:
            clusters.append(sorted(own))
    return clusters


def _heaps(
    rows: list[int], shapes: list[Polygon], beside: list[Polygon], light: Light, least_px2: float
) -> list[_Heap]:
    """Heaps of round pieces that stand in place of some pieces that hang together."""
    whole = shapes[0] if len(shapes) == 1 else _joined(shapes)
    low = np.maximum(np.floor(whole.bounds[:2]).astype(int) - _MARGIN_PX, 0)
    high = np.ceil(whole.bounds[2:]).astype(int) + _MARGIN_PX
    if np.prod(high - low) > _MOST_PX:
        return []
    box = np.s_[low[1] : high[1], low[0] : high[0]]
    size = light.solid_distance[box].shape
    own = [drawn(outline_of(shape) - low, size) for shape in shapes]
    both = np.bitwise_or.reduce(own)
    others = np.bitwise_or.reduce(
        [np.zeros(size, np.uint8), *(drawn(outline_of(s) - low, size) for s in beside)]
    )
    contours, free = _outline(whole, low, others)
    if np.concatenate(free).mean() < _LEAST_FREE:
        return []
    solid = cv2.morphologyEx(both | others, cv2.MORPH_CLOSE, _THREE)
    delta = light.delta[box]
    heap = oval_heap(contours, free, solid, least_px2, lambda: inner_edges(delta, both, solid))
    if heap is None:
        return []
    made = []
    for pieces, ovals in _believed(heap, own, both, delta):
        stands = [shapes[k] for k in pieces]
        rest = beside + [shape for k, shape in enumerate(shapes) if k not in pieces]
        rounds = [Polygon(heap.ovals[n].points() + low) for n in ovals]
        made.append(_Heap([rows[k] for k in pieces], _outlines(stands, rest, rounds)))
    return made


def _joined(shapes: list[Polygon]) -> Polygon:
    """Some pieces with the gaps that cuts left between them, holes kept."""
    grown = shapely.buffer(np.array(shapes, object), _BRIDGED_PX, quad_segs=_CORNERS)
    bridged = shapely.union_all(grown).buffer(-_BRIDGED_PX, quad_segs=_CORNERS)
    return max(getattr(bridged, "geoms", [bridged]), key=lambda part: part.area)


def _outline(
    whole: Polygon, low: np.ndarray, others: np.ndarray
) -> tuple[list[np.ndarray], list[np.ndarray]]:
    """Outline of a piece and its holes in a crop, and where each borders neither others nor the frame."""
    rings = [whole.exterior, *whole.interiors]
    contours = [
        traced(shapely.get_coordinates(ring)[:-1] - low, whole.area, hole=n > 0)
        for n, ring in enumerate(rings)
        if n == 0 or ring.length > 2 * _MARGIN_PX
    ]
    away = cv2.distanceTransform(1 - others, cv2.DIST_L2, 5) if others.any() else None
    last = np.array(others.shape[::-1])[:, None] - 1
    free = []
    for contour in contours:
        x, y = np.clip(np.floor(contour).astype(int).T, 0, last)
        free.append(away[y, x] > _TOUCH_PX if away is not None else np.ones(len(contour), bool))
    return contours, free


def _believed(
    heap: OvalHeap, own: list[np.ndarray], both: np.ndarray, delta: np.ndarray
) -> list[tuple[list[int], list[int]]]:
    """Pieces and the ovals that stand for them, of each part of a heap that is believed."""
    areas = np.array([max(1, cv2.countNonZero(mask)) for mask in own])
    rounds = np.array([max(1, cv2.countNonZero(mask)) for mask in heap.masks])
    shared = np.array([[cv2.countNonZero(oval & mask) for mask in own] for oval in heap.masks])
    left = set(range(len(rounds)))
    while left:
        cover = np.bitwise_or.reduce([heap.masks[n] for n in left])
        open_ = [k for k, mask in enumerate(own) if cv2.countNonZero(cover & mask) < _COVERED * areas[k]]
        bad = {n for n in left if any(shared[n, k] > _OF_OVAL * rounds[n] for k in open_)}
        if not bad:
            break
        left -= bad
    belong = (shared > _OF_PIECE * areas) | (shared > _OF_OVAL * rounds[:, None])
    # each of two that lie over one another is whole with the other's part only
    over = np.array([[cv2.countNonZero(one & other) for other in heap.masks] for one in heap.masks])
    beside = over > _OVER * np.minimum(rounds, rounds[:, None])
    found = []
    while left:
        ovals, pieces = _together(min(left), belong, beside, left)
        left -= {*ovals}
        if _borne_out(heap, ovals, [own[k] for k in pieces]) and _alike_sharp(
            [heap.ovals[n] for n in ovals], both, delta
        ):
            found.append((pieces, ovals))
    return found


def _borne_out(heap: OvalHeap, ovals: list[int], own: list[np.ndarray]) -> bool:
    """Whether ovals that stand for some pieces run along the outline or edges inside for the most.

    Of each two that lie over one another the edge of one at least must be seen within the other: the upper
    one always has an edge.
    """
    if not own or len(ovals) < 2 or _explained(heap, own) < _EXPLAINED:
        return False
    if min(float(np.prod(heap.ovals[n].axes)) for n in ovals) < (2 * _LEAST_RADIUS_PX) ** 2:
        return False
    unseen = {n: heap.inner.unseen(heap.ovals[n]) for n in ovals}
    misfit = float(np.mean([heap.misfits[n] for n in ovals]))
    borne = 1.0 - float(np.mean([*unseen.values()])) - _OF_MISFIT * max(0.0, misfit - _FIT)
    if borne < _BORNE or (len(ovals) < len(own) and 1.0 - max(unseen.values()) < _BORNE):
        return False
    told = [(pair, edge) for pair, edge in _edges_within(heap, ovals) if edge.seen > _TOLD]
    alone = {*ovals} - {n for pair, _ in told for n in pair}
    if not told or any(unseen[n] > _HARDLY for n in alone):
        return False
    clear = float(np.mean([edge.clear for _, edge in told]))
    explained = heap.inner.explained([heap.ovals[n] for n in ovals], np.bitwise_or.reduce(own))
    return clear > (_CLEAR if explained > _OF_EDGES else _CLEARLY)


def _edges_within(heap: OvalHeap, ovals: list[int]) -> list[tuple[tuple[int, int], Edge]]:
    """The better seen edge within their common area, of each two ovals that have one."""
    found = []
    for pair in combinations(ovals, 2):
        if cv2.countNonZero(heap.masks[pair[0]] & heap.masks[pair[1]]):
            one, other = (heap.ovals[n] for n in pair)
            edges = [heap.inner.within(*way) for way in ((one, other), (other, one))]
            told = [edge for edge in edges if edge is not None]
            if told:
                found.append((pair, max(told, key=lambda edge: edge.seen)))
    return found


def _alike_sharp(ovals: list[Oval], both: np.ndarray, delta: np.ndarray) -> bool:
    """Whether all ovals have outlines about as steep: what is far softer is a shadow or out of focus."""
    smooth = cv2.GaussianBlur(delta, (0, 0), SMOOTHING_SIGMA_PX)
    slopes = [cv2.Sobel(smooth, cv2.CV_32F, *way) for way in ((1, 0), (0, 1))]
    steep = np.sqrt(sum((slope**2).sum(axis=2) for slope in slopes))
    border = cv2.dilate(cv2.morphologyEx(both, cv2.MORPH_GRADIENT, _THREE), _THREE)
    last = np.array(both.shape[::-1])[:, None] - 1
    means = []
    for oval in ovals:
        x, y = np.clip(np.floor(oval.points()).astype(int).T, 0, last)
        outside = border[y, x] > 0
        if outside.sum() >= _FEW:
            means.append(float(steep[y[outside], x[outside]].mean()))
    return not means or min(means) >= _AS_SHARP * max(means)


def _together(
    start: int, belong: np.ndarray, beside: np.ndarray, left: set[int]
) -> tuple[list[int], list[int]]:
    """Ovals and pieces that belong together with one oval."""
    ovals = {start}
    pieces: set[int] = set()
    while True:
        more = {int(k) for n in ovals for k in np.flatnonzero(belong[n])} - pieces
        pieces |= more
        further = {
            n for n in left if belong[n, sorted(pieces)].any() or beside[n, sorted(ovals)].any()
        } - ovals
        if not further:
            return sorted(ovals), sorted(pieces)
        ovals |= further


def _explained(heap: OvalHeap, own: list[np.ndarray]) -> float:
    """Share of the free outline of some pieces that lies along an oval."""
    near = cv2.dilate(np.bitwise_or.reduce(own), np.ones((5, 5), np.uint8))
    x, y = np.clip(np.floor(heap.points).astype(int).T, 0, np.array(near.shape[::-1])[:, None] - 1)
    here = near[y, x] > 0
    return float(heap.explained[here].mean()) if here.any() else 0.0


def _outlines(shapes: list[Polygon], beside: list[Polygon], rounds: list[Polygon]) -> list[np.ndarray]:
    """Each oval as far as anything goes, with what of some pieces lies beside it and in none."""
    whole = shapes[0] if len(shapes) == 1 else _joined(shapes)
    solid = _joined([*shapes, *beside]) if beside else whole
    left = whole.difference(shapely.union_all(rounds))
    grown = [oval.buffer(max(_BRIDGED_PX, _BESIDE * np.sqrt(oval.area))) for oval in rounds]
    outlines = []
    for n, oval in enumerate(rounds):
        others = shapely.union_all(grown[:n] + grown[n + 1 :])
        own = left.intersection(grown[n]).difference(others)
        outlines.append(outline_of(largest(oval.intersection(solid).union(own))))
    return outlines
