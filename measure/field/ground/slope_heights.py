"""Heights of clear pieces from what oblique light shows of their slopes, and the pieces they stand for.

Lightness is the slope along the light, so added up along it it gives the height of a piece. Along lines that
do not know of one another errors would add up to streaks, so the height is that of least squares, with
neighbours alike. A piece then runs along the light from its first dark flank to the bright one behind which
it is low again.

That oblique light shows the derivative of the optical path along its direction, as differential interference
contrast does, and that adding it up gives the path back: from memory.
"""

from typing import NamedTuple

import cv2
import numpy as np

from measure.field.basics.along import along
from measure.field.basics.masks import fill_holes

_ALIKE, _FLAT = 0.03, 0.2  # weight of likeness to neighbours; longest way heights are kept, over the picture
_HIGH = 0.2  # share of the usual height of hills from which a place is one
_DIP = 0.4  # of the lower of two hills, below which the ground between them parts them
_HALF, _NEAR_PX = 0.5, 3.0  # of the deepest tone so near: the outer side of a flank
_SKIN_PX = 2.0  # notches of pieces up to this width come from noise
_SLIT_PX = 7.0  # breadth of what specks in a piece leave open, along the light and across it
_WIDE_PX = 12.0  # notches of hills up to twice that width come from single lines
_OWN = 0.4  # share of a dark side that lies in its piece
_FULL = 0.8  # share of its hull that a nearly convex piece fills
_REACH_PX = 8.0  # breadth of dark sides
_HOLE = 0.5  # share of a piece up to which a hole in it is a part of its flat top
_PAD_PX = 32


class Slopes(NamedTuple):
    """What of a field may be slopes.

    Attributes
    ----------
    values : (M, N) ndarray of float32
        Lightness less that of the oil, CIELAB, 0 where there is colour; clipped, bright made up to dark.
    strength : (M, N) ndarray of float32
        How far lightness is from that of the oil, not clipped.
    dark, bright, faint : (M, N) ndarray of bool
        Places without colour that are darker or brighter than the oil, and brighter in the mean about them.
    """

    values: np.ndarray
    strength: np.ndarray
    dark: np.ndarray
    bright: np.ndarray
    faint: np.ndarray


def heights_of(values: np.ndarray, angle: float) -> np.ndarray:
    """Heights that rise where it is dark along a direction and fall where it is bright.

    Parameters
    ----------
    values : (M, N) ndarray of float32
        Slopes, dark ones below 0.
    angle : float
        Direction, radians from x towards y.

    Returns
    -------
    (M, N) ndarray of float32
        In units of the slopes times px.
    """
    pad = _PAD_PX
    padded = cv2.copyMakeBorder(values, pad, pad, pad, pad, cv2.BORDER_CONSTANT)
    y = 2.0 * np.pi * np.fft.fftfreq(padded.shape[0])[:, None]
    x = 2.0 * np.pi * np.fft.rfftfreq(padded.shape[1])[None]
    way = x * np.cos(angle) + y * np.sin(angle)
    flat = (2.0 * np.pi / (_FLAT * max(values.shape))) ** 2
    part = (1j * way / (way**2 + _ALIKE * (x**2 + y**2) + flat)).astype(np.complex64)
    heights = np.fft.irfft2(np.fft.rfft2(padded) * part, padded.shape)
    return np.asarray(heights[pad:-pad, pad:-pad], np.float32)


def pieces_from_slopes(slopes: Slopes, angle: float) -> np.ndarray:
    """Clear pieces from flank to flank.

    Parameters
    ----------
    slopes : Slopes
    angle : float
        Direction from dark to bright flanks, radians from x towards y.

    Returns
    -------
    (M, N) ndarray of bool
    """
    heights = heights_of(slopes.values, angle)
    edged = slopes.strength > _HALF * cv2.dilate(slopes.strength, _ball(_NEAR_PX))  # blur runs beyond
    dark, bright = slopes.dark & edged, (slopes.bright | slopes.faint) & edged
    kinds = np.where(dark, 1, np.where(bright, 2, 0)).astype(np.uint8)
    usual = float(np.percentile(heights[heights > 0], 90))
    whole = along(kinds, angle, lambda k, h: _flank_to_flank(k, h, _HIGH * usual), heights)
    whole = _with_sides(whole, dark)
    highest = cv2.dilate(heights, np.ones((2 * int(_WIDE_PX) + 1,) * 2, np.uint8))
    hills = (heights > _HIGH * usual) & (heights > _DIP * highest)
    whole |= (cv2.morphologyEx(whole.view(np.uint8), cv2.MORPH_CLOSE, _ball(_WIDE_PX)) > 0) & hills
    whole |= _hulls(whole) & (heights > _HIGH * usual)
    ball = _ball(_SKIN_PX)
    opened = cv2.morphologyEx(whole.view(np.uint8), cv2.MORPH_CLOSE, ball)
    return _without_holes(cv2.morphologyEx(opened, cv2.MORPH_OPEN, ball))


