"""The ovals whose united outline a piece has: how many round pieces lie over one another in it.

Where round pieces lie over one another, the common outline is made of arcs of their own outlines, which meet
in notches. Each arc shows its oval, or two and three of them together where others cover what lies between.
Of all ovals so found those are kept that explain most of the outline with the fewest and closest ones.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import combinations
from typing import NamedTuple

import cv2
import numpy as np

from measure.field.basics.ovals import Oval, oval_of
from measure.field.overlaps.inner_arcs import InnerEdges

_REACH = 5  # points on either side of a place between which its turn is told
_TURN = np.deg2rad(12.0)  # inwards, from which a place is a notch; waves of an edge are taken out by joining
_DEEPEST = np.deg2rad(25.0)  # of a notch at least one is as deep as that
_END, _OF_ARC = 3, 9  # points from which the course of an arc's end is told; points of an arc asked
_ASIDE, _ASIDE_PX = 0.35, 2.0  # sine of an angle, and px, by which one arc may lie beyond the end of another
_SMOOTH = np.array([1.0, 2.0, 3.0, 2.0, 1.0]) / 9.0
_DETAIL = 120.0  # root of the area over the step from point to point, where that is more than a pixel
_LEAST_ARC, _MOST_ARCS = 8, 40  # points of an arc; arcs of an outline, above which it is ragged
_LONG = 2.6  # axes of an oval
_FIT = 0.035  # mean distance of arcs from their oval over its radius, and of each
_WORST = 2.0  # the same of any one of them over that
_SPAN = 0.25  # share of an oval that its arcs go round
_WITHIN = (0.92, 0.6)  # of an oval's radius, at which it must lie in what is no oil
_INSIDE = 0.97  # share of it that must
_NEAR, _NEAR_PX = 0.08, 1.2  # distance from an oval over its radius, up to which it explains a place; px
# share of its own length an oval must explain anew; more for a bad fit, and for what runs neither outside nor
# along an edge inside, of which there may be so much
_PRICE, _OF_MISFIT, _OF_UNSEEN, _MOST_UNSEEN = 0.2, 4.0, 0.5, 0.6
_COMMON = 0.6  # share of the smaller of two ovals in both, from which they are one piece
_ROUNDS = 8
_OF_OUTLINE = 0.6  # share of the outline that ovals must explain in some way before edges inside are asked
_OF_OUTLINE_SEEN, _UNSEEN = 0.5, 0.4  # the same of ovals of which so little is unseen inside
_INNER = 0.7  # worth of a place of an arc inside, where mottle shows some too, over one of the outline


class OvalHeap(NamedTuple):
    """Ovals that make up an outline.

    Attributes
    ----------
    ovals : list of Oval
    masks : list of (M, N) ndarray of uint8
        The same, drawn.
    misfits : list of float
        Mean distance of each from its arcs over its radius.
    points : (P, 2) ndarray
        The free outline.
    explained : (P,) ndarray of bool
        Where it lies along one of them.
    inner : InnerEdges
        Edges inside.
    """

    ovals: list[Oval]
    masks: list[np.ndarray]
    misfits: list[float]
    points: np.ndarray
    explained: np.ndarray
    inner: InnerEdges


@dataclass(frozen=True, eq=False)
class _Guess:
    """An oval that may be there, which points it explains, and what it costs to believe in it."""

    oval: Oval
    explains: np.ndarray
    misfit: float
    price: float
    mask: np.ndarray  # drawn


def oval_heap(
    contours: list[np.ndarray],
    free: list[np.ndarray],
    solid: np.ndarray,
    least_px2: float,
    edges: Callable[[], InnerEdges],
) -> OvalHeap | None:
    """Find the ovals that make up an outline.

    Parameters
    ----------
    contours : list of (P, 2) ndarray
        The outline and those of its holes, x and y in px of the crop, points evenly apart as by `traced`.
    free : list of (P,) ndarray of bool
        Where each borders the oil, and not another piece.
    solid : (M, N) ndarray of uint8
        All that is no oil.
    least_px2 : float
        Smallest area of an oval.
    edges : callable
        Finds the edges that are seen inside; asked only where the outline is that of ovals for the most.

    Returns
    -------
    heap : OvalHeap or None
        None where the outline is not that of several ovals.
    """
    notches = [notch_places(contour) for contour in contours]
    if not any(
        turn[own[at]].max(initial=0.0) > _DEEPEST for (at, turn), own in zip(notches, free, strict=True)
    ):
        return None
    every = zip(contours, free, notches, strict=True)
    arcs = [arc for contour, own, (at, _) in every for arc in _arcs(contour, own, at)]
    if not 1 < len(arcs) <= _MOST_ARCS:
        return None
    points = np.concatenate(arcs)
    alone = list(_guesses(arcs, points, solid, least_px2))
    if _share(alone) < _OF_OUTLINE:
        return None
    outer, inner = len(points), edges()
    if _share([guess for guess in alone if inner.unseen(guess.oval) < _UNSEEN]) < _OF_OUTLINE_SEEN:
        return None
    arcs += inner.arcs[: _MOST_ARCS - len(arcs)]
    points = np.concatenate(arcs)
    worth = np.where(np.arange(len(points)) < outer, 1.0, _INNER)
    chosen = _chosen(list(_guesses(arcs, points, solid, least_px2, inner)), worth)
    if len(chosen) < 2:
        return None
    points = points[:outer]
    explained = np.logical_or.reduce([guess.explains[:outer] for guess in chosen])
    ovals, masks = [guess.oval for guess in chosen], [guess.mask for guess in chosen]
    return OvalHeap(ovals, masks, [guess.misfit for guess in chosen], points, explained, inner)


def _share(guesses: list[_Guess]) -> float:
    """Share of the points that some ovals explain."""
    return float(np.logical_or.reduce([guess.explains for guess in guesses]).mean()) if guesses else 0.0


def traced(contour: np.ndarray, area_px2: float, hole: bool = False) -> np.ndarray:
    """Return points evenly apart along an outline, about a pixel, in large pieces more; lightly smoothed."""
    ring = np.concatenate([contour, contour[:1]]).astype(np.float64)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(ring, axis=0).T))])
    step = max(1.0, np.sqrt(area_px2) / _DETAIL)
    places = np.linspace(0.0, along[-1], max(24, int(along[-1] / step)), endpoint=False)
    even = np.stack([np.interp(places, along, side) for side in ring.T], axis=1)
    wide = np.concatenate([even[-2:], even, even[:2]])
    smooth = np.stack([np.convolve(side, _SMOOTH, "valid") for side in wide.T], axis=1)
    (x, y), (u, v) = smooth.T, np.roll(smooth, -1, axis=0).T
    return (smooth[::-1] if (np.sum(x * v - u * y) > 0) == hole else smooth).astype(np.float32)


def notch_places(contour: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Places of a contour, as by `traced`, where it turns inwards most, in order, and by how much, radian."""
    before = contour - np.roll(contour, _REACH, axis=0)
    after = np.roll(contour, -_REACH, axis=0) - contour
    crossed = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    inwards = -np.arctan2(crossed, (before * after).sum(axis=1))
    wide = np.concatenate([inwards[-_REACH:], inwards, inwards[:_REACH]])
    most = np.lib.stride_tricks.sliding_window_view(wide, 2 * _REACH + 1).max(axis=1)
    places = np.flatnonzero((inwards >= most) & (inwards > _TURN))
    return places, inwards[places]


