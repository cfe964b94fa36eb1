"""Skins that are folded or rolled: the doubled part is a darker area of the same piece.

Where a thin skin lies over itself the light passes it twice, so the density is about twice as high and of the
same hue, with an edge as sharp as any. A fold is a straight line along which the skin turns back: nothing of
the skin lies beyond this crease, and the doubled part meets the oil along most of its own length there. Where
two skins lie over one another, what both of them cover meets the oil at its two ends only. The crease may be
hard to see; but what lies over the skin ends inside its own outline, and at both ends of the edge the outline
goes on without a notch. Two skins over one another, or side by side, stand out beyond each other and leave
notches there, and what both of them cover borders on both. A skin rolled into a tube shows single at both
ends: there the outline goes on without a notch along the whole tube. A torn skin has notches everywhere:
there one at an end of the edge says nothing unless it is far deeper than the others, if the edge is one
straight line from side to side of the doubled part, with nothing of it before and of the single part behind.
"""

import cv2
import numpy as np

from measure.field.basics.compiled import find_objects
from measure.field.basics.masks import closed, dilated, eroded, fill_holes
from measure.field.basics.ovals import notches_of
from measure.field.basics.quick import median, norm
from measure.field.cuts.cut_lobes import is_oval
from measure.field.cuts.seams import contour_of
from measure.field.ground.absorbance import density

# density of the doubled part over that of the single one; a camera's tone curve widens it, rolls have layers
_TWICE = (1.45, 4.5)
_GREY = 0.2  # share of colour in a density, below which its hue is that of any shade
# what differs of two densities once they are made as high, over the higher: 0.05 in one material at most,
# 0.09 to 0.17 between kernels and skins
_HUE = 0.085
_NOTCH, _LEAST_NOTCH_PX, _NOTCHES = (
    0.08,
    1.0,
    8,
)  # depth over the root of the area; px; how many are looked at
_BESIDE = 0.15  # share of the border of the doubled part that may be beside other parts
_MANY_NOTCHES = 12
_SIDE_PX = 2.5  # from one another, of parts that lie side by side
_SHEET, _RING_PX = 0.88, 2.5  # density a sheet has beside its flank, over that farther in; width of that ring
_FEW_PX = 12
# length of a crease over that of the doubled part along it, and over that part's outline against the oil
_CREASE, _OF_FREE = 0.7, 0.45
_STRAIGHT_PX, _DIRECTIONS = 1.25, 180  # by which a crease may miss its line; directions it is looked for in
# share of both parts over that line, of the doubled one; length of their border over that part's along it
_OVER, _OF_WIDTH = 0.03, 0.72
_DEEPER = 3.0  # times the deepest notch elsewhere that one at an end of the edge may be
_CALM_PX = 1.0
_AT_FRAME_PX = 2


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
    tones = _Tones(labels, boxes, delta, oil_lab, width)
    for middle in asked:
        others = [k for k in asked if k != middle and k not in joined and tones.doubled(k, middle)]
        near = [box for k in others if (box := _around(boxes[middle - 1], boxes[k - 1], reach)) is not None]
        if middle in joined or not near:
            continue
        box = _box_of(near)
        inside = labels[box]
        whole, singles = _turned_over(inside, middle, others, delta[box], tones, width)
        if singles:
            inside[(whole > 0) & ((inside == 0) | np.isin(inside, singles))] = middle
            joined |= dict.fromkeys(singles, middle)
            boxes[middle - 1] = box
            tones.forget(middle)
    for i, one in enumerate(asked):
        for other in asked[i + 1 :]:
            if one in joined or other in joined:
                continue
            box = _around(boxes[one - 1], boxes[other - 1], reach)
            pair = (one, other) if tones.doubled(one, other) else (other, one)
            if box is None or not tones.doubled(*pair):
                continue
            inside = labels[box]
            one_skin = _folded(inside, pair, tones, width)
            if one_skin is not None:
                inside[(one_skin > 0) & ((inside == 0) | (inside == other))] = one
                joined[other] = one
                boxes[one - 1] = box
                tones.forget(one)
    return joined


def _reach(width: float) -> float:
    """How far from one part another one may be that touches it, px."""
    return 0.5 * width + 1.5


def is_doubled(single: np.ndarray, double: np.ndarray) -> bool:
    """Whether one density, (3,), is about twice the other one or more, and of the same hue.

    Of grey that cannot be told: its hue is that of any shade.
    """
    if norm(single - single.mean()) < _GREY * norm(single):
        return False
    times = float(double @ single / max(float(single @ single), 1e-9))
    if not _TWICE[0] < times < _TWICE[1]:
        return False
    return norm(double - times * single) < _HUE * norm(double)


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


