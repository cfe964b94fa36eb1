"""A scale in the eyepiece: a long thin line with ticks at even steps, taken off with its ticks."""

from dataclasses import dataclass

import cv2
import numpy as np

from measure.field.marks.ruled_lines import Line, Seen, bridge, fitted_line, in_picture, same

_SPAN, _GAP_PX = 0.35, 14  # of the shorter side, at least; breaks where it crosses pieces
_TICK_FROM_PX, _TICK_TO_PX = 4, 60  # to the side, where ticks are looked for, and how far they reach at most
_STEP_PX = (5.0, 60.0)  # from tick to tick
_CLEAR = 0.35  # of what changes along the line, that steps of one length explain
_DIP = 3.0  # levels a tick is darker than what is beside it
_HALF_PX = 2.5  # half the width of a tick with its blur
_MOST, _LOOKS = 4, 12  # scales, and lines that are asked for ticks
_FILLED, _BESIDE, _BESIDE_PX = 0.8, 0.35, 6  # of a line is dark, and of its parallel without ticks
_EVEN, _WIDEST_PX = 0.5, 5.0  # of its usual depth, which three quarters of it reach; half its width at most
_FEWEST, _THERE = 12, 0.6  # ticks, and the share of them that is seen
SCALE = (
    "A scale of the eyepiece, a long line with ticks, was taken off the picture; "
    "the pieces it crosses are measured whole."
)


@dataclass(frozen=True)
class EyepieceScale:
    """A line with its ticks: (line, (2, 2) ends in px) each, the long line last."""

    strokes: tuple[tuple[Line, np.ndarray], ...]


def find_scales(seen: Seen) -> list[EyepieceScale]:
    """Scales among the long thin lines of a picture; their ticks tell them from a hair or a scratch."""
    found: list[EyepieceScale] = []
    known: list[Line] = []
    looks = 0
    for small in seen.lines:
        if len(found) == _MOST:
            break
        if any(same(small, other, seen.wide.shape) for other in known):
            continue
        ends = _span(small, seen.wide)
        if ends is None or not _is_even(small, ends, seen):
            continue
        looks += 1
        if looks > _LOOKS:
            break
        line = in_picture(small, seen.scale)
        ends = ends * seen.scale + (seen.scale - 1) / 2
        fitted = fitted_line(line, seen.grey, seen.scale, ends)
        thin = fitted is not None and fitted.half_px <= _WIDEST_PX * seen.scale
        ticks = _ticks(fitted, ends, seen.grey) if fitted is not None and thin else []
        if fitted is not None and ticks:
            known.append(small)
            found.append(EyepieceScale((*ticks, (fitted, ends))))
    return found


def take_off(pixels: np.ndarray, scale: EyepieceScale) -> None:
    """Bridge a scale and its ticks, in place."""
    for line, ends in scale.strokes:
        bridge(pixels, line, ends)


def _span(line: Line, wide: np.ndarray) -> np.ndarray | None:
    """Ends of the longest dark stretch of a line, (2, 2), breaks bridged; None where it is short."""
    ends = line.ends(wide.shape)
    if ends is None:
        return None
    length = float(np.hypot(*(ends[1] - ends[0])))
    count = max(2, int(length))
    at = np.linspace(ends[0], ends[1], count)
    on = wide[np.rint(at[:, 1]).astype(int), np.rint(at[:, 0]).astype(int)]
    closed = cv2.morphologyEx(on[None], cv2.MORPH_CLOSE, np.ones((1, _GAP_PX), np.uint8))[0]
    edges = np.flatnonzero(np.diff(np.r_[0, closed, 0]))
    if not len(edges):
        return None
    first, last = edges[::2], edges[1::2] - 1
    k = int(np.argmax(last - first))
    if last[k] - first[k] < _SPAN * min(wide.shape):
        return None
    return np.array([at[first[k]], at[last[k]]])


