"""Where the outer edge of a rim truly lies, read from its profile across the outline.

A rim hardly wider than the blur never reaches its full contrast, so its edge lies inside the place where
half of it is seen. How wide it looks and the blur of the picture tell how wide it is: a strip blurred by a
Gaussian has a closed form. The blur is taken from the bodies of the same picture, within what the rim's own
flank allows; the flank alone cannot tell a sharp wide rim from a blurred thin one.
"""

from functools import lru_cache

import cv2
import numpy as np
from scipy.special import ndtr

_STEP_PX = 0.25
_OUT_PX = 5.0
_STRIP_SLOPE, _EDGE_SLOPE = 0.6065, 0.3989  # slope times sigma over height: of a line, and of an edge
_HALF = 0.5
_STRONG = 0.55  # of the rim's height, from which a place speaks
_OUTSIDE, _FREE = 6, 0.35  # samples from outside, and their most over the rim's height, where it is free
_LEAST_PLACES = 12
_LINE_WIDTH = 2.355  # width of a line at half height, in sigma
_SOFTER = 1.1  # blur read from bodies over the most the rim's flank allows, from which it is not believed
_MOST_SHIFT_PX = 1.0
_MOST_SHARE = 0.4  # of the width the rim looks


def profiles(field: np.ndarray, outline: np.ndarray, depth_px: float) -> np.ndarray:
    """Values of a field across an outline, at each of its points.

    Parameters
    ----------
    field : (M, N) ndarray of float32
    outline : (P, 2) ndarray
        In the field's coordinates, about one point each px.
    depth_px : float
        How far inwards; outwards it is 5 px.

    Returns
    -------
    values : (P, Q) ndarray of float32
        From outside inwards, every quarter of a px.
    """
    ahead = np.roll(outline, -1, axis=0) - np.roll(outline, 1, axis=0)
    length = np.maximum(np.hypot(ahead[:, 0], ahead[:, 1]), 1e-6)
    x, y = outline.T
    twice = float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))
    inward = np.column_stack([-ahead[:, 1], ahead[:, 0]]) / length[:, None] * (1.0 if twice > 0 else -1.0)
    depth = np.arange(-_OUT_PX, depth_px + _STEP_PX, _STEP_PX)
    places = outline[:, None, :] + depth[None, :, None] * inward[:, None, :] - 0.5
    x, y = places[..., 0].astype(np.float32), places[..., 1].astype(np.float32)
    return cv2.remap(field, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)


def edge_sigma(values: np.ndarray) -> float | None:
    """Blur of a body's edge, sigma in px, from its profiles; None where there is no clear step."""
    line = np.median(values, axis=0)
    height = float(line.max() - line[:4].mean())
    steepest = float(np.gradient(line, _STEP_PX).max())
    return _EDGE_SLOPE * height / steepest if height > 0 and steepest > 0 else None


def rim_shift(values: np.ndarray, height: float, sigma_px: float | None) -> float:
    """How far inside its outline the outer edge of a rim lies.

    Parameters
    ----------
    values : (P, Q) ndarray
        Profiles across the outline.
    height : float
        Usual height of the rim.
    sigma_px : float or None
        Blur of the picture; None where it is not known.

    Returns
    -------
    shift : float
        px, positive inwards; 0 where too little of the rim is seen.
    """
    strong = values.max(axis=1) >= _STRONG * height
    strong &= values[:, :_OUTSIDE].mean(axis=1) < _FREE * height  # no neighbour there
    if strong.sum() < _LEAST_PLACES:
        return 0.0
    line = np.median(values[strong] / values[strong].max(axis=1, keepdims=True), axis=0)
    top = int(line.argmax())
    line = line / line[top]
    outer = _crossing(line[: top + 1][::-1])
    if outer is None:
        return 0.0
    inner = _crossing(line[top:])
    depth_of_top = top * _STEP_PX - _OUT_PX
    at = depth_of_top - outer
    deepest = len(line) * _STEP_PX - _OUT_PX
    looks = outer + (max(deepest - depth_of_top, outer) if inner is None else inner)
    steepest = float(np.gradient(line[: top + 1], _STEP_PX).max()) if top > 1 else 1.0
    own = (_EDGE_SLOPE / steepest, _STRIP_SLOPE / steepest)
    # bodies much softer than the rim itself are soft of their own and tell nothing of the blur
    sigma = own[0]
    if sigma_px is not None and sigma_px < _SOFTER * own[1]:
        sigma = float(np.clip(sigma_px, *own))
    shift = at + strip_inset(looks, sigma)
    most = max(_MOST_SHIFT_PX, _MOST_SHARE * looks)
    return float(np.clip(shift, -most, most))


def strip_inset(looks_px: float, sigma_px: float) -> float:
    """How far inside the place of half height the edge of a blurred strip lies, px.

    Parameters
    ----------
    looks_px : float
        Width of the strip at half its height.
    sigma_px : float
        Standard deviation of the blur.
    """
    looks, inset = _strips()
    ratio = looks_px / max(sigma_px, 1e-3)
    return float(np.interp(ratio, looks, inset)) * sigma_px


@lru_cache(maxsize=1)
def _strips() -> tuple[np.ndarray, np.ndarray]:
    """Width at half height and inset of the edge of strips blurred with sigma 1, by rising width."""
    width = np.geomspace(0.3, 30.0, 120)
    x = np.linspace(0.0, 20.0, 4001)  # from the middle outwards
    seen = ndtr(x + 0.5 * width[:, None]) - ndtr(x - 0.5 * width[:, None])
    looks = 2.0 * 0.005 * (seen >= 0.5 * seen[:, :1]).sum(axis=1)
    return looks, 0.5 * (looks - width)


def _crossing(line: np.ndarray) -> float | None:
    """Distance from the start at which a falling line comes below a half, px."""
    below = np.flatnonzero(line < _HALF)
    if not below.size:
        return None
    k = int(below[0])
    return _STEP_PX * (k - 1 + (line[k - 1] - _HALF) / max(line[k - 1] - line[k], 1e-6))
