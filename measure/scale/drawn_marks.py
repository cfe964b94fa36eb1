"""Bars, words and measuring lines a camera program drew into a picture, told by their one exact tone.

What lenses show is blurred and every pixel has noise of its own. What was drawn has one tone, the same to
the last digit, right up to its edge, and ends within a pixel. Both are asked of a tone before shapes are
looked at.
"""

from dataclasses import dataclass
from itertools import product

import cv2
import numpy as np

from measure.model import Picture
from measure.scale.drawn_panel import has_panel, panel_round
from measure.scale.drawn_parts import Part, box_round, is_thin, level_box

_STEP = 22  # levels by which a drawn tone differs from the usual one
_OVER_NOISE = 7.0  # what pixels two apart differ by, which a drawn tone's step is at least; usually 24
_RUN_PX = 3  # neighbours of exactly one tone in a row or column
_SEEDS = 40  # pixels in such runs beside a step, from which a tone may be drawn
_TONES = 6  # that are looked at, the most frequent ones
_SHARP, _SHARP_SHARE = 0.6, 0.6  # of the whole step, two px outside; how much of an edge must be so
_NEAR = 60.0  # levels from the tone that a stroke's smoothed edge may have
_EXACT_PX, _EXACT_SHARE = 6, 0.15  # pixels of the exact tone in a stroke, and of all its pixels
_LETTERS, _HEIGHT_PX = 3, (5, 120)  # in a row of words; how high
_ALIKE = 0.2  # heights of letters differ by no more, as a share
_APART = 1.6  # letters of a row are no farther apart than so many heights
_BAR_PX, _BAR_RATIO, _BAR_FULL = 24, 4.0, 0.9  # least length of a bar; over its height; share of its box
_SLIM = 8.0  # length over width of a line
_MARGIN_PX = 3
_PANEL_STEP = 90  # levels by which words differ from a panel below them
_COMPRESSED = 12  # levels by which compression moves a tone
_MOST = 2000  # strokes of a tone; words are fewer
_STRIP_ROWS, _ABOUT_ROWS = 64, 4  # rows looked at together, and those beside them that are seen too
_REACH = 2.0  # heights of a mark within which other strokes belong to it
_BAR_REACH, _BAR_REACH_PX = 0.35, (14, 60)  # or this share of its length, between these limits


@dataclass(frozen=True)
class Drawn:
    """What was drawn into a picture.

    Attributes
    ----------
    areas : tuple of (K, 2) ndarray of float
        Boxes round each mark, x and y in px, corner of the first pixel at 0, 0; a slanted line's own shape.
    bars : tuple of (4,) tuple of int
        Level bars as left, top, right, bottom, ends within.
    """

    areas: tuple[np.ndarray, ...] = ()
    bars: tuple[tuple[int, int, int, int], ...] = ()


def find_drawn(picture: Picture) -> Drawn:
    """Find what was drawn into a picture in one exact tone.

    Parameters
    ----------
    picture : Picture

    Returns
    -------
    Drawn
        Nothing where no tone is exact, as after strong compression.
    """
    pixels = picture.pixels if picture.pixels.dtype == np.uint8 else (picture.pixels >> 8).astype(np.uint8)
    if min(pixels.shape[:2]) < 4 * _RUN_PX:
        return Drawn()
    usual = np.median(pixels[::8, ::8].reshape(-1, 3), axis=0)
    least = _OVER_NOISE * _noise(pixels)
    boxes: list[np.ndarray] = []
    bars: set[tuple[int, int, int, int]] = set()
    tones = _tones(pixels, usual)
    for tone in tones:
        if np.abs(tone - usual).max() < least:  # of a dark ground with noise in rows: level bars of its own
            continue
        strokes = _strokes(pixels, tone, usual, 0)
        own, rows = [s for s in strokes if _is_bar(s)], _rows_of_words(strokes)
        if own or rows:
            bars |= {(s.left, s.top, s.right - 1, s.bottom - 1) for s in own if s.width > s.height}
            boxes += _areas(strokes, rows, own)
            # what compression moved off the tone
            more = _strokes(pixels, tone, usual, _COMPRESSED)
            boxes += _areas(more, [row for row in _rows_of_words(more) if _words_like(row, rows, boxes)], own)
    panels = _panels(pixels, tones, bars)
    boxes = [box for box in boxes if not any(_within(box, panel) for panel in panels)] + panels
    size = pixels.shape[1::-1]
    return Drawn(tuple(np.clip(box, 0, size) for box in _joined(boxes)), tuple(sorted(bars)))


