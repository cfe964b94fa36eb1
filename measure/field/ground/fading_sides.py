"""Bodies in oblique light: dark on one side, towards the other they fade into the ground or get brighter.

Half of the height of such a body lies well inside it on the side towards the lamp. Where the bodies of a
field are all darker on the same side, within what is at least half as dark as they are, that is no shadow,
which would lie beyond them: what is found of a body on the side towards the lamp is its own, up to where it
no longer differs from the ground. It gets the tone of the body.
"""

from dataclasses import replace

import cv2
import numpy as np

from measure.field.basics.along import along
from measure.field.basics.masks import disc
from measure.field.basics.quick import median, percentile
from measure.field.ground.light import Light
from measure.field.ground.one_way import common_way, ways_of
from measure.field.ground.plate_shade import WORK_PX, part_of, reduced

_SEEN, _LOW = 7.0, 3.5  # noise units that a body reaches, and down to which it is followed
_CALM_PX = 1.0
_LEAST_PX2, _WIDEST = 150, 0.5  # size of a body, and its width over that of the picture
_HALF, _USUAL = 0.5, 75  # of the usual height of a body, which is this percentile of it
_RING_PX = (2.0, 6.0)  # depth within bodies at which their tone is compared all round
_FEWEST, _RING_PX2 = 8, 50  # bodies that tell, and pixels of the ring in each
_SHADED, _AGREE = 0.23, 0.85  # rise of darkness to the dark side over its mean; how far bodies agree on it
_TURNS = (-1.1, -0.55, 0.0, 0.55, 1.1)  # rad; a side bends round its body
_MOST = 2  # of the turns, at which a side lies before its body
_LONGEST = 1.5  # length of a side over that of the dark part behind it
_GAP_PX = 3  # where a side passes through the tone of the ground
_HEIGHT = 0.8  # share of the usual height of a body that its side gets


def without_fading_sides(light: Light) -> Light:
    """Return the light with bodies as dark on the side towards the lamp as they usually are.

    Parameters
    ----------
    light : Light

    Returns
    -------
    light : Light
        ``delta`` and ``solid_distance`` changed on bright sides; the same light where bodies show none.
    """
    angle = next((way for way in map(_way_of, _looks(light)) if way is not None), None)
    if angle is None:
        return light
    strong, usual = _bodies(light, _lightness(light))[1:]
    side = (cv2.GaussianBlur(light.solid_distance, (0, 0), 0.7) > _LOW) & (strong == 0)
    kinds = np.where(strong > 0, 1, 2 * side).astype(np.uint8)
    turns = np.sum([along(kinds, angle + turn, _next_runs) > 0 for turn in _TURNS], axis=0)
    before = cv2.medianBlur((turns >= _MOST).view(np.uint8), 5)
    return _filled(light, before, strong, usual)


def _looks(light: Light) -> list[Light]:
    """What shows whether bodies fade to one side: a large field reduced, and its middle for small bodies."""
    rows, cols = light.solid_distance.shape
    share = float(np.sqrt(WORK_PX / (rows * cols)))
    if share >= 1.0:
        return [light]
    high, wide = int(rows * share), int(cols * share)
    top, left = (rows - high) // 2, (cols - wide) // 2
    middle = np.s_[top : top + high, left : left + wide]
    return [reduced(light, WORK_PX)[0], part_of(light, middle)]


def _way_of(light: Light) -> float | None:
    lightness = _lightness(light)
    found, strong, _ = _bodies(light, lightness)
    return bright_way(lightness, strong, found)


def _lightness(light: Light) -> np.ndarray:
    return cv2.GaussianBlur(light.delta[..., 0], (0, 0), _CALM_PX)


