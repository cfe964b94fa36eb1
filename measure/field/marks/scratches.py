"""Scratches of the glass: dashes, dark or bright, that follow one another on a line far across the field.

A scratch is as deep as what drew it was pressed, so it shows in dashes with gaps between them, of one width,
on a line that is straight or bends a little. Sides of crystals and short fibres are thin and straight too,
but few of them lie on one line and along it: that is what is asked here. The dashes are bridged from both
sides, as the lines of a counting net are, so nothing of them is counted and pieces under them stay whole.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from measure.field.basics.quick import quantile
from measure.field.basics.strips import strips

_LONG_PX = 1800  # side of the picture they are looked for in, about
_LEVELS = 16  # parts of a level of grey that are told apart
_THIN_PX = 7  # dashes are thinner there
_DEPTH = 3.0  # levels a dash is darker or lighter than both of its sides, at least
_OVER_GRAIN = 4.0  # and over what three quarters of the picture stay below
_LENGTH_PX, _SLENDER = 9.0, 3.0  # of a dash at least, and that over its width
_NEARLY = 0.9999  # far more than the last digits that two ways of working out moments differ in
_MOST = 800  # dashes: among more, some lie on one line by chance
_SEED_TURN, _TURN = 0.1, 0.16  # radians a dash may be turned from the line; short ones are read less well
_NEAR_PX, _NEARING = 2.5, 0.012  # a dash lies off its line at most; and for each px from the first one
_BEND = 1.0  # the shorter side of the picture over the radius of a line's bend at most
# dashes, and the share they fill of what they span; that over the shorter side, and the widest gap over it
_EVIDENCE = ((6, 0.3), (4, 0.5))
_SPAN, _WIDEST_GAP = 0.4, 0.3
_FEWEST, _MOST_LINES = 4, 60
_AT_ONCE = 100  # dashes
_ROUNDS = 4  # dashes that cross one taken off are whole in the next
_REACH_PX = 9  # to both sides of a line, where its profile is read
_RUN_PX = 9  # along it, over which a dash is told from grain
_EDGE = 0.15  # of a line's depth at its edge
_ALIKE = 0.8  # over a dash's depth, what its sides differ by at most: else one of them is of a piece
_BETWEEN = 0.5  # of the depth of dashes, by which a line differs from their sides where it has none
_GOES_ON = 0.15  # of the shorter side, by which a line goes on at its ends
_DEEPER = 1.8  # than dashes of a line are: a piece
_WEAK = 0.5  # of the least depth of a dash, down to which what lies on a line goes with it
SCRATCHES = "Scratches of the glass, dashes in a line,"  # how what is said of them begins


@dataclass(frozen=True)
class Scratch:
    """A line with a slight bend along which dashes lie, px from the middle of the first pixel.

    Attributes
    ----------
    start, along : (2,) ndarray
        A point x, y and the unit way from it.
    course : (3,) ndarray
        Its distance to the right of that way, as a polynomial of the distance along it, highest power first.
    first, last : float
        Where it begins and ends along the way.
    """

    start: np.ndarray
    along: np.ndarray
    course: np.ndarray
    first: float
    last: float

    def at(self, along: np.ndarray, off: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Return x and y of places so far along the line and off it."""
        off = off + np.polyval(self.course, along)
        x = self.start[0] + along * self.along[0] - off * self.along[1]
        y = self.start[1] + along * self.along[1] + off * self.along[0]
        return x, y


def scratches_note(count: int) -> str:
    """Return what is said of scratches taken off a picture."""
    return (
        f"{SCRATCHES} were taken off the picture ({count} of them); the pieces they cross are measured "
        "whole. Clean or change the glass."
    )


def without_scratches(pixels: np.ndarray) -> tuple[np.ndarray, int]:
    """Take scratches off a picture.

    Parameters
    ----------
    pixels : (M, N, 3) ndarray of uint8 or uint16
        RGB.

    Returns
    -------
    pixels : (M, N, 3) ndarray
        The same array where there are none.
    count : int
        Of scratches taken off.
    """
    count = 0
    for _ in range(_ROUNDS):
        lines = find_scratches(pixels)
        if not lines:
            break
        pixels = pixels.copy()
        taken = sum(_take_off(pixels, line) for line in lines)
        count += taken
        if not taken:
            break
    return pixels, count


def find_scratches(pixels: np.ndarray) -> list[Scratch]:
    """Scratches in a picture, (M, N, 3) of uint8 or uint16."""
    grey, scale = _seen(pixels)
    if min(grey.shape) < 20 * _LENGTH_PX:
        return []
    found: list[Scratch] = []
    for sign in (1, -1):
        ends = _dashes(grey, sign)
        if _FEWEST <= len(ends) <= _MOST:
            found += [line for line in _lines(ends, grey.shape) if _drawn_on_oil(line, grey, sign)]
    found.sort(key=lambda line: line.first - line.last)
    apart: list[Scratch] = []
    for line in found:
        if not any(_same(line, other) for other in apart):
            apart.append(line)
    return [_enlarged(line, scale) for line in apart[:_MOST_LINES]]


