"""Skins that are folded or rolled: the doubled part is a darker area of the same piece.

Where a thin skin lies over itself the light passes it twice, so the density is about twice as high and of the
same hue, with an edge as sharp as any. A fold is a line along which the skin turns back: what lies over it
ends inside the skin's own outline, and at both ends of the edge the outline goes on without a notch. Two
skins over one another, or side by side, stand out beyond each other and leave notches there, and what both
of them cover borders on both. A skin rolled into a tube shows single at both ends: there the outline goes on
without a notch along the whole tube.
"""

import cv2
import numpy as np

from measure.field.absorbance import density
from measure.field.compiled import find_objects
from measure.field.cut_lobes import is_oval
from measure.field.masks import closed, dilated, eroded, fill_holes
from measure.field.ovals import notches_of
from measure.field.quick import median
from measure.field.seams import contour_of

# density of the doubled part over that of the single one; a camera's tone curve widens it, rolls have layers
_TWICE = (1.45, 4.5)
_HUE = 0.2  # what differs of two densities once they are made as high, over the higher
_NOTCH, _LEAST_NOTCH_PX, _NOTCHES = (
    0.08,
    1.0,
    8,
)  # depth over the root of the area; px; how many are looked at
_BESIDE = 0.15  # share of the border of the doubled part that may be beside other parts
_FEW_PX = 12


def merged_folds(
    labels: np.ndarray, asked: list[int], delta: np.ndarray, oil_lab: np.ndarray, width: float
) -> dict[int, int]:
    """Give the single and the doubled part of folded skins one number, in place.

    Parameters
    ----------
    labels : (M, N) ndarray of int32
        1.. for each part of a component; 0 elsewhere.
    asked : list of int
        Parts that may be skin.
    delta : (M, N, 3) ndarray of float32
        CIELAB difference from the oil.
    oil_lab : (3,) ndarray
    width : float
        10-90 % width of an edge, px.

    Returns
    -------
    joined : dict of int to int
        For each number that is gone the one its pixels have now.
    """
    joined: dict[int, int] = {}
    if len(asked) < 2:
        return joined
    reach, boxes = _reach(width), find_objects(labels)
    for i, one in enumerate(asked):
        for other in asked[i + 1 :]:
            if one in joined or other in joined:
                continue
            box = _around(boxes[one - 1], boxes[other - 1], reach)
            if box is None:
                continue
            inside = labels[box]
            whole = _folded(inside, (one, other), delta[box], oil_lab, width)
            if whole is not None:
                inside[(whole > 0) & ((inside == 0) | (inside == other))] = one
                joined[other] = one
                boxes[one - 1] = box
    for middle in asked:
        ends = [k for k in asked if k != middle and k not in joined] if middle not in joined else []
        near = [box for k in ends if (box := _around(boxes[middle - 1], boxes[k - 1], reach)) is not None]
        if len(near) < 2:
            continue
        box = _box_of(near)
        inside = labels[box]
        whole, ends = _rolled(inside, middle, ends, delta[box], oil_lab, width)
        if ends:
            inside[(whole > 0) & ((inside == 0) | np.isin(inside, ends))] = middle
            joined |= dict.fromkeys(ends, middle)
            boxes[middle - 1] = box
    return joined


def _reach(width: float) -> float:
    """How far from one part another one may be that touches it, px."""
    return 0.5 * width + 1.5


def is_doubled(single: np.ndarray, double: np.ndarray) -> bool:
    """Whether one density, (3,), is about twice the other one or more, and of the same hue.

    Of grey that cannot be told: its hue is that of any shade.
    """
    if float(np.linalg.norm(single - single.mean())) < _HUE * float(np.linalg.norm(single)):
        return False
    times = float(double @ single / max(float(single @ single), 1e-9))
    if not _TWICE[0] < times < _TWICE[1]:
        return False
    return float(np.linalg.norm(double - times * single)) < _HUE * float(np.linalg.norm(double))


_Box = tuple[slice, slice]


