"""Thin lines: fibres, threads and open rims, in which there is nothing to cut."""

import cv2
import numpy as np

from measure.field.masks import hull_mask
from measure.field.quick import median

# area over squared half width, the same from which it need not be bent, share of its hull it fills
_LINE, _LONG_LINE, _OPEN = 14.0, 60.0, 0.55
_BEADED, EVEN_FIBRE = 1.6, 1.45  # outline over that of an even line, of rims and of fibres
_EVEN = 1.5  # its thickest place over its usual thickness
_IN_ONE = 0.8  # share of it that must hang together


def is_line(strong: np.ndarray, beaded: float = _BEADED) -> bool:
    """Whether a component is one thin line, a fibre or an open rim: there is nothing in it to cut.

    Parameters
    ----------
    strong : (M, N) ndarray of uint8
    beaded : float
        Length of its outline over that of an even line, above which it is a row of pieces.
    """
    area = cv2.countNonZero(strong)
    depth = cv2.distanceTransform(strong, cv2.DIST_L2, 5)
    half = float(depth.max())
    if not area or area < _LINE * half**2:
        return False
    if area < _LONG_LINE * half**2 and area > _OPEN * cv2.countNonZero(hull_mask(strong)):
        return False
    ridge = depth[(depth > 0) & (depth >= cv2.dilate(depth, np.ones((3, 3), np.uint8)))]
    if half > _EVEN * median(ridge) + 1.0:
        return False
    contours, _ = cv2.findContours(strong, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
    if sum(cv2.arcLength(contour, True) for contour in contours) > beaded * area / half:
        return False  # a row of pieces has a longer outline than a line of its thickness
    _, found = cv2.connectedComponents(strong, connectivity=8)
    parts: np.ndarray = found
    return bool(np.bincount(parts.ravel())[1:].max() > _IN_ONE * area)
