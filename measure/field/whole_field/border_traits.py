"""What is seen of the border between two neighbours: its notches and length, both sides, tones, its line.

Two pieces that touch meet in a notch at either end of a short border, are full by themselves, differ a little
in colour even when they are of one sort, and their thin edges let more light through along the border. A cut
across one piece ends where the outline hardly turns in, at one end at least, leaves sides as hollow as
before, and the tone goes on over it. A mottled piece has steps wherever one looks, and hues that go to
and fro: what a border shows is set against what lines beside it show, and parts of either side.
Each trait is bounded, so that no oddity outweighs all others.
"""

from math import ceil, log
from typing import NamedTuple

import cv2
import numpy as np

from measure.field.basics.masks import SQUARE, disc, drawn
from measure.field.basics.ovals import bends, fitted
from measure.field.basics.quick import colours_at, median, median_colour, norm, quantile
from measure.field.cuts.cut_colour import spread
from measure.field.cuts.cut_lobes import oval_misfit
from measure.field.cuts.seams import contour_of
from measure.field.edges.edge import SMOOTHING_SIGMA_PX, colour_length

TRAITS = (
    "shallower notch",
    "relative neck",
    "blunter end",
    "hollow left",
    "fuller side",
    "better oval",
    "one oval",
    "step",
    "colour",
    "texture",
    "palest of the line",
    "size",
    "thinner side",
    "step elsewhere",
    "dip",
    "hue",
)
_MARGIN_PX = 1
_DETAIL_PX = 80.0  # root of the area; pieces twice as large are looked at in reduced size
_LEAST_PX2 = 20  # area of a side below which its outline tells nothing
_BRIDGED_PX = 2.0  # closed between the sides, each of which ends half way to the ground
_ENDS = 3  # points of the outline on either side of an end among which its notch is deepest
_LEAST_REACH_PX, _REACH = 3.0, 0.45  # about an end: px, and share of the thinner side's depth
# tone beside a border: px from it at least and at most, and from the outside at least
_BESIDE_PX = ((1.5, 6.0, 2.0), (0.5, 6.0, 1.0))
_FEW = 6  # pixels by which a tone is told
_WITHIN_PX, _FEW_WITHIN = 1.5, 3  # from the outside, of a border's own tone; pixels that tell it
_DENSEST = 0.9  # share of a border that is no denser than its densest places
_OVAL, _BENT_DEG = 0.035, 30.0  # misfit over the radius of an oval's arc at most; angle of two that cross
_SPAN, _LARGER = 0.4, 2.0  # share of an oval that an arc must go round, and the oval's area over the part's
_CORE = 0.5  # depth over the deepest place of a side
# lines laid beside a border, px from it; how far their sides reach, and how wide they are
_SHIFTS_PX, _SIDE_PX, _LINE_PX = (8.0, 12.0, 16.0, 20.0, 26.0), 5.0, 1.0
_FEW_LINES = 2  # by which what is usual beside a border is told
_EVEN, _EVEN_RAD = 0.02, 0.02  # a step, over the height, and an angle between two hues too small to tell
_MOST_TIMES, _DIPS = 2.0, (-0.3, 0.5)  # bounds: logarithm of how many times as much; depth over the height
_PARTS, _LEAST_PART = 3, 6  # of a side, among which its hue varies, and pixels of each


class _Border(NamedTuple):
    """Two sides of a border, masks but for the last two."""

    both: np.ndarray
    sides: tuple[np.ndarray, np.ndarray]
    line: np.ndarray  # what lies along the border
    contour: np.ndarray  # (P, 2) of both
    ends: np.ndarray  # places in the contour where the border meets it
    depth: np.ndarray  # distance from the outside, px
    deepest: tuple[float, float]  # of each side


