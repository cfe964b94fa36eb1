"""Whether bits that lie like a broken rim lie so by chance: among many specks some always do.

Small pieces side by side look like short bits of a line, and where there are specks wherever one looks, two
or three of them cover a ring. A rim is the edge of one piece, so its line is even; a row of specks is not.
"""

from collections.abc import Sequence

import cv2
import numpy as np

_AROUND = 2.0  # sizes of the place, about it, within which specks are counted
_FEW = 0.4  # components expected in such a place from which its bits may lie there by chance
_EVEN = 0.3  # deviation over the mean of the strongest place of each sector, below which a line is even
_SECTORS = 24


def by_chance(labels: np.ndarray, distance: np.ndarray, bits: Sequence[int], hull: np.ndarray) -> bool:
    """Return whether several bits of a rim lie along a hull no better than specks do.

    Parameters
    ----------
    labels : (M, N) ndarray of int32
        Components at the low level.
    distance : (M, N) ndarray of float32
        Distance from the oil.
    bits : sequence of int
        Labels of the bits.
    hull : (P, 2) ndarray of int32
        Their convex hull, x and y of pixel centres.
    """
    if len(bits) < 2:  # it goes round by itself
        return False
    (x0, y0), (x1, y1) = hull.min(axis=0).tolist(), (hull.max(axis=0) + 1).tolist()
    m = int(_AROUND * max(x1 - x0, y1 - y0))
    around = labels[max(0, y0 - m) : y1 + m, max(0, x0 - m) : x1 + m]
    others = len(np.unique(around[around > 0])) - len(bits)
    if others * cv2.contourArea(hull) < _FEW * around.size:
        return False
    rows, cols = np.nonzero(np.isin(labels[y0:y1, x0:x1], bits))
    across, down = hull.mean(axis=0) - (x0, y0)
    turn = (np.arctan2(rows - down, cols - across) + np.pi) / (2 * np.pi)
    strongest = np.zeros(_SECTORS)
    np.maximum.at(strongest, (turn * _SECTORS).astype(int) % _SECTORS, distance[y0:y1, x0:x1][rows, cols])
    strongest = strongest[strongest > 0]
    return bool(strongest.std() > _EVEN * strongest.mean())
