"""The bright middle of a bubble that the frame cuts: its ring is open there, and the middle seems a piece.

Inside the picture a ring closes round its middle, and what lies inside a larger piece is part of it. Along
the frame the rest of the ring is only cut off.
"""

import cv2
import numpy as np

from measure.field.basics.masks import fill_holes

_WITHIN = 0.95  # share of a place that must lie inside the ring
_LEAST, _MOST = 0.05, 1.0  # area of the middle over that of the ring


def without_middles(labels: np.ndarray, stats: np.ndarray, delta: np.ndarray) -> None:
    """Take places out, in place, that a ring and the frame close in and that differ the other way.

    Parameters
    ----------
    labels : (M, N) ndarray of int32
        Components at the low level; 0 for the oil.
    stats : (K, 5) ndarray of int32
        Their boxes and areas as OpenCV gives them; 0 for what is taken out, in place.
    delta : (M, N, 3) ndarray of float32
        CIELAB difference from the oil.
    """
    height, width = labels.shape
    for k in range(1, len(stats)):
        x, y, w, h, area = stats[k].tolist()
        sides = (y == 0, y + h == height, x == 0, x + w == width)
        if sum(sides) != 1 or not area:
            continue
        crop, light = labels[y : y + h, x : x + w], delta[y : y + h, x : x + w, 0]
        own = crop == k
        inside = _closed(own.view(np.uint8), sides) & ~own
        for other in np.unique(crop[inside]).tolist():
            if not other:
                continue
            place = crop == other
            size = np.count_nonzero(place)
            if np.count_nonzero(place & inside) < _WITHIN * stats[other, cv2.CC_STAT_AREA]:
                continue
            opposite = float(light[place].mean()) * float(light[own].mean()) < 0
            if opposite and _LEAST * area <= size <= _MOST * area:
                crop[place], stats[other] = 0, 0


def _closed(own: np.ndarray, sides: tuple[bool, bool, bool, bool]) -> np.ndarray:
    """A component with what it and the frame close in."""
    mask = own.copy()
    for line, is_frame in zip((mask[0], mask[-1], mask[:, 0], mask[:, -1]), sides, strict=True):
        where = np.flatnonzero(line)
        if is_frame and where.size:
            line[where[0] : where[-1] + 1] = 1
    return fill_holes(mask) > 0