def _seen(pixels: np.ndarray) -> tuple[np.ndarray, int]:
    """Grey of a picture, smoothed, in parts of a level, and how many times smaller it is."""
    whole = pixels if pixels.dtype == np.uint8 else (pixels >> 8).astype(np.uint8)
    grey = cv2.cvtColor(whole, cv2.COLOR_RGB2GRAY)
    scale = max(1, round(max(grey.shape) / _LONG_PX))
    if scale > 1:
        grey = cv2.resize(grey, None, fx=1 / scale, fy=1 / scale, interpolation=cv2.INTER_AREA)
    return cv2.GaussianBlur(grey.astype(np.uint16) * _LEVELS, (0, 0), 1.0), scale


def _depth(grey: np.ndarray, sign: int) -> np.ndarray:
    """How much darker, or lighter, than both of its sides each place is."""
    how = cv2.MORPH_BLACKHAT if sign > 0 else cv2.MORPH_TOPHAT
    deep: np.ndarray = cv2.morphologyEx(grey, how, np.ones((_THIN_PX, _THIN_PX), np.uint8))
    return deep


def _dashes(grey: np.ndarray, sign: int) -> np.ndarray:
    """Ends of short straight thin lines, (K, 2, 2) x and y."""
    deep = _depth(grey, sign)
    mask = deep >= _least(deep)
    count, labels = cv2.connectedComponents(mask.view(np.uint8), connectivity=8)
    at = np.flatnonzero(mask)
    of = labels.ravel()[at]
    y, x = np.divmod(at, grey.shape[1])
    maybe = _may_be_dashes(of, x, y, count)
    order = np.flatnonzero(maybe[of])
    order = order[np.argsort(of[order], kind="stable")]
    ends = []
    for own in np.split(order, np.cumsum(np.bincount(of[order], minlength=count)[maybe])[:-1]):
        points = np.stack([x[own], y[own]], axis=1).astype(float)
        if not len(points):
            continue
        middle = points.mean(axis=0)
        _, spread, ways = np.linalg.svd(points - middle, full_matrices=False)
        length, width = (np.sqrt(12.0 / len(points)) * spread).tolist()
        if length >= _LENGTH_PX and length >= _SLENDER * width:
            ends.append(middle + np.outer([-0.5, 0.5], length * ways[0]))
    return np.array(ends).reshape(-1, 2, 2)


def _least(deep: np.ndarray) -> float:
    """Depth from which a place may be of a dash."""
    some, least = deep[::3, ::3], _DEPTH * _LEVELS
    if np.count_nonzero(some <= least / _OVER_GRAIN) > 0.75 * some.size + 1:
        return least
    return max(least, _OVER_GRAIN * quantile(some.ravel(), 0.75))


def _may_be_dashes(of: np.ndarray, x: np.ndarray, y: np.ndarray, count: int) -> np.ndarray:
    """Which parts are as long and thin as a dash, nearly, (count,) bool; ``of`` is the part of each pixel.

    The moments of all parts are worked out at once, so that few need a look by themselves.
    """
    area, first, last = np.bincount(of, minlength=count), np.zeros(count, int), np.zeros(count, int)
    last[of], first[of[::-1]] = y, y[::-1]  # pixels come row by row
    left, right = np.full(count, x.max(initial=0)), np.zeros(count, int)
    np.minimum.at(left, of, x)
    np.maximum.at(right, of, x)
    long = np.hypot(right - left + 1, last - first + 1)
    maybe = (long >= _LENGTH_PX) & (area < long**2 / _SLENDER) & (area > 0)
    n, dx, dy = np.maximum(area, 1), x - left[of], y - first[of]
    across, down = (np.bincount(of, v, count) / n for v in (dx, dy))
    xx, yy, xy = (
        np.bincount(of, v * w, count) / n - a * b
        for v, w, a, b in ((dx, dx, across, across), (dy, dy, down, down), (dx, dy, across, down))
    )
    middle, apart = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
    maybe &= 12.0 * (middle + apart) > _LENGTH_PX**2 * _NEARLY
    return np.asarray(maybe & (middle + apart > _SLENDER**2 * (middle - apart) * _NEARLY - (1.0 - _NEARLY)))


