"""Shadows that pieces throw on a plate when lamps stand to the side.

Such a shadow is the plate, only darker: it takes the same share of all light but for the tint of what light
reaches into it, and all shadows of a field lie on the same side, or sides, of their pieces. Along the
coloured pieces of a field the ground is asked, direction by direction, whether it is dark and neutral. Where
it is so on some side and hardly anywhere on another, lamps stand to the side: rims of pieces lit from below
go all round. What then lies behind a piece as seen from its lamp, as neutral as its shadows are, is taken out
of the light: the ground is taken as it is in its shadow. What is as dark and neutral with no piece before it
stays.
"""

from dataclasses import replace
from typing import NamedTuple

import cv2
import numpy as np

from measure.field.basics.along import along
from measure.field.basics.masks import disc, fill_holes, solidity
from measure.field.basics.quick import length, median, median_colour, percentile
from measure.field.ground.deep_sides import with_lit_sides
from measure.field.ground.grey_casters import without_cast
from measure.field.ground.light import Light
from measure.field.ground.lit_sides import shading
from measure.field.ground.plate_shade import WORK_PX, filled, reduced, without_shade
from measure.field.ground.plate_tones import (
    DARKER,
    Tones,
    given_back,
    ground_of,
    lost_at,
    off_tint,
    smoothed,
    tones,
)

_SEEN = 7.0  # noise units from which a pixel is of a piece
_NEUTRAL = np.array([0.03, 0.10], np.float32)  # colour up to which a pixel may be shadow
_BY_LOSS, _NOISY = np.array([0.04, 0.15], np.float32), 3.0  # over its loss of light; over the noise
_DEEPEST = 1.6  # loss of light in shadow; air and plate send light into it, so up to 1.3 was seen
_FRINGE_PX = 2.0  # radius of what is opened from coloured pixels
_LEAST_PX2, _FEWEST = 80, 8  # coloured pieces that tell: size and number
_FROM_PX, _TO_PX, _WIDE_PX = 3.0, 5.5, 16.0  # ring along coloured pieces, and one that shows deep shadow too
_SIDES = 16  # directions
_ONE_SIDED, _WEIGHT = 0.32, 1.7  # dark share of the ring on the darkest side, less so much of the least
_OF_EACH, _FROM_MANY = 0.12, 0.94  # the same of half of the pieces; times the square root of their number
_ANY = 0.03  # share of the ring without which no side of it can be dark enough
_OF_SIDE = 0.5  # share over that of the darkest side, from which a side is one of shadow
_GAP_PX = 4  # between a piece and its shadow, where blur mixes them
_MOSTLY = 0.6  # share of an area behind pieces from which all of it is shadow
_TURNS = 2
_TONE = 12.0  # CIELAB L by which a crystal differs from the ground at least
_WIDE_ENOUGH_PX = 100.0  # of the smaller pieces; more only shows their mottle
_ROUND = 0.9  # solidity
_RAGGED = 0.85  # solidity
_WEAK, _MARGIN_PX = 3.0, 2.0  # colour over what shadow may have, below which a margin is not told from it
_CLOSED_PX = 1.5  # noise in shadow
_INWARD_PX = 2.0  # shadow is read this far from its border
_BLUR_PX, _BORDER_PX = 1.0, 4.0  # of an edge, and how far it reaches


class Sides(NamedTuple):
    """Share of dark ground along coloured pieces by direction, and what was taken for pieces."""

    share: np.ndarray  # (S,)
    pieces: np.ndarray  # (M, N) uint8
    of_each: float = (
        0.0  # by how much the dark share of half of the pieces is larger on shaded sides, at least
    )

    @property
    def shaded(self) -> np.ndarray:
        """Sides on which shadows lie, (S,) bool."""
        return np.asarray(self.share > _OF_SIDE * self.share.max())

    @property
    def ways(self) -> list[float]:
        """Ways in which the shadows of each lamp fall, radians from x towards y."""
        shaded = self.shaded
        first = int(np.flatnonzero(~shaded)[0]) if not shaded.all() else 0
        order = np.roll(np.arange(_SIDES), -first)
        runs = np.split(order, np.flatnonzero(np.diff(shaded[order].astype(int))) + 1)
        out = []
        for run in (run for run in runs if shaded[run[0]]):
            turn = (run + 0.5) / _SIDES * 2 * np.pi - np.pi
            weight = self.share[run]
            out.append(float(np.arctan2((weight * np.sin(turn)).sum(), (weight * np.cos(turn)).sum())))
        return out


