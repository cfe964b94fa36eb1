"""Outlines with corners and long straight sides, as crystals have."""

import cv2
import numpy as np

from measure.field.basics.kind_shape import corner_share
from measure.field.basics.quick import turned

_CORNERS = 0.6  # turning in its four sharpest places, over a full turn; 0.67 for a hexagon
_BEND, _LEAST_BEND_PX = 0.022, 0.9  # by which a side may bend, over the size; a circle falls into ten sides
_LONG, _STRAIGHT = 0.38, 0.55  # a long side over the size, and share of the outline in such sides


def straight_sided(whole: np.ndarray, straight: float = _STRAIGHT) -> bool:
    """Whether the outline of a piece, (M, N) uint8, has corners and this share of straight sides."""
    contours, _ = cv2.findContours(whole, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outline = max(contours, key=len).reshape(-1, 2)
    if corner_share(outline.astype(np.float32)) < _CORNERS:
        return False
    return _straight_share(outline) >= straight


def _straight_share(outline: np.ndarray) -> float:
    """Share of the hull of an outline that long straight sides take."""
    hull = cv2.convexHull(outline)
    size = float(np.sqrt(cv2.contourArea(hull)))
    corners = cv2.approxPolyDP(hull, max(_LEAST_BEND_PX, _BEND * size), True).reshape(-1, 2)
    lengths = np.hypot(*(turned(corners, -1) - corners).T)
    return float(lengths[lengths > _LONG * size].sum() / max(float(lengths.sum()), 1e-6))
