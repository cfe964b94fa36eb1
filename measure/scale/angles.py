"""The directions that fine lines of a picture run across."""

import cv2
import numpy as np

_BINS = 360  # of half a degree over 180


def line_normals(flat: np.ndarray, most: int = 4, power: float = 0.5) -> list[float]:
    """Return the directions across the lines, degrees in [0, 180), the commonest first.

    A structure tensor gives each place its direction; places vote by how clearly they have one.

    Parameters
    ----------
    flat : (M, N) ndarray of float32
        From `measure.scale.flat.flatten`.
    most : int
        At most so many directions.
    power : float
        How much more a strong line counts than a faint one; less for faint lines among strong dirt.

    Notes
    -----
    Angles turn from the x axis (right) towards the y axis (down).
    """
    smooth = cv2.GaussianBlur(flat, (0, 0), 1.2)
    gx, gy = cv2.Scharr(smooth, cv2.CV_32F, 1, 0), cv2.Scharr(smooth, cv2.CV_32F, 0, 1)
    xx, yy, xy = (cv2.blur(v, (9, 9)) for v in (gx * gx, gy * gy, gx * gy))
    difference = np.hypot(xx - yy, 2 * xy)
    total = xx + yy + 1e-12
    votes = (difference / total) ** 2 * difference**power
    angle = (0.5 * np.degrees(np.arctan2(2 * xy, xx - yy))) % 180
    bins = (angle * (_BINS / 180)).astype(np.int32) % _BINS
    counted = np.bincount(bins.ravel(), votes.ravel().astype(float), _BINS)
    around = np.concatenate([counted[-8:], counted, counted[:8]])
    kernel = np.exp(-0.5 * (np.arange(-8, 9) / 2.0) ** 2)
    smooth = np.convolve(around, kernel / kernel.sum(), "valid")
    counted = smooth - np.median(smooth)
    peak = (counted > np.roll(counted, 1)) & (counted >= np.roll(counted, -1)) & (counted > 0)
    order = [i for i in np.argsort(-counted) if peak[i]]
    return [_refined(counted, i) for i in order[:most] if counted[i] > 0.08 * counted[order[0]]]


def _refined(counted: np.ndarray, i: int) -> float:
    left, middle, right = counted[i - 1], counted[i], counted[(i + 1) % _BINS]
    bend = left - 2 * middle + right
    shift = 0.5 * (left - right) / bend if bend else 0.0
    return ((i + 0.5 + shift) * 180 / _BINS) % 180
