"""Dark hollows round bright pieces, as scanning electron microscopes show them.

Secondary electrons that leave the ground beside a piece are caught by it, so bright pieces stand in a dark
surround that fades into the ground, and gaps of a heap are darker than the ground (topographic contrast, from
memory). It is as far from the tone of the ground as a faint piece, and a piece with its surround is found as
one. In a field that is lit so nearly all that is darker than the ground lies close round pieces that are much
brighter than it, is the fainter the farther out, and has no edge on its outer side.
"""

from dataclasses import replace

import cv2
import numpy as np

from measure.field.basics.quick import median
from measure.field.ground.light import Light
from measure.field.ground.lightness_steps import few_lightness, smooth_lightness, told_level

_WORK_PX = 250_000  # pixels looked at first
_COLOUR = 1.0  # CIELAB; electrons have no colour, and noise of a grey camera is grey
_DARK, _BRIGHT = 0.004, 0.02  # least share of the picture that is darker and brighter than the ground
_STRONGER = 1.0  # times as far from the ground are the pieces as what is dark; gaps of a heap are black
_PIECE = 0.5  # of the usual height of what is bright, from which it is a piece
_NEAR, _NEAR_PX = 0.8, 6.0  # share of all darkness so near: in square roots of the pieces' area, and in px
_REACH = 0.6
_RINGS_PX = ((2.0, 4.0), (8.0, 14.0))  # from the pieces outwards; a rim or a fringe is gone in the second
_FADES = (0.2, 0.9)  # darkness of the second ring over that of the first
_AROUND = 0.5  # share of the first ring that is darker than the ground
_SMALL_PX2 = 30


def without_hollows(light: Light) -> Light:
    """Return the light with dark surrounds of bright pieces taken for ground, or the same light.

    Parameters
    ----------
    light : Light

    Returns
    -------
    light : Light
        ``delta`` and ``solid_distance`` are 0 where it is darker than the ground.
    """
    every = max(1, int(np.sqrt(light.solid_distance.size / _WORK_PX)))
    few, distance = few_lightness(light, every)
    level = told_level(few, distance)
    dark, bright = few < -level, few > level
    if dark.mean() < _DARK or bright.mean() < _BRIGHT:
        return light
    if median(few[bright]) < _STRONGER * -median(few[dark]):
        return light
    if float(np.abs(light.delta[::every, ::every, 1:][bright]).mean()) > _COLOUR:
        return light
    lightness = smooth_lightness(light)
    if not _in_hollows(lightness, told_level(lightness, light.solid_distance)):
        return light
    lower = lightness < 0
    delta, solid = light.delta.copy(), light.solid_distance.copy()
    delta[lower] = 0.0
    solid[lower] = 0.0
    return replace(light, delta=delta, solid_distance=solid)


def _in_hollows(lightness: np.ndarray, level: float) -> bool:
    """Whether what is dark lies close round bright pieces and fades outwards."""
    bright = lightness[lightness > level]
    if not bright.size:  # all that was bright at the first look lies in areas left out
        return False
    height = median(bright)
    found = (lightness > max(level, _PIECE * height)).view(np.uint8)
    sizes = cv2.connectedComponentsWithStats(found, connectivity=8)[2][1:, cv2.CC_STAT_AREA]
    sizes = sizes[sizes >= _SMALL_PX2]
    if not sizes.size:
        return False
    # weighted by area: of a heap the gaps are as wide as its pieces
    reach = _NEAR_PX + _REACH * float(np.sqrt((sizes.astype(float) ** 2).sum() / sizes.sum()))
    away = cv2.distanceTransform(1 - found, cv2.DIST_L2, 5)
    depth = np.where(lightness < -level, -lightness, 0.0)
    if float(depth[away < reach].sum()) < _NEAR * float(depth.sum()):
        return False
    # from heaps as wholes outwards, for their gaps are black throughout
    wide = 2 * int(0.5 * reach) + 1
    closed = cv2.morphologyEx(
        found, cv2.MORPH_CLOSE, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (wide, wide))
    )
    away = cv2.distanceTransform(1 - closed, cv2.DIST_L2, 5)
    first, second = ((away > low) & (away <= high) for low, high in _RINGS_PX)
    if not first.any() or not second.any() or (lightness[first] < -0.5 * level).mean() < _AROUND:
        return False
    near, far = -float(lightness[first].mean()), -float(lightness[second].mean())
    return near > 0 and _FADES[0] * near < far < _FADES[1] * near
