"""Pale pieces in dark oil whose mottle reaches the tone of the oil: there they seem to be open or broken.

What only absorbs is darker than the oil however thin it is, and on black ground what shines is brighter than
the ground. A piece that sends back little more light than the oil has a tone of its own that its mottle
carries through the oil's, so holes, bays and breaks of the oil's tone lie in it. Camera and lens draw the
edge of a piece as a step; mottle runs into the oil's tone gently. Gaps beside gentle shores are the piece's
own: they are closed, and the tone within such pieces is evened, so that outlines and cuts go by edges and
not by mottle.
"""

from dataclasses import replace

import cv2
import numpy as np

from measure.field.basics.masks import SQUARE, closed, dilated, eroded, numbered, square
from measure.field.basics.quick import median, percentile
from measure.field.edges.edge import colour_length, slope
from measure.field.ground.light import Light

_LOW, _EVERY = 3.5, 3  # noise units from which a pixel differs from the oil; pixels looked at first
_BRIGHTER = 0.9  # share of what differs from the oil that is brighter
_LITTLE = 2.2  # light of pieces over that of the oil, up to which mottle of a half and more reaches it
_LEAST_PX2 = 60  # of a piece
_TONE_PX = 8.0  # over which the tone of a piece is averaged (sd)
_LEVELS = (0.0, 0.35, 0.6)  # shares of it at which gaps are looked for
_CLOSED_PX = (3.0, 5.0, 8.0)  # radii by which they are closed, each in what the last has left
_LEAST_GAP_PX2 = 8
_SIDE_PX2 = 150  # of parts from which on what lies between two is taken for oil
# slope at the steepest quarter of a gap's shore over that of free edges, up to which it is mottle; and
# up to which, less twice the tone that is left in it: mottle reaches the oil's tone only in places
_GENTLE, _GENTLE_FOR_TONE, _TONE_WEIGHT = 0.9, 0.35, 2.0
_FEWEST, _OFTEN = 6, 0.15  # such gaps that prove mottle, and their number over that of pieces
_EDGE_PX, _EVENED_PX = 2.0, 5.0  # depth from which tone is evened, and over how far (sd)


def without_pale_mottle(light: Light) -> Light:
    """Return the light with pale mottled pieces evened and closed, or the same light where there are none.

    Parameters
    ----------
    light : Light

    Returns
    -------
    light : Light
        ``delta`` and ``solid_distance`` changed within such pieces.
    """
    if not _little_brighter(light):
        return light
    field = cv2.GaussianBlur(colour_length(light.delta), (0, 0), 1.0)
    low = _pieces(light.solid_distance)
    seen = low.astype(np.float32)
    tone: np.ndarray = cv2.GaussianBlur(field * seen, (0, 0), _TONE_PX)
    tone /= np.maximum(cv2.GaussianBlur(seen, (0, 0), _TONE_PX), 0.02)
    tone = np.maximum(tone, 1e-3)
    steep, share = slope(field) / tone, field / tone
    gaps = np.zeros_like(low)
    for level in _LEVELS:
        found, number = _gentle_gaps(low & (share > level) | gaps, steep, share)
        if level == 0.0 and number < max(_FEWEST, _OFTEN * (numbered(low, 8)[0] - 1)):
            return light
        gaps |= found
    return _filled(light, low, gaps)


def _little_brighter(light: Light) -> bool:
    """Whether nearly all that differs from the oil is brighter, and usually by less than its own light."""
    few = light.solid_distance[::_EVERY, ::_EVERY] > _LOW
    rise = light.delta[::_EVERY, ::_EVERY, 0][few]
    if rise.size < _LEAST_PX2 or np.count_nonzero(rise > 0) < _BRIGHTER * rise.size:
        return False
    oil = float(light.oil_lab[0])
    return _light_of(oil + median(rise)) < _LITTLE * _light_of(oil)


def _light_of(lightness: float) -> float:
    """Share of white that a CIELAB lightness stands for."""
    return ((lightness + 16.0) / 116.0) ** 3 if lightness > 8.0 else lightness / 903.3


def _pieces(distance: np.ndarray) -> np.ndarray:
    """What differs from the oil, without specks, (M, N) uint8."""
    _, labels, stats = numbered((distance > _LOW).view(np.uint8), 8)
    keep = stats[:, cv2.CC_STAT_AREA] >= _LEAST_PX2
    keep[0] = False
    return keep[labels].view(np.uint8)


def _gentle_gaps(whole: np.ndarray, steep: np.ndarray, share: np.ndarray) -> tuple[np.ndarray, int]:
    """Gaps in what was found whose shores are gentle, (M, N) uint8, and how many they are.

    Slope and tone, (M, N), are shares of the tone of the piece there.
    """
    inner: np.ndarray = cv2.erode(whole, SQUARE, borderValue=1)
    shores = whole & (1 - inner)
    gaps = closed(whole, _CLOSED_PX[-1]) & (1 - whole)
    free = (shores > 0) & (cv2.dilate(gaps, square(5)) == 0)
    found, number = np.zeros_like(whole), 0
    if not free.any():
        return found, number
    usual = median(steep[free])
    _, parts, sizes = numbered(whole, 8)
    sides = sizes[:, cv2.CC_STAT_AREA] > _SIDE_PX2
    sides[0] = False
    for radius in _CLOSED_PX:
        count, labels, stats = numbered(closed(whole | found, radius) & (1 - (whole | found)), 4)
        for k in range(1, count):
            x, y, w, h, size = (int(v) for v in stats[k])
            if size < _LEAST_GAP_PX2:
                continue
            box = np.s_[max(0, y - 2) : y + h + 2, max(0, x - 2) : x + w + 2]
            gap = labels[box] == k
            shore = (cv2.dilate(gap.view(np.uint8), SQUARE) > 0) & (shores[box] > 0)
            if not shore.any() or np.count_nonzero(sides[np.unique(parts[box][shore])]) > 1:
                continue
            slopes = steep[box][shore] / usual
            steepest = percentile(slopes, 75)
            left = _TONE_WEIGHT * float(share[box][gap].mean())
            if steepest < _GENTLE and steepest - left < _GENTLE_FOR_TONE:
                found[box][gap] = 1
                number += 1
    return found, number


def _filled(light: Light, low: np.ndarray, gaps: np.ndarray) -> Light:
    """Light with gaps filled, and one tone from place to place within pieces up to their edges."""
    seen = (low & (1 - gaps)).astype(np.float32)
    weight = np.maximum(cv2.GaussianBlur(seen, (0, 0), _EVENED_PX), 0.02)
    whole = low | gaps
    inner = eroded(whole, _EDGE_PX) | dilated(gaps, 1.0) & whole
    soft = cv2.GaussianBlur(inner.astype(np.float32), (0, 0), 0.7) * whole
    near = soft > 0.01
    delta, distance = light.delta.copy(), light.solid_distance.copy()
    for values in (distance, *(delta[..., c] for c in range(3))):
        even = cv2.GaussianBlur(values * seen, (0, 0), _EVENED_PX) / weight
        values[near] += (soft * (even - values))[near]
    return replace(light, delta=delta, solid_distance=distance)
