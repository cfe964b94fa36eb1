"""Clear pieces in oblique light, among others that take light away, filled by what their slopes add up to.

Where the light comes from one side, the surface of a clear piece is dark where it slopes one way and bright,
often less so, where it slopes the other way; a flat top is as light as the oil. Such a piece falls apart into
its sides. `two_flanks` and `relief` ask for fields all pieces of which show two flanks; here only some do,
and how they are turned is told by their heights (`slope_heights`): turned rightly all are hills, and any
other way there are as many hollows.
"""

from dataclasses import replace

import cv2
import numpy as np

from measure.field.basics.along import along
from measure.field.basics.quick import median
from measure.field.ground.light import Light
from measure.field.ground.lightness_steps import told_level
from measure.field.ground.slope_heights import Slopes, heights_of, pieces_from_slopes

_FEW_PX, _WORK_PX = 120_000, 2_000_000  # pixels the direction and the heights need
_SIGMA_PX = 0.8  # smoothing at the size that is worked at
_FAINTER = (0.05, 1.3)  # strength of what is bright over what is dark, without colour
_MOST_GAIN = 4.0  # by which bright flanks are lifted to make up for the dark ones
_COLOURED, _COLOUR = 0.25, 1.0  # colour over lightness, and CIELAB more, from which light is taken away
_FAINT, _FAINT_PX = 0.6, 2.0  # of the level, for what is bright in the mean so far about
_MOST = 0.3  # share of a field in dark and bright places, above which too little of it is oil
_TURNS = 12
# heights of hills over depths of hollows, and stretches from dark to bright over those from bright to dark,
# from which a field is lit so: at most 1.26 and 1.2 by chance, and seldom more than 1.1 for the former
_HILLS, _ONE_WAY, _FEW = 1.08, 1.4, 8
_TOP, _LEAST_TOP_PX = 0.06, 2  # longest flat top over the picture, shortest one in px of the reduced picture
_SEVERAL, _SIDE_PX2 = 6, 8  # pieces with two sides; fewer may be pairs side by side by chance
_NOTHING = 0.01  # share of a pixel in a piece that counts for nothing
_MOSTLY, _DEEPEST = 0.5, 1.2  # share of a dark piece that was filled, from which its tone is not much deeper


def without_one_sided(light: Light) -> Light:
    """Return the light with clear pieces in oblique light filled, or the same light where there are none.

    Parameters
    ----------
    light : Light

    Returns
    -------
    light : Light
        ``delta`` and ``solid_distance`` changed within clear pieces and at bright flanks.
    """
    few = _slopes(light, _FEW_PX)
    angle = None if few is None else _direction(few)
    slopes = None if angle is None else _slopes(light, _WORK_PX)
    if angle is None or slopes is None:
        return light
    whole = pieces_from_slopes(slopes, angle)
    return light if _two_sided(whole, slopes) < _SEVERAL else _filled(light, whole, slopes)


def _slopes(light: Light, most_px: int) -> Slopes | None:
    """What of a field may be slopes, in so many pixels; None where too little is bright, or too much."""
    share = min(1.0, float(np.sqrt(most_px / light.solid_distance.size)))
    delta, distance = (_reduced(values, share) for values in (light.delta, light.solid_distance))
    lightness = np.ascontiguousarray(delta[..., 0])
    if light.zone_mask is not None:
        lightness[cv2.resize(light.zone_mask, lightness.shape[::-1]) > 0] = 0.0
    level = told_level(lightness, distance)
    grey = np.hypot(delta[..., 1], delta[..., 2]) < _COLOURED * np.abs(lightness) + _COLOUR
    dark, bright = (lightness < -level) & grey, (lightness > level) & grey
    below, above = -float(lightness[dark].sum()), float(lightness[bright].sum())
    few = np.count_nonzero(dark) + np.count_nonzero(bright) < _MOST * dark.size
    if not few or not _FAINTER[0] * below < above < _FAINTER[1] * below:
        return None
    values = np.where(grey, lightness, np.float32(0.0))
    most = float(np.percentile(-lightness[dark], 70))
    gain = min(below / above, _MOST_GAIN)
    values = np.clip(values, -most, most)
    values = np.where(values > 0, gain * values, values).astype(np.float32)
    faint = grey & (cv2.GaussianBlur(lightness, (0, 0), _FAINT_PX) > _FAINT * level)
    return Slopes(values, np.abs(lightness), dark, bright, faint)


def _reduced(values: np.ndarray, share: float) -> np.ndarray:
    if share < 1.0:
        values = cv2.resize(values, None, fx=share, fy=share, interpolation=cv2.INTER_AREA)
    return cv2.GaussianBlur(values, (0, 0), _SIGMA_PX)


