"""Parts of a body: where two meet and what is seen there, joined, and cut further."""

from collections.abc import Callable

import cv2
import numpy as np

from measure.field.basics.masks import SQUARE


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
