"""Relief: light from one side makes each piece dark on one flank and bright on the other, grey between.

A piece so lit crosses the tone of the oil within itself. Taken by its distance from the oil it would end in
its own middle, and its bright flank would look like a piece of its own. Where a field is lit so, seen by
bright flanks that all lie on the same side of dark pieces (or dark ones of bright pieces), the tone between
is filled and the flank beyond is taken out before pieces are looked for. Colours and features are still
read from the field as it is. What is thicker than the pieces beside it is no flank: a piece with its shadow.
"""

from dataclasses import replace

import cv2
import numpy as np

from measure.field.basics.along import along
from measure.field.basics.quick import median
from measure.field.ground.light import Light

_SIGMA_PX = 2.0  # the grey between the flanks is judged over the noise
_LEVEL, _LEAST = 4.0, 2.0  # noise units and CIELAB L from which a pixel is dark or bright
_OIL = 5.0  # noise units up to which a pixel is oil
_NEARLY = 0.999  # far more than the last digits that two ways of adding up differ in
_FLANKS = 0.15  # strength of the other sign over that of the main one from which it is half of the picture
_NEAR = 0.5  # share of it that must lie beside pieces
_THICKER = 1.3  # depth of what is a flank, over that of the deepest piece beside it, at most
# how far from it that piece may lie; as far as the piece is deep, for grey lies between, where there are so
# many flanks, at least that share of the deepest one deep, and no colour: pieces lighter and darker than the
# oil may lie side by side by chance, and most of those have a colour
_BESIDE_PX = 5
_SEVERAL, _OF_DEEPEST, _COLOURLESS = 4, 0.25, 0.02
_ONE_WAY = 0.5  # how far the flanks agree on a direction, 0..1
_WORK_PX = 1_000_000  # the direction needs no more pixels than these
# depths of the pieces (a disc's radius, less what of it is grey) over which they are spread to see a side;
# mean depths (a third of that) where flanks may not lie far off
_SMEAR, _SMEAR_NEAR = 0.9, 1.8
_TURNS = (-0.7, 0.0, 0.7)  # rad; a flank bends round its piece
_GAP = 1.2  # longest grey stretch over the dark one before it
_SKIN_PX = 2.0  # specks and notches of the filled pieces up to this width are noise
_HEIGHT = 0.8  # share of the usual step that a filled pixel gets


def without_relief(light: Light) -> Light:
    """Return the light with one-sided shading undone, or the same light where there is none.

    Parameters
    ----------
    light : Light

    Returns
    -------
    light : Light
        ``delta`` and ``solid_distance`` changed within pieces and their flanks.
    """
    few = _lightness(light, _WORK_PX)
    if _surely_without_flanks(*few):
        return light
    colourless = _is_colourless(light)
    angle = _direction(*_strengths(*few)[:2], colourless)
    if angle is None:
        return light
    main, flank, sign = _strengths(*_lightness(light))
    dark, bright = main > 0, flank > 0
    filled = np.logical_or.reduce([_grey(dark, bright, angle + turn) for turn in _TURNS])
    whole = _without_skin(dark | filled)
    step = sign * median(np.abs(light.delta[..., 0][dark]))
    return _changed(light, whole, _is_thin(main, flank, colourless) & ~whole, np.float32(step))


def _lightness(light: Light, most_px: int | None = None) -> tuple[np.ndarray, np.ndarray]:
    """Smoothed difference in lightness from the oil, and distance from it in units of its noise, (M, N) each.

    The picture is reduced to at most so many pixels.
    """
    share = min(1.0, np.sqrt((most_px or light.solid_distance.size) / light.solid_distance.size))
    delta, distance, sigma = light.delta, light.solid_distance, _SIGMA_PX * share
    if share < 1.0:  # all three channels, for one alone would first be copied at full size
        delta, distance = (_reduced(array, share) for array in (delta, distance))
    lightness = delta[..., 0].copy()
    lightness = cv2.GaussianBlur(lightness, (0, 0), sigma) if sigma > 0.3 else lightness
    if light.zone_mask is not None:
        lightness[cv2.resize(light.zone_mask, lightness.shape[::-1]) > 0] = 0.0
    return lightness, distance


