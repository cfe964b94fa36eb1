"""Crystals with broad chipped walls that touch other pieces, found from the bright places inside their walls.

Where crystals with leaning sides (`lit_walls`) touch each other or a kernel, all hang together, and no set of
components is one crystal. But the light their walls have bent lies apart, each in its own crystal. Bright
places with a wall about their common hull, and no wall between them, are one crystal, whose walls are as
broad on all sides.
"""

from collections.abc import Iterator
from itertools import combinations
from typing import NamedTuple

import cv2
import numpy as np

from measure.field.basics.masks import dilated, fill_holes, numbered, opened, solidity
from measure.field.basics.quick import median
from measure.field.edges.edge import SMOOTHING_SIGMA_PX
from measure.field.rims.lit_walls import LEVEL, is_coloured, is_compact, tone_heights, wall_share, way_inwards

_MARGIN_PX = 6
_AROUND, _MOST_PX = (
    0.3,
    60,
)  # of the size of a component, about it, in which bits that hang elsewhere are seen
_BRIGHT = 0.04  # share of a component that is bright, from which it may hold a crystal
_LIT = 2.0  # CIELAB of lightness, from which a place is lighter or darker
_NEAR_PX = 8.0  # from what is bright, within which the walls lie that are asked how dark they are
_LEAST_PX = 6  # pixels of a bright place
_BESIDE, _NEIGHBOURS, _MORE_PLACES = 0.6, 4, 3  # gap over size, and how many places are tried with one
_BODY_PX = 1.5  # half the width from which coloured places are a body
_WALLED = 0.45  # share of the hull of bright places with a wall round it
_BEFORE, _BEFORE_PX = 0.1, 4.0  # of the size of that hull, and px, within which the wall begins
_BROADEST, _BROADEST_PX = 0.8, 6.0  # the same for where it ends
# of its breadth and px, within which that share of its places is as broad
_EVEN, _EVEN_PX, _ALIKE = 0.35, 2.0, 0.7
_ALONE = 0.1  # share of a component that is coloured, and that its hull has more, below which it is one piece
_FILLED, _OWN = 0.35, 0.1  # share of the hull that walls and light fill; those of the component
_FOREIGN = 0.05  # share of the hull that other bright places or coloured ones may take
_CAUGHT = 0.1  # share of a crystal, and of its border, beside which lies a place closed in by the component
_CLOSED = 0.95  # share of the border with a wall, from which a crystal is found by its closed rim
_MORE = 0.04  # share of the wall that each other bright place must add
_LEFT_PX, _THIN_PX = 4.0, 1.5  # what is left of a wall outside its crystal lies so near and is so thin


class _View(NamedTuple):
    """A window: lightness against the oil, what is coloured, bright places, how dark and bright it gets."""

    light: np.ndarray  # (M, N) float32, CIELAB
    own: np.ndarray  # (M, N) bool, the component that is asked
    low: np.ndarray  # (M, N) bool, all components
    coloured: np.ndarray  # (M, N) bool
    places: np.ndarray  # (M, N) int32, bright places
    caught: np.ndarray  # (M, N) bool, oil or the like with the component all round
    dark: float
    bright: float
    frame: tuple[bool, bool, bool, bool]  # whether its sides are sides of the picture


def lit_middles(
    labels: np.ndarray, stats: np.ndarray, delta: np.ndarray, oil_lab: np.ndarray, least_px2: float
) -> Iterator[tuple[slice, slice, np.ndarray]]:
    """Find crystals with chipped walls in components that hold other pieces too.

    Parameters
    ----------
    labels : (M, N) ndarray of int32
        Components at the low level; what is left of a wall outside its crystal is taken out, in place.
    stats : (K, 5) ndarray of int32
        Their boxes and areas as OpenCV gives them.
    delta : (M, N, 3) ndarray of float32
        CIELAB difference from the oil.
    oil_lab : (3,) ndarray
        Usual colour of the oil.
    least_px2 : float
        Smallest area of a whole piece.

    Yields
    ------
    rows, cols : slice
        A window.
    piece : (P, Q) ndarray of bool
        The crystal in it.
    """
    shape = labels.shape
    for k in range(1, len(stats)):
        x, y, w, h, n = stats[k].tolist()
        m = _MARGIN_PX + min(int(_AROUND * max(w, h)), _MOST_PX)
        box = np.s_[max(0, y - m) : min(shape[0], y + h + m), max(0, x - m) : min(shape[1], x + w + m)]
        own = labels[box] == k
        if n < least_px2 or np.count_nonzero(delta[box][..., 0][own] > 0) < _BRIGHT * n:
            continue
        rows, cols = box
        frame = (rows.start == 0, rows.stop == shape[0], cols.start == 0, cols.stop == shape[1])
        view = _viewed(labels[box], own, delta[box], oil_lab, frame)
        if view is None:
            continue
        for piece in _crystals(view, least_px2):
            _clear_beside(labels[box], piece, view)
            yield *box, piece