class _Tones:
    """Density of each part without its flanks, worked out once it is asked for."""

    def __init__(
        self,
        labels: np.ndarray,
        boxes: list[_Box | None],
        delta: np.ndarray,
        oil_lab: np.ndarray,
        width: float,
    ) -> None:
        self._labels, self._boxes, self._delta = labels, boxes, delta
        self._oil_lab, self._width = oil_lab, width
        self._known: dict[int, np.ndarray] = {}

    def doubled(self, single: int, double: int) -> bool:
        """Whether the second part is the first one lying double."""
        return is_doubled(self.of(single), self.of(double))

    def heights(self, delta: np.ndarray, part: int) -> np.ndarray:
        """Density of each pixel in that of a part, (M, N) float32."""
        tone = self.of(part)
        along = density(delta, self._oil_lab) @ (tone / float(tone @ tone)).astype(np.float32)
        return cv2.GaussianBlur(along, (0, 0), _CALM_PX)

    def is_sheet(self, part: int) -> bool:
        """Whether a part is as dense just inside its flank as farther in, as a dome is not."""
        box = _around(self._boxes[part - 1], self._boxes[part - 1], _reach(self._width))
        if box is None:
            return False
        own = (self._labels[box] == part).view(np.uint8)
        deep = cv2.distanceTransform(own, cv2.DIST_L2, 5) - 0.5 * self._width
        tone = self.of(part)
        along = density(self._delta[box], self._oil_lab) @ (tone / max(float(tone @ tone), 1e-9))
        ring, core = along[(deep > 0) & (deep < _RING_PX)], along[deep >= _RING_PX]
        return min(len(ring), len(core)) >= _FEW_PX and median(ring) >= _SHEET * median(core)

    def forget(self, part: int) -> None:
        """Leave out a part that was changed."""
        self._known.pop(part, None)

    def of(self, part: int) -> np.ndarray:
        """Density of a part, (3,)."""
        if part not in self._known:
            own = self._boxes[part - 1]
            box = _around(own, own, _reach(self._width))
            if box is None:
                return np.zeros(3)
            mask = (self._labels[box] == part).view(np.uint8)
            self._known[part] = _tone(mask, density(self._delta[box], self._oil_lab), self._width)
        return self._known[part]


def _turned_over(
    labels: np.ndarray, middle: int, others: list[int], delta: np.ndarray, tones: _Tones, width: float
) -> tuple[np.ndarray, list[int]]:
    """Mask of a skin part of which is doubled by a fold or a roll, and its single parts, if there are any."""
    reach = _reach(width)
    own = (labels == middle).view(np.uint8)
    border = dilated(own, reach)
    singles: list[int] = []
    near, both, area = np.zeros_like(own), own, {}
    for k in others:
        part = (labels == k).view(np.uint8)
        touched = border & dilated(part, reach)
        if cv2.countNonZero(touched) >= _FEW_PX:
            singles, near, both = [*singles, k], near | touched, both | part
            area[k] = cv2.countNonZero(part)
    rest = ((labels > 0) & (both == 0)).view(np.uint8)
    if not singles or is_oval(own) or _is_beside(own, rest, reach):
        return both, []
    both = fill_holes(closed(both, reach))
    if len(singles) > 1 and _goes_on(both, near):
        return both, singles
    single = max(singles, key=area.__getitem__)
    half_more = 0.5 + 0.5 * float(tones.of(middle) @ tones.of(single)) / float(np.sum(tones.of(single) ** 2))
    doubled = _largest_in(own, both & (tones.heights(delta, single) > half_more))
    return both, singles if has_crease(both, doubled, 0.5 * width + 1.5) else []


def _largest_in(part: np.ndarray, mask: np.ndarray) -> np.ndarray:
    """What hangs together of a mask and has most of a part."""
    count, areas = cv2.connectedComponents(mask.astype(np.uint8), connectivity=4)
    within = np.bincount(areas[part > 0], minlength=count)
    within[0] = 0
    return ((areas == within.argmax()) & (areas > 0)).view(np.uint8)


