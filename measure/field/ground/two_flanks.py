"""Two flanks: oblique light through clear pieces, or interference contrast, shows slopes and not tones.

What bends light and takes none of it away is bright where its surface slopes one way and dark where it
slopes the other way, and the two make up for one another: a dark and a bright flank of about equal strength
belong to one piece, which ends at the outer side of both. (In `relief` the bright flank lies beyond the
piece, and there is less of it.) A field is taken to be lit so where most of what differs from the oil comes
in such pairs, all turned the same way, and where the tone changes no more steeply between the flanks of a
pair than at its outer sides. A bright piece with its shadow is the other way round: between them lies an
edge. The pieces are then filled from flank to flank with one tone.

Contrast by slopes: Nomarski's differential interference contrast and oblique light, from memory; that
line integrals along the shear vanish over a piece is why the flanks are of equal strength.
"""

from dataclasses import replace
from typing import NamedTuple

import cv2
import numpy as np

from measure.field.basics.along import along
from measure.field.basics.quick import median
from measure.field.ground.light import Light
from measure.field.ground.lightness_steps import SIGMA_PX, few_lightness, smooth_lightness, told_level

_WORK_PX = 250_000  # pixels looked at first
_EQUAL = 0.55  # strength of the fainter sign over that of the other
_FEW = 5  # pairs that prove nothing
_SMALL_PX2 = 20  # flanks below this are specks
_ALIKE = 2.5  # areas of the flanks of one piece, one over the other, at most
_PAIRED = 0.55  # share of the area of all flanks that is in pairs
_ONE_LINE = 0.7  # how far pairs agree on a line, 0..1 (measured 0.97 and more; by chance below 0.4)
_ONE_WAY = 0.75  # share of pairs that are turned the same way along it
# steepest change between the flanks over that at the outer sides: 0.2 to 0.6 in domes, 1 where a flat top
# lies between two bevels, 1.5 to 2 from a piece to its shadow
_GENTLE = 1.25
_LONG = 1.5  # extent of pairs along the light over that across it; two pieces side by side: 2 and more
_PAD_PX = 4
_HALF = 0.5  # of the deepest tone along a line: the outer side of a flank
_NEAR_PX = 3.0  # the deepest tone so near is that of the same place of the flank
_FAINT, _FAINT_SIGMA_PX = 2.0, 2.0  # usual strength of flanks over the level, and smoothing of such ones
_FILLED = 0.8  # share of the hull of two flanks, below which a flat top is left open between them
_GAP = 1.5  # longest grey stretch over both flanks together
_SKIN_PX = 2.0  # notches of the filled pieces up to this width come from noise
_TOLD_PX = 2.0  # sd of the surroundings in which colour is told: that of a pixel is noise
_NEUTRAL = 0.5  # colour over lightness of what only the light made


class _Pairs(NamedTuple):
    """Flanks that belong together: a row is dark part, bright part."""

    parts: np.ndarray  # (P, 2)
    way: np.ndarray  # (P, 2) from the dark to the bright one, px
    share: float  # of the area of all flanks


def without_two_flanks(light: Light) -> Light:
    """Return the light with pieces of two flanks filled, or the same light where there are none.

    Parameters
    ----------
    light : Light

    Returns
    -------
    light : Light
        ``delta`` and ``solid_distance`` changed within the pieces.
    """
    every = max(1, int(np.sqrt(light.solid_distance.size / _WORK_PX)))
    if not _balanced(*_told(*few_lightness(light, every))):
        return light
    lightness, dark, bright = _told(smooth_lightness(light), light.solid_distance)
    if not _balanced(lightness, dark, bright):
        return light
    pairs = _pairs(dark, bright)
    if pairs is None or not _colourless(light, dark | bright):
        return light
    angle = _one_way(pairs)
    if angle is None or not _one_piece_each(lightness, pairs, dark, bright, angle):
        return light
    return _filled(light, lightness, dark, bright, angle, pairs)