def _around(one: _Box | None, other: _Box | None, reach: float) -> _Box | None:
    """Window about two parts of these boxes, None where they are apart."""
    if one is None or other is None:
        return None
    m = int(np.ceil(reach)) + 3
    sides = []
    for first, second in zip(one, other, strict=True):
        if max(first.start, second.start) > min(first.stop, second.stop) + m:
            return None
        sides.append(slice(max(0, min(first.start, second.start) - m), max(first.stop, second.stop) + m))
    return sides[0], sides[1]


def _box_of(boxes: list[_Box]) -> _Box:
    """Window about windows."""
    low, high = ([[getattr(side, end) for side in box] for box in boxes] for end in ("start", "stop"))
    (top, left), (bottom, right) = np.min(low, axis=0), np.max(high, axis=0)
    return slice(top, bottom), slice(left, right)


def _rolled(
    labels: np.ndarray, middle: int, others: list[int], delta: np.ndarray, oil_lab: np.ndarray, width: float
) -> tuple[np.ndarray, list[int]]:
    """Mask of a rolled skin, the middle of which is doubled, and its single ends: two or more, or none."""
    reach, dense = _reach(width), density(delta, oil_lab)
    own = (labels == middle).view(np.uint8)
    border, tone = dilated(own, reach), _tone(own, dense, width)
    ends: list[int] = []
    near, both = np.zeros_like(own), own
    for k in others:
        part = (labels == k).view(np.uint8)
        touched = border & dilated(part, reach)
        if cv2.countNonZero(touched) >= _FEW_PX and is_doubled(_tone(part, dense, width), tone):
            ends, near, both = [*ends, k], near | touched, both | part
    rest = ((labels > 0) & (both == 0)).view(np.uint8)
    if len(ends) < 2 or is_oval(own) or _is_beside(own, rest, reach):
        return both, []
    both = fill_holes(closed(both, reach))
    return both, ends if _goes_on(both, near) else []


def _is_beside(part: np.ndarray, others: np.ndarray, reach: float) -> bool:
    """Whether more of the border of a part lies along others than chance brings about."""
    border = part & ~eroded(part, 1.0) & 1
    return cv2.countNonZero(border & dilated(others, reach)) > _BESIDE * cv2.countNonZero(border)


def _folded(
    labels: np.ndarray, pair: tuple[int, int], delta: np.ndarray, oil_lab: np.ndarray, width: float
) -> np.ndarray | None:
    """Mask of both parts, if one of them is the other one folded, else None."""
    reach = _reach(width)
    first, second = ((labels == k).view(np.uint8) for k in pair)
    near = dilated(first, reach) & dilated(second, reach)
    if cv2.countNonZero(near) < _FEW_PX:
        return None
    dense = density(delta, oil_lab)
    tones = [_tone(part, dense, width) for part in (first, second)]
    single, double = sorted(tones, key=lambda tone: float(tone.sum()))
    if not is_doubled(single, double):
        return None
    folded = second if double is tones[1] else first
    if is_oval(folded):
        return None  # a piece by itself, that hides a part of the other
    others = ((labels > 0) & (first == 0) & (second == 0)).view(np.uint8)
    if _is_beside(folded, others, reach):
        return None
    both = fill_holes(closed(first | second, reach))
    return both if _goes_on(both, near) else None


def _tone(part: np.ndarray, dense: np.ndarray, width: float) -> np.ndarray:
    """Density of a part without its flanks, (3,)."""
    core = eroded(part, 0.5 * width)
    own = dense[(core if cv2.countNonZero(core) >= _FEW_PX else part) > 0]
    return np.array([median(own[:, i]) for i in range(3)])


def _goes_on(both: np.ndarray, near: np.ndarray) -> bool:
    """Whether an outline has no notch where the border between its two parts ends."""
    contour = contour_of(both)
    x, y = contour.astype(int).T
    at_border = dilated(near, 3.0)[y, x] > 0
    least = max(_NOTCH * float(np.sqrt(cv2.countNonZero(both))), _LEAST_NOTCH_PX)
    places, _ = notches_of(contour, least, _NOTCHES)
    return not at_border[places].any()