def _is_even(line: Line, ends: np.ndarray, seen: Seen) -> bool:
    """Whether a stretch is dark all along and evenly, and one of its sides, where no ticks are, is not."""
    count = max(2, int(np.hypot(*(ends[1] - ends[0]))))
    at = np.linspace(ends[0], ends[1], count)
    rows, cols = seen.wide.shape

    def beside(image: np.ndarray, off: float) -> np.ndarray:
        x = np.clip(np.rint(at[:, 0] + off * line.cos).astype(int), 0, cols - 1)
        y = np.clip(np.rint(at[:, 1] + off * line.sin).astype(int), 0, rows - 1)
        return image[y, x]

    if beside(seen.wide, 0.0).mean() < _FILLED:
        return False
    if min(beside(seen.wide, -_BESIDE_PX).mean(), beside(seen.wide, _BESIDE_PX).mean()) > _BESIDE:
        return False
    deep = np.maximum.reduce([beside(seen.depth, off) for off in (-1.0, 0.0, 1.0)])
    return bool(np.quantile(deep, 0.25) >= _EVEN * np.median(deep))


def _ticks(line: Line, ends: np.ndarray, grey: np.ndarray) -> list[tuple[Line, np.ndarray]]:
    """Ticks of a line at even steps, on either side; none where there are no such steps."""
    normal, along = np.array([line.cos, line.sin]), np.array([-line.sin, line.cos])
    start, stop = sorted(float(end @ along) for end in ends)
    s = np.arange(start - 4, stop + 5, dtype=np.float32)
    found = []
    for side in (-1.0, 1.0):
        d = np.arange(0, _TICK_TO_PX, dtype=np.float32)
        at = (line.distance + side * d)[:, None, None] * normal + s[None, :, None] * along
        x, y = at[..., 0].astype(np.float32), at[..., 1].astype(np.float32)
        strip = cv2.remap(grey, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).astype(np.float32)
        near = strip[_TICK_FROM_PX : _TICK_FROM_PX + 3].mean(axis=0)
        dips = np.clip(_dips(near[None])[0], 0.0, 40.0)
        step = _even_step(dips)
        if step is None:
            continue
        spacing, phase = step
        deep, mine = _dips(strip), []
        places = np.arange(phase, len(s), spacing)
        for k in places:
            lane = deep[:, max(0, round(k) - 1) : round(k) + 2].max(axis=1, initial=0.0)
            off = np.flatnonzero(lane[_TICK_FROM_PX:] < _DIP)
            reach = _TICK_FROM_PX + (int(off[0]) if len(off) else 0)
            if reach == _TICK_FROM_PX:
                continue
            place = float(s[0] + k)
            tick = Line(float(along[0]), float(along[1]), place, _HALF_PX)
            foot = line.distance * normal + place * along
            mine.append((tick, np.array([foot, foot + side * (reach - 2) * normal])))
        if len(mine) >= max(_FEWEST, _THERE * len(places)):
            found += mine
    return found


def _dips(strip: np.ndarray) -> np.ndarray:
    """How much darker each place of each row is than the places beside it in the row."""
    return cv2.morphologyEx(strip, cv2.MORPH_CLOSE, np.ones((1, 5), np.uint8)) - strip


def _even_step(dips: np.ndarray) -> tuple[float, float] | None:
    """Step from tick to tick and place of the first, in px; None where dips are not at even steps."""
    size = len(dips)
    signal = dips - dips.mean()
    if dips.max() < _DIP or size < 8 * _STEP_PX[0]:
        return None
    rates = np.arange(1 / min(_STEP_PX[1], size / 6), 1 / _STEP_PX[0], 1 / (8 * size))
    waves = np.exp(-2j * np.pi * rates[:, None] * np.arange(size))
    sums = waves @ signal
    # ticks are narrow: a wave of their step and its overtones; the lowest of those as strong is theirs
    strength = np.abs(sums)
    k = int(np.flatnonzero(strength >= 0.8 * strength.max())[0])
    k += int(np.argmax(strength[k : k + 8]))
    spacing = float(1 / rates[k])
    phase = float(-np.angle(sums[k]) / (2 * np.pi) * spacing) % spacing
    places = (np.arange(size) - phase + spacing / 2) % spacing - spacing / 2
    inside = np.abs(places) <= 1.5
    share = float(dips[inside].sum() / max(dips.sum(), 1e-6))
    return (spacing, phase) if share - inside.mean() >= _CLEAR else None
