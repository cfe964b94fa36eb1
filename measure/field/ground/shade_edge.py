"""A straight edge of shade across a field: of a stop, a filter or a slide that dims one part of the light.

No smooth surface follows the light over such an edge, so the oil on one side of it would be taken for pieces
and the pieces there for others than they are. Shade takes the same share of all light, and its edge runs from
frame to frame with the same step all along; the outlines of pieces do not. Where there is one, the light of
the darker side is raised to that of the other, as with a picture of the oil alone.
"""

from dataclasses import dataclass
from itertools import combinations

import cv2
import numpy as np

from measure.field.basics.quick import length
from measure.field.ground.background import Surface, evaluate, fit_surface, sample_places

_NO_LIGHT = -16.0  # L of the cube root of nothing, towards which shade moves every colour
# in coarse pixels: what the edge may take to either side, and how far its sides are looked at
_GAP, _SIDE = 5, 14
_STEEP = 0.006  # change of the logarithm of the cube root of light per coarse pixel: a third of a weak edge's
_TURNS = 120  # directions told apart
_LINES = 6  # strongest to look at
_LEAST_STEP, _MOST_STEP = 0.03, 0.35  # logarithm of the cube root of light: a tenth and two thirds of it
_LIKE = 0.35  # of the step, by which it may differ from place to place
_SEEN = 0.5  # share of its length with enough of both sides within the frame
_ALONG, _AT_ENDS = 0.6, 0.4  # share of that, and of its first and last quarter, that must show the step
_NEUTRAL = 0.2  # change of a colour over that of the lightness, of light that lost the same share of each
_FEWEST = 24  # coarse pixels that an edge is long
_PLACES = 400  # along the edge, at which its course is read
_FINE_PX = 0.5  # step across it
_ROUNDS = 8
_GAIN = 0.01  # share of the field that must be oil more when the shade is taken out