class Apart(NamedTuple):
    """What the pixels of a field are, (M, N) bool each."""

    pieces: np.ndarray  # coloured
    shadow: np.ndarray
    crystals: np.ndarray  # without colour, parted from their own shadow


def without_shadows(light: Light) -> Light:
    """Return the light with cast shadows and shade at the foot of pieces taken out, if there are any."""
    few = reduced(light, WORK_PX)
    level = without_cast_shadow(light, few[0])
    return without_shade(level, few if level is light else None)


def without_cast_shadow(light: Light, few: Light | None = None) -> Light:
    """Return the light with the ground taken as it is in the shadows of pieces; the same light without them.

    Parameters
    ----------
    light : Light
    few : Light, optional
        The same reduced to `plate_shade.WORK_PX`.

    Returns
    -------
    light : Light
        ``delta`` and ``solid_distance`` changed in shadows, along them, and in pieces that the tone of the
        ground runs through; ``cast`` the share of the field in shadow.
    """
    few = reduced(light, WORK_PX)[0] if few is None else few
    if _surely_none(few):
        return light
    seen = tones(few)
    about = sides(few, seen)
    if about is None or not are_cast(about):
        return light
    suited, _ = reduced(light, _suited_px(about.pieces, light.solid_distance.size))
    if suited is not few:
        seen = tones(suited)
        pieces = _pieces(suited, _no_shadow(seen.loss, seen.colour))
        about = about._replace(pieces=pieces)
    apart = told_apart(suited, seen, about)
    if suited is light:
        return _lifted(light, seen, apart)
    shape = light.solid_distance.shape[::-1]
    wide = (cv2.resize(part.astype(np.float32), shape, interpolation=cv2.INTER_LINEAR) for part in apart)
    return _lifted(light, tones(light), Apart(*(part > 0.5 for part in wide)))


def _suited_px(pieces: np.ndarray, all_px: int) -> int:
    """Pixels that the picture needs so that its smaller pieces are as wide as suits their colour."""
    sizes = np.sqrt(cv2.connectedComponentsWithStats(pieces)[2][1:, cv2.CC_STAT_AREA])
    usual = float(percentile(sizes, 25)) if len(sizes) else _WIDE_ENOUGH_PX
    return min(all_px, int(pieces.size * (_WIDE_ENOUGH_PX / usual) ** 2))


def sides(light: Light, seen: Tones) -> Sides | None:
    """Share of dark neutral ground beside coloured pieces, by direction; None where there is too little."""
    neutral = _neutral(seen)
    pieces = _pieces(light, _no_shadow(seen.loss, seen.colour))
    if cv2.connectedComponents(pieces)[0] <= _FEWEST:
        return None
    away = _away(pieces)
    ring = _ring(light, away)
    dark = neutral & (seen.loss > seen.least) & (seen.loss < _DEEPEST)
    if np.count_nonzero(dark & ring) < _ANY * np.count_nonzero(ring):
        return None
    turn = _turn(away)
    about = Sides(_share_by_side(turn[ring], dark[ring]), pieces)
    side = about.shaded[turn]
    return about._replace(of_each=_of_each(pieces, dark, ring & side, ring & ~side))


def _surely_none(light: Light) -> bool:
    """Whether `are_cast` is sure to say no, told from the pixels of pieces and close to them.

    How noisy the ground is, which takes a look at all of it, can only make less of it dark and neutral.
    """
    ground, smooth = ground_of(light), smoothed(light)
    at = np.flatnonzero(light.solid_distance > _SEEN)
    coloured = np.zeros(light.solid_distance.shape, bool)
    coloured.ravel()[at[_no_shadow(*lost_at(ground, smooth, at))]] = True
    pieces = _pieces(light, coloured)
    if cv2.connectedComponents(pieces)[0] <= _FEWEST:
        return True
    away = _away(pieces)
    at = np.flatnonzero(_ring(light, away))
    loss, colour = lost_at(ground, smooth, at)
    first, second = np.abs(colour).T
    dark = (loss > DARKER) & (first < _NEUTRAL[0]) & (second < _NEUTRAL[1])
    if np.count_nonzero(dark) < _ANY * len(at):
        return True
    return bool(_share_by_side(_turn(away, at), dark).max() <= _ONE_SIDED)


