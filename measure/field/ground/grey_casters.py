"""Crystals on a plate, parted from the shadows they throw.

A crystal has no colour to tell it from shadow. But the lamps of the field are known by the shadows of its
coloured pieces, and what a prism and its shadow cover together is the prism moved along the way of the light:
it ends where it is as far from the end of the shadow, all along. There the tone steps from that of shadow,
which is the same all over, to the lighter one of the crystal, or out of a shadow that fades to a darker one.
"""

import cv2
import numpy as np

from measure.field.basics.along import along
from measure.field.basics.masks import SQUARE, closed, fill_holes, hull_mask, solidity
from measure.field.basics.quick import median
from measure.field.ground.plate_tones import Tones

_LEAST_PX2 = 120  # of a crystal with its shadow
_BETWEEN_PX = 2.0
_CONVEX = 0.8  # solidity of one crystal with its shadow
_STEP, _OF_SHADOW = 0.10, 0.15  # by how much less light than shadow a crystal loses: least, over its loss
_BESIDE_PX = 3  # from the end of the crystal, where its tone is read
_MOST = 0.6  # rows in which it is lighter
_STEEPER = 2.5  # rise into a crystal over that of its fading shadow before it
_EVEN = 0.2  # spread of the loss in shadow, over it
_FEW = 4  # rows, and px that a crystal and its shadow are long at least
_LEFT = 0.2  # share of both that the crystal is at least


def without_cast(seen: Tones, grey: np.ndarray, angles: list[float]) -> tuple[np.ndarray, np.ndarray]:
    """Part grey areas into crystals and the shadow that they throw.

    Parameters
    ----------
    seen : Tones
    grey : (M, N) ndarray of bool
        What differs from the ground and has no colour, without known shadows.
    angles : list of float
        Ways in which shadows fall, radians from x towards y.

    Returns
    -------
    crystals, shadow : (M, N) ndarray of bool
        Of areas in which both are seen.
    """
    crystals, shadow = np.zeros(grey.shape, bool), np.zeros(grey.shape, bool)
    # between a crystal lighter than the ground and its shadow the tone passes that of the ground
    areas = closed(grey.view(np.uint8), _BETWEEN_PX)
    _, parts, stats, _ = cv2.connectedComponentsWithStats(areas, connectivity=8)
    for k in np.flatnonzero(stats[1:, cv2.CC_STAT_AREA] >= _LEAST_PX2) + 1:
        x, y, w, h = (int(v) for v in stats[k, :4])
        box = np.s_[max(0, y - 2) : y + h + 2, max(0, x - 2) : x + w + 2]
        whole = fill_holes((parts[box] == k).view(np.uint8))
        if solidity(whole) < _CONVEX:
            continue
        whole = hull_mask(whole)
        left = whole
        for angle in angles:
            loss = seen.loss[box].astype(np.float32)
            crystal = along(left, angle, _lamp_side, loss).view(np.uint8)
            left = left & crystal if crystal.any() else left
        if left is not whole and cv2.countNonZero(left) < cv2.countNonZero(whole):
            # what differs from the ground reaches beyond half of the step against it
            crystals[box] |= (left > 0) & (cv2.erode(whole, SQUARE) > 0)
            shadow[box] |= (whole > left) & ~crystals[box]
    return crystals, shadow


def _lamp_side(whole: np.ndarray, loss: np.ndarray) -> np.ndarray:
    """The crystal of an area whose shadow falls along its rows, (M, N) uint8; nothing where none is seen."""
    nothing = np.zeros_like(whole)
    rows = np.flatnonzero(whole.any(axis=1))
    if len(rows) < _FEW:
        return nothing
    cols = np.arange(whole.shape[1])
    end = np.max(np.where(whole > 0, cols, -1), axis=1)
    away = np.where(whole > 0, end[:, None] - cols, -1)
    length = int(np.median(whole[rows].sum(axis=1)))
    profile = np.array([median(loss[away == d]) for d in range(length)])
    for at, sign in (_paler_from(profile), _darker_from(profile)):
        if at and _is_seen(loss, away, at, sign):
            return (away >= at).astype(np.uint8)
    return nothing


def _paler_from(profile: np.ndarray) -> tuple[int, float]:
    """Distance from the end of the shadow at which the tone first steps to a paler one, 0 without; sign."""
    for at in range(_FEW, len(profile) - _FEW + 1):
        deep = float(np.max(profile[: at - 1]))
        step = max(_STEP, _OF_SHADOW * deep)
        if deep > 2 * _STEP and float(np.median(profile[at : at + _BESIDE_PX])) < deep - step:
            # the edge is where half of the step is done
            return int(np.flatnonzero(profile[:at] > deep - 0.5 * step)[-1]) + 1, -1.0
    return 0, -1.0


def _darker_from(profile: np.ndarray) -> tuple[int, float]:
    """Distance at which the tone first rises steeply out of a shadow that fades, 0 without; sign."""
    wide = _BESIDE_PX
    for at in range(2 * wide, len(profile) - _FEW + 1):
        before, here, after = (float(profile[at + k]) for k in (-wide - 1, -2, 1))
        if here > 0.5 * _STEP and after - here > max(1.5 * _STEP, _STEEPER * (here - before)):
            rises = profile[at : at + wide] - profile[at - 2 : at - 2 + wide]
            return at + int(rises.argmax()) - 1, 1.0
    return 0, 1.0


def _is_seen(loss: np.ndarray, away: np.ndarray, at: int, sign: float) -> bool:
    """Whether most of the end differs so from its shadow, which is even where it is the darker one."""
    if np.count_nonzero(away >= at) < _LEFT * np.count_nonzero(away >= 0):
        return False
    beside = (away >= at) & (away <= at + _BESIDE_PX)
    before = (away < at - 1) & (away >= max(at - 1 - 2 * _BESIDE_PX, at // 3))
    if min(np.count_nonzero(beside), np.count_nonzero(before)) < _FEW:
        return False
    usual = median(loss[before])
    spread = 1.4826 * median(np.abs(loss[before] - usual))
    if sign < 0 and (usual < 2 * _STEP or spread > max(_EVEN * usual, 0.5 * _STEP)):
        return False
    return float((sign * (loss[beside] - usual) > 0.5 * _STEP).mean()) > _MOST
