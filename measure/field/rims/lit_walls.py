"""Crystals whose sides lean: a broad dark wall all round, and just inside it the light the wall has bent.

Light that meets a leaning side of a see-through piece is bent inwards: it is missing along the border and
too much of it arrives beside that, further in. So a dark band with a bright one inside it is one wall,
however broad. Where the side is chipped or lies flat both are missing, and the bits of dark and bright fall
apart. Bits that have dark along their common hull, bright behind the dark and oil elsewhere are one piece.
"""

from collections.abc import Iterator
from itertools import combinations
from typing import NamedTuple

import cv2
import numpy as np

from measure.field.basics.masks import fill_holes, numbered
from measure.field.basics.quick import colours_at, length, percentile, turned
from measure.field.edges.edge import SMOOTHING_SIGMA_PX
from measure.field.rims.rim_colour import coloured_pixels

_FLANK_PX = 4.0  # from where a wall begins at the low level to where it is half as dark
_BOTH = 0.12  # share of a bit that is dark, and bright, from which it may be the wall of a crystal
_HEIGHT = 85  # percentile of the dark or bright places that is their height
_EQUAL = 0.35  # of the height of the one, that the other must reach
LEVEL = 0.35  # of a height, from where a place is dark or bright
_WALLED = 0.5  # share of the hull's border with a wall
_PAIRED = 0.75  # share of the walls that have bright behind them
_BEHIND = 0.6  # of the depth of the hull, within which bright lies behind a wall
_BARE = 0.12  # share of the border where the bright comes first
_MOST_GAP = 0.36  # of the border in one without a wall
_MIDDLE, _DARK_MIDDLE = 0.6, 0.15  # deeper than this share of the depth, at most so much is dark
_FULL = 0.94  # share of the hull a closed piece fills: it is found as one
_WHOLE = 0.9  # share of its own hull from which a bit with wall and light is a crystal by itself
_FILLED = 0.55  # share of the hull its bits fill
_COLOURED = 0.1  # share of the hull that may be coloured
_COLOUR = 6.0  # CIELAB, below which nothing is coloured
_OTHER_HUE = 0.3  # share of colour in the difference of a bright place that has another hue
_FOREIGN = 0.05  # share of the hull other components may take
_NARROW = 0.38  # width over length of a hull
_NEIGHBOURS, _MOST_BITS = 5, 4
_MORE = 0.04  # share of the wall that each other bit must add
_NEAR = 0.25  # gap between bits over the size of the first


class _Bit(NamedTuple):
    """A component that may be a bit of a wall, of the light behind it, or both."""

    label: int
    points: np.ndarray  # (P, 2) int32, x and y of its outline
    box: np.ndarray  # left, top, right, bottom
    dark: bool
    bright: bool


def lit_walls(
    labels: np.ndarray, stats: np.ndarray, delta: np.ndarray, oil_lab: np.ndarray, least_px2: float
) -> Iterator[tuple[list[int], np.ndarray]]:
    """Find sets of components that are bits of one crystal with dark walls and bright places behind them.

    Parameters
    ----------
    labels : (M, N) ndarray of int32
        Components at the low level.
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
    bits : list of int
        Labels of the bits.
    hull : (P, 2) ndarray of int32
        Hull of the piece, x and y of pixel centres.
    """
    bits = _bits(labels, stats, delta, oil_lab)
    if not any(bit.bright for bit in bits):
        return
    boxes, free = np.array([bit.box for bit in bits]), np.ones(len(bits), bool)
    for i in sorted((i for i, b in enumerate(bits) if b.dark), key=lambda i: -_size(bits[i])):
        if not free[i]:
            continue
        near = [bits[j] for j in _beside(boxes, i, free)]
        if not any(b.bright for b in (bits[i], *near)):
            continue
        best = _best_set(bits[i], near, labels, delta, oil_lab, least_px2)
        if best is not None:
            free &= ~np.isin([bit.label for bit in bits], best[0])
            yield best


def _size(bit: _Bit) -> float:
    left, top, right, bottom = bit.box.tolist()
    return float(max(right - left, bottom - top))


def _beside(boxes: np.ndarray, i: int, free: np.ndarray) -> list[int]:
    """Numbers of the nearest free ones of K boxes, (K, 4), beside one of them."""
    own = boxes[i]
    apart = np.maximum(np.maximum(boxes[:, :2] - own[2:], own[:2] - boxes[:, 2:]), 0)
    gaps = np.where(free, np.hypot(*apart.T), np.inf)
    gaps[i] = np.inf
    nearest = np.argsort(gaps, kind="stable")[:_NEIGHBOURS]
    return nearest[gaps[nearest] < _NEAR * (own[2:] - own[:2]).max()].tolist()