def _ring(light: Light, away: np.ndarray) -> np.ndarray:
    """Ground at a distance from pieces in which shadows are looked for, (M, N) bool."""
    ring = (away > _FROM_PX) & (away < _TO_PX)
    return ring if light.zone_mask is None else ring & (light.zone_mask == 0)


def _share_by_side(turn: np.ndarray, dark: np.ndarray) -> np.ndarray:
    """Share of dark pixels in each direction, (S,)."""
    return np.bincount(turn, dark, _SIDES) / np.maximum(np.bincount(turn, minlength=_SIDES), 1)


def _of_each(pieces: np.ndarray, dark: np.ndarray, shaded: np.ndarray, other: np.ndarray) -> float:
    """Median over pieces of the dark share of one part of the ring about each, less that of another."""
    count, parts = cv2.connectedComponents(pieces)
    nearest = cv2.distanceTransformWithLabels(1 - pieces, cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL)[1]
    piece = np.zeros(int(nearest.max()) + 1, np.int32)
    piece[nearest[pieces > 0]] = parts[pieces > 0]
    of = piece[nearest]
    one, two = (
        np.bincount(of[part], dark[part], count) / np.maximum(np.bincount(of[part], minlength=count), 1)
        for part in (shaded, other)
    )
    return median((one - two)[1:])


def _neutral(seen: Tones) -> np.ndarray:
    """Pixels that have hardly changed their colour for the light they lost, (M, N) bool.

    The thin margin of a piece has as much of its colour as of its darkness.
    """
    loss = np.maximum(seen.loss, 0.0)
    neutral = np.ones(loss.shape, bool)
    for channel in (0, 1):
        doubt = np.maximum(_NOISY * seen.noise[1 + channel], _BY_LOSS[channel] * loss)
        neutral &= np.abs(seen.colour[..., channel]) < np.minimum(doubt, _NEUTRAL[channel])
    return neutral


def _no_shadow(loss: np.ndarray, colour: np.ndarray) -> np.ndarray:
    """Which pixels have a colour or a depth that no shadow has, (...) bool; colour (..., 2)."""
    first, second = (np.abs(colour[..., channel]) >= _NEUTRAL[channel] for channel in (0, 1))
    return np.asarray(first | second | (loss > _DEEPEST))


def are_cast(about: Sides) -> bool:
    """Whether the ground is dark on some side of pieces and hardly on another, and so about most of them."""
    one_sided = float(about.share.max()) - _WEIGHT * float(about.share.min())
    count = cv2.connectedComponents(about.pieces)[0] - 1
    sure = about.of_each > max(_OF_EACH, _FROM_MANY / np.sqrt(count))
    return one_sided > _ONE_SIDED and bool(sure)


def told_apart(light: Light, seen: Tones, about: Sides) -> Apart:
    """What the pixels of a field with shadows are."""
    pieces = about.pieces
    for _ in range(_TURNS):  # grey pieces are known once the tint of shadows is
        away, turn = _about(pieces)
        known = (away > _FROM_PX) & (away < _WIDE_PX) & about.shaded[turn] & (seen.loss > seen.least)
        off = off_tint(seen, known & _neutral(seen))
        pieces = _pieces(light, (off > 1.0) | (seen.loss > _DEEPEST))
    pieces, doubtful = _by_strength(_filled(pieces), off)
    dark = (off < 1.0) & (seen.loss > seen.least)
    if light.zone_mask is not None:
        dark &= light.zone_mask == 0
    dark = cv2.morphologyEx(dark.view(np.uint8), cv2.MORPH_CLOSE, disc(_CLOSED_PX)) > pieces
    dark &= ~_joined(dark, doubtful > 0)
    pieces = with_lit_sides(pieces, seen.loss > _DEEPEST, dark, about.ways)
    dark &= pieces == 0
    shadow = _behind(pieces > 0, dark, about.shaded)
    grey = (dark | ((off < 1.0) & (light.solid_distance > _SEEN))) & ~shadow & (pieces == 0) & (doubtful == 0)
    crystals, own = without_cast(seen, grey, about.ways)
    return Apart(pieces > 0, shadow | own, crystals)


