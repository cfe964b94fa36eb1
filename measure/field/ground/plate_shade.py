"""Shade on a bright plate: light from above leaves a soft shadow round the foot of every piece.

On such a field the ground is darker along coloured pieces, all round them, and nowhere else. Shade takes
the same share of all light, so it moves the ground straight towards no light (see
`measure.field.bodies.shades`). Where nearly all ground along the coloured pieces of a field is darker and
as neutral as the ground itself, the ground is taken as it is in its shade, within pieces as beside them,
and pieces are looked for by their difference from that. What is darker than shade gets so far from a
coloured piece stays as it is. Fields without colour and pieces lit from below, whose edges end within
their blur, are left alone.
"""

from dataclasses import replace
from typing import NamedTuple

import cv2
import numpy as np

from measure.field.basics.masks import disc
from measure.field.basics.quick import length, median, percentile
from measure.field.ground.light import Light

_NO_LIGHT = -16.0  # L of the cube root of nothing, towards which shade moves every colour
_SMOOTH_PX = 1.0
_GROUND = 3.0  # noise units up to which a pixel is ground
_COLOURED, _OVER_NOISE = 6.0, 2.0  # CIELAB off the line of shade, least; and over what nearly all ground has
_NEARLY_ALL = 95  # percent
_FRINGE_PX = 2.0  # radius of what is opened from coloured pixels: fringes of a lens are thinner
_GREY = 0.3  # distance off the line over that along it, up to which a pixel is as neutral as shade
_DARKER = 4.0  # noise units from which ground is darker
_OWN = 2.0  # noise units that nearly all ground stays below without any shade
_FROM_PX, _TO_PX = 4.0, 6.0  # ring along coloured pieces in which shade is looked for, beyond their blur
_ALL_ROUND = 0.8  # share of that ring that must be shade
_TWO = 2.0  # the shades of two neighbours add
_MOST_LOSS = 0.5  # of the light, in the middle of that ring: shade takes a quarter, a dark rim three quarters
_FADING = 0.5  # darkness twice as far out over that in the ring; that of a grey rim falls within its blur
_EDGE_PX = 3.0  # reach of a coloured edge, in which the ground cannot be read
_CALM_PX = 1.5  # smoothing of the shade
_SEEN = 0.05  # share of a smoothing from which it tells the shade
_NEARLY = 0.9999  # far more than the last digits that two ways of working out a length differ in
_SUM = np.ones((1, 3), np.float32)
_HIDDEN_PX = 4  # size below which nothing is reduced further
_LEAST_STEP = 1.0  # CIELAB difference below which ratios are noise
WORK_PX = 1_500_000  # whether there is shade, or are shadows, needs no more pixels than these


class _Classes(NamedTuple):
    """What the pixels of a field are."""

    darker: np.ndarray  # (M, N) along the line towards no light, CIELAB units
    neutral: np.ndarray  # (M, N) bool: as grey as shade
    away: np.ndarray  # (M, N) px from coloured pieces
    noise: float  # of the ground along the line
    ground: float  # from the ground to no light, CIELAB units


def without_shade(light: Light, reduced_to: tuple[Light, float] | None = None) -> Light:
    """Return the light with the ground taken as it is in shade, or the same light where there is none.

    Parameters
    ----------
    light : Light
    reduced_to : (Light, float), optional
        What `reduced` gives of it at `WORK_PX`.

    Returns
    -------
    light : Light
        ``delta`` and ``solid_distance`` changed in shade and in the pieces that stand in it.
    """
    few, share = reduced(light, WORK_PX) if reduced_to is None else reduced_to
    seen = _classes(few, asked=True)
    if seen is None or not _is_shaded(seen):
        return light
    most = _most_shade(seen)
    whole = seen if few is light else _classes(light)
    if whole is None:
        return light
    shade = _shade(whole, _TWO * np.interp(whole.away * share, np.arange(len(most)), most))
    delta = light.delta - shade[..., None] * _toward_no_light(light)
    before, after = (length(cv2.GaussianBlur(part, (0, 0), _SMOOTH_PX)) for part in (light.delta, delta))
    factor = np.where(before > _LEAST_STEP, after / np.maximum(before, _LEAST_STEP), 1.0)
    return replace(light, delta=delta, solid_distance=(light.solid_distance * factor).astype(np.float32))


