"""Lines of a tone nearer to that of the oil inside a piece, and the ways along them."""

from functools import cached_property
from math import hypot
from typing import Any, NamedTuple

import cv2
import numpy as np

from measure.field.basics.masks import square
from measure.field.basics.quick import colours_at, median, median_colour, mixed, norm, percentile, percentiles

_SCALES_PX = (1.0, 1.8)  # half-widths of the lines looked for
_STEP = 2.8  # height of a line over its scaled curvature, for a line as wide as the scale
_FAINT = 0.06  # height of a line over that of the piece, from which it shows
_UNREST = 1.2  # the same over most of the unrest inside the piece
_MOST = 0.5  # height from which a line shows no better
_FREE = 0.03  # cost of a step where there is no line
_ON_EDGE = 0.15  # share of a way that may run along the outline
_DEARER = 3.0  # step along the outline over one inside
_EDGE_PX = 3.0
_ENDS_PX, _BEND_PX = 2, 4  # of a way, rounded by the notch; left out where its depth is judged
_LEAST_PX = 10
_LONGER = 1.6  # way over the straight one
_SHOWN, _CLEARLY = 0.85, 1.6  # share of a line that must show, and its height over that from which it does
_INSIDE_PX, _REACH_PX = (
    5.0,
    6,
)  # depth from which a line is no part of the edge, and from where it is looked for
_EXITS, _APART_PX = 6, 8.0  # places where a line may run out, and how far they are from one another
_RISE_PX = (3, 4, 5, 6)  # where beside a line the piece has its own tone again
_TONE_SIGMA_PX = 0.8
_SMOOTH = np.ones(5) / 5
_LEAST_LOW, _LEAST_RISE = 0.02, 0.01
_SECOND = ((2, 0), (0, 2), (1, 1))  # derivatives in x and y


class PaleLine(NamedTuple):
    """A line from one place of the outline to another.

    Attributes
    ----------
    way : (P, 2) ndarray of int
        y and x.
    height : float
        Mean height over that of the piece.
    low : float
        Height that three quarters of it exceed.
    rise : float
        How much the tone rises again on both sides, in three quarters of it.
    least : float
        Height from which a line shows in this piece.
    lowest : float
        Height that nine tenths of it exceed.
    step : float
        Difference of tone between its two sides.
    """

    way: np.ndarray
    height: float
    low: float
    rise: float
    least: float
    lowest: float
    step: float

    @property
    def clearness(self) -> float:
        """Height over that from which a line shows."""
        return self.height / self.least


