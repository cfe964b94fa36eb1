"""Marks of an outline that tell kinds apart: how round it is, how sharp its corners, how even its width."""

from collections.abc import Sequence

import numpy as np

from measure.field.basics.quick import quantile
from measure.field.basics.shape import resampled

_POINTS = 64
_CORNER_POINTS = 4  # a corner is a turn within a sixteenth of the outline
_CORNERS = 4
_ARC, _ROUNDS = 0.7, 6  # share of an outline that must lie on a circle, and rounds to find which
_SAME_SIZE = 0.2  # radius of that circle against the outline's own
_CELLS, _FINEST = 16.0, 48.0  # cells across the width looked for, and fewest across the whole piece


def roundness(outlines: Sequence[np.ndarray]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Distance of outlines from a circle and from an ellipse, and their corners.

    Returns
    -------
    off_circle : (K,) ndarray
        Standard deviation of the radius about the middle, as a share of the mean radius.
    off_ellipse : (K,) ndarray
        The same after the outline was stretched to equal second moments along and across.
    corners : (K,) ndarray
        Turning in the four sharpest sixteenths of the outline, as a share of a full turn: a quarter for
        a circle, nearly one for a square.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    >>> off_circle, off_ellipse, corners = roundness([np.c_[30 * np.cos(t), 20 * np.sin(t)]])
    >>> bool(off_circle[0] > 0.1), bool(off_ellipse[0] < 0.03)
    (True, True)
    """
    if not len(outlines):
        return np.zeros(0), np.zeros(0), np.zeros(0)
    curve = _curves(outlines)
    moments, axes = np.linalg.eigh(_second_moments(curve))
    even = np.einsum("kpi,kij->kpj", curve, axes) / np.sqrt(np.maximum(moments, 1e-9))[:, None, :]
    return _unevenness(curve), _unevenness(even), _corners(curve)


def corner_share(outline: np.ndarray) -> float:
    """Corners of one outline, (P, 2), as `roundness` tells them."""
    return float(_corners(_curves([outline]))[0])


def _curves(outlines: Sequence[np.ndarray]) -> np.ndarray:
    """Even points along outlines, about the middle of each, (K, 64, 2)."""
    curve = resampled(outlines, _POINTS)
    # what single pixels do to an outline is taken off, so that small pieces are not called rough
    curve = (_turned(curve, 1) + 2.0 * curve + _turned(curve, -1)) / 4.0
    middle: np.ndarray = curve.mean(axis=1, keepdims=True)
    return curve - middle


def off_arc(outline: np.ndarray) -> float:
    """Distance from a circle of that seventy hundredths of an outline which fits one best.

    A disc that another piece covers in part still shows an arc.

    Parameters
    ----------
    outline : (P, 2) ndarray

    Returns
    -------
    float
        Root mean square distance as a share of the radius; infinite where the circle is not the outline's.
    """
    curve = resampled([outline], _POINTS)[0]
    curve = curve - curve.mean(axis=0)
    size = np.hypot(*curve.T).mean()
    used = np.ones(len(curve), dtype=bool)
    radius, away = size, np.zeros(len(curve))
    system, squares = np.c_[2.0 * curve, np.ones(len(curve))], (curve**2).sum(axis=1)
    for _ in range(_ROUNDS):
        (x, y, rest), *_ = np.linalg.lstsq(system[used], squares[used], rcond=None)
        radius = np.sqrt(max(rest + x**2 + y**2, 1e-9))
        away = np.abs(np.hypot(curve[:, 0] - x, curve[:, 1] - y) - radius)
        used = away <= quantile(away, _ARC)
    own = abs(radius / max(size, 1e-9) - 1.0) < _SAME_SIZE
    return float(np.sqrt((away[used] ** 2).mean()) / radius) if own else np.inf


def _second_moments(curve: np.ndarray) -> np.ndarray:
    """Second moments of the area within each outline, (K, 2, 2); of an ellipse they give back its axes."""
    after = np.roll(curve, -1, axis=1)
    cross = curve[..., 0] * after[..., 1] - curve[..., 1] * after[..., 0]
    both = curve + after
    squares = sum(np.einsum("kp,kpi,kpj->kij", cross, c, c) for c in (curve, after, both)) / 24.0
    area = np.where(cross.sum(axis=1) == 0.0, 1.0, cross.sum(axis=1) / 2.0)
    return squares / area[:, None, None]


def _unevenness(curve: np.ndarray) -> np.ndarray:
    radius = np.hypot(curve[..., 0], curve[..., 1])
    return radius.std(axis=1) / np.maximum(radius.mean(axis=1), 1e-9)


def _turned(curve: np.ndarray, by: int) -> np.ndarray:
    """Points of closed curves, (K, P, ...), moved on by some places; a roll without its preparation."""
    return np.concatenate([curve[:, -by:], curve[:, :-by]], axis=1)


def _corners(curve: np.ndarray) -> np.ndarray:
    z = curve[..., 0] + 1j * curve[..., 1]
    step = _turned(z, -1) - z
    before = _turned(step, 1)
    turn = np.angle(step * np.conj(np.where(before == 0, 1.0, before)))
    turn = turn * np.sign(turn.sum(axis=1, keepdims=True))
    # a corner's turn from each point on; the curve goes on behind its end
    ahead = np.concatenate([turn, turn[:, : _CORNER_POINTS - 1]], axis=1)
    near = np.zeros(turn.shape, turn.dtype)
    for i in range(_CORNER_POINTS):
        near += ahead[:, i : i + turn.shape[1]]
    rows, total = np.arange(len(near))[:, None], np.zeros(len(near))
    about = np.arange(1 - _CORNER_POINTS, _CORNER_POINTS)
    for _ in range(_CORNERS):
        sharpest = near.argmax(axis=1)[:, None]
        total += near[rows, sharpest][:, 0]
        near[rows, (sharpest + about) % _POINTS] = -np.pi
    return np.clip(total / (2.0 * np.pi), 0.0, 1.5)


def widest_px(outline: np.ndarray, thin_px: float) -> float:
    """Diameter of the largest circle that fits into an outline.

    Parameters
    ----------
    outline : (P, 2) ndarray
    thin_px : float
        About its width; it sets how finely it is looked at.
    """
    depth, fine = _depths(outline, thin_px)
    return 2.0 * max(float(depth.max()) - 1.0, 0.5) / fine


def wide_share(outline: np.ndarray, thin_px: float, wide_px: float) -> float:
    """Share of an outline that circles of a diameter fill which fit into it.

    Parameters
    ----------
    outline : (P, 2) ndarray
    thin_px : float
        About its width, as for `widest_px`.
    wide_px : float
        The diameter.
    """
    import cv2

    depth, fine = _depths(outline, thin_px)
    middles = (depth >= 0.5 * wide_px * fine + 1.0).view(np.uint8)
    if not middles.any():
        return 0.0
    away = cv2.distanceTransform(1 - middles, cv2.DIST_L2, 5)
    return float((away[depth > 0] <= 0.5 * wide_px * fine).mean())


def _depths(outline: np.ndarray, thin_px: float) -> tuple[np.ndarray, float]:
    """Distance from the border of an outline, in cells, and cells a px."""
    import cv2

    low = outline.min(axis=0)
    size = np.ptp(outline, axis=0)
    fine = float(np.clip(_CELLS / max(thin_px, 1e-3), _FINEST / max(float(size.max()), 1.0), 6.0))
    points = np.round(((outline - low) * fine + 1.5) * 16).astype(np.int32)
    mask = np.zeros(tuple(np.ceil(size[::-1] * fine).astype(int) + 4), np.uint8)
    cv2.fillPoly(mask, [points.reshape(-1, 1, 2)], 1, shift=4)
    # every cell the outline crosses was filled, and distances end at the middle of the next one
    return cv2.distanceTransform(mask, cv2.DIST_L2, 5), fine


def box_share(outline: np.ndarray) -> float:
    """Share of its smallest box that an outline, (P, 2), fills: 1 for a rectangle, pi / 4 for any oval."""
    import cv2

    points = np.ascontiguousarray(outline, dtype=np.float32)
    wide, high = cv2.minAreaRect(points)[1]
    return float(cv2.contourArea(points) / max(wide * high, 1e-9))