def reduced(light: Light, most_px: int) -> tuple[Light, float]:
    """The field reduced to at most so many pixels, and by how much; the same light where it is small."""
    share = float(np.sqrt(most_px / light.solid_distance.size))
    if share >= 1.0:
        return light, 1.0
    delta, distance = (
        cv2.resize(array, None, fx=share, fy=share, interpolation=cv2.INTER_AREA)
        for array in (light.delta, light.solid_distance)
    )
    mask = light.zone_mask
    if mask is not None:
        mask = cv2.resize(mask, distance.shape[::-1], interpolation=cv2.INTER_NEAREST)
    return replace(light, delta=delta, solid_distance=distance, zone_mask=mask), share


def part_of(light: Light, box: tuple[slice, slice]) -> Light:
    """The field within some rows and columns; its coarse ground stays that of the whole."""
    mask = None if light.zone_mask is None else light.zone_mask[box]
    return replace(light, delta=light.delta[box], solid_distance=light.solid_distance[box], zone_mask=mask)


def _toward_no_light(light: Light) -> np.ndarray:
    """Direction in which shade moves the ground, (3,) ndarray of float32."""
    ground = np.asarray(light.oil_lab, np.float32) - np.array([_NO_LIGHT, 0.0, 0.0], np.float32)
    return -ground / np.sqrt(ground @ ground)


def _from_no_light(light: Light) -> float:
    return float(np.hypot(light.oil_lab[0] - _NO_LIGHT, np.hypot(*light.oil_lab[1:])))


def _classes(light: Light, *, asked: bool = False) -> _Classes | None:
    """What the pixels are; None without ground or without coloured pieces, or if asked where no shade is."""
    smooth = cv2.GaussianBlur(light.delta, (0, 0), _SMOOTH_PX)
    darker = smooth @ _toward_no_light(light)
    counted = np.ones(darker.shape, bool) if light.zone_mask is None else light.zone_mask == 0
    ground = counted & (light.solid_distance < _GROUND)
    if not ground.any() or (asked and _surely_unshaded(smooth, darker, counted, ground)):
        return None
    off = np.sqrt(np.maximum(np.einsum("ijk,ijk->ij", smooth, smooth) - darker * darker, 0.0))
    usual = percentile(off[ground], _NEARLY_ALL)
    coloured = (counted & (off > max(_COLOURED, _OVER_NOISE * usual))).view(np.uint8)
    coloured = cv2.morphologyEx(coloured, cv2.MORPH_OPEN, disc(_FRINGE_PX))
    if not coloured.any():
        return None
    away = cv2.distanceTransform(1 - coloured, cv2.DIST_L2, 5)
    neutral = counted & (off < np.maximum(_GREY * darker, usual))
    return _Classes(darker, neutral, away, 1.4826 * median(np.abs(darker[ground])), _from_no_light(light))