def _arcs(contour: np.ndarray, free: np.ndarray, notches: np.ndarray) -> list[np.ndarray]:
    """Free parts of an outline from notch to notch, (P, 2) each."""
    # outlines of two pieces cross in two notches, of which others may hide one
    if not free[notches].any():
        return []
    ends = np.union1d(notches, np.flatnonzero(free != np.roll(free, 1)))
    if len(ends) < 2:
        return []
    count, arcs = len(contour), []
    for start, stop in zip(ends.tolist(), [*ends[1:].tolist(), int(ends[0]) + count], strict=True):
        at = np.arange(start, stop + 1) % count
        if len(at) >= _LEAST_ARC and free[at[1:-1]].all():
            arcs.append(contour[at])
    return arcs


def _guesses(
    arcs: list[np.ndarray],
    points: np.ndarray,
    solid: np.ndarray,
    least_px2: float,
    inner: InnerEdges | None = None,
) -> Iterator[_Guess]:
    """Ovals of single arcs, of each two, and of each three of which two pairs are of one oval."""
    # what lies within pixels of a notch is rounded by blur
    ends_off = [arc[2:-2] if len(arc) > 3 * _REACH else arc for arc in arcs]

    def guess(*numbers: int) -> _Guess | None:
        return _guess([ends_off[n] for n in numbers], points, solid, least_px2, inner)

    pairs = set()
    for n in range(len(arcs)):
        if (one := guess(n)) is not None:
            yield one
    face = facing(ends_off)
    for pair in combinations(range(len(arcs)), 2):
        if face[pair] and (two := guess(*pair)) is not None:
            pairs.add(pair)
            yield two
    for a, b in sorted(pairs):
        for c in range(b + 1, len(arcs)):
            near = (a, c) in pairs or (b, c) in pairs
            if near and face[a, c] and face[b, c] and (three := guess(a, b, c)) is not None:
                yield three