def _bodies(light: Light, lightness: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Numbers of what is found, (M, N), what of it is half as dark as usual, and that height, (K,)."""
    low = (light.solid_distance > _SEEN).view(np.uint8)
    count, found, stats, _ = cv2.connectedComponentsWithStats(low)
    strong, usual = np.zeros_like(low), np.zeros(count, np.float32)
    for k in range(1, count):
        x, y, w, h, size = (int(v) for v in stats[k])
        if size < _LEAST_PX2 or w > _WIDEST * low.shape[1] or h > _WIDEST * low.shape[0]:
            continue
        box = np.s_[y : y + h, x : x + w]
        own = found[box] == k
        usual[k] = max(float(percentile(-lightness[box][own], _USUAL)), 0.0)
        if usual[k] > 0:
            strong[box][own & (-lightness[box] > _HALF * usual[k])] = 1
    return found, cv2.morphologyEx(strong, cv2.MORPH_OPEN, disc(1.0)), usual


def bright_way(lightness: np.ndarray, strong: np.ndarray, found: np.ndarray) -> float | None:
    """Angle from dark sides of bodies to bright ones, radians; None where bodies do not agree on one.

    Parameters
    ----------
    lightness : (M, N) ndarray of float32
        Difference from the ground.
    strong : (M, N) ndarray of uint8
        What is at least half as dark as its body usually is.
    found : (M, N) ndarray of int32
        Number of the body of each pixel.
    """
    ways = ways_of(-lightness, strong, found, _RING_PX, _RING_PX2)
    if len(ways) < _FEWEST:
        return None
    angle = common_way(ways[:, 1:] / np.maximum(ways[:, :1], 1.0), _SHADED, _AGREE)
    return None if angle is None else angle + np.pi


def _next_runs(kinds: np.ndarray) -> np.ndarray:
    """Mark runs of 2, and short gaps in them, that come after a run of 1 and before free ground."""
    flat = np.pad(kinds, ((0, 0), (1, 1)), constant_values=0).ravel()
    start = np.flatnonzero(np.diff(flat, prepend=255))
    size = np.diff(np.append(start, flat.size))
    kind = flat[start]
    gap = (kind == 0) & (size <= _GAP_PX)
    part = (kind == 2) | gap
    # what a side comes after: the last run that is no part of one
    index = np.maximum.accumulate(np.where(part, -1, np.arange(len(kind))))
    behind = kind[np.maximum(index, 0)] == 1
    ends = np.cumsum(size)
    length = ends - ends[np.maximum(index, 0)]
    near = length <= _LONGEST * size[np.maximum(index, 0)]
    # and before: the next such run
    after = np.minimum.accumulate(np.where(part, len(kind), np.arange(len(kind)))[::-1])[::-1]
    free = kind[np.minimum(after, len(kind) - 1)] == 0
    marked = part & behind & near & free
    trailing = gap & (np.roll(kind, -1) != 2)
    return np.repeat(marked & ~trailing, size).reshape(len(kinds), -1)[:, 1:-1].astype(np.uint8)


def _filled(light: Light, before: np.ndarray, strong: np.ndarray, usual: np.ndarray) -> Light:
    """Light with bodies and their bright sides filled up to the usual height of dark ones."""
    whole = cv2.morphologyEx(before | strong, cv2.MORPH_OPEN, disc(1.0))
    numbers = cv2.connectedComponents(whole)[1]
    of, height = numbers[strong > 0], np.zeros(int(numbers.max()) + 1, np.float32)
    dark = -light.delta[..., 0]
    order = np.argsort(of, kind="stable")
    values = dark[strong > 0][order]
    for k, own in zip(*np.unique(of[order], return_index=True), strict=True):
        end = np.searchsorted(of[order], k, side="right")
        height[k] = median(values[own:end])
    soft = cv2.GaussianBlur(whole.astype(np.float32), (0, 0), 1.0)
    tall = cv2.dilate(height[numbers], disc(4.0)) * np.float32(_HEIGHT)
    near = (soft > 0.01) & (cv2.dilate(before, disc(3.0)) > 0) & (dark < tall * soft)
    delta, distance = light.delta.copy(), light.solid_distance.copy()
    delta[near, 0] = -(tall * soft)[near]
    noise = np.maximum(np.median(distance[strong > 0]) / max(float(np.median(dark[strong > 0])), 1e-3), 1e-3)
    distance[near] = np.maximum(distance, np.float32(noise) * tall * soft)[near]
    return replace(light, delta=delta, solid_distance=distance)