def _surely_unshaded(smooth: np.ndarray, darker: np.ndarray, counted: np.ndarray, ground: np.ndarray) -> bool:
    """Whether too much ground along coloured pieces is not even a little darker, told from few pixels.

    Only where nearly all ground is so even that its noise does not matter.
    """
    squares = cv2.transform(cv2.multiply(smooth, smooth), _SUM)
    calm = (_COLOURED / _OVER_NOISE * _NEARLY) ** 2
    if np.count_nonzero((squares < calm) & ground) < _NEARLY_ALL / 100 * np.count_nonzero(ground) + 2:
        return False
    at = np.flatnonzero((squares > (_COLOURED * _NEARLY) ** 2) & counted)
    own, along = smooth.reshape(-1, 3).take(at, axis=0), darker.ravel()[at]
    off = np.sqrt(np.maximum(np.einsum("ik,ik->i", own, own) - along * along, 0.0))
    coloured: np.ndarray = np.zeros(darker.shape, np.uint8)
    coloured.ravel()[at[off > _COLOURED]] = 1
    coloured = cv2.morphologyEx(coloured, cv2.MORPH_OPEN, disc(_FRINGE_PX))
    if not coloured.any():
        return True
    away = cv2.distanceTransform(1 - coloured, cv2.DIST_L2, 5)
    near = darker[(away > _FROM_PX) & (away <= _TO_PX)]
    return bool(np.count_nonzero(near > 0.0) <= _ALL_ROUND * len(near))


def _is_shaded(seen: _Classes) -> bool:
    """Whether there is shade nearly everywhere along coloured pieces, and no edge ends it there."""
    near, farther = ((seen.away > k * _FROM_PX) & (seen.away <= k * _TO_PX) for k in (1, 2))
    shaded = seen.neutral & (seen.darker > _DARKER * seen.noise)
    if not (near.any() and farther.any()) or float(shaded[near].mean()) <= _ALL_ROUND:
        return False
    if median(seen.darker[near & shaded]) > (1.0 - (1.0 - _MOST_LOSS) ** (1.0 / 3.0)) * seen.ground:
        return False
    return float(seen.darker[farther].mean()) > _FADING * float(seen.darker[near].mean())


def _most_shade(seen: _Classes) -> np.ndarray:
    """The most that shade takes at each whole distance from coloured pieces, CIELAB units; 0 at the last.

    It never rises outwards, and ends where it sinks to the noise.
    """
    known = seen.neutral & (seen.away > _EDGE_PX)
    px = seen.away[known].astype(np.int32)
    order = np.argsort(px, kind="stable")
    rings = np.split(seen.darker[known][order], np.cumsum(np.bincount(px))[:-1])
    first = int(_EDGE_PX)
    most: list[float] = []
    for ring in rings[first:]:
        at = float(percentile(ring, _NEARLY_ALL)) if len(ring) else 0.0
        if at < _OWN * seen.noise:
            break
        most.append(min(at, most[-1]) if most else at)
    return np.array([most[0] if most else 0.0] * first + most + [0.0], np.float32)


def _shade(seen: _Classes, most: np.ndarray) -> np.ndarray:
    """How much shade takes of the ground, (M, N) float32, CIELAB units; within pieces as beside them."""
    known = seen.neutral & (seen.away > _EDGE_PX)
    shade = np.where(known, np.clip(seen.darker, 0.0, most), 0.0).astype(np.float32)
    return filled(shade, (known | (most <= 0.0)).astype(np.float32))


def filled(values: np.ndarray, known: np.ndarray) -> np.ndarray:
    """Values smoothed where they are known, and what lies about them elsewhere, (M, N) float32."""
    total, weight = (cv2.GaussianBlur(part, (0, 0), _CALM_PX) for part in (values * known, known))
    own = total / np.maximum(weight, 1e-6)
    rows, cols = values.shape
    if float(weight.min()) > _SEEN or min(rows, cols) < _HIDDEN_PX:
        return own
    size = ((cols + 1) // 2, (rows + 1) // 2)
    share, mean = (cv2.resize(part, size, interpolation=cv2.INTER_AREA) for part in (known, values * known))
    below = filled(mean / np.maximum(share, 1e-6), np.minimum(4.0 * share, 1.0))
    about = cv2.resize(below, (cols, rows), interpolation=cv2.INTER_LINEAR)
    trust = np.minimum(2.0 * weight, 1.0)
    both: np.ndarray = trust * own + (1.0 - trust) * about
    return both