def _panels(
    pixels: np.ndarray, tones: list[np.ndarray], bars: set[tuple[int, int, int, int]]
) -> list[np.ndarray]:
    """Boxes of panels that carry a bar or words; their bars are added to those known."""
    found: list[np.ndarray] = []
    flat = [tone for tone in tones if len(tones) > 1 and has_panel(pixels, tone, _BAR_PX)]
    for panel, ink in product(flat, tones):
        if np.abs(ink - panel).max() < _PANEL_STEP:
            continue
        strokes = _strokes(pixels, ink, panel, 0)
        own, rows = [s for s in strokes if _is_bar(s)], _rows_of_words(strokes)
        for mark in _areas(strokes, rows, own) if own or rows else ():
            if any(_within(mark, box) for box in found):
                continue
            box = panel_round(pixels, mark, panel, ink)
            if box is not None:
                found.append(box)
        level = [
            s
            for s in own
            if s.width > s.height and any(_within(box_round([s], _MARGIN_PX), b) for b in found)
        ]
        bars |= {(s.left, s.top, s.right - 1, s.bottom - 1) for s in level}
    return found


def _within(box: np.ndarray, other: np.ndarray) -> bool:
    return bool((box.min(axis=0) >= other.min(axis=0)).all() and (box.max(axis=0) <= other.max(axis=0)).all())


@dataclass(frozen=True, eq=False)
class _Stroke(Part):
    """A connected stroke of a tone: its box, its area and the contour's points, (K, 2)."""

    area: int
    points: np.ndarray

    @property
    def is_letter(self) -> bool:
        """Whether it is as high as letters and made of thin lines; a disc or a panel is not."""
        around = cv2.arcLength(self.points.reshape(-1, 1, 2).astype(np.int32), True)
        thin = is_thin(self.area, around, self.height)
        return _HEIGHT_PX[0] <= self.height <= _HEIGHT_PX[1] and self.width <= 2 * self.height and thin


def _noise(pixels: np.ndarray) -> float:
    """What pixels two apart across rows or columns usually differ by, the larger of both, in levels."""
    few, below, beside = pixels[:-2:8, :-2:8], pixels[2::8, :-2:8], pixels[:-2:8, 2::8]
    return max(float(np.median(cv2.absdiff(few, other).max(axis=2))) for other in (below, beside))


def _tones(pixels: np.ndarray, usual: np.ndarray) -> list[np.ndarray]:
    """Tones of many pixels in exact runs right beside a step, the most frequent first."""
    low, high = np.clip(usual - _STEP, 0, 255), np.clip(usual + _STEP, 0, 255)
    found = []
    # in strips, which stay in the processor's cache; what a pixel is asked of lies two rows away at most
    for top in range(0, len(pixels), _STRIP_ROWS):
        above = min(top, _ABOUT_ROWS)
        strip = pixels[top - above : top + _STRIP_ROWS + _ABOUT_ROWS]
        own = np.s_[above : above + _STRIP_ROWS]
        seeds = _beside_step(strip, 0, own) | _beside_step(strip, 1, own)
        if cv2.countNonZero(seeds):
            far = cv2.bitwise_not(cv2.inRange(strip[own], low, high))
            found.append(strip[own][cv2.bitwise_and(far, seeds) > 0])
    tones = np.concatenate(found).astype(np.int32) if found else np.zeros((0, 3), np.int32)
    codes, counts = np.unique(tones @ [1 << 16, 1 << 8, 1], return_counts=True)
    order = np.argsort(-counts, kind="stable")[:_TONES]
    return [np.array([c >> 16, (c >> 8) & 255, c & 255]) for c in codes[order[counts[order] >= _SEEDS]]]