def _with_sides(whole: np.ndarray, dark: np.ndarray) -> np.ndarray:
    """Pieces with their dark sides, of which those along the light have nothing bright behind them."""
    _, flanks, stats, _ = cv2.connectedComponentsWithStats(dark.view(np.uint8), connectivity=8)
    inside = np.bincount(flanks[whole & dark], minlength=len(stats))
    own = inside > _OWN * stats[:, cv2.CC_STAT_AREA]
    own[0] = False
    whole = whole | own[flanks]
    for _ in range(int(_REACH_PX)):
        whole |= (cv2.dilate(whole.view(np.uint8), _ball(1.0)) > 0) & dark
    return whole


def _hulls(whole: np.ndarray) -> np.ndarray:
    """Convex hulls of pieces that are nearly as full as those, (M, N) ndarray of bool."""
    drawn = np.zeros(whole.shape, np.uint8)
    contours, _ = cv2.findContours(whole.view(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    for contour in contours:
        hull = cv2.convexHull(contour)
        if cv2.contourArea(contour) > _FULL * cv2.contourArea(hull):
            cv2.fillConvexPoly(drawn, hull, 1)
    return drawn > 0


def _flank_to_flank(kinds: np.ndarray, heights: np.ndarray, least: float) -> np.ndarray:
    """Mark, along rows, hills from their first dark flank to their last bright one."""
    marked = np.zeros(kinds.shape, np.uint8)
    high = ((kinds > 0) | (heights > least)).view(np.uint8)
    hills = np.asarray(cv2.morphologyEx(high, cv2.MORPH_CLOSE, np.ones((1, int(_SLIT_PX)), np.uint8)))
    change = np.diff(np.pad(hills.view(np.int8), ((0, 0), (1, 1))), axis=1)
    for row in np.flatnonzero((kinds == 1).any(axis=1) & (kinds == 2).any(axis=1)):
        starts, stops = np.flatnonzero(change[row] == 1), np.flatnonzero(change[row] == -1)
        for start, stop in zip(starts, stops, strict=True):
            own = kinds[row, start:stop]
            for first, last in _spans(own, heights[row, start:stop]):
                marked[row, start + first : start + last] = 1
    slits = cv2.morphologyEx(marked, cv2.MORPH_CLOSE, np.ones((int(_SLIT_PX), 1), np.uint8))
    return np.where(hills > 0, slits, marked)


def _spans(kinds: np.ndarray, heights: np.ndarray) -> list[tuple[int, int]]:
    """Where pieces start and stop in a row of hills, from dark to bright, parted where the ground dips."""
    flanks = np.flatnonzero(kinds)
    if not len(flanks):
        return []
    gaps = np.diff(flanks) > 1
    falls = np.flatnonzero(gaps | ((kinds[flanks[:-1]] == 2) & (kinds[flanks[1:]] == 1)))
    spans: list[tuple[int, int]] = []
    before, start, at = 0.0, 0, 0
    for k in falls:
        left, right = int(flanks[k]), int(flanks[k + 1])
        before = max(before, float(heights[at : left + 1].max()))
        at = right
        if heights[left : right + 1].min() >= _DIP * min(before, float(heights[right:].max())):
            continue
        own = _span(kinds[start : left + 1], heights[start : left + 1])
        if own is None and right - left < 2 * _SLIT_PX:
            continue  # a speck in a piece
        spans += [(start + own[0], start + own[1])] if own is not None else []
        before, start = 0.0, right
    last = _span(kinds[start:], heights[start:])
    return spans + ([(start + last[0], start + last[1])] if last is not None else [])


def _span(kinds: np.ndarray, heights: np.ndarray) -> tuple[int, int] | None:
    """From the first dark flank of a stretch to the bright one behind which it is low, or to its last one."""
    dark, bright = np.flatnonzero(kinds == 1), np.flatnonzero(kinds == 2)
    if not len(dark) or not len(bright) or dark[0] >= bright[-1]:
        return None
    first = int(dark[0])
    ends = bright[np.append(np.diff(bright) > 1, True) & (bright > first)] + 1
    behind = heights[np.minimum(ends + 1, len(heights) - 1)]
    low = np.flatnonzero(behind < _DIP * np.maximum.accumulate(heights)[ends - 1])
    return first, int(ends[low[0]] if len(low) else ends[-1])


def _without_holes(mask: np.ndarray) -> np.ndarray:
    """Pieces with holes filled, but those that are large beside them."""
    filled = fill_holes(mask)
    pieces, sizes = cv2.connectedComponentsWithStats(filled, connectivity=8)[1:3]
    count, holes, stats, _ = cv2.connectedComponentsWithStats(filled & ~mask & 1, connectivity=4)
    within = np.zeros(count, int)
    within[holes.ravel()] = pieces.ravel()
    open_ones = stats[:, cv2.CC_STAT_AREA] > _HOLE * sizes[within, cv2.CC_STAT_AREA]
    open_ones[0] = False
    return np.asarray((filled > 0) & ~open_ones[holes])


def _ball(radius_px: float) -> np.ndarray:
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (int(2 * radius_px) + 1,) * 2))
