"""Where the outer edge of a rim truly lies, read from its profile across the outline.

A rim hardly wider than the blur never reaches its full contrast, so its edge lies inside the place where
half of it is seen. How wide it looks and the blur of the picture tell how wide it is: a strip blurred by a
Gaussian has a closed form. The flank alone cannot tell a sharp wide rim from a blurred thin one. Two things
can: the bodies of the same picture show which blurs to expect, and blur takes away none of a rim's darkness,
it only spreads it, so among rims of one stuff the wide faint ones are those out of focus.
"""

from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple

import cv2
import numpy as np

from measure.field.basics.compiled import ndtr
from measure.field.basics.quick import quantile, turned

_STEP_PX = 0.25
_OUT_PX = 5.0
_STRIP_SLOPE, _EDGE_SLOPE = 0.6065, 0.3989  # slope times sigma over height: of a line, and of an edge
_HALF = 0.5
_STRONG = 0.55  # of the rim's usual height, from which a place speaks
_OUTSIDE, _FREE = 6, 0.35  # samples from outside, and their most over the rim's height, where it is free
_BLACK = 0.05  # share of light, below which nothing is seen on a body
_LEAST_PLACES = 12
_OUTERMOST = 0.35  # of the strongest line, from which the outermost is the rim: halos of a lens stay below
_SOFTER = 1.1  # blur read from bodies over the most the rim's flank allows, from which it is not believed
_MOST_SHIFT_PX = 1.0
_MOST_SHARE = 0.4  # of the width the rim looks
_FEW = 4  # bodies that tell the blur, rims that tell the darkness of their stuff
_SHARP, _SOFT = 0.16, 0.84  # quantiles of the blur of bodies: the optics' own, for bodies may be soft by
# themselves, and the softest; half of the way between them is a standard deviation of a normal distribution
_DARKEST = 0.85  # quantile of the darkness of rims that is their stuff's own: gaps only take away
_ALIKE = 0.2  # by how much the darkness of rims of one stuff differs, as a logarithm
_SLOPE_DOUBT = 0.08  # of the slope of a rim's flank, as a logarithm: its inside may be no sharp step
_LEAST_SPREAD = 0.08  # of the blur of pieces in one picture, as a logarithm
_UNKNOWN = 0.3  # the same where no body tells it
_TRIED = np.geomspace(0.5, 8.0, 90)  # sigma, px
_ROUNDS = 6


class RimLine(NamedTuple):
    """A rim as it is seen across the outline of its piece.

    Attributes
    ----------
    at_px : float
        How far inside the outline its outer flank is half as high as the rim.
    looks_px : float
        Its width at half its height.
    height : float
        Change of light on its middle, over the light of the oil.
    steepest : float
        Slope of the outer flank over the height, 1/px.
    """

    at_px: float
    looks_px: float
    height: float
    steepest: float


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
    ahead = turned(outline, -1) - turned(outline, 1)
    length = np.maximum(np.hypot(ahead[:, 0], ahead[:, 1]), 1e-6)
    x, y = outline.T
    twice = float(np.sum(x * turned(y, -1) - y * turned(x, -1)))
    inward = np.column_stack([-ahead[:, 1], ahead[:, 0]]) / length[:, None] * (1.0 if twice > 0 else -1.0)
    depth = np.arange(-_OUT_PX, depth_px + _STEP_PX, _STEP_PX)
    places = outline[:, None, :] + depth[None, :, None] * inward[:, None, :] - 0.5
    x, y = places[..., 0].astype(np.float32), places[..., 1].astype(np.float32)
    return cv2.remap(field, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)


def rim_line(values: np.ndarray) -> RimLine | None:
    """Read a rim from profiles across the outline of its piece.

    Parameters
    ----------
    values : (P, Q) ndarray
        `profiles` of the change of light over that of the oil, dark or bright.

    Returns
    -------
    RimLine or None
        None where too little of the rim is seen.
    """
    strong, height = _strong(values)
    strong &= np.abs(values[:, :_OUTSIDE].mean(axis=1)) < _FREE * height  # no neighbour there
    if strong.sum() < _LEAST_PLACES:
        # on a body a rim takes its share of the body's light, which is the same within and without
        light = np.maximum(1.0 + values[:, :_OUTSIDE].mean(axis=1, keepdims=True), _BLACK)
        values = (1.0 + values) / light - 1.0
        strong, height = _strong(values)
        strong &= np.abs(values[:, -_OUTSIDE:].mean(axis=1)) < _FREE * height
        if strong.sum() < _LEAST_PLACES:
            return None
    line = np.median(values[strong], axis=0)
    # the outermost line is the rim; light it sends inwards may be the stronger one, and of the other sign
    first = int((np.abs(line) >= _OUTERMOST * np.abs(line).max()).argmax())
    line = line * np.sign(line[first])
    ends = np.flatnonzero(line[first:] <= 0)
    top = first + int(line[first:][: ends[0] if ends.size else None].argmax()) if line[first] > 0 else 0
    outer = _crossing(line[: top + 1][::-1] / line[top]) if top > 1 else None
    if outer is None:
        return None
    inner = _crossing(line[top:] / line[top])
    place = top * _STEP_PX - _OUT_PX
    if inner is None:
        inner = max(len(line) * _STEP_PX - _OUT_PX - place, outer)
    steepest = float(np.gradient(line[: top + 1], _STEP_PX).max() / line[top])
    return RimLine(place - outer, outer + inner, float(line[top]), steepest)


