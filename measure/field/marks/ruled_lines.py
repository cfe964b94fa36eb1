"""Lines of a counting net that run from frame to frame: taken off the picture, so that pieces stay whole.

The sides of crystals are straight too, but end at corners. A line of a net is straight, thin and even over
the whole picture, whatever it crosses. It is bridged from its two sides, in the oil as inside a piece.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np

_LONG_PX = 900  # side of the picture the lines are looked for in, about
_THIN_PX = 7  # lines are thinner there
_DEPTH = 5  # levels a line is darker than both of its sides
_POINTS = 5000  # dark places that are asked for lines at most
_ANGLES = 360
_CROWDED = 0.25  # of a picture is dark places: among so many no line can be told
_VOTES = 0.5  # of the shorter side of the picture, by which a line is worth a look
_FILLED, _BESIDE = 0.8, 0.35  # of a line is dark, and of its parallels
_BESIDE_PX = 6
_EVEN = 0.5  # of its usual depth, which three quarters of a line reach
_MOST, _LOOKS = 80, 300  # lines, and places they are looked for at
_FEWEST, _WIDEST_PX = 2, 5.0  # lines of a net; half their width at most
_PROFILE_PX = 9  # to each side, over which a line is looked at
_PIECES = 24  # it is looked at in
_EDGE = 0.12  # of a line's depth at its edge
NET = "Thin straight lines from frame to frame, as of a counting net,"  # how what is said of them begins


@dataclass(frozen=True)
class Line:
    """A line from frame to frame: x cos + y sin = distance, px from the middle of the first pixel."""

    cos: float
    sin: float
    distance: float
    half_px: float = 2.0

    def ends(self, shape: tuple[int, int]) -> np.ndarray | None:
        """Where it meets the frame of a picture of so many rows and columns, (2, 2); None if nowhere."""
        rows, cols = shape
        middle = np.array([self.cos, self.sin]) * self.distance
        along = np.array([-self.sin, self.cos])
        low, high = -np.inf, np.inf
        for at, step, size in zip(middle, along, (cols - 1, rows - 1), strict=True):
            if abs(step) < 1e-9:
                if not 0 <= at <= size:
                    return None
                continue
            first, last = sorted(((0 - at) / step, (size - at) / step))
            low, high = max(low, first), min(high, last)
        return None if high - low < 1 else np.stack([middle + low * along, middle + high * along])


def net_note(lines: int) -> str:
    """Return what is said of lines taken off a picture."""
    return f"{NET} were taken off the picture ({lines} of them); the pieces they cross are measured whole."


def find_lines(pixels: np.ndarray) -> list[Line]:
    """Lines from frame to frame in a picture, (M, N, 3)."""
    seen = look(pixels)
    return [] if seen is None else net_of(seen)


@dataclass(frozen=True)
class Seen:
    """Places of a picture where long thin dark lines may be, seen small.

    Attributes
    ----------
    grey : (M, N) ndarray of uint8
    scale : int
        Pixels of the picture in one of the small one.
    wide, depth : (m, n) ndarray of uint8
        1 within a px of dark places, and how dark they are, in the small one.
    lines : list of Line
        In px of the small one, those with the most dark places first.
    """

    grey: np.ndarray
    scale: int
    wide: np.ndarray
    depth: np.ndarray
    lines: list[Line]


def look(pixels: np.ndarray) -> Seen | None:
    """Look for places of long lines in a picture, (M, N, 3); None where nothing is long enough."""
    whole = pixels if pixels.dtype == np.uint8 else (pixels >> 8).astype(np.uint8)
    grey: np.ndarray = cv2.cvtColor(whole, cv2.COLOR_RGB2GRAY)
    if min(grey.shape) < 100:
        return None
    scale = max(1, round(max(grey.shape) / _LONG_PX))
    part = 1.0 / scale
    small = cv2.resize(grey, None, fx=part, fy=part, interpolation=cv2.INTER_AREA) if scale > 1 else grey
    depth = cv2.morphologyEx(small, cv2.MORPH_BLACKHAT, np.ones((_THIN_PX, _THIN_PX), np.uint8))
    dark = (depth >= _DEPTH).view(np.uint8)
    votes = _VOTES * min(small.shape)
    points = np.flatnonzero(dark)
    if not votes <= len(points) <= _CROWDED * dark.size:
        return None
    if len(points) > _POINTS:
        kept = np.random.default_rng(0).choice(points, _POINTS, replace=False)
        votes *= _POINTS / len(points)
        some: np.ndarray = np.zeros_like(dark)
        some.ravel()[kept] = 1
    else:
        some = dark
    found = cv2.HoughLines(some, 1.0, np.pi / _ANGLES, max(20, int(votes)))
    if found is None:
        return None
    wide: np.ndarray = cv2.dilate(dark, np.ones((3, 3), np.uint8))
    lines = [
        Line(float(np.cos(angle)), float(np.sin(angle)), float(distance))
        for distance, angle in found.reshape(-1, 2)[:_LOOKS]
    ]
    return Seen(grey, scale, wide, depth, lines)


def net_of(seen: Seen) -> list[Line]:
    """Lines of a net, from frame to frame; none where fewer than two are seen."""
    grey, scale, shape = seen.grey, seen.scale, seen.wide.shape
    lines: list[Line] = []
    for line in seen.lines:
        new = len(lines) < _MOST and not any(same(line, other, shape) for other in lines)
        if new and _runs_through(line, seen.wide, seen.depth):
            lines.append(line)
    full = [in_picture(line, scale) for line in lines]
    net: list[Line] = []
    for line in full:
        fitted = fitted_line(line, grey, scale)
        thin = fitted is not None and fitted.half_px <= _WIDEST_PX * scale
        if fitted is not None and thin and not any(same(fitted, other, grey.shape) for other in net):
            net.append(fitted)
    return net if len(net) >= _FEWEST else []


def _sampled(image: np.ndarray, line: Line, offset: float, step: float = 1.0) -> np.ndarray:
    """Nearest pixels along a line moved sideways."""
    ends = replace(line, distance=line.distance + offset).ends(image.shape)
    if ends is None:
        return np.zeros(0, image.dtype)
    count = max(2, int(np.hypot(*(ends[1] - ends[0])) / step))
    x, y = (np.linspace(a, b, count) for a, b in zip(ends[0], ends[1], strict=True))
    return image[np.rint(y).astype(int), np.rint(x).astype(int)]


def in_picture(line: Line, scale: int) -> Line:
    """Return a line of a picture seen so many times smaller, in px of the picture."""
    return replace(line, distance=line.distance * scale + (scale - 1) / 2)


def _runs_through(line: Line, wide: np.ndarray, depth: np.ndarray) -> bool:
    """Whether a line is dark all along, evenly, and its parallels are not."""
    on = _sampled(wide, line, 0.0)
    if len(on) < 0.5 * min(wide.shape) or on.mean() < _FILLED:
        return False
    if any(part.mean() < 0.5 for part in np.array_split(on, 8)):
        return False
    for side in (-_BESIDE_PX, _BESIDE_PX):
        beside = _sampled(wide, line, side)
        if len(beside) and beside.mean() > _BESIDE:
            return False
    deep = np.maximum.reduce([_padded(_sampled(depth, line, off), len(on)) for off in (-1.0, 0.0, 1.0)])
    return bool(np.quantile(deep, 0.25) >= _EVEN * np.median(deep) >= _EVEN * _DEPTH)


def _padded(values: np.ndarray, length: int) -> np.ndarray:
    if not len(values):
        return np.zeros(length)
    return np.pad(values[:length], (0, max(0, length - len(values))), mode="edge")


def same(one: Line, two: Line, shape: tuple[int, int]) -> bool:
    """Whether two lines are nowhere far apart: then one of them is the other seen at the next angle."""
    ends = one.ends(shape)
    if ends is None:
        return True
    apart = ends @ [two.cos, two.sin] - two.distance
    return bool(np.abs(apart).min() < 5 and np.abs(apart).max() < 12)


def fitted_line(line: Line, grey: np.ndarray, scale: int, ends: np.ndarray | None = None) -> Line | None:
    """Place a line to a part of a pixel and measure its width; None where no even line is there."""
    ends = line.ends(grey.shape) if ends is None else ends
    if ends is None:
        return None
    reach = _PROFILE_PX * max(1, scale)
    offsets = np.arange(-reach, reach + 1, dtype=np.float32)
    for _ in range(2):
        normal = np.array([line.cos, line.sin])
        ends = ends + (line.distance - ends @ normal)[:, None] * normal
        count = int(np.hypot(*(ends[1] - ends[0])) / 2)
        at = np.linspace(0.0, 1.0, count)[:, None] * (ends[1] - ends[0]) + ends[0]
        x = (at[:, :1] + line.cos * offsets).astype(np.float32)
        y = (at[:, 1:] + line.sin * offsets).astype(np.float32)
        across = cv2.remap(grey, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).astype(np.float32)
        places, moved = [], []
        for part in np.array_split(np.arange(count), _PIECES):
            dip = _dip(np.median(across[part], axis=0))
            if dip.max() >= 3.0:
                near = np.abs(offsets - offsets[dip.argmax()]) <= 2
                places.append(part.mean() / count)
                moved.append(float((dip * offsets * near).sum() / (dip * near).sum()))
        if len(places) < _FILLED * _PIECES:
            return None
        slope, shift = _straight(np.array(places), np.array(moved))
        a, b = ends[0] + shift * normal, ends[1] + (shift + slope) * normal
        along = (b - a) / np.hypot(*(b - a))
        turned = np.array([along[1], -along[0]])
        cos, sin = turned if turned @ normal > 0 else -turned
        line = replace(line, cos=float(cos), sin=float(sin), distance=float(a @ [cos, sin]))
    dip = _dip(np.median(across, axis=0))
    deep = np.abs(offsets[dip > _EDGE * dip.max()])
    return replace(line, half_px=float(max(deep.max(), 2.0)) + 0.5)


def _dip(profile: np.ndarray) -> np.ndarray:
    """How much darker each place is than the sides of a profile."""
    sides = np.interp(
        np.arange(len(profile)), [1, len(profile) - 2], [profile[:3].mean(), profile[-3:].mean()]
    )
    return np.maximum(sides - profile, 0.0)


def _straight(places: np.ndarray, moved: np.ndarray) -> tuple[float, float]:
    """Slope and start of the straight line through most places."""
    keep = np.ones(len(places), bool)
    for _ in range(3):
        slope, start = np.polyfit(places[keep], moved[keep], 1)
        off = np.abs(moved - (slope * places + start))
        keep = off <= max(0.5, 2.5 * float(np.median(off)))
    return float(slope), float(start)


def bridge(pixels: np.ndarray, line: Line, ends: np.ndarray | None = None) -> None:
    """Put the colours between both sides of a line in its place, in place; all of it or between two ends."""
    ends = line.ends(pixels.shape[:2]) if ends is None else ends
    if ends is None:
        return
    half, normal = line.half_px, np.array([line.cos, line.sin])
    along = (ends[1] - ends[0]) / np.hypot(*(ends[1] - ends[0]))
    a, b = ends[0] - 2 * half * along, ends[1] + 2 * half * along
    corners = np.array([a + half * normal, b + half * normal, b - half * normal, a - half * normal])
    mask: np.ndarray = np.zeros(pixels.shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.rint(corners * 16).astype(np.int32)], 1, shift=4)
    y, x = np.nonzero(mask)
    off = (x * line.cos + y * line.sin - line.distance).astype(np.float32)
    sides = []
    for sign in (1.0, -1.0):
        colours = []
        for beyond in (0.5, 1.5):
            step = sign * (half + beyond) - off
            colours.append(_colours(pixels, x + step * line.cos, y + step * line.sin))
        sides.append((colours[0] + colours[1]) / 2)
    part = np.clip((off / half + 1.0) / 2.0, 0.0, 1.0)[:, None]
    pixels[y, x] = np.rint(part * sides[0] + (1.0 - part) * sides[1]).astype(pixels.dtype)


def _colours(pixels: np.ndarray, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Colours at places between pixels, (K, 3) float32; the nearest ones beyond the frame."""
    rows, cols = pixels.shape[:2]
    x, y = np.clip(x, 0, cols - 1.001), np.clip(y, 0, rows - 1.001)
    left, top = x.astype(int), y.astype(int)
    dx, dy = (x - left)[:, None].astype(np.float32), (y - top)[:, None].astype(np.float32)
    upper = pixels[top, left] * (1 - dx) + pixels[top, left + 1] * dx
    lower = pixels[top + 1, left] * (1 - dx) + pixels[top + 1, left + 1] * dx
    return upper * (1 - dy) + lower * dy