def _strengths(lightness: np.ndarray, distance: np.ndarray) -> tuple[np.ndarray, np.ndarray, float]:
    """Strength of the pixels of the main sign and of the other one, (M, N) each, and the main sign."""
    strength = np.abs(lightness)
    strength[strength < max(_LEVEL * _noise(lightness, distance), _LEAST)] = 0.0
    dark, bright = np.where(lightness < 0, strength, 0.0), np.where(lightness > 0, strength, 0.0)
    return (dark, bright, -1.0) if dark.sum() >= bright.sum() else (bright, dark, 1.0)


def _surely_without_flanks(lightness: np.ndarray, distance: np.ndarray) -> bool:
    """Whether `_direction` finds too little of the other sign, on oil so calm that its noise does not matter.

    Where neither half of the oil is farther from zero than a bit, its median is not, and where most of it is
    within a width less that bit of zero, the median of its distance from its own median is within that width.
    """
    oil = distance < _OIL
    count = np.count_nonzero(oil)
    width = _NEARLY * _LEAST / _LEVEL / 1.4826
    for bit in (0.1 * width, 0.3 * width):
        low, high = (np.count_nonzero(oil & side) for side in (lightness < -bit, lightness > bit))
        if 2 * max(low, high) < count - 2:
            break
    else:
        return False
    calm = cv2.inRange(lightness, bit - width, width - bit)
    if 2 * np.count_nonzero(oil & (calm > 0)) <= count + 2:
        return False
    below = float(np.nextafter(np.float32(_LEAST), np.float32(0)))
    signs = (cv2.threshold(values, below, 0.0, cv2.THRESH_TOZERO)[1] for values in (lightness, -lightness))
    less, more = sorted(cv2.sumElems(strength)[0] for strength in signs)
    return bool(less < _NEARLY * _FLANKS * more)


def _reduced(array: np.ndarray, share: float) -> np.ndarray:
    return cv2.resize(array, None, fx=share, fy=share, interpolation=cv2.INTER_AREA)


def _noise(lightness: np.ndarray, distance: np.ndarray) -> float:
    oil = lightness[distance < _OIL]
    return 1.4826 * median(np.abs(oil - median(oil))) if oil.size else 0.0


def _direction(main: np.ndarray, flank: np.ndarray, colourless: bool) -> float | None:
    """Angle from pieces to their flanks, radians; None where they are few or lie on all sides."""
    if flank.sum() < _FLANKS * main.sum() or not flank.any():
        return None
    inside = main > 0
    if colourless and _are_several(_depths(flank > 0)[1]):
        spread = _SMEAR * _usual_depth(*_depths(inside))
    else:
        spread = _SMEAR_NEAR * float(
            cv2.distanceTransform(inside.view(np.uint8), cv2.DIST_L2, 5)[inside].mean()
        )
    wide = cv2.GaussianBlur(np.minimum(main, np.percentile(main[inside], 90)), (0, 0), spread)
    x, y = cv2.Sobel(wide, cv2.CV_32F, 1, 0), cv2.Sobel(wide, cv2.CV_32F, 0, 1)
    near = flank * (wide > 0.05 * wide.max())
    if (
        near.sum() < _NEAR * flank.sum()
        or flank[_is_thin(main, flank, colourless)].sum() < _NEAR * flank.sum()
    ):
        return None  # pieces of their own
    weight = near / np.maximum(np.hypot(x, y), 1e-9)
    toward = np.array([-(weight * x).sum(), -(weight * y).sum()]) / near.sum()
    return float(np.arctan2(toward[1], toward[0])) if np.hypot(*toward) > _ONE_WAY else None


