"""Lines, words and panels a camera program drew into a picture: proposals of what to leave out."""

from dataclasses import dataclass

import cv2
import numpy as np

from measure.model import Picture
from measure.scale.drawn_marks import find_drawn
from measure.scale.drawn_parts import level_box

_SHORTEST_PX = 18  # of a level stroke looked for
_SHORTEST_BAR_PX = 24  # with its ends; the rim of a round piece is not level for so long
_LEVEL_PX = 0.35
_REACH_PX = 8
_STEP = 22.0  # levels by which a drawn line differs from both of its sides
_MARGIN_PX = 3
_TICK_PX = 4  # at the ends of a bar
_SIDES_ALIKE, _INSIDE = 0.35, 0.1  # of a line's contrast; if the line goes on round something
_STRONG, _STRONG_STEP, _COLOURED = 0.35, 50.0, 0.3  # darker by a share and by levels; ratios of the channels
_CRISP = 0.6  # of a line's contrast in one step; seen: soft rims up to 0.54, drawn bars from 0.68


@dataclass(frozen=True)
class Bar:
    """A straight level line that may be a scale bar.

    Attributes
    ----------
    x0_px, x1_px : float
        Middles of its outer ends.
    y_px : float
        Middle of the line.
    zone : (4, 2) ndarray
        Rectangle round the bar and words of its colour beside it.
    uncertainty_px : float
        Standard uncertainty of the length: each end is read to a pixel (rectangular, JCGM 100).
    """

    x0_px: float
    x1_px: float
    y_px: float
    zone: np.ndarray
    uncertainty_px: float = 0.41

    @property
    def length_px(self) -> float:
        """Length between the outer ends."""
        return self.x1_px - self.x0_px


@dataclass(frozen=True)
class BurntIn:
    """What was found: bars (longest first) and areas to propose for leaving out."""

    bars: tuple[Bar, ...]
    zones: tuple[np.ndarray, ...]


def find_burnt_in(picture: Picture) -> BurntIn:
    """Find bars, words beside them and flat panels drawn into a picture.

    Marks of one exact tone are told by it. In a compressed picture, drawn lines are still exactly level, of
    one colour, a few pixels high, and differ clearly from both of their sides, which are alike. These are
    proposals for a person to accept: no scale follows from them.

    Parameters
    ----------
    picture : Picture

    Returns
    -------
    BurntIn
    """
    pixels = picture.pixels if picture.pixels.dtype == np.uint8 else (picture.pixels >> 8).astype(np.uint8)
    rgb = pixels.astype(np.float32)
    panel = _panel(rgb)
    extended = [_extended(rgb, run) for run in _runs(rgb) if _straight(rgb, run)]
    runs = _joined([run for run in extended if run and run[2] - run[0] >= _SHORTEST_BAR_PX], rgb)
    drawn = find_drawn(picture)
    exact = [_exact_bar(run, drawn.areas, rgb) for run in drawn.bars]
    seen = exact + [_bar(run, rgb) for run in runs if not any(_meet(run, bar) for bar in drawn.bars)]
    bars = sorted((bar for bar in seen if bar is not None), key=lambda bar: -bar.length_px)
    zones = [panel] if panel is not None else []
    zones += [bar.zone for bar in bars if panel is None or not _within(bar, panel)]
    zones += [area for area in drawn.areas if not any(_inside(area, zone) for zone in zones)]
    return BurntIn(tuple(bars), tuple(zones))


def _exact_bar(run: tuple[int, int, int, int], areas: tuple[np.ndarray, ...], rgb: np.ndarray) -> Bar | None:
    """Turn a bar of one exact tone into one with its words; None for a frame line or a long panel."""
    left, top, right, bottom = run
    if _is_frame(run, rgb):
        return None
    reach = _word_reach(right - left)
    mine = [area for area in areas if _covers(area, run)]
    for area in areas:
        (x0, y0), (x1, y1) = area.min(axis=0), area.max(axis=0)
        if x0 < right and x1 > left and y0 < bottom + reach and y1 > top - reach:
            mine.append(area)
    low, high = np.min([a.min(axis=0) for a in mine], axis=0), np.max([a.max(axis=0) for a in mine], axis=0)
    return Bar(float(left), right + 1.0, (top + bottom + 1) / 2, level_box(low[0], low[1], high[0], high[1]))


