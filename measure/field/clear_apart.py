"""See-through pieces of a component that touch, each with its own rim along the wall between them."""

from dataclasses import replace

import cv2
import numpy as np

from measure.field.component import Parts
from measure.field.masks import closed, dilated
from measure.field.rim_walls import parted_at_walls

_BESIDE_PX = 2.0  # half the distance up to which two touch
_FEW_PX = 4
_SAME = 0.5  # share of a piece in the part it becomes


def clear_apart(parts: Parts, field: np.ndarray, width_px: float) -> Parts:
    """Part see-through pieces at walls as wide as two rims, and let neighbours end in these walls.

    Whether a wall was found with one piece or the other says nothing of whose it is.

    Parameters
    ----------
    parts : Parts
        Pieces of one component; the labels are changed in place.
    field : (M, N) ndarray of float32
        Colour difference from the oil.
    width_px : float
        10-90 % width of an edge.

    Returns
    -------
    Parts
        With parts of a piece in the group it was in.
    """
    labels, groups = parts.labels, [list(group) for group in parts.groups]
    clear = [n for group in parts.groups for n in group if n in parts.clear]
    for n in tuple(clear):
        box = _box(labels, [n])
        if box is None:
            continue
        apart = parted_at_walls((labels[box] == n).view(np.uint8), field[box], width_px)
        first = max(max(group) for group in groups if group) + 1
        more = range(first, first + int(apart.max()) - 1)
        labels[box][apart > 1] = apart[apart > 1] + first - 2
        next(group for group in groups if n in group).extend(more)
        clear += more
    if len(clear) > 1:
        _let_end_in_walls(labels, clear, field, width_px)
    return replace(parts, labels=labels, groups=groups, clear=parts.clear | frozenset(clear))


def _let_end_in_walls(labels: np.ndarray, clear: list[int], field: np.ndarray, width_px: float) -> None:
    """Divide each two neighbours anew along the wall between them, in place."""
    for i, one in enumerate(clear):
        box = _box(labels, [one])
        if box is None:
            continue
        near = dilated((labels[box] == one).view(np.uint8), _BESIDE_PX) > 0
        beside = np.bincount(labels[box][near])
        for other in clear[i + 1 :]:
            if other < len(beside) and beside[other] >= _FEW_PX:
                _divide(labels, one, other, field, width_px)


def _divide(labels: np.ndarray, one: int, other: int, field: np.ndarray, width_px: float) -> None:
    """Divide two neighbours anew, in place, where that gives two parts that are these two."""
    box = _box(labels, [one, other])
    if box is None:
        return
    own = labels[box]
    both = np.isin(own, (one, other)).view(np.uint8)
    both = closed(both, _BESIDE_PX) & ((own == 0).view(np.uint8) | both)
    apart = parted_at_walls(both, field[box], width_px)
    if apart.max() != 2:
        return
    shared = np.array([np.bincount(apart[own == n], minlength=3)[1:] for n in (one, other)])
    first = int(shared[0, 1] + shared[1, 0] > shared[0, 0] + shared[1, 1])  # part that is the one, less 1
    kept = np.array([shared[0, first], shared[1, 1 - first]]) / shared.sum(axis=1)
    if kept.min() >= _SAME:
        own[apart == 1 + first] = one
        own[apart == 2 - first] = other


def _box(labels: np.ndarray, numbers: list[int]) -> tuple[slice, slice] | None:
    """Rows and columns of some pieces with a margin; None where nothing is left of one of them."""
    boxes = [cv2.boundingRect((labels == n).view(np.uint8)) for n in numbers]
    if any(w == 0 for _, _, w, _ in boxes):
        return None
    m = int(_BESIDE_PX) + 1
    left, top = min(x for x, _, _, _ in boxes) - m, min(y for _, y, _, _ in boxes) - m
    right, bottom = max(x + w for x, _, w, _ in boxes) + m, max(y + h for _, y, _, h in boxes) + m
    return np.s_[max(0, top) : bottom, max(0, left) : right]