def _viewed(
    labels: np.ndarray,
    own: np.ndarray,
    delta: np.ndarray,
    oil_lab: np.ndarray,
    frame: tuple[bool, bool, bool, bool],
) -> _View | None:
    low = labels > 0
    light = cv2.GaussianBlur(np.ascontiguousarray(delta[..., 0]), (0, 0), SMOOTHING_SIGMA_PX)
    coloured = np.zeros(low.shape, np.uint8)
    coloured[low] = is_coloured(delta[low], oil_lab)
    coloured = opened(coloured, _BODY_PX)
    neutral = own & (coloured == 0)
    alone = np.count_nonzero(neutral) > (1.0 - _ALONE) * np.count_nonzero(own)
    if alone and solidity(fill_holes(own.view(np.uint8))) > 1.0 - _ALONE:
        return None  # one crystal, or none
    # what is dark far from anything bright is no wall
    lit = neutral & (light > _LIT)
    near = neutral & (dilated(lit.view(np.uint8), _NEAR_PX) > 0)
    dark, bright = tone_heights(light[near & (np.abs(light) > _LIT)], _BRIGHT)
    if min(dark, bright) <= 0:
        return None
    lit = (low & (light > LEVEL * bright) & (coloured == 0)).view(np.uint8)
    caught = (fill_holes(own.view(np.uint8)) > 0) & ~own
    return _View(light, own, low, coloured > 0, numbered(lit, 8)[1], caught, dark, bright, frame)


