"""Whether the form of a piece is that of a bit of a rim: thin against its hull."""

import cv2
import numpy as np
import shapely

HOLLOW = 0.86  # solidity below which a thin piece may be part of a rim
_BENT, _CORNERS = 0.7, 0.05  # share of the hull that a hook fills, and share of it that corners may be
_THIN = 0.19  # half its thickness over the size of its hull
# area over the squared length of the outline, above which neither question of thinness says yes, whatever the
# hull: its outline is no longer than the piece's, so its area is no more than that of a disc as long round
_FULL_ENOUGH = 1.01 * max(_THIN / np.sqrt(4.0 * np.pi), 1.1 * _THIN / 4.0)


def may_be_bit(shape: shapely.Polygon) -> bool:
    """Whether a piece is thin enough to be a bit of a rim."""
    if shape.area > _FULL_ENOUGH * shape.length**2:
        return False
    hull = shape.convex_hull.area
    if hull <= 0 or shape.area > HOLLOW * hull:
        # bars are as full as their hulls, but slender
        return bool(shape.area < 1.1 * _THIN * shape.length**2 / 4)
    return bool(shape.area / shape.length < _THIN * np.sqrt(hull))


def is_thick(shape: shapely.Polygon, size: tuple[int, int]) -> bool:
    """Whether a piece is surely no line; not told of one at the border of the picture."""
    x0, y0, x1, y1 = shape.bounds
    left, top, right, bottom = int(x0) - 3, int(y0) - 3, int(x1) + 4, int(y1) + 4
    if left < 0 or top < 0 or right > size[1] or bottom > size[0]:
        return False
    mask = drawn_in(shape, np.array([left, top], float), (bottom - top, right - left))
    return not is_thin(mask) and not is_hook(mask)


def is_thin(mask: np.ndarray) -> bool:
    """Whether what is in a mask is thin against its hull."""
    return _thick_px2(mask)[0] == 0


def is_hook(mask: np.ndarray) -> bool:
    """Whether what is in a mask is bent, and thin all over but for the corners where its sides meet."""
    thick, hull = _thick_px2(mask)
    own = cv2.countNonZero(mask)
    return own <= _BENT * hull and thick < _CORNERS * own


def _thick_px2(mask: np.ndarray) -> tuple[int, float]:
    """Area of a mask that is too far within for a line, and that of its hull."""
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    hull = float(cv2.contourArea(cv2.convexHull(np.concatenate(contours))))
    depth = cv2.distanceTransform(mask, cv2.DIST_L2, 3)
    return int(np.count_nonzero(depth >= max(_THIN * np.sqrt(hull), 3.0))), hull


def drawn_in(shape: shapely.Polygon, corner: np.ndarray, size: tuple[int, int]) -> np.ndarray:
    """Mask of a polygon in a window."""
    mask = np.zeros(size, np.uint8)
    points = shapely.get_coordinates(shape.exterior) - corner - 0.5
    cv2.fillPoly(mask, [np.round(points * 16).astype(np.int32).reshape(-1, 1, 2)], 1, shift=4)
    return mask
