"""Masks of pieces: dilation, erosion, opening and closing by a disc of any radius, holes, convex hulls.

A disc is all that lies within the radius by the chamfer distance of OpenCV's 5 x 5 distance transform. Small
discs are laid over the mask as structuring elements, which gives the very same pixels in less time; large
ones are cut out of the distance transform, whose time does not depend on the radius.
"""

from bisect import bisect_right
from collections.abc import Sequence
from functools import lru_cache
from math import ceil

import cv2
import numpy as np

from measure.field.basics.compiled import find_objects

_LARGEST_ELEMENT_PX = 4.7  # beyond it the distance transform is faster
_LARGEST_ERODED_PX = 3.2  # the same where the distance transform is of the mask itself
_REACH = 6
_FEWEST_LONG = 2**16  # pixels from which there may be more parts than a short number tells
_MOST_IN_BYTES = 256
_FEW_PX = 800
# Pixels from which a mask that fills little of its array is worked on in its own box, and how much is little
_MANY_PX, _SMALL_PART = 10_000, 0.6
SQUARE = np.ones((3, 3), np.uint8)


@lru_cache(maxsize=64)
def square(size: int) -> np.ndarray:
    """Return a square structuring element of so many px; not to be changed."""
    return np.ones((size, size), np.uint8)


def disc(radius: float) -> np.ndarray:
    """Return a round structuring element of the given radius in px; not to be changed."""
    return _disc(max(1, ceil(radius)), int(radius * radius + 0.5))


@lru_cache(maxsize=256)
def _disc(reach: int, square: int) -> np.ndarray:
    """Pixels within a reach whose squared distance, a whole number, is no more than another."""
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    return (x * x + y * y <= square).astype(np.uint8)


def _chamfer_discs() -> tuple[list[float], list[np.ndarray]]:
    """Radii at which a chamfer disc grows, and the disc from each of them on."""
    single = np.ones((2 * _REACH + 1, 2 * _REACH + 1), np.uint8)
    single[_REACH, _REACH] = 0
    away = cv2.distanceTransform(single, cv2.DIST_L2, 5)
    steps = np.unique(away[away < _REACH])
    elements = []
    for step in steps:
        m = _REACH - int(np.ceil(step))
        elements.append(np.ascontiguousarray((away <= step)[m : -m or None, m : -m or None]).view(np.uint8))
    return steps.tolist(), elements


_STEPS, _ELEMENTS = _chamfer_discs()


@lru_cache(maxsize=1024)
def _element(radius: float) -> np.ndarray:
    return _ELEMENTS[bisect_right(_STEPS, radius) - 1]


def _about(mask: np.ndarray, reach: int) -> tuple[slice, slice] | None:
    """Rows and columns of a mask with so many px about it; None where that is most of the array."""
    x, y, wide, high = cv2.boundingRect(mask)
    rows, cols = slice(max(0, y - reach), y + high + reach), slice(max(0, x - reach), x + wide + reach)
    return (rows, cols) if (high + 2 * reach) * (wide + 2 * reach) < _SMALL_PART * mask.size else None


def eroded(mask: np.ndarray, radius: float) -> np.ndarray:
    """Erosion by a disc; nothing is eroded from the border of the array."""
    if radius <= _LARGEST_ERODED_PX:
        return cv2.erode(mask, _element(radius))
    if mask.size >= _MANY_PX and (box := _about(mask, 1)) is not None:
        whole = np.zeros(mask.shape, np.uint8)
        whole[box] = eroded(np.ascontiguousarray(mask[box]), radius)
        return whole
    return (cv2.distanceTransform(mask, cv2.DIST_L2, 5) > radius).view(np.uint8)


def dilated(mask: np.ndarray, radius: float) -> np.ndarray:
    """Dilation by a disc of any radius in constant time."""
    if radius <= _LARGEST_ELEMENT_PX:
        return cv2.dilate(mask, _element(radius))
    if mask.size >= _MANY_PX and (box := _about(mask, ceil(radius) + 1)) is not None:
        whole = np.zeros(mask.shape, np.uint8)
        whole[box] = dilated(np.ascontiguousarray(mask[box]), radius)
        return whole
    return (cv2.distanceTransform(1 - mask, cv2.DIST_L2, 5) <= radius).view(np.uint8)


def opened(mask: np.ndarray, radius: float) -> np.ndarray:
    """Opening by a disc of any radius in constant time; nothing is eroded from the border of the array."""
    kept = eroded(mask, radius)
    return dilated(kept, radius) & mask if cv2.countNonZero(kept) else kept


def opened_to(mask: np.ndarray, depth: np.ndarray, radius: float) -> np.ndarray:
    """Opening of a mask whose depth, its 5 x 5 distance transform, is known."""
    kept = (depth > radius).view(np.uint8)
    return dilated(kept, radius) & mask if cv2.countNonZero(kept) else kept