def _beside_step(pixels: np.ndarray, along: int, own: slice) -> np.ndarray:
    """Pixels of some rows in runs of one exact tone along an axis, a step two px away across it.

    (M, N) of 0 or 255.
    """
    rows, cols = pixels.shape[:2]
    near: np.ndarray = np.zeros((rows, cols), np.uint8)
    one, two = (pixels[1:], pixels[:-1]) if along == 0 else (pixels[:, 1:], pixels[:, :-1])
    same = cv2.inRange(cv2.absdiff(one, two), (0, 0, 0), (0, 0, 0))
    near[(slice(1, None), slice(None)) if along == 0 else (slice(None), slice(1, None))] = same
    run = (_RUN_PX - 1, 1) if along == 0 else (1, _RUN_PX - 1)
    near = cv2.erode(near, np.ones(run, np.uint8))
    if not cv2.countNonZero(near[own]):
        return near[own]  # noise leaves no runs, so most of a picture needs no look at its steps
    one, two = (pixels[:, 2:], pixels[:, :-2]) if along == 0 else (pixels[2:], pixels[:-2])
    level = cv2.inRange(cv2.absdiff(one, two), (0, 0, 0), (_STEP, _STEP, _STEP))
    # 255 beyond the step, on both of its sides
    beyond = cv2.bitwise_not(level)
    ahead, behind = ((0, 0, 2, 0), (0, 0, 0, 2)) if along == 0 else ((2, 0, 0, 0), (0, 2, 0, 0))
    step = cv2.max(*(cv2.copyMakeBorder(beyond, *by, cv2.BORDER_CONSTANT, value=0) for by in (ahead, behind)))
    return cv2.bitwise_and(near[own], step[own])