def _told(lightness: np.ndarray, distance: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The lightness given, and which pixels of it are dark and bright."""
    level = told_level(lightness, distance)
    return lightness, lightness < -level, lightness > level


def _balanced(lightness: np.ndarray, dark: np.ndarray, bright: np.ndarray) -> bool:
    """Whether dark and bright make up for one another."""
    below, above = float(-lightness[dark].sum()), float(lightness[bright].sum())
    return min(below, above) > _EQUAL * max(below, above) > 0


def _colourless(light: Light, flanks: np.ndarray) -> bool:
    """Whether the flanks are of no colour: slopes send light aside and take none of it."""
    steps = np.abs(cv2.GaussianBlur(light.delta, (0, 0), _TOLD_PX)[flanks])
    return bool(np.hypot(steps[:, 1], steps[:, 2]).mean() < _NEUTRAL * steps[:, 0].mean())


def _parts(mask: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Areas of the parts of a mask, 0 for specks, and their centres, numbered alike."""
    _, _, stats, centres = cv2.connectedComponentsWithStats(mask.view(np.uint8), connectivity=8)
    areas = stats[:, cv2.CC_STAT_AREA].astype(float)
    areas[0] = 0.0
    areas[areas < _SMALL_PX2] = 0.0
    return areas, centres


def _pairs(dark: np.ndarray, bright: np.ndarray) -> _Pairs | None:
    """Dark and bright parts that are nearest to one another and alike in area, if most are."""
    from scipy.spatial import cKDTree

    (below, at), (above, beside) = _parts(dark), _parts(bright)
    i, j = np.flatnonzero(below), np.flatnonzero(above)
    if min(len(i), len(j)) < _FEW:
        return None
    away, nearest = cKDTree(beside[j]).query(at[i])
    back = cKDTree(at[i]).query(beside[j])[1]
    mutual = back[nearest] == np.arange(len(i))
    a, b = i[mutual], j[nearest[mutual]]
    ratio = np.maximum(below[a], above[b]) / np.minimum(below[a], above[b])
    near = away[mutual] < 2.0 * np.sqrt(below[a] + above[b])
    good = (ratio < _ALIKE) & near
    a, b = a[good], b[good]
    share = float((below[a].sum() + above[b].sum()) / (below.sum() + above.sum()))
    if len(a) < _FEW or share < _PAIRED:
        return None
    return _Pairs(np.column_stack([a, b]), beside[b] - at[a], share)


def _one_way(pairs: _Pairs) -> float | None:
    """Angle from dark to bright, radians; None where it is not one.

    The bright flank of a piece may lie nearer to the dark one of the next than to its own, so a few pairs
    may be turned round, but none of them lies across.
    """
    turn = np.arctan2(pairs.way[:, 1], pairs.way[:, 0])
    axis = np.exp(2j * turn).mean()
    angle = 0.5 * np.angle(axis)
    forth = np.cos(turn - angle) > 0
    if abs(axis) < _ONE_LINE or max(forth.mean(), 1 - forth.mean()) < _ONE_WAY:
        return None
    return float(angle if forth.mean() > 0.5 else angle + np.pi)


def _one_piece_each(
    lightness: np.ndarray, pairs: _Pairs, dark: np.ndarray, bright: np.ndarray, angle: float
) -> bool:
    """Whether most pairs are pieces: as wide as long, and no steeper between the flanks than at the sides.

    A dark piece and a bright one beside it are together longer along the light than they are wide.
    """
    slope = _slope(lightness, angle)
    along_light = np.array([np.cos(angle), np.sin(angle)])
    (below, at), (above, beside) = _pixels(dark), _pixels(bright)
    gentle, weight, form = [], [], []
    for (a, b), way in zip(pairs.parts, pairs.way, strict=True):
        if way @ along_light < 0:
            continue
        points = np.concatenate([below[at[a] : at[a + 1]], above[beside[b] : beside[b + 1]]])
        form.append(
            np.ptp(points @ along_light) / max(np.ptp(points @ (-along_light[1], along_light[0])), 1.0)
        )
        (x0, y0), (x1, y1) = np.maximum(points.min(axis=0) - _PAD_PX, 0), points.max(axis=0) + _PAD_PX + 1
        box = slope[y0:y1, x0:x1]
        gentle.append(float(box.max()) < _GENTLE * float(-box.min()))
        weight.append(len(points))
    return float(np.average(gentle, weights=weight)) > 0.5 and float(np.median(form)) < _LONG


def _pixels(mask: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Places x, y of the pixels of a mask, part by part, and where each part starts."""
    count, numbers = cv2.connectedComponents(mask.view(np.uint8), connectivity=8)
    y, x = np.nonzero(numbers)
    own = numbers[y, x]
    order = np.argsort(own, kind="stable")
    return np.column_stack([x, y])[order], np.searchsorted(own[order], np.arange(count + 1))


def _slope(lightness: np.ndarray, angle: float) -> np.ndarray:
    """Change of lightness per px along a direction, (M, N)."""
    x = cv2.Sobel(lightness, cv2.CV_32F, 1, 0, scale=0.125)
    y = cv2.Sobel(lightness, cv2.CV_32F, 0, 1, scale=0.125)
    return np.asarray(np.cos(angle) * x + np.sin(angle) * y)


def _filled(
    light: Light, lightness: np.ndarray, dark: np.ndarray, bright: np.ndarray, angle: float, pairs: _Pairs
) -> Light:
    """Light with one tone from flank to flank, and nothing of the flanks beyond."""
    parts = dark, bright
    level = float(np.abs(lightness[dark | bright]).min())
    if median(np.abs(lightness[dark | bright])) < _FAINT * level:  # noise would leave gaps along the lines
        lightness = cv2.GaussianBlur(lightness, (0, 0), _FAINT_SIGMA_PX)
        dark, bright = lightness < -0.5 * level, lightness > 0.5 * level
    strength = np.abs(lightness)
    edged = strength > _HALF * cv2.dilate(strength, _ball(_NEAR_PX))  # blur runs beyond the sides too
    kinds = np.where(edged & dark, 1, np.where(edged & bright, 2, 0)).astype(np.uint8)
    whole = _without_skin(along(kinds, angle, _from_flank_to_flank, strength))
    whole = _with_tops(whole, edged, pairs, *parts)
    if not whole.any():
        return light
    step = np.float32(-median(np.abs(lightness[whole & (dark | bright)])))
    # what could be found before must be found still
    far = np.float32(np.percentile(light.solid_distance[whole & (dark | bright)], 95))
    soft = cv2.GaussianBlur(whole.astype(np.float32), (0, 0), SIGMA_PX)
    beyond = (dark | bright) & ~whole & (cv2.dilate(whole.view(np.uint8), np.ones((9, 9), np.uint8)) > 0)
    near = (soft > 0.01) | beyond
    delta, distance = light.delta.copy(), light.solid_distance.copy()
    delta[near] = 0.0
    delta[..., 0][near] = step * soft[near]
    distance[near] = far * soft[near]
    return replace(light, delta=delta, solid_distance=distance, contrast="slopes")


def _with_tops(
    whole: np.ndarray, edged: np.ndarray, pairs: _Pairs, dark: np.ndarray, bright: np.ndarray
) -> np.ndarray:
    """The pieces with their flat tops, which are the tone of the oil from one narrow flank to the other."""
    (below, at), (above, beside) = _pixels(dark), _pixels(bright)
    whole = whole.copy()
    for a, b in pairs.parts:
        points = np.concatenate([below[at[a] : at[a + 1]], above[beside[b] : beside[b + 1]]])
        points = points[edged[points[:, 1], points[:, 0]]].astype(np.int32)
        if len(points) < _SMALL_PX2:
            continue
        x, y, w, h = cv2.boundingRect(points)
        hull = np.zeros((h, w), np.uint8)
        cv2.fillConvexPoly(hull, cv2.convexHull(points - [x, y]).astype(np.int32), 1)
        own = whole[y : y + h, x : x + w]
        if (own & (hull > 0)).sum() < _FILLED * hull.sum():
            own |= hull > 0
    return whole


def _from_flank_to_flank(kinds: np.ndarray, strength: np.ndarray) -> np.ndarray:
    """Mark, along rows, from half the depth of a dark run to half the height of the bright one after it."""
    flat, height = np.pad(kinds, ((0, 0), (0, 1))).ravel(), np.pad(strength, ((0, 0), (0, 1))).ravel()
    start = np.flatnonzero(np.diff(flat, prepend=255))
    end = np.append(start[1:], flat.size)
    kind = flat[start]
    marked = np.zeros(flat.size + 1, np.int32)
    for first in np.flatnonzero(kind == 1).tolist():
        second = first + 1 if first + 1 < len(kind) and kind[first + 1] == 2 else first + 2
        if second >= len(kind) or kind[second] != 2 or (second == first + 2 and kind[first + 1] != 0):
            continue
        both = end[first] - start[first] + end[second] - start[second]
        if start[second] - end[first] > _GAP * both:
            continue
        run, other = height[start[first] : end[first]], height[start[second] : end[second]]
        left = start[first] + int(np.argmax(run >= _HALF * run.max()))
        right = end[second] - int(np.argmax(other[::-1] >= _HALF * other.max()))
        marked[left] += 1
        marked[right] -= 1
    return (np.cumsum(marked[:-1]) > 0).reshape(len(kinds), -1)[:, :-1].astype(np.uint8)


def _without_skin(mask: np.ndarray) -> np.ndarray:
    ball = _ball(_SKIN_PX)
    closed = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_CLOSE, ball)
    return np.asarray(cv2.morphologyEx(closed, cv2.MORPH_OPEN, ball) > 0)


def _ball(radius_px: float) -> np.ndarray:
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (int(2 * radius_px) + 1,) * 2))