def _crystals(view: _View, least_px2: float) -> Iterator[np.ndarray]:
    """Masks of the crystals of a window, those with large bright places first."""
    count = int(view.places.max())
    sizes = np.bincount(view.places.ravel(), minlength=count + 1)
    points = {}
    for k in (np.flatnonzero(sizes[1:] >= _LEAST_PX) + 1).tolist():
        outer, _ = cv2.findContours(
            (view.places == k).view(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE
        )
        points[k] = np.concatenate(outer).reshape(-1, 2)
    taken = np.zeros(view.low.shape, bool)
    for k in sorted(points, key=lambda k: -sizes[k]):
        if k not in points:
            continue
        piece, used = _best(k, _near(k, points), points, view, least_px2, taken)
        if piece is not None:
            taken |= piece
            for n in used:
                points.pop(n, None)
            yield piece


def _near(k: int, points: dict[int, np.ndarray]) -> list[int]:
    """Bright places beside one, the nearest first."""
    low, high = points[k].min(axis=0), points[k].max(axis=0)
    reach = max(_BESIDE * float((high - low).max()), 2 * _BROADEST_PX)
    gaps = []
    for n, other in points.items():
        apart = np.maximum(np.maximum(other.min(axis=0) - high, low - other.max(axis=0)), 0)
        gaps.append((float(np.hypot(*apart)), n))
    return [n for gap, n in sorted(gaps) if gap < reach and n != k][:_NEIGHBOURS]


def _best(
    k: int,
    near: list[int],
    points: dict[int, np.ndarray],
    view: _View,
    least_px2: float,
    taken: np.ndarray,
) -> tuple[np.ndarray | None, tuple[int, ...]]:
    """The crystal with one bright place that has most of a wall, and its bright places."""
    used: tuple[int, ...] = ()
    best, most, closed = None, 0.0, False
    for count in range(_MORE_PLACES + 1):
        for extra in combinations(near, count):
            chosen = (k, *extra)
            inner = cv2.convexHull(np.concatenate([points[n] for n in chosen])).reshape(-1, 2)
            piece, wall_px, share = _about(inner, chosen, view, least_px2, taken)
            if piece is not None and wall_px > most * (1.0 + _MORE * count):
                best, used, most = piece, chosen, wall_px
                closed = share > _CLOSED and count == 0
    return (None, ()) if closed else (best, used)


def _about(
    inner: np.ndarray, chosen: tuple[int, ...], view: _View, least_px2: float, taken: np.ndarray
) -> tuple[np.ndarray | None, float, float]:
    """The crystal whose bright places have some hull, and length and share of its border with a wall."""
    breadth = _breadth(inner, view)
    if breadth <= 0:
        return None, 0.0, 0.0
    room = np.zeros(view.low.shape, np.uint8)
    cv2.fillConvexPoly(room, inner, 1)
    room = dilated(room, breadth + 1.0)
    dark = view.light < -LEVEL * view.dark
    own = (room > 0) & view.low & ~view.coloured & ~taken & (dark | np.isin(view.places, chosen))
    rows, cols = np.nonzero(own)
    if not len(rows):  # all of it was taken by a crystal beside
        return None, 0.0, 0.0
    hull = cv2.convexHull(np.stack([cols, rows], axis=1).astype(np.int32)).reshape(-1, 2)
    if len(hull) < 3 or cv2.contourArea(hull) < least_px2 or not is_compact(hull):
        return None, 0.0, 0.0
    inside = np.zeros(view.low.shape, np.uint8)
    cv2.fillConvexPoly(inside, hull, 1)
    whole, filled = cv2.countNonZero(inside), inside > 0
    if np.count_nonzero(own) < _FILLED * whole or np.count_nonzero(own & view.own) < _OWN * whole:
        return None, 0.0, 0.0
    sides = (filled[0], filled[-1], filled[:, 0], filled[:, -1])
    if any(line.any() for line, is_frame in zip(sides, view.frame, strict=True) if not is_frame):
        return None, 0.0, 0.0  # it goes on beyond the window
    others = (view.places > 0) & ~np.isin(view.places, chosen)
    if np.count_nonzero(filled & (view.coloured | others | taken)) > _FOREIGN * whole:
        return None, 0.0, 0.0
    if _cuts_a_rim(inside, view):
        return None, 0.0, 0.0
    share = wall_share(hull, inside, view.light, view.dark, view.bright)
    return filled & ~view.coloured & ~taken, share * cv2.arcLength(hull, True), share


def _cuts_a_rim(inside: np.ndarray, view: _View) -> bool:
    """Whether a crystal ends within a closed rim: then its bright places are glints in a larger one."""
    caught = view.caught & (inside == 0)
    if np.count_nonzero(caught) < _CAUGHT * cv2.countNonZero(inside):
        return False
    border = (dilated(inside, 2.0) & (1 - inside)) > 0
    return bool(np.count_nonzero(border & caught) > _CAUGHT * np.count_nonzero(border))


def _breadth(inner: np.ndarray, view: _View) -> float:
    """Usual distance from the hull of bright places to where the wall about it ends, px; 0 without a wall."""
    places, inwards = way_inwards(inner)
    size = np.sqrt(max(cv2.contourArea(inner), 1.0))
    steps = np.arange(0.0, _BROADEST * size + _BROADEST_PX)
    at = (places[:, None] - steps[None, :, None] * inwards[:, None]).astype(np.float32)
    ways = cv2.remap(view.light, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    dark = ways < -LEVEL * view.dark
    first = dark.argmax(axis=1)
    walled = dark.any(axis=1) & (first <= _BEFORE * size + _BEFORE_PX)
    if walled.mean() < _WALLED:
        return 0.0
    after = ~dark & (np.arange(len(steps)) > first[:, None])
    end = np.where(after.any(axis=1), after.argmax(axis=1), len(steps))
    ends = steps[np.minimum(end[walled], len(steps) - 1)]
    usual = median(ends)
    even = np.abs(ends - usual) <= max(_EVEN * usual, _EVEN_PX)
    return usual if even.mean() >= _ALIKE else 0.0


def _clear_beside(labels: np.ndarray, piece: np.ndarray, view: _View) -> None:
    """Take out what is left of the walls outside a crystal, in place."""
    rest = ((labels > 0) & ~piece).view(np.uint8)
    near = dilated(piece.view(np.uint8), _LEFT_PX) > 0
    thin = (rest > 0) & (opened(rest, _THIN_PX) == 0)
    labels[near & thin & ~view.coloured] = 0