@dataclass(frozen=True)
class ShadeEdge:
    """Where shade ends and how its light falls there.

    Attributes
    ----------
    normal : (2,) ndarray
        Of the edge, towards more light; x and y.
    offset_px : float
        ``normal`` times a point of the edge.
    across_px, factor : (Q,) ndarray
        Rising distances from the edge, and what the cube root of light is to be multiplied by there.
    """

    normal: np.ndarray
    offset_px: float
    across_px: np.ndarray
    factor: np.ndarray

    def factors(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """Return what the cube root of light is to be multiplied by at places in px."""
        away = self.normal[0] * x + self.normal[1] * y - self.offset_px
        return np.interp(away, self.across_px, self.factor).astype(np.float32)


@dataclass(frozen=True)
class Shade:
    """Shade with one straight edge, or the two of a band.

    Attributes
    ----------
    edges : tuple of ShadeEdge
    least : float
        Least of the products of their factors anywhere, where the light stays as it is.
    lost : float
        Share of the light that is lost in the shade.
    """

    edges: tuple[ShadeEdge, ...]
    least: float
    lost: float

    def raised(self, lab: np.ndarray, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """Return colours, (..., 3) CIELAB, at places in px with the light of the shade raised."""
        factor = np.prod([edge.factors(x, y) for edge in self.edges], axis=0) / np.float32(self.least)
        zero = np.array([_NO_LIGHT, 0.0, 0.0], np.float32)
        even: np.ndarray = (lab - zero) * factor[..., None] + zero
        return even


def straight_shade(
    lab: np.ndarray, coarse: np.ndarray, samples: np.ndarray, usable: np.ndarray | None = None
) -> Shade | None:
    """Find shade with straight edges that run across a picture.

    Parameters
    ----------
    lab : (M, N, 3) ndarray of float32
        CIELAB of the picture.
    coarse : (m, n, 3) ndarray of float32
        The same, reduced.
    samples : (k, l, 3) ndarray of float32
        The same at its `measure.field.ground.background.sample_places`.
    usable : (k, l) ndarray of bool, optional
        Samples outside the excluded zones.

    Returns
    -------
    Shade or None
        What lets most of the field agree with a smooth surface; None if that is no more than as it is.
    """
    light = _logarithm(coarse[..., 0])
    edges = []
    for angle, offset in _candidates(light):
        edge = _read(lab, light.shape, angle, offset) if _step_along(coarse, light, angle, offset) else None
        if edge is not None:
            edges.append(edge)
    if not edges:
        return None
    shape = lab.shape[:2]
    rows, cols = sample_places(shape)
    surface = fit_surface(samples, shape, usable)
    near = 3.0 * max(2.0, surface.scale)
    most, best = _agreeing(samples, surface, near) + _GAIN, None
    for chosen in [(edge,) for edge in edges] + list(combinations(edges, 2)):
        shade = _shade(chosen, shape)
        even = shade.raised(samples, cols[None, :], rows[:, None])
        agreeing = _agreeing(even, fit_surface(even, shape, usable), near)
        if agreeing > most:
            most, best = agreeing + _GAIN, shade
    return best


def _agreeing(samples: np.ndarray, surface: Surface, near: float) -> float:
    return float((length(samples - evaluate(surface, samples.shape[:2])) < near).mean())


def _shade(edges: tuple[ShadeEdge, ...], shape: tuple[int, int]) -> Shade:
    rows, cols = sample_places(shape)
    factor = np.prod([edge.factors(cols[None, :], rows[:, None]) for edge in edges], axis=0)
    return Shade(edges, float(factor.min()), float(1.0 - (factor.max() / factor.min()) ** -3))


def _logarithm(lightness: np.ndarray) -> np.ndarray:
    return np.log(np.maximum(lightness - _NO_LIGHT, 1.0))


def _candidates(light: np.ndarray) -> list[tuple[float, float]]:
    """Directions and offsets of the longest straight slopes, in coarse pixels from the first one's centre."""
    smooth = cv2.GaussianBlur(light, (0, 0), 1.0)
    down, across = np.gradient(smooth)
    y, x = np.nonzero(np.hypot(down, across) > _STEEP)
    angle = np.arctan2(down[y, x], across[y, x])
    turn = np.round(angle / (2 * np.pi) * _TURNS).astype(int) % _TURNS
    exact = turn * (2 * np.pi / _TURNS)
    reach = int(np.hypot(*light.shape)) + 2
    row = np.round((x * np.cos(exact) + y * np.sin(exact) + reach) / 2).astype(int)
    votes = np.zeros((_TURNS, reach + 2), np.float32)
    np.add.at(votes, (turn, row), 1.0)
    votes = np.roll(votes, -1, 0) + votes + np.roll(votes, 1, 0)
    votes = np.roll(votes, -1, 1) + votes + np.roll(votes, 1, 1)
    found = []
    for _ in range(_LINES):
        turns, offset = np.unravel_index(int(votes.argmax()), votes.shape)
        if votes[turns, offset] < _FEWEST:
            break
        found.append((float(turns) * 2 * np.pi / _TURNS, 2.0 * float(offset) - reach))
        for shift in range(-3, 4):
            votes[(turns + shift) % _TURNS, max(0, offset - 4) : offset + 5] = 0.0
    return found


def _places(size: tuple[int, int], angle: float, offset: float, count: int) -> np.ndarray | None:
    """Points of a line within a rectangle of rows and columns, evenly, (count, 2) x and y; None if short."""
    normal, along = np.array([np.cos(angle), np.sin(angle)]), np.array([-np.sin(angle), np.cos(angle)])
    reach = float(np.hypot(*size))
    t = np.linspace(-reach, reach, 2001)
    line = offset * normal + t[:, None] * along
    inside = (line >= 0).all(axis=1) & (line <= np.array(size[::-1]) - 1.0).all(axis=1)
    if not inside.any() or np.ptp(t[inside]) < _FEWEST:
        return None
    t = np.linspace(t[inside][0], t[inside][-1], count)
    return np.asarray(offset * normal + t[:, None] * along)


def _across(values: np.ndarray, places: np.ndarray, angle: float, away: np.ndarray) -> np.ndarray:
    """Values across a line, (P, Q, ...); nan beyond the frame."""
    x = places[:, :1] + np.cos(angle) * away
    y = places[:, 1:] + np.sin(angle) * away
    read = cv2.remap(values, x.astype(np.float32), y.astype(np.float32), cv2.INTER_LINEAR)
    rows, cols = values.shape[:2]
    outside = (x < 0) | (y < 0) | (x > cols - 1) | (y > rows - 1)
    read[outside] = np.nan
    return read


def _step_along(coarse: np.ndarray, light: np.ndarray, angle: float, offset: float) -> bool:
    """Whether light steps over a line by the same share nearly all along, and all colours alike."""
    places = _places(light.shape, angle, offset, 2 * max(light.shape))
    if places is None:
        return False
    away = np.arange(-_SIDE, _SIDE + 1.0)
    step = _steps(_across(light, places, angle, away), away)
    seen = np.isfinite(step)
    if seen.mean() < _SEEN:
        return False
    usual = float(np.median(step[seen]))
    like = seen & (np.abs(step - usual) < _LIKE * usual)
    quarter = seen.sum() // 4
    ends = min(like[seen][:quarter].mean(), like[seen][-quarter:].mean())
    if not _LEAST_STEP < usual < _MOST_STEP or like[seen].mean() < _ALONG or ends < _AT_ENDS:
        return False
    colours = [_across(np.ascontiguousarray(coarse[..., i]), places, angle, away) for i in range(3)]
    lost = np.array([np.median(_steps(colour, away)[like]) for colour in colours])
    level = np.median(coarse[..., 1:].reshape(-1, 2), axis=0)
    return bool(np.abs(lost[1:] - usual * level).max() < _NEUTRAL * lost[0])


def _steps(values: np.ndarray, away: np.ndarray) -> np.ndarray:
    """Median on the far side less that on the near side of each place; nan where one is not seen."""
    sides = []
    for side in (away >= _GAP, away <= -_GAP):
        own = values[:, side]
        enough = np.isfinite(own).sum(axis=1) > side.sum() // 2
        sides.append(np.where(enough, _median(own), np.nan))
    return sides[0] - sides[1]


def _median(values: np.ndarray) -> np.ndarray:
    """Median along the last axis of what is no nan; nan where nothing is."""
    ordered = np.sort(values, axis=-1)
    count = np.isfinite(ordered).sum(axis=-1)
    middle = np.maximum(count - 1, 0) // 2
    return np.where(count > 0, np.take_along_axis(ordered, middle[..., None], -1)[..., 0], np.nan)


def _read(lab: np.ndarray, size: tuple[int, int], angle: float, offset: float) -> ShadeEdge | None:
    """Place an edge exactly and read how the light falls across it."""
    px = lab.shape[0] / size[0]
    light = np.ascontiguousarray(lab[..., 0])
    offset_px = offset * px + (px - 1.0) / 2.0 * float(np.cos(angle) + np.sin(angle))
    away = np.arange(-_SIDE * px, _SIDE * px + _FINE_PX, _FINE_PX)
    for _ in range(_ROUNDS):
        places = _places(light.shape, angle, offset_px, _PLACES)
        if places is None:
            return None
        course = _logarithm(_across(light, places, angle, away))
        line = _shift(course, away, _GAP * px, places @ np.array([-np.sin(angle), np.cos(angle)]))
        if line is None:
            return None
        use, slope, (along, shift) = line
        point = along * np.array([-np.sin(angle), np.cos(angle)])
        point = point + (offset_px + shift) * np.array([np.cos(angle), np.sin(angle)])
        angle -= float(np.arctan(slope))
        offset_px = float(point @ np.array([np.cos(angle), np.sin(angle)]))
    usual = _median(course[use].T)
    seen = np.isfinite(usual)  # a line near the frame has one side only
    if min(np.count_nonzero(seen & (away < -_GAP * px)), np.count_nonzero(seen & (away > _GAP * px))) < 2:
        return None
    return _edge(usual[seen], away[seen], _GAP * px, angle, offset_px)


def _shift(
    course: np.ndarray, away: np.ndarray, gap: float, along: np.ndarray
) -> tuple[np.ndarray, float, tuple[float, float]] | None:
    """Which places show an edge, how it is inclined to the line looked at, and a point of it."""
    near, far = _median(course[:, away < -gap]), _median(course[:, away > gap])
    step = far - near
    usual = float(np.nanmedian(step))
    use = np.abs(step - usual) < _LIKE * abs(usual)
    level = (course - near[:, None]) / np.where(use, step, 1.0)[:, None]
    # no farther than the edge may reach: pieces beyond are none of it
    shift = ((away > 0) - np.clip(level, 0.0, 1.0))[:, np.abs(away) <= gap].sum(axis=1) * _FINE_PX
    use &= np.isfinite(shift)
    middle = float(along.mean())
    for _ in range(_ROUNDS):
        if use.sum() < _PLACES // 8:
            return None
        slope, constant = np.polyfit(along[use] - middle, shift[use], 1)
        off = np.abs(shift - slope * (along - middle) - constant)
        use = off < max(3.0 * float(np.median(off[use])), _FINE_PX)
    return use, float(slope), (middle, float(constant))


def _edge(usual: np.ndarray, away: np.ndarray, gap: float, angle: float, offset_px: float) -> ShadeEdge:
    """The edge with how light usually rises across it."""
    sides = np.abs(away) > gap
    basis = np.c_[np.ones_like(away), away, away > 0]
    (low, slope, step), *_ = np.linalg.lstsq(basis[sides], usual[sides], rcond=None)
    share = np.clip((usual - low - slope * away) / step, 0.0, 1.0)
    share = np.maximum.accumulate(np.where(away < -gap, 0.0, np.where(away > gap, 1.0, share)))
    normal = np.array([np.cos(angle), np.sin(angle)])
    return ShadeEdge(normal, offset_px, away, np.exp(step * (1.0 - share)))