def _direction(slopes: Slopes) -> float | None:
    """Angle from dark to bright flanks, radians; None where a field is not lit from one side."""
    turns = np.arange(_TURNS) * np.pi / _TURNS
    hilly = np.array([_hilly(heights_of(slopes.values, float(turn))) for turn in turns])
    best = int(np.argmax(np.abs(np.log(hilly))))
    if max(hilly[best], 1.0 / hilly[best]) < _HILLS:
        return None
    angle = float(turns[best] if hilly[best] > 1.0 else turns[best] + np.pi)
    there, back = _tops(slopes, angle)
    return angle if there > _ONE_WAY * back + _FEW else None


def _tops(slopes: Slopes, angle: float) -> tuple[int, int]:
    """How many grey stretches along the light have dark before and bright behind, and the reverse."""
    kinds = np.where(slopes.dark, 1, np.where(slopes.bright, 2, 0)).astype(np.uint8)
    longest = _TOP * max(kinds.shape)
    counts = [0, 0]

    def count(rows: np.ndarray) -> np.ndarray:
        flat = np.pad(rows, ((0, 0), (0, 1)), constant_values=3).ravel()
        start = np.flatnonzero(np.diff(flat, prepend=255))
        length, kind = np.diff(np.append(start, flat.size)), flat[start]
        grey = (kind[1:-1] == 0) & (length[1:-1] >= _LEAST_TOP_PX) & (length[1:-1] <= longest)
        for k, (before, behind) in enumerate(((1, 2), (2, 1))):
            counts[k] = int(np.count_nonzero(grey & (kind[:-2] == before) & (kind[2:] == behind)))
        return np.zeros_like(rows)

    along(kinds, angle, count)
    return counts[0], counts[1]


def _hilly(heights: np.ndarray) -> float:
    """Rise of hills over the fall of hollows, both as root mean squares."""
    hills, hollows = (float(np.linalg.norm(part)) for part in (heights.clip(0.0), heights.clip(None, 0.0)))
    return hills / max(hollows, 1e-9)


def _two_sided(whole: np.ndarray, slopes: Slopes) -> int:
    """How many pieces have a dark and a bright side."""
    count, places = cv2.connectedComponents(whole.view(np.uint8), connectivity=8)
    sides = [np.bincount(places[whole & side], minlength=count) for side in (slopes.dark, slopes.bright)]
    return int(np.count_nonzero(np.minimum(*sides) >= _SIDE_PX2))


def _filled(light: Light, whole: np.ndarray, slopes: Slopes) -> Light:
    """Light with one tone all over clear pieces, and nothing at bright flanks beyond."""
    if not whole.any():
        return light
    size = light.solid_distance.shape[::-1]
    soft = cv2.GaussianBlur(whole.astype(np.float32), (0, 0), 1.0)
    soft = cv2.resize(soft, size, interpolation=cv2.INTER_LINEAR)
    flanks = _enlarged((slopes.dark | slopes.bright) & whole, size)
    beyond = _enlarged(slopes.bright & ~whole, size) & (soft < _NOTHING)
    delta, distance = light.delta.copy(), light.solid_distance.copy()
    delta[beyond] = 0.0
    distance[beyond] = 0.0
    near, own = soft >= _NOTHING, delta[..., 0]
    step, usual = np.float32(-median(np.abs(own[flanks]))), np.float32(median(distance[flanks]))
    # what has a colour keeps that, and its depth: it parts kernels and skins from crystals
    coloured = np.hypot(delta[..., 1], delta[..., 2]) > _COLOURED * np.abs(own) + _COLOUR
    tone = step * soft
    delta[..., 0] = np.where(near, np.where(coloured, np.minimum(own, tone), tone), own)
    even = _enlarged(_mostly(whole, whole | slopes.dark), size)
    delta[..., 0][even] = np.maximum(delta[..., 0], _DEEPEST * step)[even]
    distance[near] = (usual * soft)[near]
    return replace(light, delta=delta, solid_distance=distance, contrast="one side")


def _mostly(whole: np.ndarray, told: np.ndarray) -> np.ndarray:
    """Those of some places, (M, N) ndarray of bool, most of which lies in clear pieces."""
    _, places, stats, _ = cv2.connectedComponentsWithStats(told.view(np.uint8), connectivity=8)
    most = np.bincount(places[whole], minlength=len(stats)) > _MOSTLY * stats[:, cv2.CC_STAT_AREA]
    most[0] = False
    return np.asarray(most[places])


def _enlarged(mask: np.ndarray, size: tuple[int, int]) -> np.ndarray:
    """A mask at the size of the picture, width and height."""
    return np.asarray(cv2.resize(mask.view(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0)