def closed(mask: np.ndarray, radius: float) -> np.ndarray:
    """Closing by a disc of any radius in constant time."""
    m = int(np.ceil(radius)) + 1
    padded = cv2.copyMakeBorder(mask, m, m, m, m, cv2.BORDER_CONSTANT, value=0)
    return eroded(dilated(padded, radius), radius)[m:-m, m:-m].copy()


def box_about(mask: np.ndarray, margin: int) -> tuple[slice, slice]:
    """Rows and columns of a mask with at least so many px about it, within the array.

    They begin at even places, for parts are numbered in blocks of two by two, whose order is kept so.
    """
    return even_box(cv2.boundingRect(mask), margin)


def even_box(rect: Sequence[int], margin: int) -> tuple[slice, slice]:
    """The same about a box: left, top, width and height."""
    x, y, wide, high = rect
    top, left = max(0, y - margin) // 2 * 2, max(0, x - margin) // 2 * 2
    return slice(top, y + high + margin), slice(left, x + wide + margin)


def kept_parts(labels: np.ndarray, keep: np.ndarray) -> np.ndarray:
    """Return the parts that are kept, numbered anew in the same order.

    Parameters
    ----------
    labels : (M, N) ndarray of int32
        0 outside, 1.. for the parts.
    keep : (K + 1,) ndarray of bool
        For each number; what is said of 0 does not matter.
    """
    number = np.cumsum(keep[1:]) * keep[1:]
    return np.concatenate([[0], number]).astype(np.int32)[labels]


def fill_holes(mask: np.ndarray) -> np.ndarray:
    """Return the mask with every hole filled, (M, N) uint8."""
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    filled = np.zeros(mask.shape, np.uint8)
    cv2.drawContours(filled, contours, -1, 1, cv2.FILLED)
    return filled


def hull_mask(mask: np.ndarray) -> np.ndarray:
    """Return the convex hull of a mask, (M, N) uint8."""
    full = np.zeros(mask.shape, np.uint8)
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    if contours:
        corners = contours[0] if len(contours) == 1 else np.concatenate(contours)
        cv2.fillConvexPoly(full, cv2.convexHull(corners), 1)
    return full


def solidity(mask: np.ndarray) -> float:
    """Area over hull area of a mask, counted in pixels so that small masks are not punished."""
    return float(cv2.countNonZero(mask)) / max(1.0, float(cv2.countNonZero(hull_mask(mask))))


def numbered(mask: np.ndarray, connectivity: int) -> tuple[int, np.ndarray, np.ndarray]:
    """Number the parts of a mask that hang together.

    The library's function that tells their boxes and areas too works out centroids besides, which takes
    several times as long as the numbering.

    Parameters
    ----------
    mask : (M, N) ndarray of uint8
    connectivity : int
        4 or 8.

    Returns
    -------
    count : int
        Of the parts, and one for what is outside.
    parts : (M, N) ndarray of int32
        1.. for each part; 0 outside.
    stats : (count, 5) ndarray of int32
        First column and row, width, height and pixels of each part; row 0, that of the outside, is 0.
    """
    if mask.size < _FEW_PX:  # there the other function takes less time
        count, parts, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=connectivity)
        stats[0] = 0
        return count, parts, stats
    short = mask.size < _FEWEST_LONG
    kind = cv2.CV_16U if short else cv2.CV_32S
    count, parts = cv2.connectedComponents(mask, connectivity=connectivity, ltype=kind)
    stats = np.zeros((count, 5), np.int32)
    if count == 2:
        stats[1] = *cv2.boundingRect(mask), cv2.countNonZero(mask)
    elif count > 2:
        small = count <= _MOST_IN_BYTES
        numbers = parts.astype(np.uint8) if small else parts
        boxes = find_objects(numbers, count - 1)
        stats[1:, :4] = [(x.start, y.start, x.stop - x.start, y.stop - y.start) for y, x in boxes]
        # a histogram of bytes takes less time than counting whole numbers
        pixels = (
            cv2.calcHist([numbers], [0], None, [count], [0, count]) if small else np.bincount(parts.ravel())
        )
        stats[1:, 4] = pixels.ravel()[1:]
    return count, parts.astype(np.int32) if short else parts, stats


def drawn(outline: np.ndarray, shape: tuple[int, int]) -> np.ndarray:
    """Mask of what lies inside an outline.

    Parameters
    ----------
    outline : (P, 2) ndarray
        x, y in px, pixel centres at halves.
    shape : (int, int)

    Returns
    -------
    (M, N) ndarray of uint8
    """
    mask = np.zeros(shape, np.uint8)
    cv2.fillPoly(mask, [np.rint((outline - 0.5) * 16).astype(np.int32).reshape(-1, 1, 2)], 1, shift=4)
    return mask