def _strokes(pixels: np.ndarray, tone: np.ndarray, usual: np.ndarray, spread: int) -> list[_Stroke]:
    """Strokes of a tone; none where its edges are as soft as those of what lenses show."""
    whole = float(np.abs(usual - tone).max())
    exact = cv2.inRange(pixels, np.clip(tone - spread, 0, 255), np.clip(tone + spread, 0, 255))
    away = min(_NEAR, 0.45 * whole)
    near = cv2.inRange(pixels, np.clip(tone - away, 0, 255), np.clip(tone + away, 0, 255))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(near, connectivity=8)
    inside = np.bincount(labels[exact > 0], minlength=count)
    kept = [
        n
        for n in range(1, count)
        if inside[n] >= _EXACT_PX and inside[n] >= _EXACT_SHARE * stats[n, cv2.CC_STAT_AREA]
    ]
    rows, cols = pixels.shape[:2]
    found, edge, sharp = [], 0, 0
    for n in kept if len(kept) <= _MOST else ():
        x, y, w, h, area = (int(v) for v in stats[n])
        if x == 0 or y == 0 or x + w == cols or y + h == rows:  # a border or a panel
            continue
        m = 3
        box = np.s_[max(0, y - m) : y + h + m, max(0, x - m) : x + w + m]
        own = ((labels[box] == n) & (exact[box] > 0)).view(np.uint8)
        part = (labels[box] == n).view(np.uint8)
        ring: np.ndarray = cv2.dilate(own, np.ones((5, 5), np.uint8)) - cv2.dilate(
            own, np.ones((3, 3), np.uint8)
        )
        ring = cv2.bitwise_and(ring, 1 - part)
        off = np.abs(pixels[box][ring > 0].astype(np.float32) - tone).max(axis=1)
        size, clear = len(off), int((off > _SHARP * whole).sum())
        if size and clear >= _SHARP_SHARE * size:
            contours, _ = cv2.findContours(part, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
            points = np.concatenate(contours)[:, 0] + [box[1].start, box[0].start]
            found.append(_Stroke(x, y, x + w, y + h, area, points))
        edge, sharp = edge + size, sharp + clear
    return found if sharp >= _SHARP_SHARE * edge else []


def _is_bar(stroke: _Stroke) -> bool:
    long, short = max(stroke.width, stroke.height), min(stroke.width, stroke.height)
    full = stroke.area >= _BAR_FULL * stroke.width * stroke.height
    return long >= _BAR_PX and long >= _BAR_RATIO * short and full


def _rows_of_words(strokes: list[_Stroke]) -> list[list[_Stroke]]:
    """Rows of letters of one height, from left to right."""
    letters = sorted((s for s in strokes if s.is_letter), key=lambda s: s.left)
    rows: list[list[_Stroke]] = []
    for letter in letters:
        for row in rows:
            last = row[-1]
            height = max(s.height for s in row)
            alike = abs(letter.height - last.height) <= max(1.0, _ALIKE * height)
            level = abs(letter.bottom - last.bottom) <= max(1.0, _ALIKE * height)
            if alike and level and letter.left - last.right <= _APART * height:
                row.append(letter)
                break
        else:
            rows.append([letter])
    return [row for row in rows if len(row) >= _LETTERS]


def _words_like(row: list[_Stroke], rows: list[list[_Stroke]], boxes: list[np.ndarray]) -> bool:
    """Whether a row of letters is as high as one already known, or stands beside a mark."""
    height = max(s.height for s in row)
    alike = (abs(height - max(s.height for s in known)) <= _ALIKE * height for known in rows)
    return any(alike) or any(_close(s, box) for s in row for box in boxes)


def _areas(strokes: list[_Stroke], rows: list[list[_Stroke]], bars: list[_Stroke]) -> list[np.ndarray]:
    """Boxes round bars and rows of words, with what stands among and beside them, and areas of slim lines."""
    boxes = []
    for row in sorted(rows, key=len, reverse=True):
        reach = max(s.height for s in row)
        left, right = min(s.left for s in row) - reach, max(s.right for s in row) + reach
        top, bottom = min(s.top for s in row) - 0.4 * reach, max(s.bottom for s in row) + 0.4 * reach
        among = [
            s for s in strokes if s.left >= left and s.right <= right and s.top >= top and s.bottom <= bottom
        ]
        if among:  # or its letters stood in a longer row
            boxes.append(box_round(among, _MARGIN_PX))
            strokes = [s for s in strokes if s not in among]
    boxes += [box_round([s], _MARGIN_PX) for s in bars]
    sure = list(boxes)
    for stroke in (s for s in strokes if s not in bars):
        own, slim = _slim(stroke)
        if slim or any(_close(stroke, box) for box in sure):
            boxes.append(own)
    return boxes


def _slim(stroke: _Stroke) -> tuple[np.ndarray, bool]:
    """Area of a stroke, its own shape if it is a slanted line; whether it is a line."""
    _, (w, h), _ = cv2.minAreaRect(stroke.points.astype(np.float32))
    slim = max(w, h) > _BAR_PX and max(w, h) > _SLIM * min(w, h)
    if slim and min(stroke.width, stroke.height) > 2.0 * min(w, h) + 4:
        return _widened(stroke), True
    return box_round([stroke], _MARGIN_PX), slim


def _widened(stroke: _Stroke) -> np.ndarray:
    """Polygon of a stroke with a margin about it, (K, 2)."""
    m = 2 * _MARGIN_PX
    mask: np.ndarray = np.zeros((stroke.height + 2 * m, stroke.width + 2 * m), np.uint8)
    cv2.drawContours(mask, [(stroke.points - [stroke.left - m, stroke.top - m])[:, None]], -1, 1, -1)
    mask = cv2.dilate(mask, np.ones((2 * _MARGIN_PX - 1,) * 2, np.uint8))
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outline = cv2.approxPolyDP(max(contours, key=cv2.contourArea), 1.0, True)[:, 0]
    return outline + np.array([stroke.left - m + 0.5, stroke.top - m + 0.5])


def _close(stroke: _Stroke, box: np.ndarray) -> bool:
    """Whether a stroke of a mark's size stands beside it."""
    (left, top), (right, bottom) = box.min(axis=0), box.max(axis=0)
    short, long = sorted((right - left, bottom - top))
    reach = max(_REACH * short, float(np.clip(_BAR_REACH * long, *_BAR_REACH_PX)))
    apart = max(stroke.left - right, left - stroke.right, stroke.top - bottom, top - stroke.bottom)
    return bool(apart <= reach and max(stroke.width, stroke.height) <= reach)


def _joined(boxes: list[np.ndarray]) -> list[np.ndarray]:
    """Level boxes that stand beside one another, such as the words of a line, made one."""
    done: list[np.ndarray] = []
    for box in sorted(boxes, key=lambda box: float(box[:, 0].min())):
        for i, other in enumerate(done):
            if np.array_equal(box, other):
                break
            if _beside(box, other):
                (left, top), (right, bottom) = (f([*box, *other], axis=0) for f in (np.min, np.max))
                done[i] = level_box(left, top, right, bottom)
                break
        else:
            done.append(box)
    return done


def _beside(one: np.ndarray, two: np.ndarray) -> bool:
    if not all(len(np.unique(box[:, 0])) == 2 == len(np.unique(box[:, 1])) for box in (one, two)):
        return False  # slanted
    (left, top), (right, bottom) = np.maximum(one[0], two[0]), np.minimum(one[2], two[2])
    low, high = sorted((one[2, 1] - one[0, 1], two[2, 1] - two[0, 1]))
    return bool(bottom - top >= 0.6 * low and low >= 0.4 * high and left - right <= min(high, _HEIGHT_PX[1]))
