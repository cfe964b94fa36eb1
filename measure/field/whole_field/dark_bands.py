"""Two pieces told by what lies between them: a band that takes more light than both sides of it.

Where two pieces lie over one another their densities add, and where two with raised borders meet these stand
side by side. One piece that was cut has no such band along the cut. A crack is a line, no band, and a crease
runs to no notch.
"""

from itertools import pairwise

import cv2
import numpy as np

from measure.field.basics.masks import SQUARE, solidity
from measure.field.basics.quick import colours_at, median, median_colour, norm

_HIGHER = 0.06  # of the band over both sides, in heights of the piece
_THIRDS = 0.03  # the same in a third of the cut
_WIDER, _WIDEST = 1.4, 1.1  # width of a band over that of the edges, or it is a line; over the smaller radius
_REACH, _NEAR = 1.3, 0.6  # of the smaller piece's radius, within which its sides are looked at; and a band is
# sought, for all of a lens may lie on one side
_FULL = 0.92  # solidity of both pieces; a folded skin that was cut has dark bands too, and is ragged
_LEAST_REACH_PX = 5
_EDGE_PX = 1.0  # that the edge is thought wider
_FEW = 6  # pixels that tell no tone


def band_between(one: np.ndarray, other: np.ndarray, delta: np.ndarray, width: float) -> bool:
    """Whether a band darker than both sides runs all along the border of two pieces.

    Parameters
    ----------
    one, other : (M, N) ndarray of uint8
        Two pieces that touch.
    delta : (M, N, 3) ndarray of float32
        CIELAB difference from the oil.
    width : float
        10-90 % width of the edges, px.
    """
    if min(map(solidity, (one, other))) < _FULL:
        return False
    other = other & (1 - one)
    both = cv2.morphologyEx(one | other, cv2.MORPH_CLOSE, SQUARE)
    deep = cv2.distanceTransform(both, cv2.DIST_L2, 5) > width + _EDGE_PX
    radius = min(float(cv2.distanceTransform(part, cv2.DIST_L2, 5).max()) for part in (one, other))
    reach = int(_REACH * radius)
    if reach < _LEAST_REACH_PX or not deep.any():
        return False
    away = cv2.distanceTransform(1 - other, cv2.DIST_L2, 5) - cv2.distanceTransform(1 - one, cv2.DIST_L2, 5)
    at = deep & (np.abs(away) <= reach + 0.5)
    tone, side = _tone(delta, both)[at], np.rint(away[at] - (away[at] > 0)).astype(int)  # -1 and 0 meet
    steps = [tone[side == k] for k in range(-reach, reach)]
    if min(map(len, steps)) < _FEW:
        return False
    band = _band(np.array([median(step) for step in steps]), reach)
    if band is None or not _WIDER * width < band[1] - band[0] + 1 <= _WIDEST * radius:
        return False
    return _in_thirds(tone, side, np.argwhere(at), band, reach)


def _tone(delta: np.ndarray, both: np.ndarray) -> np.ndarray:
    """Difference from the oil along that of the pieces, over it, (M, N)."""
    own = median_colour(colours_at(delta, both > 0)).astype(np.float32)
    height = max(norm(own), 1e-6)
    return delta @ (own / np.float32(height * height))


def _band(level: np.ndarray, reach: int) -> tuple[int, int] | None:
    """First and last step of a band at the border that is higher than both sides, or None."""
    half = int(_NEAR * reach)
    top = reach - half + int(np.argmax(level[reach - half : reach + half]))
    low = max(float(level[:top].min(initial=np.inf)), float(level[top + 1 :].min(initial=np.inf)))
    if not level[top] - low >= _HIGHER:
        return None
    above = level > (level[top] + low) / 2
    first, last = top, top
    while first > 0 and above[first - 1]:
        first -= 1
    while last + 1 < len(level) and above[last + 1]:
        last += 1
    return first - reach, last - reach


def _in_thirds(
    tone: np.ndarray, side: np.ndarray, places: np.ndarray, band: tuple[int, int], reach: int
) -> bool:
    """Whether the band is higher than both sides in two thirds of the border at least."""
    first, last = band
    inside, wide = (side >= first) & (side <= last), last - first + 1
    before = (side < first) & (side >= first - wide)
    behind = (side > last) & (side <= last + wide)
    # across the way from the middle of one piece to that of the other
    way = places[side >= 0].mean(axis=0) - places[side < 0].mean(axis=0)
    along = places @ np.array([way[1], -way[0]])
    ends = np.quantile(along[inside], [0.0, 1 / 3, 2 / 3, 1.0])
    shown = 0
    for start, end in pairwise(ends):
        here = (along >= start) & (along <= end)
        groups = [here & inside, here & before, here & behind]
        if min(map(np.count_nonzero, groups)) >= _FEW:
            own, *beside = (median(tone[group]) for group in groups)
            shown += own - max(beside) >= _THIRDS
    return shown >= 2  # it may run out beside a third piece