def _lines(ends: np.ndarray, shape: tuple[int, ...]) -> list[Scratch]:
    """Lines along which many dashes lie; each dash is of one."""
    length = np.hypot(*(ends[:, 1] - ends[:, 0]).T)
    free, found = np.ones(len(ends), bool), []
    runs = [_worth_a_look(ends, run, min(shape)) for run in strips(len(ends), _AT_ONCE)]
    worth = np.concatenate([np.zeros(0, bool), *runs])
    for seed in np.argsort(-length, kind="stable"):
        if not (free[seed] and worth[seed]):
            continue
        line = _line(ends, free, int(seed), min(shape))
        if line is not None:
            found.append(line[0])
            free[line[1]] = False
    return found


def _worth_a_look(ends: np.ndarray, run: slice, side: int) -> np.ndarray:
    """Whether dashes near the line through each of some hold as much as `_line` asks for, or nearly."""
    seeds = ends[run]
    start, way = seeds.mean(axis=1), seeds[:, 1] - seeds[:, 0]
    way = (way / np.hypot(*way.T)[:, None])[:, None, None]
    away = ends[None] - start[:, None, None]
    along = away[..., 0] * way[..., 0] + away[..., 1] * way[..., 1]
    off = away[..., 1] * way[..., 0] - away[..., 0] * way[..., 1]
    right, down = along[..., 1] - along[..., 0], off[..., 1] - off[..., 0]
    near = np.abs(off).max(axis=2) * _NEARLY < _NEAR_PX + _SEED_TURN * np.abs(along).max(axis=2)
    near &= np.abs(down) * _NEARLY < np.tan(_SEED_TURN + _TURN) * np.abs(right)
    held = (np.abs(right) * near).sum(axis=1)
    return (near.sum(axis=1) >= _FEWEST) & (held >= _EVIDENCE[0][1] * _SPAN * side * _NEARLY)


def _line(ends: np.ndarray, free: np.ndarray, seed: int, side: int) -> tuple[Scratch, np.ndarray] | None:
    """The line through a dash, and the dashes on it; None where there are too few."""
    start, way = ends[seed].mean(axis=0), ends[seed, 1] - ends[seed, 0]
    way = way / np.hypot(*way)
    away = ends - start
    along = away @ way
    off = away @ np.array([-way[1], way[0]])
    turn = np.arctan2(np.diff(off, axis=1), np.diff(along, axis=1))[:, 0]
    turn = (turn + np.pi / 2) % np.pi - np.pi / 2
    far = np.abs(along).max(axis=1)
    on = free & (np.abs(turn) < _SEED_TURN + _TURN) & (np.abs(off).max(axis=1) < _NEAR_PX + _SEED_TURN * far)
    if on.sum() < _FEWEST or np.ptp(along[on], axis=1).sum() < _EVIDENCE[0][1] * _SPAN * side:
        return None
    # nearest ones tell the course first, then what lies further out along it
    course = np.zeros(3)
    for reach in (0.15, 0.3, 0.5, 0.8, 2.0, 2.0):
        miss = np.abs(off - np.polyval(course, along)).max(axis=1)
        bend = np.arctan(np.polyval(np.polyder(course), along.mean(axis=1)))
        on = free & (far < reach * side) & (np.abs(turn - bend) < _TURN)
        on &= miss < _NEAR_PX + _NEARING * far * (reach < 1.0)
        if on.sum() < 2:
            continue
        span = float(np.ptp(along[on]))
        power = 2 if on.sum() > 2 and span > 0.5 * _SPAN * side else 1
        course = np.r_[np.zeros(2 - power), np.polyfit(along[on].ravel(), off[on].ravel(), power)]
    if on.sum() < _FEWEST or 2 * abs(course[0]) * side > _BEND:
        return None
    order = np.argsort(along[on].min(axis=1))
    low, high = along[on].min(axis=1)[order], along[on].max(axis=1)[order]
    reached = np.maximum.accumulate(high)
    span = float(reached[-1] - low[0])
    gap = float((low[1:] - reached[:-1]).max())
    filled = float((high - low).sum()) / span
    told = any(len(low) >= fewest and filled >= share for fewest, share in _EVIDENCE)
    if span < _SPAN * side or not told or gap > _WIDEST_GAP * span:
        return None
    return Scratch(start, way, course, float(low[0]), float(reached[-1])), np.flatnonzero(on)


def _drawn_on_oil(line: Scratch, grey: np.ndarray, sign: int) -> bool:
    """Whether a line is between its dashes as its sides are; where it is a slit between pieces, it is not."""
    along = np.arange(line.first, line.last)
    off = np.array([-_THIN_PX, -1.0, 0.0, 1.0, _THIN_PX])
    x, y = (values.astype(np.float32) for values in line.at(along[:, None], off[None]))
    read = sign * cv2.remap(grey, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).astype(np.float32)
    sides, on = read[:, (0, -1)].mean(axis=1), read[:, 1:4].min(axis=1)
    deep = sides - on
    dash = deep > _WEAK * _DEPTH * _LEVELS
    if dash.all() or not dash.any():
        return bool(dash.any())
    return bool(np.median(sides[dash]) - np.median(on[~dash]) < _BETWEEN * np.median(deep[dash]))