def _word_reach(length: int) -> int:
    return int(np.clip(0.35 * length, 14, 60))


def _is_frame(run: tuple[int, int, int, int], rgb: np.ndarray) -> bool:
    columns = rgb.shape[1]
    return run[0] <= 2 or run[2] >= columns - 3 or run[2] - run[0] > 0.7 * columns


def _covers(area: np.ndarray, run: tuple[int, int, int, int]) -> bool:
    (x0, y0), (x1, y1) = area.min(axis=0), area.max(axis=0)
    return bool(x0 <= run[2] and x1 >= run[0] and y0 <= run[3] and y1 >= run[1])


def _inside(area: np.ndarray, zone: np.ndarray) -> bool:
    low = np.maximum(area.min(axis=0), zone.min(axis=0))
    high = np.minimum(area.max(axis=0), zone.max(axis=0))
    return bool(np.prod(np.maximum(high - low, 0.0)) >= 0.8 * np.prod(np.ptp(area, axis=0)))


def _within(bar: Bar, panel: np.ndarray) -> bool:
    # by the bar itself: the area round it may reach out of the panel, over pieces of its colour
    return bool(panel[0, 1] <= bar.y_px <= panel[2, 1])


def _panel(rgb: np.ndarray) -> np.ndarray | None:
    """Find a band of one colour along the lower or the upper edge that begins at a sharp level line."""
    grey = rgb.mean(axis=2)
    rows = len(grey)
    for flipped in (False, True):
        ordered = grey if flipped else grey[::-1]
        colour = float(np.median(ordered[:6]))
        plain = (np.abs(ordered - colour) <= 4.0).mean(axis=1)
        band = cv2.blur(plain.astype(np.float32)[:, None], (1, 9))[:, 0] > 0.4
        depth = int(np.argmin(band)) if not band.all() else rows
        if not 12 <= depth < 0.35 * rows:
            continue
        begins = range(max(2, depth - 12), min(rows - 2, depth + 12))
        steps = [float(np.median(np.abs(ordered[row - 2] - ordered[row + 1]))) for row in begins]
        if max(steps) > _STEP:
            depth = begins[int(np.argmax(steps))]
            top, bottom = (0, depth) if flipped else (rows - depth, rows)
            return level_box(0, top, rgb.shape[1], bottom)
    return None


def _runs(rgb: np.ndarray) -> list[tuple[int, int, int, int]]:
    """Level strokes as (left, top, right, bottom), ends within."""
    found: list[tuple[int, int, int, int]] = []
    whole = rgb.astype(np.int16)
    for thick in (1, 2, 4):
        reach = thick + 1
        if len(rgb) <= 2 * reach:
            continue
        mask: np.ndarray = np.zeros(rgb.shape[:2], np.uint8)
        mask[reach:-reach] = _step(whole, reach) > _STEP
        mask = cv2.morphologyEx(mask, cv2.MORPH_CLOSE, np.ones((1, 3), np.uint8))
        mask = cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((1, _SHORTEST_PX), np.uint8))
        rows = np.flatnonzero(mask.any(axis=1))
        if not len(rows):
            continue
        first = int(rows[0])
        count, _, stats, _ = cv2.connectedComponentsWithStats(mask[first : rows[-1] + 1])
        for left, above, width, height, _area in stats[1:count]:
            top = first + above
            box = (int(left), int(top), int(left + width - 1), int(top + height - 1))
            if height <= 6 and _one_colour(rgb, box) and not any(_meet(box, known) for known in found):
                found.append(box)
    return found


def _step(whole: np.ndarray, reach: int) -> np.ndarray:
    """Levels by which each row but the outermost differs, in one direction, from both ``reach`` away."""
    middle = whole[reach:-reach]
    above = cv2.subtract(middle, whole[: -2 * reach])
    below = cv2.subtract(middle, whole[2 * reach :])
    # brighter than both, or darker than both; below zero where it lies between them
    step = cv2.max(cv2.min(above, below), np.negative(cv2.max(above, below)))
    return cv2.max(cv2.max(step[..., 0], step[..., 1]), step[..., 2])


def _meet(one: tuple, two: tuple) -> bool:
    return abs(one[1] - two[1]) <= 6 and one[0] <= two[2] and two[0] <= one[2]


