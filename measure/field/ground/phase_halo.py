"""Halos of phase contrast: each dark piece lies in a bright glow that fades into the oil.

Phase contrast cannot show slow changes: what a piece takes from the light is given back as a glow round it,
so that both together weigh about nothing (Zernike's positive phase contrast; its halo and shade-off, from
memory). The glow is no part of the piece, but as strong, and its outer side would be taken for the edge, or
its ring for the rim of a see-through piece. In a field that is lit so, nearly all pieces are places darker
than the oil, closed in by a ring brighter than it whose outer side is softer than the step to the piece. The
pieces are then what lies lower than the ring about it, from half of the step on; they get one tone.
"""

from dataclasses import replace
from typing import NamedTuple

import cv2
import numpy as np

from measure.field.basics.masks import fill_holes, numbered
from measure.field.basics.quick import median
from measure.field.ground.light import Light
from measure.field.ground.lightness_steps import SIGMA_PX, few_lightness, smooth_lightness, told_level

_WORK_PX, _PROOF_PX = 250_000, 1_000_000  # pixels looked at first, and those the proof is made on
_BACK = 0.15, 4.0  # light of the glows over that of the pieces
_FEW = 6  # pieces in glows that prove nothing
_SMALL_PX2 = 30
_DARKER = 0.5  # CIELAB L by which the darkest quarter of a piece is darker than the oil, the least
_RING_PX = (1.5, 5.0)  # from a piece's edge, where its glow is strongest
# share of a ring that is bright, and of the light of all bright places that is within reach, at a first look
# about what is dark (rings: 0.88 and more in phase contrast, below 0.25 elsewhere) and about pieces
_FIRST, _PROVEN = (0.55, 0.5), (0.8, 0.7)
_IN_PX, _OUT_PX = 4.0, 40.0  # looked at inside and outside the edge
# width of the outer side of the glows over that of the step to the pieces; lit rings 1.24, glows 1.39
_SOFTER = 1.3
_BEYOND = 1.5  # reach of the glows over the distance at which half of them are no longer told from the oil
_HALF = 0.5
_NEAR_PX = 3.0  # the deepest place so near tells the step
_SKIN_PX, _GROWN_PX = 1.5, 2.0


class _Profile(NamedTuple):
    """Median lightness by distance from the edge of the pieces, px outwards."""

    at: np.ndarray
    lightness: np.ndarray


def without_phase_halos(light: Light) -> Light:
    """Return the light with the glows of phase contrast taken out, or the same light where there are none.

    Parameters
    ----------
    light : Light

    Returns
    -------
    light : Light
        ``delta`` and ``solid_distance`` changed within the pieces and their glows.
    """
    every = max(1, int(np.sqrt(light.solid_distance.size / _WORK_PX)))
    few, distance = few_lightness(light, every)
    if not _given_back(few, told_level(few, distance)):
        return light
    lightness = smooth_lightness(light)
    level = told_level(lightness, light.solid_distance)
    if not _given_back(lightness, level):
        return light
    share = min(1.0, np.sqrt(_PROOF_PX / lightness.size))
    small = (
        lightness
        if share == 1.0
        else cv2.resize(lightness, None, fx=share, fy=share, interpolation=cv2.INTER_AREA)
    )
    seen = _glowing(small, level)
    if seen is None:
        return light
    if share < 1.0:
        seen = _glowing(lightness, level)
    return light if seen is None else _filled(light, lightness, *seen)


def _glowing(lightness: np.ndarray, level: float) -> tuple[np.ndarray, np.ndarray] | None:
    """The pieces, (M, N) of uint8, and where their glows reach, (M, N) of bool; None if not proven."""
    dark = cv2.morphologyEx((lightness < -0.5 * level).view(np.uint8), cv2.MORPH_OPEN, _ball(1.0))
    away = cv2.distanceTransform(1 - dark, cv2.DIST_L2, 5)  # a first look; to fill basins takes long
    if not _in_glows(lightness, level, away, _OUT_PX, _FIRST):
        return None
    bodies = _bodies(lightness, level)
    if bodies is None:
        return None
    outwards = _outwards(bodies)
    profile = _profile(lightness, outwards)
    reach = _reach(profile, level)
    if not _in_glows(lightness, level, outwards, reach, _PROVEN) or not _fades_out(profile):
        return None
    return bodies, outwards < reach


def _outwards(bodies: np.ndarray) -> np.ndarray:
    """Distance from the edge of the pieces, px outwards; it runs between pixels, half a pixel from either."""
    beyond, within = (cv2.distanceTransform(mask, cv2.DIST_L2, 5) for mask in (1 - bodies, bodies))
    return np.asarray(np.where(bodies > 0, 0.5 - within, beyond - 0.5))


def _given_back(lightness: np.ndarray, level: float) -> bool:
    """Whether what is brighter than the oil makes up for what is darker, more or less."""
    dark, bright = float(-lightness[lightness < -level].sum()), float(lightness[lightness > level].sum())
    return _BACK[0] * dark < bright < _BACK[1] * dark


