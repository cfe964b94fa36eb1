"""Opaque pieces lit from one side that throw no clear shadow: their shaded sides fade into the ground.

A surface takes the same share of all light wherever it is shaded, so the colour of a piece shows how much of
a pixel it covers however little light it sends: what a pixel has of the light of the ground is a part of the
colour of the piece and a part of the ground's own. Where the coloured pieces of a field all darken towards
one side, and are lighter than the ground or crossed by its tone, their shaded sides get the tone of the lit
side by the share the piece covers. Sides with no free ground behind them stay: they part what touches.
"""

from dataclasses import replace
from typing import NamedTuple

import cv2
import numpy as np

from measure.field.basics.along import along
from measure.field.basics.masks import disc
from measure.field.basics.quick import length, percentile
from measure.field.ground.light import Light
from measure.field.ground.lit_sides import from_nearest, is_crossed, of_one_colour
from measure.field.ground.one_way import common_way, ways_of
from measure.field.ground.plate_shade import WORK_PX, reduced
from measure.field.ground.plate_tones import Tones, ground_of, of_roots, roots, tones

_SEEN = 7.0  # noise units from which a pixel is of a piece
_NEUTRAL = np.array([0.03, 0.10], np.float32)  # colour up to which a pixel may be ground or shadow
_FRINGE_PX, _LEAST_PX2 = 2.0, 80  # radius of what is opened from coloured pixels; size of a piece
_NOT_DARKER = 0.05  # share of coloured pixels that must be no darker than the ground
_STRIDE, _FEW_LIGHTER = 4, 0.02  # the same at the first look, of all that is seen
_RING_PX = (2.0, 7.0)  # depth within pieces at which their light is compared all round
_FEWEST, _RING_PX2 = 6, 60  # pieces that tell, and pixels of the ring in each
_SHADED, _AGREE = 0.25, 0.85  # loss from the middle to the shaded side; how far pieces agree on it, 0..1
_CORE_PX, _INNERMOST = 3.0, 0.6  # depth from which a piece is itself, or share of its greatest
_TONE_PX = 4.0  # over which the colour of a piece is averaged
_LIGHTER, _STEP = 0.2, 0.2  # gain from which a piece is lighter than the ground; step that a crossed one gets
_TURNS = (-1.1, -0.55, 0.0, 0.55, 1.1)  # rad; a side bends round its piece
_LIT, _CALM_PX = 0.6, 1.5  # of the usual light of a piece, from which it is no shaded side
_COVERED, _OVER_NOISE = 0.25, 4.0  # share of a pixel from which it may be a side; colour over its noise
_FREE_PX = 8.0  # ground behind a side, at least: between pieces that touch their dark sides part them
_MOST = 2  # of the turns, at which a side lies behind its piece
_SHADOW_PX, _DEEPEST = 3.0, 0.3  # how far off the ground beside a side is seen; light left in shadow at least
_REACH = 0.5  # how far a shaded side may reach, over the greatest depth of its piece


class _Cover(NamedTuple):
    """What pixels show of the piece nearest to them, (M, N) each."""

    own: np.ndarray  # light of the piece's colour, over that of the ground
    share: np.ndarray  # of the pixel that the piece covers
    usual: np.ndarray  # light of the piece where it is lit, over that of the ground
    colour: np.ndarray  # (M, N, 2) how much more of X, and of Z, the piece sends than of Y, as a share
    crossed: np.ndarray  # whether the tone of the ground runs through the piece, bool
    near: np.ndarray  # whether the piece may reach so far, bool


def without_shaded_sides(light: Light) -> Light:
    """Return the light with pieces as if all of them were lit as on their lit side, if all are lit from one.

    Parameters
    ----------
    light : Light

    Returns
    -------
    light : Light
        ``delta`` and ``solid_distance`` changed on shaded sides; the same light where pieces show none.
    """
    if _surely_none(light):
        return light
    few = reduced(light, WORK_PX)[0]
    seen = tones(few)
    angle = shaded_way(seen, _coloured(few, seen))
    if angle is None:
        return light
    seen = seen if few is light else tones(light)
    return _evened(light, seen, _coloured(light, seen), angle)