def facing(arcs: list[np.ndarray]) -> np.ndarray:
    """Which two arcs may be of one oval, (n, n): each lies within the lines that go on from the other's ends.

    An oval lies on one side of each of its tangents. Beyond a notch another piece goes out over them.

    Parameters
    ----------
    arcs : list of (P, 2) ndarray
        Each from end to end, all the same way round.
    """
    share = np.arange(_OF_ARC)
    some = np.array([arc[share * (len(arc) - 1) // (_OF_ARC - 1)] for arc in arcs])
    within = np.ones((len(arcs), len(arcs)), bool)
    for first, second in ((0, _END), (-1 - _END, -1)):
        at = np.array([arc[0 if first == 0 else -1] for arc in arcs])
        way = np.array([arc[second] - arc[first] for arc in arcs])
        way /= np.maximum(np.hypot(*way.T), 1e-6)[:, None]
        off = some[None] - at[:, None, None]
        aside = way[:, None, None, 0] * off[..., 1] - way[:, None, None, 1] * off[..., 0]
        within &= (aside > -_ASIDE * np.hypot(off[..., 0], off[..., 1]) - _ASIDE_PX).all(axis=2)
    return within & within.T


def _guess(
    arcs: list[np.ndarray], points: np.ndarray, solid: np.ndarray, least_px2: float, inner: InnerEdges | None
) -> _Guess | None:
    """The oval of some arcs, or None where they have none that lies within what is no oil."""
    own = np.concatenate(arcs) if len(arcs) > 1 else arcs[0]
    oval = oval_of(own)
    if oval is None:
        return None
    minor, major = sorted(oval.axes)
    if major > _LONG * minor or np.pi / 4 * minor * major < least_px2:
        return None
    radius = float(np.sqrt(minor * major)) / 2
    round_ = np.pi / 2 * (minor + major)
    step = float(np.hypot(*(own[1] - own[0])))
    if len(own) * step < _SPAN * round_:
        return None
    away = oval.distances(own)
    misfit = float(np.add.reduce(away)) / len(away) / radius
    if misfit > _FIT:
        return None
    starts = np.cumsum([0, *map(len, arcs[:-1])])
    worst = (np.add.reduceat(away, starts) / list(map(len, arcs))).max()
    if worst > _WORST * _FIT * radius:
        return None
    ring = oval.points()
    if not _lies_within(ring, oval, solid):
        return None
    explains = oval.distances(points) < max(_NEAR_PX, _NEAR * radius)
    mask = np.zeros(solid.shape, np.uint8)
    cv2.fillPoly(mask, [np.rint(ring - 0.5).astype(np.int32)], 1)
    unseen = inner.unseen(oval) if inner else 0.0
    if unseen > _MOST_UNSEEN:
        return None
    share = _PRICE + _OF_MISFIT * misfit + _OF_UNSEEN * unseen
    return _Guess(oval, explains, misfit, share * round_ / step, mask)


def _lies_within(ring: np.ndarray, oval: Oval, solid: np.ndarray) -> bool:
    """Whether an oval, given by points on it too, lies in a mask."""
    high, wide = solid.shape
    middle = np.array(oval.centre)
    for share in _WITHIN:
        x, y = np.floor(middle + (ring - middle) * share).astype(int).T
        if x.min() < 0 or y.min() < 0 or x.max() >= wide or y.max() >= high:
            return False
        if solid[y, x].mean() < _INSIDE:
            return False
    return True


def _chosen(guesses: list[_Guess], each: np.ndarray) -> list[_Guess]:
    """Ovals that together explain most of some points, each worth so much, for their price."""
    chosen: list[_Guess] = []
    seen = np.zeros(len(each), bool)
    while True:
        gains = [float(guess.explains @ np.where(seen, 0.0, each)) - guess.price for guess in guesses]
        for n in np.argsort(-np.array(gains), kind="stable"):
            if gains[n] <= 0 or _fits(guesses[n], chosen):
                break
        else:
            break
        if gains[n] <= 0:
            break
        chosen.append(guesses[n])
        seen |= guesses[n].explains
    return _bettered(chosen, guesses, each)


def _bettered(chosen: list[_Guess], guesses: list[_Guess], each: np.ndarray) -> list[_Guess]:
    """The same after single ovals were left out or put in place of others while that gains."""
    worth = _worth(chosen, each)
    for _ in range(_ROUNDS):
        before = worth
        for n in range(len(chosen)):
            rest = chosen[:n] + chosen[n + 1 :]
            others = [[*rest, guess] for guess in guesses if guess is not chosen[n] and _fits(guess, rest)]
            best = max([rest, *others], key=lambda some: _worth(some, each))
            if _worth(best, each) > worth + 1e-6:
                chosen, worth = best, _worth(best, each)
                break
        if worth <= before:
            break
    return chosen


def _worth(chosen: list[_Guess], each: np.ndarray) -> float:
    """What the points are worth that some ovals explain, less their price."""
    seen = np.zeros(len(each), bool)
    for guess in chosen:
        seen |= guess.explains
    return float(seen @ each) - sum(guess.price for guess in chosen)


def _fits(guess: _Guess, chosen: list[_Guess]) -> bool:
    """Whether an oval is none of those chosen."""
    own = cv2.countNonZero(guess.mask)
    return all(
        cv2.countNonZero(guess.mask & other.mask) <= _COMMON * min(own, cv2.countNonZero(other.mask))
        for other in chosen
    )