def _is_thin(main: np.ndarray, flank: np.ndarray, colourless: bool) -> np.ndarray:
    """Pixels of flanks no thicker than the pieces they lie beside, (M, N) ndarray of bool."""
    of_main, depth_main = _depths(main > 0)
    of_flank, depth_flank = _depths(flank > 0)
    away, nearest = cv2.distanceTransformWithLabels(
        (of_main == 0).view(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    deep = np.zeros(int(nearest.max()) + 1, np.float32)
    deep[nearest[of_main > 0]] = depth_main[of_main[of_main > 0]]
    beside = np.zeros_like(depth_flank)
    at = of_flank > 0
    own = deep[nearest[at]]
    far = colourless and _are_several(depth_flank)
    reach = np.maximum(_BESIDE_PX, own) if far else _BESIDE_PX
    np.maximum.at(beside, of_flank[at], np.where(away[at] <= reach, own, 0.0))
    thin = depth_flank <= _THICKER * beside
    thin[0] = False
    return np.asarray(thin[of_flank])


def _is_colourless(light: Light) -> bool:
    """Whether the picture has no colour beside its lightness, but what rounding leaves."""
    some = np.abs(light.delta[::4, ::4])
    return float(some[..., 1:].mean()) < _COLOURLESS * float(some[..., 0].mean())


def _are_several(depths: np.ndarray) -> bool:
    """Whether there are several flanks about as deep as the deepest."""
    return int(np.count_nonzero(depths > _OF_DEEPEST * depths.max())) >= _SEVERAL


def _usual_depth(numbers: np.ndarray, depths: np.ndarray) -> float:
    """Depth in px of the piece up to which half of the area of all lies; pits of noise hardly change it."""
    area = np.bincount(numbers.ravel(), minlength=len(depths)).astype(float)
    area[0] = 0.0
    order = np.argsort(depths)
    share = np.cumsum(area[order])
    return float(depths[order][np.searchsorted(share, 0.5 * share[-1])])


def _depths(mask: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Number of each part, (M, N), and the depth of each in px, 0 for what is in none."""
    depth = cv2.distanceTransform(mask.view(np.uint8), cv2.DIST_L2, 5)
    count, numbers = cv2.connectedComponents(mask.view(np.uint8))
    deepest = np.zeros(count, np.float32)
    np.maximum.at(deepest, numbers[mask], depth[mask])
    return numbers, deepest


def _grey(main: np.ndarray, flank: np.ndarray, angle: float) -> np.ndarray:
    """Pixels between pieces and the flanks that lie at an angle from them, (M, N) ndarray of bool."""
    kinds = np.where(main, 1, np.where(flank, 2, 0)).astype(np.uint8)
    return along(kinds, angle, _grey_runs) & ~flank


def _without_skin(mask: np.ndarray) -> np.ndarray:
    ball = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (int(2 * _SKIN_PX) + 1,) * 2)
    closed = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_CLOSE, ball)
    return cv2.morphologyEx(closed, cv2.MORPH_OPEN, ball) > 0


def _grey_runs(kinds: np.ndarray) -> np.ndarray:
    """Mark runs of 0 that come after a run of 1 and before one of 2, and are no longer than the former."""
    flat = np.pad(kinds, ((0, 0), (0, 1))).ravel()
    start = np.flatnonzero(np.diff(flat, prepend=255))
    length = np.diff(np.append(start, flat.size))
    kind = flat[start]
    grey = np.zeros(len(kind), bool)
    grey[1:-1] = (kind[1:-1] == 0) & (kind[:-2] == 1) & (kind[2:] == 2) & (length[1:-1] <= _GAP * length[:-2])
    return np.repeat(grey, length).reshape(len(kinds), -1)[:, :-1].astype(np.uint8)


def _changed(light: Light, whole: np.ndarray, beyond: np.ndarray, step: np.float32) -> Light:
    """Light with the pieces filled up to a step and the flanks beyond them level with the oil."""
    if not whole.any():
        return light
    soft = cv2.GaussianBlur(whole.astype(np.float32), (0, 0), 1.0)
    delta, distance = light.delta.copy(), light.solid_distance.copy()
    usual = median(distance[whole])
    delta[beyond] = 0.0
    distance[beyond] = 0.0
    sign = np.sign(step)
    near = soft > 0.01
    # one tone all over: the shade within a piece must not cut it
    delta[..., 0][near] = sign * np.clip(sign * delta[..., 0], _HEIGHT * abs(step) * soft, abs(step))[near]
    distance[near] = np.maximum(distance, np.float32(_HEIGHT * usual) * soft)[near]
    return replace(light, delta=delta, solid_distance=distance)