def _surely_none(light: Light) -> bool:
    """Whether hardly any of what differs from the ground is lighter, told from some pixels."""
    seen = light.solid_distance[::_STRIDE, ::_STRIDE] > _SEEN
    lighter = seen & (light.delta[::_STRIDE, ::_STRIDE, 0] > 0)
    return bool(np.count_nonzero(lighter) <= _FEW_LIGHTER * np.count_nonzero(seen))


def _coloured(light: Light, seen: Tones) -> np.ndarray:
    """Coloured pieces, (M, N) uint8."""
    coloured = (np.abs(seen.colour) >= _NEUTRAL).any(axis=-1) & (light.solid_distance > _SEEN)
    opened = cv2.morphologyEx(coloured.view(np.uint8), cv2.MORPH_OPEN, disc(_FRINGE_PX))
    parts, stats = cv2.connectedComponentsWithStats(opened)[1:3]
    large = stats[:, cv2.CC_STAT_AREA] >= _LEAST_PX2
    large[0] = False
    return large.view(np.uint8)[parts]


def shaded_way(seen: Tones, pieces: np.ndarray) -> float | None:
    """Angle from the lamp to the shaded sides of pieces, radians; None where they do not agree on one.

    Parameters
    ----------
    seen : Tones
    pieces : (M, N) ndarray of uint8
        Coloured pieces.
    """
    inside = pieces > 0
    if np.count_nonzero(inside & (seen.loss < 0)) <= _NOT_DARKER * np.count_nonzero(inside):
        return None
    numbers = cv2.connectedComponents(pieces)[1]
    ways = ways_of(seen.loss, pieces, numbers, _RING_PX, _RING_PX2)
    return common_way(ways[:, 1:], _SHADED, _AGREE) if len(ways) >= _FEWEST else None


def _evened(light: Light, seen: Tones, pieces: np.ndarray, angle: float) -> Light:
    """Light with the shaded sides of pieces that have ground behind them as if they were lit."""
    cover = _cover(seen, pieces)
    if cover is None:
        return light
    told = cover.near & (cover.own > _OVER_NOISE * _noise_of(seen, cover))
    lit = cv2.GaussianBlur(cover.own, (0, 0), _CALM_PX) > _LIT * cover.usual
    side = told & ~lit & (cover.share > _COVERED)
    kinds = np.where(lit & cover.near, 1, 2 * side).astype(np.uint8)
    turns = np.sum([along(kinds, angle + turn, _last_runs) > 0 for turn in _TURNS], axis=0)
    behind = cv2.medianBlur((turns >= _MOST).view(np.uint8), 5) > 0
    changed = behind & (cover.crossed | (cover.usual > 1.0 + _LIGHTER))
    return _covered(light, cover, changed)


def _cover(seen: Tones, pieces: np.ndarray) -> _Cover | None:
    """What pixels show of the piece nearest to them; None where no piece is thick enough to tell."""
    framed = cv2.copyMakeBorder(pieces, 1, 1, 1, 1, cv2.BORDER_REPLICATE)
    depth = cv2.distanceTransform(framed, cv2.DIST_L2, 5)[1:-1, 1:-1]
    count, parts = cv2.connectedComponents(pieces)
    deepest = np.zeros(count, np.float32)
    np.maximum.at(deepest, parts.ravel().astype(np.intp), depth.ravel())
    core = (depth > np.minimum(_CORE_PX, _INNERMOST * deepest[parts])) & (pieces > 0)
    if not core.any():
        return None
    light = np.exp(-seen.loss)
    more = np.expm1(seen.colour) * light[..., None]  # of X and Z than of Y
    parts, deepest, usual, crossed = _of_one_colour(seen, parts, core, deepest)
    inner = core.astype(np.float32)
    weight = np.maximum(cv2.GaussianBlur(inner * light, (0, 0), _TONE_PX), 1e-6)
    colour = [cv2.GaussianBlur(inner * more[..., c], (0, 0), _TONE_PX) / weight for c in (0, 1)]
    first, second, piece = from_nearest(core, *colour, parts)
    away = cv2.distanceTransform(1 - core.view(np.uint8), cv2.DIST_L2, 5)
    square = np.maximum(first**2 + second**2, 1e-6)
    own = (more[..., 0] * first + more[..., 1] * second) / square
    near = away < _REACH * deepest[piece] + _CORE_PX
    rest = light - own
    ground = np.clip(cv2.dilate(cv2.GaussianBlur(rest, (0, 0), 1.0), disc(_SHADOW_PX)), _DEEPEST, 1.0)
    share = np.clip(1.0 - rest / ground, 0.0, 1.0)
    return _Cover(own, share, usual[piece], np.stack([first, second], axis=-1), crossed[piece], near)


