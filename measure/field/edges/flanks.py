"""The flanks of pieces: what stands above half of the plateau beside it, and how wide edges are."""

import cv2
import numpy as np

from measure.field.basics.masks import numbered, square
from measure.field.basics.quick import median
from measure.field.edges.edge import local_plateau, slope

_RIDGE, _FEW_PX = 0.85, 8  # steepness over the highest nearby on the middle of a flank; px that tell a width
_HAZE = 0.3  # height over that of the parts around it, below which a part is haze when rims are looked for


def above_half(
    field: np.ndarray, low: np.ndarray, steep: np.ndarray | None = None
) -> tuple[np.ndarray, float]:
    """Pixels above half of the plateau beside them, and the width of the edges.

    Parameters
    ----------
    field : (M, N) ndarray of float32
        Colour difference from the oil.
    low : (M, N) ndarray of bool
        The component.
    steep : (M, N) ndarray of float32, optional
        Slope of the field, where it is known.

    Returns
    -------
    strong : (M, N) ndarray of uint8
    width : float
        10-90 % width, px.
    """
    inside = np.where(low, field, 0).astype(np.float32)
    width = usual_width(field, inside, low, steep)
    plateau = np.maximum(local_plateau(inside, int(np.ceil(width)) + 1), 1e-3)
    return (low & (field >= 0.5 * plateau)).astype(np.uint8), width


def usual_width(
    field: np.ndarray, inside: np.ndarray, low: np.ndarray, steep: np.ndarray | None = None
) -> float:
    """Width of the edges against the oil, px: where the flank is steepest, for mottle inside is no edge.

    Parameters
    ----------
    field, inside : (M, N) ndarray of float32
        Colour difference from the oil, and the same with 0 outside the component.
    low : (M, N) ndarray of bool
        The component.
    steep : (M, N) ndarray of float32, optional
        Slope of the field, where it is known.
    """
    steep = slope(field) if steep is None else steep
    ridge = steep >= _RIDGE * cv2.dilate(steep, square(5))
    depth = cv2.distanceTransform(low.view(np.uint8), cv2.DIST_L2, 5)
    for reach in (3, 6, 12, 24):
        plateau = np.maximum(local_plateau(inside, reach), 1e-3)
        share = inside / plateau
        flank = (share > 0.35) & (share < 0.65)
        outer = flank & ridge & (depth <= 2 * reach + 2)
        flank = outer if np.count_nonzero(outer) >= _FEW_PX else flank
        ratio = plateau[flank] / np.maximum(steep[flank], 1e-3)
        width = median(ratio) if ratio.size else 2.0
        if width <= 1.3 * reach:
            break
    return min(max(width, 2.0), 32.0)


def without_faint(strong: np.ndarray, field: np.ndarray) -> np.ndarray:
    """Leave out parts far fainter than what lies around them, for the haze in a rim is above half of itself.

    Parameters
    ----------
    strong : (M, N) ndarray of uint8
        Pixels above half of the plateau beside them.
    field : (M, N) ndarray of float32
        Colour difference from the oil.
    """
    count, parts, stats = numbered(strong, 8)
    rims = strong
    for k in range(1, count):
        x, y, w, h = (int(v) for v in stats[k, :4])
        m = 2 * max(w, h)
        box = np.s_[max(0, y - m) : y + h + m, max(0, x - m) : x + w + m]
        own = parts[box] == k
        around = (strong[box] > 0) & ~own
        if np.count_nonzero(around) < _FEW_PX:
            continue
        if median(field[box][own]) < _HAZE * median(field[box][around]):
            rims = rims.copy() if rims is strong else rims
            rims[box][own] = 0
    return rims
