"""Lines that leave what they close round, as fibres that cross do, which make loops.

The line along the side of a crystal turns at its corner. Where fibres close round some oil, each side of the
loop is a stretch of a fibre, which goes on beyond the place where it crosses the next. The rim of another
piece that lies over a crystal leaves it too, but it comes from its inside.
"""

import cv2
import numpy as np

from measure.field.basics.masks import dilated, numbered
from measure.field.basics.quick import percentile

_NEAR_PX, _FAR_PX = 3.0, 8.0  # band round a piece in which lines that leave it are looked for
_ACROSS = 0.6  # share of the band a leaving line runs through
_MARGIN_PX = 10
_WITHIN_PX = 14.0  # from where it leaves, in which a line that crosses the piece is seen inside
_DEEP_PX, _DEEP = (
    2.0,
    3.0,
)  # from the border, and the same over half the width of the line along it: beyond it
_LEAST_PX2 = 5  # of a line


def lines_beyond(piece: np.ndarray, strong: np.ndarray) -> int:
    """Count the places where a line that runs along the border of a piece goes on outside of it.

    Parameters
    ----------
    piece : (M, N) ndarray of uint8
        A convex place with the lines round it.
    strong : (M, N) ndarray of uint8
        Thin lines.
    """
    x, y, w, h = cv2.boundingRect(piece)
    m = _MARGIN_PX
    box = np.s_[max(0, y - m) : y + h + m, max(0, x - m) : x + w + m]
    piece, strong = piece[box], strong[box]
    band = dilated(piece, _FAR_PX) & (1 - dilated(piece, _NEAR_PX)) & strong
    if not cv2.countNonZero(band):
        return 0
    framed = cv2.copyMakeBorder(piece, 1, 1, 1, 1, cv2.BORDER_CONSTANT)
    inside = cv2.distanceTransform(framed, cv2.DIST_L2, 5)[1:-1, 1:-1]
    half = percentile(cv2.distanceTransform(strong, cv2.DIST_L2, 3)[strong > 0], 75)
    crossing = np.argwhere((inside > _DEEP_PX + _DEEP * half) & (strong > 0))
    away = cv2.distanceTransform(1 - piece, cv2.DIST_L2, 5)
    count, parts, stats = numbered(band, 8)
    found = 0
    for k in range(1, count):
        own = parts == k
        if stats[k, cv2.CC_STAT_AREA] < _LEAST_PX2 or np.ptp(away[own]) < _ACROSS * (_FAR_PX - _NEAR_PX):
            continue
        near = np.hypot(*(crossing - np.argwhere(own).mean(axis=0)).T) < _FAR_PX + _WITHIN_PX
        found += int(near.sum() < _LEAST_PX2)
    return found
