"""Pull a hand-drawn outline to the half-contrast edge near it."""

import numpy as np

from measure.field.basics.shape import resampled
from measure.field.ground.light import Light

_TURNS = 3  # each turn starts from the line of the last, with half its reach
_NOISE_FLOOR = 0.6  # CIELAB
_FAINTEST = 4.0  # in units of noise: below this there is no edge to go to


def snapped(outline: np.ndarray, light: Light, reach_px: float) -> np.ndarray:
    """Return the outline moved along its normals to where contrast is half its height.

    Where no edge lies within reach, or there is none, the drawn line stays; a median along the outline keeps
    single points from jumping to something else.

    Parameters
    ----------
    outline : (P, 2) ndarray
        x and y in px.
    light : Light
    reach_px : float
        How far off the drawn line may be.

    Returns
    -------
    (N, 2) ndarray of float32
    """
    from scipy.ndimage import gaussian_filter1d, median_filter

    count = int(np.clip(np.hypot(*np.diff(outline, axis=0, append=outline[:1]).T).sum(), 24, 2000))
    points = resampled([outline], count)[0]
    reach = float(reach_px)
    for _ in range(_TURNS):
        normal = _inward(points)
        offset, sure = _offsets(points, normal, light, reach)
        if not sure.any():
            break
        offset = np.where(sure, offset, np.nan)
        offset = _filled(offset)
        offset = median_filter(offset, size=min(9, 2 * (count // 8) + 1), mode="wrap")
        offset = gaussian_filter1d(offset, 1.0, mode="wrap")
        points = resampled([points + normal * offset[:, None]], count)[0]
        reach = max(2.0, reach / 2.0)
    return points.astype(np.float32)


def _inward(points: np.ndarray) -> np.ndarray:
    ahead, behind = np.roll(points, -2, axis=0), np.roll(points, 2, axis=0)
    tangent = ahead - behind
    normal = np.stack([-tangent[:, 1], tangent[:, 0]], axis=1)
    normal /= np.maximum(np.hypot(*normal.T), 1e-9)[:, None]
    following = np.roll(points, -1, axis=0)
    turning = (points[:, 0] * following[:, 1] - points[:, 1] * following[:, 0]).sum()
    return normal if turning >= 0 else -normal


def _offsets(
    points: np.ndarray, normal: np.ndarray, light: Light, reach: float
) -> tuple[np.ndarray, np.ndarray]:
    """Offset inwards of the half-contrast crossing nearest to the line, and where there is one."""
    import cv2

    along = np.arange(-1.5 * reach - 1.0, 1.5 * reach + 1.01, 0.25)
    where = (points[:, None] + normal[:, None] * along[None, :, None] - 0.5).astype(np.float32)
    colour = cv2.remap(
        light.delta, where[..., 0], where[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    strength = np.linalg.norm(colour / np.maximum(light.noise, _NOISE_FLOOR), axis=2)
    inner = (along > -0.5 * reach) & (along <= 1.5 * reach)
    top = np.where(inner, strength, 0.0).max(axis=1)
    outside = np.median(strength[:, along < -reach], axis=1)
    # one half-contrast for the piece, eased towards each place's own
    level = 0.5 * (0.5 * (np.median(top) + top) + np.minimum(outside, 0.5 * top))
    rising = (strength[:, :-1] < level[:, None]) & (strength[:, 1:] >= level[:, None])
    place = along[:-1] + 0.25 * (level[:, None] - strength[:, :-1]) / np.where(
        strength[:, 1:] > strength[:, :-1], strength[:, 1:] - strength[:, :-1], 1.0
    )
    distance = np.where(rising & (np.abs(place) <= reach), np.abs(place), np.inf)
    nearest = distance.argmin(axis=1)
    rows = np.arange(len(points))
    sure = np.isfinite(distance[rows, nearest]) & (top - outside > _FAINTEST)
    return np.where(sure, place[rows, nearest], 0.0), sure


def _filled(offset: np.ndarray) -> np.ndarray:
    """Fill unknown offsets from their neighbours round the outline."""
    known = np.flatnonzero(np.isfinite(offset))
    return np.interp(np.arange(len(offset)), known, offset[known], period=len(offset))
