"""Pieces that scatter light filled with one tone: up to their outermost dark line, without fringes about it.

The rim of what bends light is a dark line, broken where the light of a slope happens to arrive; the fringes
beyond it are images of the same edge.
"""

from typing import NamedTuple

import cv2
import numpy as np

from measure.field.basics.masks import closed, dilated, fill_holes, numbered, opened, solidity
from measure.field.basics.quick import percentile

_HALF, _NEAR_PX = 0.5, 3.0  # share of the deepest tone so near: the outer side of a line
_FAINT = 0.3  # of the usual depth of dark lines, below which one is a fringe
_INNER_PX = 8.0  # from this depth on, or from half the depth on, nothing is a fringe
# radii up to which gaps in the dark rim are bridged, the least that will do
_BRIDGED_PX = (2.0, 3.5, 5.5, 8.0)
_ABOUT_PX = 12.0  # about what is not closed in yet
# over the depth; px left of fringes; solidity of a piece that had bites
_BITE, _SKIN_PX, _FULL = 0.6, 2.5, 0.92
_EDGE_PX = 1.0  # sd of the edge given
FRINGES_PX = 8.0  # how far fringes reach


class Place(NamedTuple):
    """A component of the low level in a crop.

    Attributes
    ----------
    whole : (M, N) ndarray of uint8
        The component with its holes filled.
    depth : (M, N) ndarray of float32
        Of each pixel in that, px.
    lightness : (M, N) ndarray of float32
        Less that of the oil, lightly smoothed.
    chroma : (M, N) ndarray of float32
        How far its colour is from that of the oil, smoothed more.
    low : (M, N) ndarray of bool
        What differs from the oil.
    noise : float
        Lightness by which a line must differ from what is beside it.
    """

    whole: np.ndarray
    depth: np.ndarray
    lightness: np.ndarray
    chroma: np.ndarray
    low: np.ndarray
    noise: float


def to_the_rim(told: np.ndarray, place: Place) -> np.ndarray:
    """Return the place up to the outer half of its outermost dark lines, gaps in them bridged.

    Parameters
    ----------
    told : (M, N) ndarray of uint8
        What scatters, with its fringes.
    place : Place

    Returns
    -------
    filled : (M, N) ndarray of uint8
    """
    darkness = -place.lightness
    told_dark = darkness[(told > 0) & place.low & (darkness > 0)]
    if not told_dark.size:
        return np.zeros_like(told)
    usual = percentile(told_dark, 75)
    near = cv2.dilate(darkness, np.ones((int(2 * _NEAR_PX) + 1,) * 2, np.uint8))
    line = (darkness > _HALF * near) & (darkness > _FAINT * usual) & (told > 0)
    deepest = float(place.depth.max())
    inner = ((place.depth > min(_INNER_PX, _HALF * deepest)) & (told > 0)).view(np.uint8)
    m = int(max(_BRIDGED_PX)) + 2
    lines: np.ndarray
    inside: np.ndarray
    lines, inside = (
        cv2.copyMakeBorder(a, m, m, m, m, cv2.BORDER_CONSTANT) for a in (line.view(np.uint8), inner)
    )
    filled: np.ndarray = np.zeros_like(inside)
    every, left = np.ones_like(inside), inside
    for radius in _BRIDGED_PX:
        here = fill_holes(closed(lines, radius))
        # a wider gap is bridged only where the rim is not closed yet, or it would join neighbours
        filled |= here & (dilated(left, _ABOUT_PX + radius) if radius > _BRIDGED_PX[0] else every)
        left = opened(inside & (1 - filled), 1.0)
        if not left.any():
            break
    filled = opened(filled | inside, 2.0)
    return _without_bites(np.ascontiguousarray(filled[m:-m, m:-m]), place)


def _without_bites(filled: np.ndarray, place: Place) -> np.ndarray:
    """The same with pieces that are full but for bites in them whole: there the rim is bright."""
    count, parts, _ = numbered(filled, 8)
    reach = (place.whole > 0) & (place.depth > _SKIN_PX)
    for k in range(1, count):
        part = (parts == k).view(np.uint8)
        deepest = float(cv2.distanceTransform(part, cv2.DIST_L2, 5).max())
        whole = closed(part, _BITE * deepest) & (reach.view(np.uint8) | part)
        if solidity(whole) >= _FULL:
            filled |= whole
    return filled


def lay_tone(
    delta: np.ndarray, distance: np.ndarray, place: Place, filled: np.ndarray, labels: np.ndarray
) -> None:
    """Lay one tone over filled places and take off the fringes round them, in place.

    Parameters
    ----------
    delta : (M, N, 3) ndarray of float32
        Difference from the oil.
    distance : (M, N) ndarray of float32
        The same in noise units.
    place : Place
    filled : (M, N) ndarray of uint8
    labels : (M, N) ndarray of int32
        All components; others stay as they are.
    """
    inside = (filled > 0) & place.low
    tone = np.array([-percentile(np.abs(place.lightness[inside]), 75), *delta[inside][:, 1:].mean(axis=0)])
    far = percentile(distance[inside], 75)
    soft = cv2.GaussianBlur(filled.astype(np.float32), (0, 0), _EDGE_PX)
    beside = (labels == 0) | (place.whole > 0)
    fringe = (dilated(filled, FRINGES_PX) > 0) & beside & (filled == 0) & (place.lightness > 0)
    near = ((soft > 0.01) & beside) | fringe
    delta[near] = soft[near][:, None] * tone.astype(np.float32)
    distance[near] = np.float32(far) * soft[near]