def _of_one_colour(
    seen: Tones, parts: np.ndarray, core: np.ndarray, deepest: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Number the parts of one colour of each piece; of each its depth, usual light, and if it is crossed."""
    numbers = np.zeros_like(parts)
    depth, usual, crossed = [0.0], [1.0], [False]
    at = np.flatnonzero(core)
    at = at[np.argsort(parts.ravel()[at], kind="stable")]
    of, first = np.unique(parts.ravel()[at], return_index=True)
    loss, colour = seen.loss.ravel(), seen.colour.reshape(-1, 2)
    for k, own in zip(of, np.split(at, first[1:]), strict=True):
        for one in of_one_colour(colour[own]):
            numbers.ravel()[own[one]] = len(depth)
            depth.append(deepest[k])
            usual.append(float(np.exp(-percentile(loss[own[one]], 40))))
            crossed.append(is_crossed(loss[own[one]]))
    return numbers, np.array(depth, np.float32), np.array(usual, np.float32), np.array(crossed)


def _noise_of(seen: Tones, cover: _Cover) -> np.ndarray:
    """Noise of the light of a piece's colour, (M, N)."""
    noise = np.hypot(*(seen.noise[1:] * cover.colour).transpose(2, 0, 1))
    return np.asarray(noise / np.maximum((cover.colour**2).sum(axis=-1), 1e-6))


def _last_runs(kinds: np.ndarray) -> np.ndarray:
    """Mark runs of 2 that come after a run of 1 and before one of 0."""
    flat = np.pad(kinds, ((0, 0), (0, 1))).ravel()
    start = np.flatnonzero(np.diff(flat, prepend=255))
    size = np.diff(np.append(start, flat.size))
    kind = flat[start]
    free = (np.roll(kind, -1) == 0) & (np.roll(size, -1) >= np.maximum(_FREE_PX, size))
    last = (kind == 2) & (np.roll(kind, 1) == 1) & free
    return np.repeat(last, size).reshape(len(kinds), -1)[:, :-1].astype(np.uint8)


def _covered(light: Light, cover: _Cover, changed: np.ndarray) -> Light:
    """Light with pixels changed to the lit tone of the piece that covers so much of them."""
    at = np.flatnonzero(changed)
    usual = cover.usual.ravel()[at]
    crossed = cover.crossed.ravel()[at]
    usual = np.where(crossed & (np.abs(np.log(usual)) < _STEP), np.exp(-_STEP), usual)
    more = cover.colour.reshape(-1, 2)[at]
    full = usual[:, None] * np.stack([1.0 + more[:, 0], np.ones(len(at)), 1.0 + more[:, 1]], axis=1)
    share = cover.share.ravel()[at][:, None]
    ground = ground_of(light).reshape(-1, 3)[at]
    mixed = roots(ground) * np.cbrt(np.maximum(share * full + 1.0 - share, 0.0))
    delta, distance = light.delta.copy(), light.solid_distance.copy()
    before = length(cv2.GaussianBlur(delta, (0, 0), 1.0)).ravel()[at]
    delta.reshape(-1, 3)[at] = of_roots(mixed) - ground
    after = length(cv2.GaussianBlur(delta, (0, 0), 1.0)).ravel()[at]
    distance.ravel()[at] *= np.where(before > 1.0, after / np.maximum(before, 1.0), 1.0)
    return replace(light, delta=delta, solid_distance=distance)