def _filled(pieces: np.ndarray) -> np.ndarray:
    """Pieces without holes, where they are nearly round: a grey middle of a coloured piece is no shadow."""
    out = pieces.copy()
    count, parts, stats, _ = cv2.connectedComponentsWithStats(pieces, connectivity=8)
    for k in range(1, count):
        x, y, w, h = (int(v) for v in stats[k, :4])
        box = np.s_[y : y + h, x : x + w]
        own = fill_holes((parts[box] == k).view(np.uint8))
        if cv2.countNonZero(own) > stats[k, cv2.CC_STAT_AREA] and solidity(own) > _ROUND:
            out[box] |= own
    return out


def _by_strength(pieces: np.ndarray, off: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Pieces with the margin in which blur mixes nearly grey ones with the ground, and doubtful ones, uint8.

    Of a piece whose colour is hardly any and shows in rags, shadow cannot be told from the rest of it.
    """
    count, parts, stats, _ = cv2.connectedComponentsWithStats(pieces)
    strength = np.bincount(parts.ravel(), off.ravel(), count) / np.maximum(stats[:, cv2.CC_STAT_AREA], 1)
    weak = strength < _WEAK
    weak[0] = False
    doubtful = np.zeros(count, np.uint8)
    for k in np.flatnonzero(weak):
        x, y, w, h = (int(v) for v in stats[k, :4])
        doubtful[k] = solidity((parts[y : y + h, x : x + w] == k).view(np.uint8)) < _RAGGED
    margin = cv2.dilate((weak & (doubtful == 0)).view(np.uint8)[parts], disc(_MARGIN_PX))
    return np.maximum(pieces, margin) * (1 - doubtful[parts]), doubtful[parts]


def _joined(dark: np.ndarray, doubtful: np.ndarray) -> np.ndarray:
    """Areas of dark ground that hang on doubtful pieces, (M, N) bool."""
    if not doubtful.any():
        return doubtful
    count, parts = cv2.connectedComponents((dark | doubtful).view(np.uint8))
    hangs = np.zeros(count, bool)
    hangs[parts[doubtful]] = True
    return np.asarray(hangs[parts])


def _behind(pieces: np.ndarray, dark: np.ndarray, shaded: np.ndarray) -> np.ndarray:
    """Dark ground that lies behind a piece as seen from a lamp, (M, N) bool."""
    kinds = np.where(pieces, 1, 2 * dark).astype(np.uint8)
    behind = np.zeros(dark.shape, bool)
    for side in np.flatnonzero(shaded):
        behind |= along(kinds, (side + 0.5) / _SIDES * 2 * np.pi - np.pi, _after_pieces)
    behind = behind & dark
    count, parts = cv2.connectedComponents(dark.view(np.uint8), connectivity=4)
    area = np.bincount(parts.ravel(), minlength=count)
    mostly = np.bincount(parts.ravel(), behind.ravel(), count) > _MOSTLY * area
    mostly[0] = False
    return np.asarray(behind | mostly[parts])


def _pieces(light: Light, coloured: np.ndarray) -> np.ndarray:
    """What is coloured and no fringe, (M, N) uint8."""
    found = (coloured & (light.solid_distance > _SEEN)).view(np.uint8)
    opened = cv2.morphologyEx(found, cv2.MORPH_OPEN, disc(_FRINGE_PX))
    count, parts = cv2.connectedComponents(opened)
    at = np.flatnonzero(opened)
    of = parts.ravel()[at]
    small = np.bincount(of, minlength=count) < _LEAST_PX2
    opened.ravel()[at[small[of]]] = 0
    return opened


def _about(pieces: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Distance of each pixel from the pieces, and the direction from them to it, 0..15."""
    away = _away(pieces)
    return away, _turn(away)


def _away(pieces: np.ndarray) -> np.ndarray:
    return cv2.distanceTransform(1 - pieces, cv2.DIST_L2, 5)


def _turn(away: np.ndarray, at: np.ndarray | None = None) -> np.ndarray:
    """Direction, 0..15, in which the distance grows at each pixel, (M, N), or at some by number, (K,)."""
    x, y = (cv2.Sobel(away, cv2.CV_32F, *way, ksize=5) for way in ((1, 0), (0, 1)))
    if at is not None:
        x, y = x.ravel()[at], y.ravel()[at]
    turn = (np.arctan2(y, x) + np.pi) * (_SIDES / (2 * np.pi))
    return turn.astype(np.int32) % _SIDES


def _after_pieces(kinds: np.ndarray) -> np.ndarray:
    """Mark runs of 2 that come after a run of 1, or after a short gap behind one."""
    flat = np.pad(kinds, ((0, 0), (1, 1)), constant_values=3).ravel()
    start = np.flatnonzero(np.diff(flat, prepend=255))
    size = np.diff(np.append(start, flat.size))
    kind = flat[start]
    before, earlier, gap = np.roll(kind, 1), np.roll(kind, 2), np.roll(size, 1)
    behind = (kind == 2) & ((before == 1) | ((before == 0) & (gap <= _GAP_PX) & (earlier == 1)))
    return np.repeat(behind, size).reshape(len(kinds), -1)[:, 1:-1].astype(np.uint8)


def _lifted(light: Light, seen: Tones, apart: Apart) -> Light:
    """Light with shadow taken off the ground, and pieces as if light came from all sides."""
    pieces, shadow, crystals = apart
    ground, delta = ground_of(light), light.delta.copy()
    given_back(delta, ground, pieces, shading(seen, pieces))
    near = cv2.dilate(shadow.view(np.uint8), disc(_BORDER_PX)) > 0
    given_back(delta, ground, near, _over_ground(seen, shadow, pieces))
    delta[shadow] = 0.0
    _fill(delta, crystals)
    before, after = (length(cv2.GaussianBlur(part, (0, 0), 1.0)) for part in (light.delta, delta))
    changed = (before > 1.0) & (near | pieces | crystals)
    factor = np.where(changed, after / np.maximum(before, 1.0), 1.0)
    distance = (light.solid_distance * factor).astype(np.float32)
    distance[crystals] = np.maximum(distance[crystals], 2.0 * _SEEN)
    return replace(light, delta=delta, solid_distance=distance, cast=float(shadow.mean()))


def _fill(delta: np.ndarray, crystals: np.ndarray) -> None:
    """Give each crystal one tone, in place, for it shows facets from lighter to darker than the ground."""
    count, parts, stats, _ = cv2.connectedComponentsWithStats(crystals.view(np.uint8), connectivity=4)
    for k in range(1, count):
        x, y, w, h = (int(v) for v in stats[k, :4])
        box = np.s_[y : y + h, x : x + w]
        own = parts[box] == k
        tone = median_colour(delta[box][own])
        tone[0] = np.copysign(max(abs(float(tone[0])), _TONE), tone[0])
        delta[box][own] = tone


def _over_ground(seen: Tones, shadow: np.ndarray, pieces: np.ndarray) -> np.ndarray:
    """Loss of light in shadow and along its border, (M, N); at a piece blur mixes shadow into its edge."""
    inner = cv2.erode(shadow.view(np.uint8), disc(_INWARD_PX), borderValue=1)
    known = (inner > 0) | ~cv2.dilate(inner, disc(3.0 * _INWARD_PX)).astype(bool) & shadow
    loss = filled(np.where(known, seen.loss, 0.0).astype(np.float32), known.astype(np.float32))
    wide = cv2.dilate(shadow.view(np.uint8), disc(1.0)).astype(np.float32)
    mixed = loss * cv2.GaussianBlur(wide, (0, 0), _BLUR_PX)
    beside = cv2.dilate(pieces.view(np.uint8), disc(_BORDER_PX)) > 0
    return np.where(beside & ~shadow, np.maximum(mixed, 0.0), np.clip(seen.loss, 0.0, None))