def _bits(labels: np.ndarray, stats: np.ndarray, delta: np.ndarray, oil_lab: np.ndarray) -> list[_Bit]:
    """Components that are dark without colour, or bright."""
    bits = []
    for k in range(1, len(stats)):
        x, y, w, h, n = stats[k].tolist()
        box = np.s_[y : y + h, x : x + w]
        own = labels[box] == k
        if not own.any():
            continue
        values = colours_at(delta[box], own)
        if np.count_nonzero(is_coloured(values, oil_lab)) > _COLOURED * n:
            continue
        outer, _ = cv2.findContours(own.view(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
        points = np.concatenate(outer).reshape(-1, 2) + np.array([x, y])
        bright = np.count_nonzero(values[:, 0] > 0)
        tones = n - bright >= _BOTH * n, bright >= _BOTH * n
        if all(tones) and _is_whole(points):
            continue  # what lies beside it is none of it
        bits.append(_Bit(k, points.astype(np.int32), np.array([x, y, x + w, y + h]), *tones))
    return bits


def _is_whole(points: np.ndarray) -> bool:
    """Whether an outline is as full as its hull."""
    hull = float(cv2.contourArea(cv2.convexHull(points)))
    return float(cv2.contourArea(points)) > _WHOLE * hull


def is_coloured(values: np.ndarray, oil_lab: np.ndarray) -> np.ndarray:
    """Whether places are coloured: dark ones as no wall is, bright ones not on the way from the oil to white.

    Parameters
    ----------
    values : (P, 3) ndarray of float32
        CIELAB differences from the oil.
    oil_lab : (3,) ndarray

    Returns
    -------
    coloured : (P,) ndarray of bool
    """
    coloured = coloured_pixels(values, oil_lab, _COLOUR)
    brighter = values[:, 0] >= 0
    own, oil = values[brighter][:, 1:] + oil_lab[1:], oil_lab[1:].astype(np.float32)
    way = np.clip(own @ oil / max(float(oil @ oil), 1e-6), 0.0, 1.0)
    off = np.hypot(*(own - way[:, None] * oil).T)
    coloured[brighter] = off > np.maximum(_OTHER_HUE * length(values[brighter]), _COLOUR)
    return coloured


def tone_heights(lightness: np.ndarray, share: float = _BOTH) -> tuple[float, float]:
    """How dark and how bright places are, CIELAB; 0 where one share of them is too small or too faint."""
    dark, bright = -lightness[lightness < 0], lightness[lightness > 0]
    if min(len(dark), len(bright)) < max(share * len(lightness), 1):
        return 0.0, 0.0
    heights = percentile(dark, _HEIGHT), percentile(bright, _HEIGHT)
    return heights if min(heights) > _EQUAL * max(heights) else (0.0, 0.0)


def _best_set(
    bit: _Bit,
    near: list[_Bit],
    labels: np.ndarray,
    delta: np.ndarray,
    oil_lab: np.ndarray,
    least_px2: float,
) -> tuple[list[int], np.ndarray] | None:
    """The set of bits about one whose hull has most of a wall, or None where none is a crystal."""
    best, most = None, 0.0
    for count in range(_MOST_BITS):
        for extra in combinations(near, count):
            chosen = [bit, *extra]
            hull = cv2.convexHull(np.concatenate([b.points for b in chosen])).reshape(-1, 2)
            if cv2.contourArea(hull) < least_px2 or not is_compact(hull):
                continue
            walled = _walled(hull, [b.label for b in chosen], labels, delta, oil_lab)
            wall_px = walled * cv2.arcLength(hull, True)
            if wall_px > most * (1.0 + _MORE * count):
                best, most = ([b.label for b in chosen], hull), wall_px
    return best


def is_compact(hull: np.ndarray) -> bool:
    """Whether a hull, (P, 2), is not slender."""
    short, long = sorted(cv2.minAreaRect(hull.astype(np.float32))[1])
    return bool(short > _NARROW * long)


def _walled(
    hull: np.ndarray, chosen: list[int], labels: np.ndarray, delta: np.ndarray, oil_lab: np.ndarray
) -> float:
    """Share of a hull's border that shows a wall, 0 where the bits are no crystal."""
    m = 4
    (x0, y0), (x1, y1) = np.maximum(hull.min(axis=0) - m, 0), hull.max(axis=0) + 1 + m
    window, colours = labels[y0:y1, x0:x1], delta[y0:y1, x0:x1]
    inside = np.zeros(window.shape, np.uint8)
    cv2.fillConvexPoly(inside, hull - (x0, y0), 1)
    own = np.isin(window, chosen)
    whole = float(cv2.countNonZero(inside))
    filled = fill_holes(own.view(np.uint8))
    if cv2.countNonZero(filled) < _FILLED * whole or numbered(filled, 8)[2][1:, 4].max() > _FULL * whole:
        return 0.0
    if np.count_nonzero((window > 0) & ~own & (inside > 0)) > _FOREIGN * whole:
        return 0.0
    if np.count_nonzero(is_coloured(colours_at(colours, own), oil_lab)) > _COLOURED * whole:
        return 0.0
    lightness = cv2.GaussianBlur(np.ascontiguousarray(colours[..., 0]), (0, 0), SMOOTHING_SIGMA_PX)
    dark, bright = tone_heights(lightness[own])
    if min(dark, bright) <= 0:
        return 0.0
    return wall_share(hull - (x0, y0), inside, lightness, dark, bright)


def wall_share(
    hull: np.ndarray, inside: np.ndarray, lightness: np.ndarray, dark: float, bright: float
) -> float:
    """Return the share of a hull's border that shows a wall.

    Parameters
    ----------
    hull : (P, 2) ndarray
        Convex, x and y of pixel centres in a window.
    inside : (M, N) ndarray of uint8
        What lies in it.
    lightness : (M, N) ndarray of float32
        Against the oil, CIELAB.
    dark, bright : float
        How dark the walls are, and how bright the places behind them.

    Returns
    -------
    share : float
        0 where dark and bright do not lie as in a crystal.
    """
    depth = cv2.distanceTransform(inside, cv2.DIST_L2, 5)
    middle = lightness[depth > _MIDDLE * depth.max()]
    if (middle < -LEVEL * dark).mean() > _DARK_MIDDLE:
        return 0.0
    return _along_border(hull, lightness, float(depth.max()), dark, bright)


def _along_border(
    hull: np.ndarray, lightness: np.ndarray, deepest_px: float, dark: float, bright: float
) -> float:
    """Share of the border behind which it is dark first and then bright; 0 where that is no crystal."""
    places, inwards = way_inwards(hull)
    steps = np.arange(-1.0, max(deepest_px, 2 * _FLANK_PX) + 1.0)
    at = (places[:, None] + steps[None, :, None] * inwards[:, None]).astype(np.float32)
    ways = cv2.remap(lightness, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    is_dark, is_bright = ways < -LEVEL * dark, ways > LEVEL * bright
    none = len(steps) + 1
    first_dark = np.where(is_dark.any(axis=1), is_dark.argmax(axis=1), none)
    first_bright = np.where(is_bright.any(axis=1), is_bright.argmax(axis=1), none)
    reach = np.searchsorted(steps, _FLANK_PX)
    wall = (first_dark <= reach) & (first_dark < first_bright)
    bare = (first_bright <= reach) & ~wall
    to_bright = cv2.distanceTransform((lightness <= LEVEL * bright).view(np.uint8), cv2.DIST_L2, 5)
    x, y = (np.rint(side).astype(int) for side in places.T)
    paired = wall & (to_bright[y, x] <= _BEHIND * deepest_px + _FLANK_PX)
    if wall.mean() < _WALLED or bare.mean() > _BARE or paired.sum() < _PAIRED * wall.sum():
        return 0.0
    seen = np.flatnonzero(wall)
    gap = int(np.diff(seen, append=seen[0] + len(wall)).max() - 1) / len(wall)
    return 0.0 if gap > _MOST_GAP else float(wall.mean())


def way_inwards(hull: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Places along a convex outline, (K, 2), about a pixel apart and the ways inwards there, (P, 2) both."""
    ends = turned(hull, -1).astype(float)
    lengths = np.hypot(*(ends - hull).T)
    count = np.maximum(lengths.round().astype(int), 1)
    owner = np.repeat(np.arange(len(hull)), count)
    along = (np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count) + 0.5) / count[owner]
    places = hull[owner] + along[:, None] * (ends - hull)[owner]
    way = (ends - hull)[owner] / np.maximum(lengths, 1e-6)[owner][:, None]
    inwards = np.stack([-way[:, 1], way[:, 0]], axis=1)
    towards = ((hull.mean(axis=0) - places) * inwards).sum(axis=1)
    return places, np.where(towards[:, None] < 0, -inwards, inwards)