class PaleLines:
    """Lines inside a piece.

    Parameters
    ----------
    mask : (M, N) ndarray of uint8
        The piece.
    delta : (M, N, 3) ndarray of float32
        CIELAB difference from the oil.
    """

    def __init__(self, mask: np.ndarray, delta: np.ndarray) -> None:
        self._mask, self._delta = mask, delta
        self._own = median_colour(colours_at(delta, mask > 0))
        self._depth = cv2.distanceTransform(mask, cv2.DIST_L2, 5)
        self._height = self._heights()
        self._least = shown_from(self._height[self._depth > _EDGE_PX])

    @property
    def clearness(self) -> np.ndarray:
        """Height of a line at each px over that from which it shows, (M, N)."""
        return self._height / np.float32(self._least)

    @property
    def heights(self) -> np.ndarray:
        """Height of a line at each px over that of the piece, (M, N)."""
        return self._height

    @property
    def least(self) -> float:
        """Height from which a line shows in this piece, over that of the piece."""
        return float(self._least)

    @property
    def tone(self) -> np.ndarray:
        """Difference from the oil along that of the piece, over it, smoothed a little, (M, N)."""
        return self._tone

    def _heights(self) -> np.ndarray:
        """Height of what is followed at each px, over that of the piece, (M, N)."""
        return _line_heights(self._rough_tone)

    @cached_property
    def _rough_tone(self) -> np.ndarray:
        """Difference from the oil along that of the piece, over it; 1 is the piece, 0 the oil, (M, N)."""
        towards = self._own.astype(np.float32)
        height = max(norm(towards), 1e-6)
        return mixed(np.moveaxis(self._delta, -1, 0), towards / np.float32(height * height))

    @cached_property
    def _tone(self) -> np.ndarray:
        return cv2.GaussianBlur(self._rough_tone, (0, 0), _TONE_SIGMA_PX)

    @cached_property
    def _cost(self) -> np.ndarray:
        """Cost of a step to each px of the piece, -1 outside, (M, N)."""
        cost = 1.0 / (_FREE + np.minimum(np.maximum(self._height, 0.0), _MOST))
        cost[self._depth < _EDGE_PX - 0.5] *= _DEARER
        return np.where(self._mask > 0, cost, -1.0).astype(float)

    @cached_property
    def _search(self) -> tuple[Any, tuple[int, int]]:
        """A search for ways in the box of the piece, and the corner of that box."""
        # no way leaves the piece, which may be small in its crop
        left, top, wide, high = cv2.boundingRect(self._mask)
        return _search(self._cost[top : top + high, left : left + wide]), (top, left)

    def between(self, start: np.ndarray, ends: list[np.ndarray]) -> list[PaleLine | None]:
        """Lines from a place x, y on the outline to others; None where none is seen nearly all along."""
        found: list[PaleLine | None] = [None] * len(ends)
        x, y = (int(v) for v in start)
        places = [(int(v), int(u)) for u, v in ends]
        far = [n for n, (v, u) in enumerate(places) if _is_apart(u - x, v - y)]
        if far:
            search, (top, left) = self._search
            goals = [(places[n][0] - top, places[n][1] - left) for n in far]
            _, steps = search.find_costs([(y - top, x - left)], goals, find_all_ends=True)
            ways = np.asarray(search.offsets).tolist()
            for n, goal in zip(far, goals, strict=True):
                found[n] = self._traced(_way_back(steps, ways, goal), (top, left))
        return found

    def _traced(self, steps: list[tuple[int, int]], corner: tuple[int, int]) -> PaleLine | None:
        if len(steps) < _LEAST_PX:
            return None
        way = np.array(steps, np.int64) + corner
        return self._line(way) if self._is_inside(way) and self._shows(way) else None

    def _is_inside(self, way: np.ndarray) -> bool:
        inner = way[_BEND_PX:-_BEND_PX]
        near = np.count_nonzero(self._depth[inner[:, 0], inner[:, 1]] < _EDGE_PX)
        if near / len(inner) > _ON_EDGE:
            return False
        long = float(np.hypot(*(way[1:] - way[:-1]).T).sum())
        return bool(long <= _LONGER * float(np.hypot(*(way[0] - way[-1]))))

    def _shows(self, way: np.ndarray) -> bool:
        heights = self._heights_on(way)
        shown = np.count_nonzero(heights > self._least) / len(heights)
        return bool(shown > _SHOWN and heights.mean() > _CLEARLY * self._least)

    def _heights_on(self, way: np.ndarray) -> np.ndarray:
        """Height of the line over that of the piece along a way without its ends, (P,)."""
        inner = way[_ENDS_PX:-_ENDS_PX]
        return self._height[inner[:, 0], inner[:, 1]]

    def _line(self, way: np.ndarray) -> PaleLine:
        heights = self._heights_on(way)
        lowest, low = percentiles(heights, 10, 25)
        low = max(low, _LEAST_LOW)
        rise, step = self._beside(way[_ENDS_PX:-_ENDS_PX])
        return PaleLine(way, float(heights.mean()), low, rise, self._least, lowest, step)

    def _beside(self, way: np.ndarray) -> tuple[float, float]:
        """How much the tone rises where it rises less, in three quarters of a way; step from side to side."""
        along = np.gradient(way.astype(float), axis=0)
        along = np.stack([np.convolve(part, _SMOOTH, "same") for part in along.T], axis=1)
        across = np.stack([-along[:, 1], along[:, 0]], axis=1)
        across /= np.maximum(np.linalg.norm(across, axis=1, keepdims=True), 1e-6)
        sides, last = [], np.array(self._mask.shape) - 1
        for side in (-1, 1):
            places = np.rint(way + side * np.multiply.outer(_RISE_PX, across)).astype(int)
            places = np.minimum(np.maximum(places, 0), last)
            rows, columns = places[..., 0], places[..., 1]
            tone = np.where(self._mask[rows, columns] > 0, self._tone[rows, columns], -np.inf)
            sides.append(tone.max(axis=0))
        both = np.isfinite(sides).all(axis=0)
        if not both.any():
            return _LEAST_RISE, np.inf
        one, other = (side[both] for side in sides)
        rise = np.minimum(one, other) - self._tone[way[:, 0], way[:, 1]][both]
        return max(percentile(rise, 25), _LEAST_RISE), abs(median(one) - median(other))

    def starts_at(self, place: np.ndarray) -> bool:
        """Whether a line comes near a place x, y on the outline."""
        x, y = (int(v) for v in place)
        reach = np.s_[max(0, y - _REACH_PX) : y + _REACH_PX + 1, max(0, x - _REACH_PX) : x + _REACH_PX + 1]
        return bool(((self._height[reach] > _CLEARLY * self._least) & (self._depth[reach] > _EDGE_PX)).any())

    def exits(self, contour: np.ndarray) -> list[int]:
        """Places on an outline, (P, 2) x and y, where the clearest lines run out."""
        x, y = np.rint(contour).astype(int).T
        inside = np.where(self._depth > _INSIDE_PX, self._height, np.float32(0.0))
        near = cv2.dilate(inside, square(2 * _REACH_PX + 1))[y, x]
        out: list[int] = []
        at: list[tuple[float, float]] = []
        heights, least = near.tolist(), 2 * self._least
        for k in np.argsort(-near, kind="stable").tolist():
            if heights[k] < least or len(out) >= _EXITS:
                break
            u, v = contour[k].tolist()
            if all(max(abs(u - p), abs(v - q)) > _APART_PX for p, q in at):
                out.append(k)
                at.append((u, v))
        return out