def has_crease(whole: np.ndarray, doubled: np.ndarray, near: float) -> bool:
    """Whether a part ends in a straight line beyond which nothing of the whole lies.

    Parameters
    ----------
    whole, doubled : (M, N) ndarray of uint8
        A piece, and the part of it that may lie double.
    near : float
        How far from the outline a part may end that meets the oil, px.

    Returns
    -------
    folded : bool
        Most of what the part is long, and most of where it meets the oil, lies along the line, which is not
        the border of the crop.
    """
    contour, (height, width) = contour_of(whole), whole.shape
    x, y = contour.astype(int).T
    free = dilated(doubled, near)[y, x] > 0
    inside = np.minimum(np.minimum(x, width - 1 - x), np.minimum(y, height - 1 - y)) >= _AT_FRAME_PX
    if free.sum() < _FEW_PX:
        return False
    turn = 2 * np.pi / _DIRECTIONS * np.arange(_DIRECTIONS)
    outward, along = np.stack([np.cos(turn), np.sin(turn)]), np.stack([-np.sin(turn), np.cos(turn)])
    heights, steps = contour @ outward, np.roll(contour, -1, axis=0) - contour
    flush = (heights > heights.max(axis=0) - _STRAIGHT_PX) & (free & inside)[:, None]
    lengths = (np.abs(steps @ along) * flush).sum(axis=0)
    best = int(lengths.argmax())
    # as wide as it is where it counts as meeting the oil
    extent = np.ptp(contour_of(doubled) @ along[:, best]) + 2.0 * (near - 1.0)
    paces = np.hypot(*steps.T)
    at_oil = float(paces[flush[:, best]].sum()) / float(paces[free].sum())
    return bool(lengths[best] >= max(_CREASE * extent, _FEW_PX) and at_oil >= _OF_FREE)


def _is_beside(part: np.ndarray, others: np.ndarray, reach: float) -> bool:
    """Whether more of the border of a part lies along others than chance brings about."""
    border = part & ~eroded(part, 1.0) & 1
    return cv2.countNonZero(border & dilated(others, reach)) > _BESIDE * cv2.countNonZero(border)


def _folded(labels: np.ndarray, pair: tuple[int, int], tones: "_Tones", width: float) -> np.ndarray | None:
    """Mask of a single part and its doubled one, if they are one skin that is folded, else None."""
    reach = _reach(width)
    single, folded = ((labels == k).view(np.uint8) for k in pair)
    near = dilated(single, reach) & dilated(folded, reach)
    if cv2.countNonZero(near) < _FEW_PX or is_oval(folded):
        return None  # an oval is a piece by itself, that hides a part of the other
    others = ((labels > 0) & (single == 0) & (folded == 0)).view(np.uint8)
    if _is_beside(folded, others, reach):
        return None
    both = fill_holes(closed(single | folded, reach))
    if _goes_on(both, near):
        return both
    near = dilated(single, _SIDE_PX) & dilated(folded, _SIDE_PX)
    if cv2.countNonZero(near) < _FEW_PX:
        return None
    kept = _by_a_line(single, folded, near) and _torn(both, near) and tones.is_sheet(pair[0])
    return both if kept else None


def _by_a_line(single: np.ndarray, folded: np.ndarray, near: np.ndarray) -> bool:
    """Whether one straight line parts two parts, and their border is as long as the second is along it."""
    (beside, one, other) = (np.argwhere(mask > 0) for mask in (near, single, folded))
    middle = beside.mean(axis=0)
    _, axes = np.linalg.eigh(np.cov((beside - middle).T))
    outward, along = axes.T
    if (other.mean(axis=0) - one.mean(axis=0)) @ outward < 0.0:
        outward = -outward
    if np.ptp(beside @ along) < _OF_WIDTH * np.ptp(other @ along):
        return False
    over = np.count_nonzero((one - middle) @ outward > _STRAIGHT_PX)
    over += np.count_nonzero((other - middle) @ outward < -_STRAIGHT_PX)
    return bool(over <= _OVER * len(other))


def _torn(both: np.ndarray, near: np.ndarray) -> bool:
    """Whether an outline has notches elsewhere nearly as deep as where the border between its parts ends."""
    contour = contour_of(both)
    x, y = contour.astype(int).T
    at_border = dilated(near, 3.0)[y, x] > 0
    places, depths = notches_of(contour, _LEAST_NOTCH_PX, _MANY_NOTCHES)
    here = [depth for place, depth in zip(places, depths, strict=True) if at_border[place]]
    elsewhere = [depth for place, depth in zip(places, depths, strict=True) if not at_border[place]]
    return max(here, default=0.0) <= _DEEPER * max(elsewhere, default=0.0)


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
