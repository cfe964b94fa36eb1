"""See-through pieces: fill what a rim encloses, but not the oil between touching pieces.

A rim encloses the inside of one convex piece, so the hole is convex as well; the oil caught between several
touching pieces is bounded by their backs, so that hole is concave (a curved triangle or star).
"""

import cv2
import numpy as np

_CONVEX_HOLE = 0.86  # solidity above which a hole is the inside of a rim
_SPECK_SHARE = 0.02  # holes below this share of the piece are texture whatever their shape


def fill_holes(mask: np.ndarray) -> np.ndarray:
    """Return the mask with every hole filled, (M, N) uint8."""
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    filled = np.zeros_like(mask)
    cv2.drawContours(filled, contours, -1, 1, cv2.FILLED)
    return filled


def fill_insides(mask: np.ndarray, oil_like: np.ndarray) -> np.ndarray:
    """Fill the holes that are the inside of a piece.

    Parameters
    ----------
    mask : (M, N) ndarray of uint8
        Pieces, 1 inside.
    oil_like : (M, N) ndarray of bool
        Pixels that cannot be told from oil.

    Returns
    -------
    filled : (M, N) ndarray of uint8
    """
    holes = fill_holes(mask) - mask
    if not holes.any():
        return mask
    count, labels, stats, _ = cv2.connectedComponentsWithStats(holes, connectivity=4)
    filled = mask.copy()
    for k in range(1, count):
        x, y, w, h, n = stats[k]
        box = np.s_[y : y + h, x : x + w]
        hole = labels[box] == k
        if _is_inside(hole, oil_like[box], n, int(mask.sum())):
            filled[box][hole] = 1
    return filled


def _is_inside(hole: np.ndarray, oil_like: np.ndarray, n: int, piece: int) -> bool:
    if n <= max(6, _SPECK_SHARE * piece) or oil_like[hole].mean() < 0.3:
        return True
    return solidity(hole.astype(np.uint8)) > _CONVEX_HOLE


def solidity(mask: np.ndarray) -> float:
    """Area over hull area of a mask, counted in pixels so that small masks are not punished."""
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not contours:
        return 0.0
    hull = cv2.convexHull(np.concatenate(contours))
    full = np.zeros(mask.shape, np.uint8)
    cv2.fillConvexPoly(full, hull, 1)
    return float(mask.sum()) / max(1.0, float(full.sum()))