def _bodies(lightness: np.ndarray, level: float) -> np.ndarray | None:
    """Places that lie lower than the ring about them, half way down, (M, N) of uint8; None if few."""
    from skimage.morphology import reconstruction

    seed = np.full_like(lightness, lightness.max())
    seed[[0, -1]], seed[:, [0, -1]] = lightness[[0, -1]], lightness[:, [0, -1]]
    depth = (reconstruction(seed, lightness, method="erosion") - lightness).astype(np.float32)
    edged = depth > np.maximum(level, _HALF * cv2.dilate(depth, _ball(_NEAR_PX)))
    whole = cv2.morphologyEx(fill_holes(edged.view(np.uint8)), cv2.MORPH_OPEN, _ball(_SKIN_PX))
    near = _ball(_NEAR_PX)
    middle = _HALF * (
        cv2.dilate(lightness, near) + cv2.erode(lightness, near)
    )  # of the step, where it stands
    grown = (cv2.dilate(whole, _ball(_GROWN_PX)) > 0) & (lightness < middle)
    numbers = numbered((grown | (whole > 0)).view(np.uint8), 8)[1]
    where = np.flatnonzero(numbers)
    order = where[np.argsort(numbers.ravel()[where], kind="stable")]
    sizes = np.bincount(numbers.ravel())
    own = np.split(lightness.ravel()[order], np.cumsum(sizes[1:])[:-1])
    keep = np.array([False, *(len(v) >= _SMALL_PX2 and np.percentile(v, 25) < -_DARKER for v in own)])
    return keep[numbers].view(np.uint8) if keep.sum() >= _FEW else None


def _profile(lightness: np.ndarray, outwards: np.ndarray) -> _Profile:
    steps = np.arange(-_IN_PX, _OUT_PX)
    near = (outwards >= steps[0]) & (outwards < steps[-1])
    which = np.floor(outwards[near] - steps[0]).astype(int)
    values = lightness[near]
    order = np.argsort(which, kind="stable")
    parts = np.split(values[order], np.cumsum(np.bincount(which, minlength=len(steps) - 1))[:-1])
    known = [k for k, part in enumerate(parts) if part.size]
    return _Profile(steps[known] + 0.5, np.array([median(parts[k]) for k in known]))


def _reach(profile: _Profile, level: float) -> float:
    """How far out the glows go, px."""
    out = profile.at > _RING_PX[1]
    gone = profile.at[out & (profile.lightness < 0.25 * level)]
    return _BEYOND * float(gone[0] if gone.size else _OUT_PX / _BEYOND)


def _in_glows(
    lightness: np.ndarray, level: float, outwards: np.ndarray, reach: float, least: tuple[float, float]
) -> bool:
    """Whether bright rings lie all round the pieces, and hardly anything bright elsewhere."""
    ring = (outwards > _RING_PX[0]) & (outwards < _RING_PX[1])
    bright = np.where(lightness > level, lightness, 0.0)
    near = float(bright[outwards < reach].sum())
    around = float((lightness[ring] > 0.5 * level).mean()) if ring.any() else 0.0
    return around > least[0] and near > least[1] * float(bright.sum())


def _fades_out(profile: _Profile) -> bool:
    """Whether the outer side of the glows is softer than the step from them to the pieces.

    A ring of its own, as lit edges or a bright rim, has an outer side as sharp as the picture is.
    """
    at, values = profile
    slope = np.gradient(values, at)
    peak = int(np.argmax(np.where((at > 0) & (at < 2 * _RING_PX[1]), values, -np.inf)))
    inner, outer = slice(0, peak + 1), slice(peak, None)
    step = values[peak] - values[inner].min()
    rise, fall = slope[inner].max(), -slope[outer].min()
    return bool(fall > 0 and rise > 0 and values[peak] / fall > _SOFTER * step / rise)


def _filled(light: Light, lightness: np.ndarray, bodies: np.ndarray, near: np.ndarray) -> Light:
    """Light with one tone within the pieces, and nothing of the glows about them."""
    inside = bodies > 0
    # what is seen is the step from the glow to the piece
    step = np.float32(np.percentile(lightness[inside], 25) - np.percentile(lightness[near & ~inside], 90))
    per_step = light.solid_distance[near].sum() / max(float(np.abs(lightness[near]).sum()), 1e-6)
    strongest = np.float32(per_step * -step)
    soft = cv2.GaussianBlur(bodies.astype(np.float32), (0, 0), SIGMA_PX)
    changed = (soft > 0.01) | (near & (lightness > 0))
    delta, distance = light.delta.copy(), light.solid_distance.copy()
    delta[changed] = 0.0
    delta[..., 0][changed] = step * soft[changed]
    distance[changed] = strongest * soft[changed]
    return replace(light, delta=delta, solid_distance=distance, contrast="glows")


def _ball(radius_px: float) -> np.ndarray:
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (int(2 * radius_px) + 1,) * 2))
