"""See-through pieces of a component that touch, each with its own rim along the wall between them."""

from dataclasses import replace

import numpy as np

from measure.field.basics.compiled import find_objects
from measure.field.basics.component import Parts
from measure.field.basics.masks import closed, dilated
from measure.field.rims.rim_walls import parted_at_walls

Box = tuple[slice, slice]

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
    boxes = _boxes(labels)
    clear = [n for group in groups for n in group if n in parts.clear and n in boxes]
    for n in tuple(clear):
        own = labels[boxes[n]]
        apart = parted_at_walls((own == n).view(np.uint8), field[boxes[n]], width_px)
        first = max(max(group) for group in groups if group) + 1
        more = range(first, first + int(apart.max()) - 1)
        own[apart > 1] = apart[apart > 1] + first - 2
        next(group for group in groups if n in group).extend(more)
        clear += more
    if len(clear) > 1:
        _let_end_in_walls(labels, clear, field, width_px)
    return replace(parts, labels=labels, groups=groups, clear=parts.clear | frozenset(clear))


def _boxes(labels: np.ndarray) -> dict[int, Box]:
    """Rows and columns of each piece with a margin."""
    m = int(_BESIDE_PX) + 1
    found = enumerate(find_objects(labels), 1)
    return {n: _united([box], m) for n, box in found if box is not None}


def _united(boxes: list[Box], margin: int = 0) -> Box:
    """Rows and columns about some boxes."""
    (top, left), (bottom, right) = (
        [end([getattr(box[axis], side) for box in boxes]) for axis in (0, 1)]
        for end, side in ((min, "start"), (max, "stop"))
    )
    return np.s_[max(0, top - margin) : bottom + margin, max(0, left - margin) : right + margin]


def _let_end_in_walls(labels: np.ndarray, clear: list[int], field: np.ndarray, width_px: float) -> None:
    """Divide each two neighbours anew along the wall between them, in place."""
    boxes = _boxes(labels)
    for i, one in enumerate(clear):
        own = labels[boxes[one]]
        beside = np.bincount(own[dilated((own == one).view(np.uint8), _BESIDE_PX) > 0])
        for other in clear[i + 1 :]:
            if other < len(beside) and beside[other] >= _FEW_PX:
                box = boxes[one] = boxes[other] = _united([boxes[one], boxes[other]])
                _divide(labels[box], one, other, field[box], width_px)


def _divide(own: np.ndarray, one: int, other: int, field: np.ndarray, width_px: float) -> None:
    """Divide two neighbours anew, in place, where that gives two parts that are these two."""
    both = np.isin(own, (one, other)).view(np.uint8)
    both = closed(both, _BESIDE_PX) & ((own == 0).view(np.uint8) | both)
    apart = parted_at_walls(both, field, width_px)
    if apart.max() != 2:
        return
    shared = np.array([np.bincount(apart[own == n], minlength=3)[1:] for n in (one, other)])
    first = int(shared[0, 1] + shared[1, 0] > shared[0, 0] + shared[1, 1])  # part that is the one, less 1
    kept = np.array([shared[0, first], shared[1, 1 - first]]) / shared.sum(axis=1)
    if kept.min() >= _SAME:
        own[apart == 1 + first] = one
        own[apart == 2 - first] = other