def _same(one: Scratch, other: Scratch) -> bool:
    """Whether a line runs within the profile of another, as the bright flank of a dark one does."""
    x, y = one.at(np.linspace(one.first, one.last, 9), np.zeros(9))
    away = np.stack([x, y], axis=1) - other.start
    along = away @ other.along
    off = away @ np.array([-other.along[1], other.along[0]]) - np.polyval(other.course, along)
    return bool((np.abs(off) < _THIN_PX).mean() > 0.7)


def _enlarged(line: Scratch, scale: int) -> Scratch:
    """Return a line of a picture seen so many times smaller in px of the picture."""
    course = line.course * np.array([1.0 / scale, 1.0, scale])
    start = line.start * scale + (scale - 1) / 2
    return Scratch(start, line.along, course, line.first * scale, line.last * scale)


def _take_off(pixels: np.ndarray, line: Scratch) -> bool:
    """Bridge the dashes of a line from both of its sides, in place; whether there was anything to bridge.

    Where its sides differ, the edge of a piece lies there, and what is there stays; so does what is deeper.
    """
    scale = max(1, round(max(pixels.shape[:2]) / _LONG_PX))
    level = 1.0 if pixels.dtype == np.uint8 else 257.0
    off = np.arange(-_REACH_PX * scale, _REACH_PX * scale + 1, dtype=np.float64)
    run = _RUN_PX * scale
    more = _GOES_ON * min(pixels.shape[:2])
    along = np.arange(line.first - more, line.last + more + 1)
    read = _read(pixels, line, along, off)
    smooth = cv2.blur(read.mean(axis=2), (1, run))
    ends = np.stack([smooth[:, : 2 * scale].mean(axis=1), smooth[:, -2 * scale :].mean(axis=1)])
    sides = ends.mean(axis=0)[:, None]
    deep = np.abs((smooth - sides)[:, np.abs(off) <= 2 * scale]).max(axis=1)
    dash = deep > _WEAK * _DEPTH * level
    if not dash.any():
        return False
    usual = float(np.median(deep[dash]))
    even = np.abs(ends[0] - ends[1]) < max(_ALIKE * usual, _WEAK * _DEPTH * level)
    alone = dash & even & (deep < _DEEPER * usual)
    if not alone.any():
        return False
    profile = np.abs(np.median((smooth - sides)[alone], axis=0))
    wide = np.abs(off[profile > _EDGE * profile.max()])
    half = float(wide[wide <= (_REACH_PX - 2) * scale].max(initial=2.0 * scale)) + 1.0
    there = cv2.dilate((alone).view(np.uint8)[:, None], np.ones((run // 2 * 2 + 1, 1), np.uint8))[:, 0] > 0
    there &= even
    _bridge(pixels, line, along[there], half, _DEEPER * usual)
    return True


def _read(pixels: np.ndarray, line: Scratch, along: np.ndarray, off: np.ndarray) -> np.ndarray:
    """Colours along a line and off it, (P, Q, 3) float32; the nearest ones beyond the frame."""
    x, y = (values.astype(np.float32) for values in line.at(along[:, None], off[None]))
    return cv2.remap(pixels, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).astype(np.float32)


def _bridge(pixels: np.ndarray, line: Scratch, along: np.ndarray, half: float, most: float) -> None:
    """Put the colours between both sides in the place of parts of a line, but not of what differs more."""
    rows, cols = pixels.shape[:2]
    fine = np.unique(np.r_[along, along + 0.5])
    off = np.arange(-half, half + 0.25, 0.5)
    sides = [
        _read(pixels, line, fine, sign * (half + np.array([1.0, 2.0]))).mean(axis=1) for sign in (-1.0, 1.0)
    ]
    part = ((off + half) / (2 * half))[None, :, None]
    colours = sides[0][:, None] * (1 - part) + sides[1][:, None] * part
    x, y = line.at(fine[:, None], off[None])
    i, j = np.rint(y).astype(int), np.rint(x).astype(int)
    inside = (i >= 0) & (j >= 0) & (i < rows) & (j < cols)
    i, j, colours = i[inside], j[inside], colours[inside]
    like = np.abs(pixels[i, j] - colours).max(axis=1) < most
    pixels[i[like], j[like]] = np.rint(colours[like]).astype(pixels.dtype)