def traits_of(one: np.ndarray, other: np.ndarray, delta: np.ndarray) -> np.ndarray | None:
    """Tell what is seen of the border between two neighbours.

    Parameters
    ----------
    one, other : (P, 2) ndarray
        Their outlines, x and y in px of the crop.
    delta : (M, N, 3) ndarray of float32
        CIELAB difference from the oil in a crop about both.

    Returns
    -------
    (T,) ndarray of float or None
        As listed in `TRAITS`; None where they have no border with two ends, or are two ovals anyway.
    """
    masks, seen, scale = _seen(one, other, delta)
    border = _border(*masks)
    if border is None or _two_ovals(border):
        return None
    size = scale * np.sqrt(min(cv2.countNonZero(side) for side in border.sides))
    thinner = _log(min(border.deepest) / max(border.deepest), 0.1, 1.0)
    tones = (*_tone(border, seen), _log(size, 5.0, 120.0), thinner, *_elsewhere(border, seen))
    return np.array([*_ends(border), *_form(border), *tones, _hue(border, seen)])


def _seen(
    one: np.ndarray, other: np.ndarray, delta: np.ndarray
) -> tuple[list[np.ndarray], np.ndarray, float]:
    """Both pieces drawn, the picture lightly smoothed, with a margin and perhaps smaller; by how much."""
    m = _MARGIN_PX
    delta = cv2.copyMakeBorder(delta, m, m, m, m, cv2.BORDER_REPLICATE)
    masks = [drawn(outline + m, delta.shape[:2]) for outline in (one, other)]
    reduce = int(np.sqrt(sum(map(cv2.countNonZero, masks))) / _DETAIL_PX)
    delta = cv2.GaussianBlur(delta, (0, 0), SMOOTHING_SIGMA_PX)
    if reduce < 2:
        return masks, delta, 1.0
    small = (delta.shape[1] // reduce, delta.shape[0] // reduce)
    masks = [cv2.resize(mask, small, interpolation=cv2.INTER_NEAREST) for mask in masks]
    return masks, cv2.resize(delta, small, interpolation=cv2.INTER_AREA), float(reduce)


def _border(one: np.ndarray, other: np.ndarray) -> _Border | None:
    """The border between two masks; None where there is none with two ends."""
    if min(cv2.countNonZero(one), cv2.countNonZero(other)) < _LEAST_PX2:
        return None
    both = cv2.morphologyEx(one | other, cv2.MORPH_CLOSE, disc(_BRIDGED_PX))
    if cv2.connectedComponents(both, connectivity=4)[0] != 2:
        return None
    labels = spread(one + 2 * (other & (1 - one)).astype(np.int32), both)
    contour = contour_of(both)
    x, y = contour.astype(int).T
    own = labels[y, x]
    ends = np.flatnonzero(own != np.roll(own, 1))
    if len(ends) < 2:
        return None
    sides = ((labels == 1).view(np.uint8), (labels == 2).view(np.uint8))
    depth = cv2.distanceTransform(both, cv2.DIST_L2, 5)
    line = (sides[0] & cv2.dilate(sides[1], SQUARE)) | (sides[1] & cv2.dilate(sides[0], SQUARE))
    deepest = (float(depth[sides[0] > 0].max()), float(depth[sides[1] > 0].max()))
    return _Border(both, sides, line, contour, ends, depth, deepest)


def _ends(border: _Border) -> tuple[float, ...]:
    """Shallower notch at the ends of a border, how wide the neck is, and the oil about the blunter end."""
    contour, thinner = border.contour, min(border.deepest)
    hull = cv2.convexHull(contour)
    near = np.arange(-_ENDS, _ENDS + 1)
    shallower = min(
        max(cv2.pointPolygonTest(hull, contour[k].tolist(), True) for k in (end + near) % len(contour))
        for end in border.ends
    )
    reach = max(_LEAST_REACH_PX, _REACH * thinner)
    margin = ceil(reach) + 1
    oil = cv2.copyMakeBorder(1 - border.both, margin, margin, margin, margin, cv2.BORDER_REPLICATE)
    about = sorted(_oil_about(oil, contour[border.ends].astype(int) + margin, reach))
    return (
        _log(shallower / np.sqrt(cv2.countNonZero(border.both)), 0.01, 0.5),
        min(float(border.depth[border.line > 0].max()) / max(thinner, 1.0), 1.1),
        about[1],
    )


def _form(border: _Border) -> tuple[float, ...]:
    """How hollow and how near to ovals the sides are, and the whole."""
    contours = [contour_of(side) for side in border.sides]
    solid = [cv2.contourArea(own) / max(cv2.contourArea(cv2.convexHull(own)), 1.0) for own in contours]
    hollow = max(_hollow(own) for own in contours) / np.sqrt(cv2.countNonZero(border.both))
    return (
        _log(hollow, 0.02, 0.5),
        max(solid),
        _log(min(oval_misfit(own) for own in contours), 0.004, 0.5),
        _log(oval_misfit(border.contour), 0.004, 0.5),
    )


def _two_ovals(border: _Border) -> bool:
    """Whether the free outlines of both sides are nearly perfect ovals that cross at an angle."""
    first, last = int(border.ends[0]), int(border.ends[-1])
    contour = border.contour
    arcs = [contour[first:last], np.concatenate([contour[last:], contour[:first]])]
    ovals = []
    for arc in arcs:
        oval = fitted(arc, _LEAST_PX2, _SPAN, _LARGER)
        if oval is None or oval.misfit(arc) > _OVAL:
            return False
        ovals.append(oval)
    return bool(bends(ovals[0], ovals[1], arcs[0][[0, -1]].astype(float)).min() > _BENT_DEG)


def _tone(border: _Border, delta: np.ndarray) -> tuple[float, ...]:
    """Step of tone over a border and of colour between its sides, texture, and how pale the border is."""
    field = colour_length(delta)
    height = max(median(field[border.both > 0]), 1e-3)
    step, palest, beside = 0.0, 0.0, _beside(border)
    if beside is not None:
        step = norm(np.subtract(*(median_colour(colours_at(delta, own)).astype(float) for own in beside)))
        inside = (border.line > 0) & (border.depth > _WITHIN_PX)
        along = field[inside if np.count_nonzero(inside) >= _FEW_WITHIN else border.line > 0]
        palest = min(median(field[own]) for own in beside) - quantile(along, _DENSEST)
    cores = [
        (side > 0) & (border.depth > _CORE * most)
        for side, most in zip(border.sides, border.deepest, strict=True)
    ]
    tones = [median_colour(colours_at(delta, core)).astype(float) for core in cores]
    heights = [norm(tone) for tone in tones]
    colour = max(norm(tones[0] - tones[1]) ** 2 - (heights[0] - heights[1]) ** 2, 0.0) ** 0.5
    texture = 0.5 * sum(float(field[core].std()) for core in cores)
    return (
        _log(step / height, 0.03, 1.0),
        _log(colour / max(*heights, 1e-3), 0.02, 0.5),
        _log(texture / height, 0.03, 0.5),
        float(np.clip(palest / height, 0.0, 0.5)),
    )


def _beside(border: _Border) -> list[np.ndarray] | None:
    """What lies on either side along a border, (M, N) of bool each; None where that is too little."""
    away = cv2.distanceTransform(1 - border.line, cv2.DIST_L2, 5)
    for least, most, inside in _BESIDE_PX:
        within = (away > least) & (away < most) & (border.depth > inside)
        beside = [(side > 0) & within for side in border.sides]
        if min(np.count_nonzero(own) for own in beside) >= _FEW:
            return beside
    return None


def _elsewhere(border: _Border, delta: np.ndarray) -> tuple[float, float]:
    """Step over a border against those over lines beside it, and how much paler than both sides it is."""
    away = cv2.distanceTransform(1 - border.line, cv2.DIST_L2, 5)
    inside = (border.both > 0) & (border.depth > _WITHIN_PX)
    place = np.where(border.sides[0] > 0, away, -away)[inside]
    order = np.argsort(place, kind="stable")
    place, tones = place[order], delta[inside][order]
    heights = colour_length(tones)
    here = _across(place, tones, heights, 0.0)
    if here is None:
        return 0.0, 0.0
    lines = [_across(place, tones, heights, sign * shift) for shift in _SHIFTS_PX for sign in (1.0, -1.0)]
    height = max(median(heights), 1e-3)
    steps = [line[0] / height + _EVEN for line in lines if line is not None]
    usual = sum(steps) / len(steps) if len(steps) >= _FEW_LINES else here[0] / height + _EVEN
    times = log((here[0] / height + _EVEN) / usual)
    return float(np.clip(times, -_MOST_TIMES, _MOST_TIMES)), float(np.clip(here[1] / height, *_DIPS))


def _across(
    place: np.ndarray, tones: np.ndarray, heights: np.ndarray, shift: float
) -> tuple[float, float] | None:
    """Step and dip over a line so far beside a border, of pixels in the order of their place across it."""
    low, near, far, high = np.searchsorted(
        place, shift + np.array([-_SIDE_PX - _LINE_PX, -_LINE_PX, _LINE_PX, _SIDE_PX + _LINE_PX])
    )
    if min(near - low, high - far) < _FEW or far - near < _FEW_WITHIN:
        return None
    step = norm(median_colour(tones[low:near]).astype(float) - median_colour(tones[far:high]))
    return step, min(median(heights[low:near]), median(heights[far:high])) - median(heights[near:far])


def _hue(border: _Border, delta: np.ndarray) -> float:
    """Angle between the colours of both sides against those between parts of one side."""
    inside = border.depth > _WITHIN_PX
    middles, within = [], []
    for side in border.sides:
        own = (side > 0) & inside
        rows, cols = np.nonzero(own if np.count_nonzero(own) >= _FEW else side)
        along = rows if np.ptp(rows) > np.ptp(cols) else cols
        tones = delta[rows, cols][np.argsort(along, kind="stable")]
        middles.append(median_colour(tones).astype(float))
        if len(tones) >= _PARTS * _LEAST_PART:
            parts = np.array_split(tones, _PARTS)
            within += [_angle(median_colour(part).astype(float), middles[-1]) for part in parts]
    usual = sum(within) / len(within) if within else _EVEN_RAD
    times = log((_angle(*middles) + _EVEN_RAD) / (usual + _EVEN_RAD))
    return float(np.clip(times, -_MOST_TIMES, _MOST_TIMES))


def _angle(one: np.ndarray, other: np.ndarray) -> float:
    return float(np.arccos(np.clip(one @ other / max(norm(one) * norm(other), 1e-6), -1.0, 1.0)))


def _oil_about(oil: np.ndarray, places: np.ndarray, reach: float) -> list[float]:
    """Share of oil within reach of each place that lies farther than that from the border of the array."""
    around = disc(reach)
    r, count = len(around) // 2, cv2.countNonZero(around)
    return [
        cv2.countNonZero(oil[y - r : y + r + 1, x - r : x + r + 1] & around) / count
        for x, y in places.tolist()
    ]


def _hollow(contour: np.ndarray) -> float:
    """Depth of the deepest bay of a contour, px."""
    points = contour.astype(np.int32).reshape(-1, 1, 2)
    hull = cv2.convexHull(points, returnPoints=False)
    if len(hull) < 3:
        return 0.0
    bays = cv2.convexityDefects(points, -np.sort(-hull, axis=0))
    return 0.0 if bays is None else float(bays.reshape(-1, 4)[:, 3].max()) / 256.0


def _log(value: float, least: float, most: float) -> float:
    return log(min(max(float(value), least), most))
