"""A component that one closed edge line runs round is one piece, whatever its inside shows."""

import cv2
import numpy as np

from measure.field.basics.masks import SQUARE, eroded, fill_holes, solidity, square
from measure.field.basics.quick import median, percentile
from measure.field.cuts.cut import cut_by_shape

_SOLID = 0.92  # solidity of the filled component
_PALER, _PALEST = 0.6, 0.65  # three quarters of the inside over the line, and nearly all of it
_LINED, _OF_LINE = 0.93, 0.5  # share of the border at which the line is seen, at this share of its height


def one_rim(low: np.ndarray, field: np.ndarray, width: float) -> np.ndarray | None:
    """Fill a component that one line runs round.

    Parameters
    ----------
    low : (M, N) ndarray of bool
        The component.
    field : (M, N) ndarray of float32
        Colour difference from the oil.
    width : float
        10-90 % width of an edge, px.

    Returns
    -------
    piece : (M, N) ndarray of uint8 or None
        None where it is a cluster, or has no such line.
    """
    whole = fill_holes(low.view(np.uint8))
    reach = int(np.ceil(width))
    inside = eroded(whole, 2.0 * width + 1.0)
    if not inside.any() or solidity(whole) < _SOLID or int(cut_by_shape(whole, 0.5).max()) > 1:
        return None
    inner: np.ndarray = cv2.erode(whole, SQUARE, borderValue=1)
    border = (whole & ~inner & 1) > 0
    if not border.any():
        return None
    ridge = cv2.dilate(np.where(whole > 0, field, 0).astype(np.float32), square(2 * reach + 1))
    line = ridge[border]
    height = median(line)
    shown = field[inside > 0]
    if (line > _OF_LINE * height).mean() < _LINED:
        return None
    if percentile(shown, 75) > _PALER * height or percentile(shown, 95) > _PALEST * height:
        return None
    return whole