def _one_colour(rgb: np.ndarray, box: tuple[int, int, int, int]) -> bool:
    left, top, right, bottom = box
    if (right - left) < 5 * (bottom - top + 1):
        return False
    line = rgb[(top + bottom) // 2, left : right + 1]
    spread = np.quantile(line, 0.9, axis=0) - np.quantile(line, 0.1, axis=0)
    return bool(spread.max() < 70.0)


def _straight(rgb: np.ndarray, box: tuple[int, int, int, int]) -> bool:
    """Whether a stroke is level and equally thick all along: neither is true of the rim of a piece."""
    left, top, right, bottom = box
    first, last = max(0, top - 3), min(len(rgb), bottom + 4)
    part = rgb[first:last, left : right + 1]
    near = np.maximum(120.0 - np.abs(part - _middle_colour(rgb, box)).max(axis=2), 0.0)
    middle_row = (top + bottom) // 2
    weight = near * (np.abs(np.arange(first, last) - middle_row) <= bottom - top + 2)[:, None]
    total = weight.sum(axis=0)
    height = (weight * np.arange(first, last)[:, None]).sum(axis=0) / np.maximum(total, 1e-6)
    smooth = cv2.blur(height.astype(np.float32)[None], (5, 1))[0][2:-2]
    return bool(np.quantile(np.abs(smooth - np.median(smooth)), 0.9) < _LEVEL_PX)


def _extended(rgb: np.ndarray, box: tuple[int, int, int, int]) -> tuple[int, int, int, int] | None:
    """Take in the ends that crossing ticks hid; None when the line has no sharp end within reach."""
    left, top, right, bottom = box
    colour = _middle_colour(rgb, box)
    rows = [max(0, top - 4), min(len(rgb) - 1, bottom + 4)]
    around = np.abs(np.median(rgb[rows, left : right + 1], axis=1) - colour).max(axis=1)
    line = np.abs(rgb[(top + bottom) // 2] - colour).max(axis=1) < min(60.0, 0.5 * float(around.min()))
    while left > 0 and line[left - 1]:
        left -= 1
    while right < len(line) - 1 and line[right + 1]:
        right += 1
    sharp = box[0] - left <= _REACH_PX and right - box[2] <= _REACH_PX
    return (left, top, right, bottom) if sharp else None


def _joined(runs: list[tuple], rgb: np.ndarray) -> list[tuple]:
    """Join two runs of one line with words between them."""
    runs, out = sorted(runs), []
    while runs:
        first = runs.pop(0)
        for other in runs:
            level = abs(first[1] - other[1]) <= 2 and abs(first[3] - other[3]) <= 2
            long = min(first[2] - first[0], other[2] - other[0])
            alike = abs((first[2] - first[0]) - (other[2] - other[0])) <= 0.15 * long
            gap = other[0] - first[2]
            if level and alike and 0 < gap < 2.0 * long and _alike(rgb, first, other):
                runs.remove(other)
                first = (first[0], min(first[1], other[1]), other[2], max(first[3], other[3]))
                break
        out.append(first)
    return out


def _middle_colour(rgb: np.ndarray, box: tuple) -> np.ndarray:
    return np.median(rgb[(box[1] + box[3]) // 2, box[0] : box[2] + 1], axis=0)


def _alike(rgb: np.ndarray, one: tuple, two: tuple) -> bool:
    return bool(np.abs(_middle_colour(rgb, one) - _middle_colour(rgb, two)).max() < 40)


def _bar(run: tuple[int, int, int, int], rgb: np.ndarray) -> Bar | None:
    """Turn a stroke into a bar with its words; None for a frame line or one that leaves the picture."""
    left, top, right, bottom = run
    rows, columns = rgb.shape[:2]
    length = right - left
    if _is_frame(run, rgb) or not (_abrupt(rgb, run) and _crisp(rgb, run) and _on_one_ground(rgb, run)):
        return None
    reach = _word_reach(length)
    x0, x1 = max(0, left - 8), min(columns, right + 9)
    y0, y1 = max(0, top - reach), min(rows, bottom + reach + 1)
    colour = _middle_colour(rgb, run)
    near = (np.abs(rgb[y0:y1, x0:x1] - colour).max(axis=2) < 60) & _strokes(rgb[y0:y1, x0:x1])
    ends = near[:, [left - x0, right - x0]].sum(axis=0)
    if max(ends) > 0.9 * (y1 - y0):  # a stroke through: a ruled frame, no bar
        return None
    ys, xs = np.nonzero(near)
    box = level_box(
        min(left, xs.min() + x0 if len(xs) else left) - _MARGIN_PX,
        min(top, ys.min() + y0 if len(ys) else top) - _MARGIN_PX,
        max(right, xs.max() + x0 if len(xs) else right) + 1 + _MARGIN_PX,
        max(bottom, ys.max() + y0 if len(ys) else bottom) + 1 + _MARGIN_PX,
    )
    box = np.clip(box, 0, [columns, rows])
    return Bar(left + 0.5, right + 0.5, (top + bottom + 1) / 2, box)


def _abrupt(rgb: np.ndarray, run: tuple[int, int, int, int]) -> bool:
    """Whether a line ends about as abruptly as its sides do; a crystal's straight side fades or turns."""
    left, top, right, bottom = run
    row = (top + bottom) // 2
    line = rgb[row, left + 2 : right - 1]
    middle = np.median(line, axis=0)
    sides = [rgb[max(0, top - 4), left:right], rgb[min(len(rgb) - 1, bottom + 4), left:right]]
    contrast = min(float(np.abs(np.median(side, axis=0) - middle).max()) for side in sides)
    ends = ((left - 2, left + 2), (right + 2, right - 2))
    steps = [float(np.abs(rgb[row, outer] - rgb[row, inner]).max()) for outer, inner in ends]
    return min(steps) >= 0.85 * contrast


def _crisp(rgb: np.ndarray, run: tuple[int, int, int, int]) -> bool:
    """Whether a line begins and ends from one row to the next; the rim of a piece is as soft as the lens."""
    left, top, right, bottom = run
    inset = min(_TICK_PX, (right - left) // 4)
    row, reach = (top + bottom) // 2, 4 + (bottom - top) // 2
    first = max(0, row - reach)
    rows = np.median(rgb[first : row + reach + 1, left + inset : right + 1 - inset], axis=1)
    contrast = min(float(np.abs(side - rows[row - first]).max()) for side in (rows[0], rows[-1]))
    return contrast >= _STEP and float(np.abs(np.diff(rows, axis=0)).max()) >= _CRISP * contrast


def _on_one_ground(rgb: np.ndarray, run: tuple[int, int, int, int]) -> bool:
    """Whether a line is dark, light or coloured against a ground that is the same on both of its sides.

    The rim of a crystal or of a bubble is a shade of its ground, has another tone inside, or so goes on.
    """
    left, top, right, bottom = run
    part = np.s_[left + 2 : right - 1]
    sides = [
        rgb[max(0, top - 6) : max(1, top - 3), part],
        rgb[min(bottom + 3, len(rgb) - 1) : bottom + 6, part],
    ]
    one, two = (np.median(side, axis=(0, 1)) for side in sides)
    tone, ground = _middle_colour(rgb, run), (one + two) / 2
    step = np.abs(ground - tone)
    contrast = float(min(np.abs(one - tone).max(), np.abs(two - tone).max()))
    apart = float(np.abs(one - two).max())
    share = tone / np.maximum(ground, 1.0)
    strong = float(np.abs(1.0 - share).min()) >= _STRONG and contrast >= _STRONG_STEP
    if apart > _SIDES_ALIKE * contrast or not (strong or float(np.ptp(share)) >= _COLOURED):
        return False
    channel = int(np.argmax(step))
    reach = max(4, (right - left) // 2)
    first = max(0, top - reach)
    window = rgb[first : bottom + reach + 1, max(0, left - reach) : right + reach + 1, channel]
    alike = (window - tone[channel]) * np.sign(ground[channel] - tone[channel]) < 0.5 * step[channel]
    _, labels = cv2.connectedComponents(alike.view(np.uint8))
    row = labels[(top + bottom) // 2 - first]
    if not row.any():
        return True
    own = np.nonzero(labels == np.bincount(row[row > 0]).argmax())[0]
    goes_on = own.min() == 0 or own.max() == len(labels) - 1
    return not (goes_on and apart > _INSIDE * contrast)


def _strokes(part: np.ndarray) -> np.ndarray:
    """Pixels of thin strokes: away from what a median over a wider window sees there."""
    grey = np.clip(part, 0, 255).astype(np.uint8)
    return np.abs(part - cv2.medianBlur(grey, 9).astype(np.float32)).max(axis=2) > _STEP