def _strong(values: np.ndarray) -> tuple[np.ndarray, float]:
    """Places where a rim is strong, (P,), and its usual height."""
    most = np.abs(values).max(axis=1)
    height = quantile(most, 0.85)
    return most >= _STRONG * height, height


def rim_sigmas(lines: Sequence[RimLine], bodies_px: np.ndarray) -> np.ndarray:
    """Blur of each of the rims of one picture.

    Parameters
    ----------
    lines : sequence of K RimLine
    bodies_px : (B,) ndarray
        Blur of the bodies of the same picture, sigma in px.

    Returns
    -------
    sigma_px : (K,) ndarray
        Within what each rim's own flank allows.
    """
    if not lines:
        return np.zeros(0)
    looks, height, steepest = np.array([line[1:] for line in lines]).T[..., None]
    least, most = _EDGE_SLOPE / steepest, _STRIP_SLOPE / steepest
    usual, spread = _expected(bodies_px, least, most)
    tried = np.log(_TRIED)
    inset, slope = (np.interp(looks / _TRIED, _strips()[0], of) for of in _strips()[1:])
    width = looks - 2.0 * inset * _TRIED
    share = 2.0 * ndtr(0.5 * width / _TRIED) - 1.0  # of its full height, that a strip keeps
    full = np.log(height) - np.log(np.maximum(share, 0.05))
    beyond = np.maximum(np.log(least) - tried, tried - np.log(most))
    cost = ((tried - usual) / spread) ** 2 + 1e4 * np.maximum(beyond, 0.0) ** 2
    cost += ((np.log(steepest) - np.log(slope / _TRIED)) / _SLOPE_DOUBT) ** 2
    best = cost.argmin(axis=1)
    if len(lines) >= _FEW:
        best = np.abs(tried - np.clip(usual, np.log(least), np.log(most))).argmin(axis=1)
        for _ in range(_ROUNDS):
            of_stuff = np.quantile(full[np.arange(len(lines)), best], _DARKEST)
            best = (cost + ((full - of_stuff) / _ALIKE) ** 2).argmin(axis=1)
    return np.clip(_TRIED[best], least[:, 0], most[:, 0])


def _expected(bodies_px: np.ndarray, least: np.ndarray, most: np.ndarray) -> tuple[float, float]:
    """Logarithm of the blur to expect of rims, and its standard deviation.

    Bodies much softer than the rims are soft of their own and tell nothing of the blur. Then it is about that
    of an edge as steep as the rims' flanks.
    """
    if len(bodies_px) >= _FEW:
        usual, high = np.log(np.quantile(bodies_px, (_SHARP, _SOFT)))
        if usual < np.log(_SOFTER * np.median(most)):
            return float(usual), float(max(_LEAST_SPREAD, 0.5 * (high - usual)))
    return float(np.log(np.median(least))), _UNKNOWN


def rim_shift(line: RimLine, sigma_px: float) -> float:
    """How far inside its outline the outer edge of a rim lies, px, positive inwards."""
    shift = line.at_px + strip_inset(line.looks_px, sigma_px)
    most = max(_MOST_SHIFT_PX, _MOST_SHARE * line.looks_px)
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
    return float(_insets(np.asarray(looks_px / max(sigma_px, 1e-3)))) * sigma_px


def _insets(ratio: np.ndarray) -> np.ndarray:
    """`strip_inset` over sigma, for the width a strip looks over sigma."""
    looks, inset, _ = _strips()
    return np.interp(ratio, looks, inset)


@lru_cache(maxsize=1)
def _strips() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Width at half height, inset of the edge and slope over height of strips blurred with sigma 1."""
    width = np.geomspace(0.3, 30.0, 120)
    x = np.linspace(0.0, 20.0, 4001)  # from the middle outwards
    seen = ndtr(x + 0.5 * width[:, None]) - ndtr(x - 0.5 * width[:, None])
    looks = 2.0 * 0.005 * (seen >= 0.5 * seen[:, :1]).sum(axis=1)
    slope = np.abs(np.gradient(seen, x, axis=1)).max(axis=1) / seen[:, 0]
    return looks, 0.5 * (looks - width), slope


def _crossing(line: np.ndarray) -> float | None:
    """Distance from the start at which a falling line comes below a half, px."""
    below = np.flatnonzero(line < _HALF)
    if not below.size:
        return None
    k = int(below[0])
    return _STEP_PX * (k - 1 + (line[k - 1] - _HALF) / max(line[k - 1] - line[k], 1e-6))
