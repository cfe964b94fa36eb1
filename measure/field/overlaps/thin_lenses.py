"""Whether a faint step inside a neighbour is a piece that goes on in it where both are thin.

Pieces are thinner towards their edges, and a narrow place loses density to blur. So where two lie over one
another by a little only, less is added than either has elsewhere, and what is added is no proof by itself:
the neighbour's own clouds may be as dense. A piece that goes on has an edge there as sharp as it is high, and
is fuller with it; a cloud fades.
"""

import cv2
import numpy as np

from measure.field.basics.masks import SQUARE, solidity
from measure.field.basics.quick import median

# log-odds by logistic regression on 331 steps in drawn fields of two hands, real pieces and cells: with whole
# fields left out in turn, 47 of 121 true ones and 6 of 210 others are kept
_CONSTANT, _HEIGHT, _FULLER, _SHARP, _SIZE = 1.2, -2.0, 19.6, 7.8, 0.43
_LEAST = 0.85
_LOWEST, _MOST_FULLER, _SHARPEST = 0.05, 0.2, 1.0
_NO_EDGE = 0.15  # sharpness taken where no edge lies inside the neighbour
_FIVE = np.ones((5, 5), np.uint8)


def goes_on_thinly(mask: np.ndarray, goes_on: np.ndarray, inside: np.ndarray, share: np.ndarray) -> bool:
    """Whether what was found of a piece in a neighbour is one with it, though it adds little.

    Parameters
    ----------
    mask, goes_on : (M, N) ndarray of uint8
        The piece as it was, and with what was found.
    inside : (M, N) ndarray of uint8
        The neighbour, without what lies along the piece.
    share : (M, N) ndarray of float32
        What is added to the neighbour, over the piece's density.
    """
    lens = goes_on & inside
    area = cv2.countNonZero(lens)
    core = cv2.erode(lens, SQUARE)
    height = median(share[(core if core.any() else lens) > 0]) if area else 0.0
    height = max(height, _LOWEST)
    fuller = float(np.clip(solidity(goes_on) - solidity(mask), -_MOST_FULLER, _MOST_FULLER))
    size = min(area / max(1, cv2.countNonZero(goes_on) - area), 2.0)
    odds = (
        _CONSTANT
        + _HEIGHT * abs(float(np.log(height)))
        + _FULLER * fuller
        + _SHARP * min(_sharpness(lens, inside, share, height), _SHARPEST)
        + _SIZE * float(np.log(max(size, 1e-3)))
    )
    return odds > _LEAST


def _sharpness(lens: np.ndarray, inside: np.ndarray, share: np.ndarray, height: float) -> float:
    """Slope of what is added along the edge of a place in a neighbour, per px, over its height."""
    border: np.ndarray = cv2.dilate(lens, SQUARE) - cv2.erode(lens, SQUARE)
    border = border * cv2.erode(inside, _FIVE)
    if not border.any():
        return _NO_EDGE
    across = cv2.Sobel(share, cv2.CV_32F, 1, 0, scale=1 / 8)
    down = cv2.Sobel(share, cv2.CV_32F, 0, 1, scale=1 / 8)
    return median(np.hypot(across, down)[border > 0]) / height