def shown_from(heights: np.ndarray) -> float:
    """Height from which a line shows among the heights where none is expected, over that of the piece.

    Parameters
    ----------
    heights : (P,) ndarray of float32
        Heights of lines over that of the piece.
    """
    return max(_FAINT, _UNREST * percentile(np.abs(heights), 75)) if heights.size else _FAINT


def _is_apart(right: int, down: int) -> bool:
    """Whether a way between two places so far apart may be long enough and yet no detour."""
    return _LONGER * hypot(right, down) + 1e-6 >= _LEAST_PX - 1


def _search(cost: np.ndarray) -> Any:
    """A search for cheapest ways over the eight neighbours of each pixel."""
    from skimage.graph import MCP_Geometric

    return MCP_Geometric(cost)


def _way_back(steps: np.ndarray, ways: list[list[int]], goal: tuple[int, int]) -> list[tuple[int, int]]:
    """Places y, x from where a search began to a goal, as its own method tells them in ten times the time.

    Parameters
    ----------
    steps : (M, N) ndarray of int
        Number of the last step to each place; -1 where the search began, less where it did not come.
    ways : list of [int, int]
        Each step down and to the right.
    goal : (int, int)

    Returns
    -------
    places : list of (int, int)
        Empty where there is no way.
    """
    y, x = goal
    back = [goal]
    while (step := int(steps[y, x])) >= 0:
        down, right = ways[step]
        y, x = y - down, x - right
        back.append((y, x))
    return back[::-1] if step == -1 else []


def _line_heights(tone: np.ndarray) -> np.ndarray:
    """Height of lines nearer to the oil than the piece beside them, over the height of the piece, (M, N)."""
    best = np.zeros(tone.shape, np.float32)
    for scale in _SCALES_PX:
        smooth = cv2.GaussianBlur(tone, (0, 0), scale)
        parts: list[np.ndarray] = [cv2.Sobel(smooth, cv2.CV_32F, *order, ksize=3) for order in _SECOND]
        for part in parts:
            part *= 0.25
        xx, yy, xy = parts
        most = xx + yy
        most *= 0.5
        xx -= yy
        xx *= xx
        xx *= 0.25
        xy *= xy
        xx += xy
        most += np.sqrt(xx, out=xx)
        most *= np.float32(_STEP * scale * scale)
        np.maximum(best, most, out=best)
    return best
