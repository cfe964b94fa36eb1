"""Parts of a piece that differ from the oil the other way round: its shadow on one side, or a bright fringe.

Between a bright piece and its shadow the tone of the oil is crossed within a pixel or two, which closes up
when the picture is smoothed. What lies beyond is told apart by its sign: where it is as strong as a piece, it
becomes one, to be judged by itself; where it is weaker, it is left out.
"""

import cv2
import numpy as np

from measure.field.basics.masks import SQUARE, opened, square
from measure.field.basics.quick import colours_at, median, median_colour

_LEVEL = 0.1  # of the piece's own difference from the oil, the other way round
_SURELY = 0.99  # of it, whatever the last digits are
_THIN_PX = 1.5  # half the width of what blur and sharpening leave along every edge
_OUTSIDE = 0.25  # share of its border that must be the border of the piece; highlights lie inside
_MOST = 0.4  # of the piece; more than that is no shadow of it
_WEAK = 0.6  # of the piece's difference from the oil, below which it is its shadow
_FEW = 0.02  # share of pixels of the other sign below which nothing is looked at


def parted_by_sign(labels: np.ndarray, delta: np.ndarray, least_px2: float) -> tuple[np.ndarray, list[int]]:
    """Leave out parts of the other sign, or give strong ones numbers of their own.

    Parameters
    ----------
    labels : (M, N) ndarray of int32
        Pieces of a component, 1..; 0 elsewhere.
    delta : (M, N, 3) ndarray of float32
        Difference from the oil.
    least_px2 : float
        Smallest area of a part.

    Returns
    -------
    labels : (M, N) ndarray of int32
        The same, with new numbers above the highest one.
    added : list of int
        The new numbers.
    """
    count = int(labels.max())
    out = labels
    added: list[int] = []
    for number in range(1, count + 1):
        own = labels == number
        if not own.any():
            continue
        values = colours_at(delta, own)
        colour = median_colour(values)
        unit = colour / max(float(colour @ colour), 1e-6)
        few = max(_FEW * len(values), least_px2)
        # nearly all pieces have no such part, which their own pixels tell soonest
        if np.count_nonzero(values @ unit < -_SURELY * _LEVEL) < few:
            continue
        along = delta @ unit
        other = own & (along < -_LEVEL)
        if other.sum() < few:
            continue
        for part in _outer_parts(opened(other.view(np.uint8), _THIN_PX), own, least_px2):
            out = out.copy() if out is labels else out
            if -median(along[part]) < _WEAK:
                out[part] = 0
                continue
            added.append(count + 1 + len(added))
            out[part] = added[-1]
    return out, added


def _outer_parts(other: np.ndarray, own: np.ndarray, least_px2: float) -> list[np.ndarray]:
    """Connected parts that lie along the border of a piece."""
    parts, found = cv2.connectedComponents(other, connectivity=4)[1], []
    outside = cv2.dilate((~own).view(np.uint8), square(5), borderType=cv2.BORDER_CONSTANT)
    for k in range(1, int(parts.max()) + 1):
        part = parts == k
        area = np.count_nonzero(part)
        if not least_px2 <= area <= _MOST * np.count_nonzero(own):
            continue
        border = part & (cv2.erode(part.view(np.uint8), SQUARE, borderValue=1) == 0)
        if (outside[border] > 0).mean() >= _OUTSIDE:
            found.append(part)
    return found
