"""Pieces in which others may go on, parted into what tells and where nothing can be told."""

from typing import NamedTuple

import cv2
import numpy as np

from measure.field.basics.masks import SQUARE, dilated
from measure.field.basics.quick import colours_at, median, median_colour, percentile

_RIM_END = 0.3  # of the rim's height, where it is taken to end inside
_BLUR_PX = 1.5  # how far a rim reaches out of its outline, and a body's edge into it
_GAP_PX = 2.0  # left between two pieces by a cut
_FULL_DENSITY, _MOST_FLANK_PX = 0.9, 6.0  # share of a body's density at which its edge ends, and its widest
_LEAST_PX2 = 12
_STREAKS = 0.3  # by which a piece's own density may vary


class Host(NamedTuple):
    """A piece in which another may go on."""

    mask: np.ndarray
    band: np.ndarray  # where nothing can be told
    inside: np.ndarray
    level: np.ndarray  # its own density
    clear: bool
    sway: np.ndarray  # (3,) by what its own density may differ from that level, up and down


def clear_host(mask: np.ndarray, density: np.ndarray) -> Host | None:
    """A see-through piece parted into its rim and its inside, or None where it has no inside."""
    depth = cv2.distanceTransform(mask, cv2.DIST_L2, 5)
    neutral = density.min(axis=2)
    rings = range(1, int(depth.max()) + 1)
    # what lies over one side does not count in the darker half
    height = [percentile(neutral[(depth > n - 1) & (depth <= n)], 40) for n in rings]
    if len(height) < 3:
        return None
    top = int(np.argmax(height[: max(2, len(height) // 2)]))
    lower = [n for n in range(top, len(height)) if height[n] < _RIM_END * height[top]]
    if not lower:
        return None
    inside = (depth > lower[0] + 1.0).view(np.uint8)
    if cv2.countNonZero(inside) < _LEAST_PX2:
        return None
    wide = dilated(mask, _BLUR_PX)
    inner = neutral[inside > 0]
    clearest = colours_at(colours_at(density, inside > 0), inner <= percentile(inner, 25))
    return Host(mask, wide & (1 - inside), inside, median_colour(clearest), True, np.zeros(3))


def solid_hosts(own: np.ndarray, piece: np.ndarray, density: np.ndarray) -> list[Host]:
    """A body in which another may go on, where none is known to lie, its edge taken thin and wide."""
    core = cv2.erode(own, SQUARE)
    if cv2.countNonZero(core) < _LEAST_PX2:
        return []
    level = median_colour(colours_at(density, core > 0))
    hosts = []
    for flank in sorted({_GAP_PX, _flank_px(own, density, level)}):
        # where one edge runs under the other, neither is as dense as it is elsewhere
        band = dilated(piece & (1 - own), flank) & dilated(own, _GAP_PX)
        hosts.append(Host(own, band, own & (1 - band), level, False, _STREAKS * level))
    return hosts


def _flank_px(own: np.ndarray, density: np.ndarray, level: np.ndarray) -> float:
    """How far into a body its edge reaches, px: to where it is nearly as dense as elsewhere."""
    depth = cv2.distanceTransform(own, cv2.DIST_L2, 5)
    share = density @ (level / max(float(level @ level), 1e-9)).astype(np.float32)
    for n in range(int(_GAP_PX), int(_MOST_FLANK_PX)):
        ring = share[(depth > n - 1) & (depth <= n)]
        if not len(ring) or median(ring) > _FULL_DENSITY:
            return float(n)
    return _MOST_FLANK_PX
