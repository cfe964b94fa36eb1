"""Straight thin strokes that run across one direction of a picture."""

from dataclasses import dataclass, replace

import cv2
import numpy as np

_RUN_PX = 13  # brightness is averaged along a stroke over this length
_LINE_SIGMA_PX = 1.4
_LONG_PX = 20  # shortest stroke kept; the averaging itself lengthens a stroke
_MOST = 3000


@dataclass(frozen=True)
class Strokes:
    """Strokes in a turned frame whose x axis runs across them.

    Attributes
    ----------
    x_px, slope : (K,) ndarray
        Place at the middle of the stroke, and change of x along y.
    top_px, bottom_px, strength : (K,) ndarray
    sign : (K,) ndarray
        +1 bright strokes, -1 dark ones.
    to_frame : (2, 3) ndarray
        From the picture given to the turned frame.
    """

    x_px: np.ndarray
    slope: np.ndarray
    top_px: np.ndarray
    bottom_px: np.ndarray
    strength: np.ndarray
    sign: np.ndarray
    to_frame: np.ndarray

    @property
    def middle_px(self) -> np.ndarray:
        """Place along the stroke, (K,)."""
        return (self.top_px + self.bottom_px) / 2

    def select(self, chosen: np.ndarray) -> "Strokes":
        """Return those chosen by mask or index."""
        columns = ("x_px", "slope", "top_px", "bottom_px", "strength", "sign")
        return replace(self, **{name: getattr(self, name)[chosen] for name in columns})


def turn(shape: tuple[int, int], normal_deg: float) -> tuple[np.ndarray, tuple[int, int]]:
    """Return the (2, 3) matrix that turns ``normal_deg`` to the right, and the (width, height) it needs."""
    a = np.deg2rad(normal_deg)
    rotation = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    height, width = shape
    corners = np.array([[0, 0], [width, 0], [0, height], [width, height]], float) @ rotation.T
    low, high = corners.min(0), corners.max(0)
    width_px, height_px = (int(np.ceil(v)) for v in high - low)
    return np.column_stack([rotation, -low]), (width_px, height_px)


def find_strokes(flat: np.ndarray, normal_deg: float) -> Strokes:
    """Find straight thin strokes across a direction, dark and bright.

    Parameters
    ----------
    flat : (M, N) ndarray of float32
    normal_deg : float
        Direction across the strokes; right within about two degrees.
    """
    matrix, size = turn(flat.shape, normal_deg)
    # cv2 counts from pixel centres, this package from the corner of the first pixel
    half = matrix.copy()
    half[:, 2] += matrix[:, :2] @ [0.5, 0.5] - 0.5
    turned = cv2.warpAffine(flat, half, size, flags=cv2.INTER_LINEAR)
    filled = cv2.warpAffine(np.ones_like(flat), half, size, flags=cv2.INTER_NEAREST)
    inside = cv2.erode(filled, np.ones((5, 9), np.uint8), borderValue=0) > 0
    response = _line_response(turned)
    spread = float(np.percentile(np.abs(response[inside][::7]), 40)) / 0.524 if inside.any() else 0.0
    level = max(4.5 * spread, 0.02 * float(np.abs(response).max()), 1e-7)
    parts = [_strokes_of_sign(response * sign, inside, level) for sign in (1, -1)]
    x, slope, top, bottom, strength = (np.concatenate(pair) for pair in zip(*parts, strict=True))
    signs = np.repeat([1, -1], [len(parts[0][0]), len(parts[1][0])])
    strongest = np.argsort(-strength * (bottom - top))[:_MOST]
    return Strokes(x, slope, top, bottom, strength, signs, matrix).select(np.sort(strongest))


def _line_response(turned: np.ndarray) -> np.ndarray:
    t = np.arange(-5, 6)
    across = (1 - (t / _LINE_SIGMA_PX) ** 2) * np.exp(-0.5 * (t / _LINE_SIGMA_PX) ** 2)
    across -= across.mean()
    along = np.ones(_RUN_PX) / _RUN_PX
    return cv2.sepFilter2D(turned, cv2.CV_32F, across / np.abs(across).sum(), along)


def _strokes_of_sign(response: np.ndarray, inside: np.ndarray, level: float) -> tuple[np.ndarray, ...]:
    """Link crests of the response from row to row; return x, slope, top, bottom, strength."""
    crest = np.zeros(response.shape, np.uint8)
    middle = response[:, 1:-1]
    crest[:, 1:-1] = (middle > level) & (middle > response[:, :-2]) & (middle >= response[:, 2:])
    crest &= inside.view(np.uint8)
    count, labels = cv2.connectedComponents(cv2.dilate(crest, np.ones((3, 1), np.uint8)), connectivity=8)
    y, x = np.nonzero(crest)
    if not len(x):
        return tuple(np.zeros(0) for _ in range(5))
    label = labels[y, x]
    left, here, right = (response[y, x + d] for d in (-1, 0, 1))
    bend = left - 2 * here + right
    exact = x + 0.5 + np.where(bend < 0, 0.5 * (left - right) / np.minimum(bend, -1e-12), 0)
    return _straight(label, exact, y + 0.5, here, count)


def _straight(label: np.ndarray, x: np.ndarray, y: np.ndarray, strength: np.ndarray, count: int) -> tuple:
    """Fit a line to each chain of crests; keep the long, full and straight ones."""
    number = np.maximum(np.bincount(label, minlength=count), 1)

    def mean(values: np.ndarray) -> np.ndarray:
        return np.bincount(label, values, count) / number

    mx, my = mean(x), mean(y)
    dx, dy = x - mx[label], y - my[label]
    slope = mean(dx * dy) / np.maximum(mean(dy * dy), 1e-9)
    off = np.sqrt(mean((dx - slope[label] * dy) ** 2))
    top, bottom = np.full(count, np.inf), np.full(count, -np.inf)
    np.minimum.at(top, label, y - 0.5)
    np.maximum.at(bottom, label, y + 0.5)
    top[np.isinf(top)], bottom[np.isinf(bottom)] = 0.0, 0.0  # label of the ground: no crest
    long = bottom - top
    keep = (long >= _LONG_PX) & (number >= 0.6 * long) & (off < 0.9) & (np.abs(slope) < 0.12)
    middle = mx + slope * ((top + bottom) / 2 - my)
    return tuple(v[keep] for v in (middle, slope, top, bottom, mean(strength)))
