"""Parts of a body: how compact they are, what is seen where two meet, joined, and cut further."""

from collections.abc import Callable

import cv2
import numpy as np

from measure.field.basics.masks import SQUARE, kept_parts

_ROUND = 1.8  # area of a compact part over that of the largest disc in it; a triangle has 1.65
_LEAST_HALF_PX = 2.0  # half thickness of what may be a piece once lines are taken out


def borders_of_parts(labels: np.ndarray, heights: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Numbers of two parts wherever they meet, and the highest line beside that place.

    Parameters
    ----------
    labels : (M, N) ndarray of int32
        0 outside, 1.. inside.
    heights : (M, N) ndarray of float32
        Height of a line at each px.

    Returns
    -------
    one, other : (P,) ndarray of int32
    height : (P,) ndarray of float32
    """
    near = cv2.dilate(heights, SQUARE)
    found = []
    for one, other, line in (
        (labels[1:], labels[:-1], near[1:]),
        (labels[:, 1:], labels[:, :-1], near[:, 1:]),
    ):
        at = (one != other) & (one > 0) & (other > 0)
        found.append((one[at], other[at], line[at]))
    first, second, height = (np.concatenate(side) for side in zip(*found, strict=True))
    return first, second, height


def heights_along(labels: np.ndarray, heights: np.ndarray) -> dict[tuple[int, int], list[float]]:
    """Heights of the lines beside each border, by the numbers of the two parts, the smaller first.

    Parameters
    ----------
    labels : (M, N) ndarray of int32
        0 outside, 1.. inside.
    heights : (M, N) ndarray of float32
        Height of a line at each px.
    """
    borders: dict[tuple[int, int], list[float]] = {}
    for a, b, height in zip(*(side.tolist() for side in borders_of_parts(labels, heights)), strict=True):
        borders.setdefault((min(a, b), max(a, b)), []).append(height)
    return borders


def without_borders(labels: np.ndarray, pairs: list[tuple[int, int]]) -> np.ndarray:
    """Join parts over borders.

    Parameters
    ----------
    labels : (M, N) ndarray of int32
        0 outside, 1.. inside.
    pairs : list of (int, int)
        Numbers of the two parts of each border.

    Returns
    -------
    labels : (M, N) ndarray of int32
        Numbered anew, in the same order.
    """
    target = list(range(int(labels.max()) + 1))

    def root(k: int) -> int:
        while target[k] != k:
            k = target[k]
        return k

    for a, b in sorted(pairs):
        target[max(root(a), root(b))] = min(root(a), root(b))
    roots = np.array([root(k) for k in range(len(target))])
    return np.unique(roots, return_inverse=True)[1].astype(np.int32)[labels]


def cut_each(labels: np.ndarray, cut: Callable[[np.ndarray], np.ndarray]) -> np.ndarray:
    """Cut each part further.

    Parameters
    ----------
    labels : (M, N) ndarray of int32
        0 outside, 1.. inside.
    cut : callable
        Labels of what a part, (M, N) ndarray of uint8, is cut into.

    Returns
    -------
    labels : (M, N) ndarray of int32
        Parts of the first part first.
    """
    count = int(labels.max())
    if count == 1:
        return cut(labels.astype(np.uint8))
    out, used = np.zeros(labels.shape, np.int32), 0
    for n in range(1, count + 1):
        part = cut((labels == n).view(np.uint8))
        out[part > 0] = part[part > 0] + used
        used += int(part.max())
    return out


def compact_parts(labels: np.ndarray) -> np.ndarray:
    """Return the areas of the parts that are hardly larger than the largest disc in them, px.

    Parameters
    ----------
    labels : (M, N) ndarray of int32
        0 outside, 1.. for the parts.
    """
    deepest, sizes = half_widths(labels), np.bincount(labels.ravel())
    return sizes[1:][sizes[1:] < _ROUND * np.pi * deepest[1:] ** 2]


def half_widths(labels: np.ndarray) -> np.ndarray:
    """Return the radius of the largest disc in each part, px; 0 for what is outside.

    Parameters
    ----------
    labels : (M, N) ndarray of int32
        0 outside, 1.. for the parts.
    """
    own = cv2.copyMakeBorder(labels.astype(np.float32), 1, 1, 1, 1, cv2.BORDER_REPLICATE)
    inner = (cv2.dilate(own, SQUARE) == cv2.erode(own, SQUARE)) & (own > 0)
    # between the middle of the outermost px within and its border lies a px that meets another part
    depth = cv2.distanceTransform(inner.view(np.uint8), cv2.DIST_L2, 5)[1:-1, 1:-1] + np.float32(1.0)
    deepest = np.zeros(int(labels.max()) + 1, np.float32)
    np.maximum.at(deepest, labels.ravel(), depth.ravel())
    deepest[0] = 0.0
    return deepest


def thick_parts(labels: np.ndarray, least_px2: float) -> np.ndarray:
    """Return the parts that are thick and large enough to be pieces, numbered anew.

    Parameters
    ----------
    labels : (M, N) ndarray of int32
        0 outside, 1.. for the parts.
    least_px2 : float
    """
    large = np.bincount(labels.ravel()) >= least_px2
    return kept_parts(labels, large & (half_widths(labels) >= _LEAST_HALF_PX))
