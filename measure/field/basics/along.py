"""Marks made along lines that cross a picture at an angle."""

from collections.abc import Callable

import cv2
import numpy as np


def along(
    kinds: np.ndarray, angle: float, mark: Callable[..., np.ndarray], *others: np.ndarray
) -> np.ndarray:
    """Mark pixels by what lies before and after them along lines at an angle.

    Parameters
    ----------
    kinds : (M, N) ndarray of uint8
        What the pixels are; 0 beyond the picture.
    angle : float
        Direction of the lines, radians from x towards y.
    mark : callable
        Takes kinds of pixels whose rows run along the lines, and the others; returns a mark of each, uint8.
    *others : (M, N) ndarray of float32
        Values of the pixels.

    Returns
    -------
    (M, N) ndarray of bool
    """
    rows, cols = kinds.shape
    turn: np.ndarray = cv2.getRotationMatrix2D((cols / 2, rows / 2), np.degrees(angle), 1.0)
    corners = np.array([[0, 0, 1], [cols, 0, 1], [0, rows, 1], [cols, rows, 1]], float) @ turn.T
    size = tuple(int(v) for v in np.ceil(np.ptp(corners, axis=0)) + 2)
    turn[:, 2] -= corners.min(axis=0) - 1
    turned = (cv2.warpAffine(values, turn, size, flags=cv2.INTER_LINEAR) for values in others)
    marked = mark(cv2.warpAffine(kinds, turn, size, flags=cv2.INTER_NEAREST), *turned)
    back = cv2.warpAffine(marked, turn, (cols, rows), flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP)
    return np.asarray(back > 0)
