"""Take back cuts across ragged pieces: what a neck or notch says is judged by the outline it is part of.

The outline of a ragged piece is notched all round, and between any two lobes it has a neck. A cut between two
pieces takes most of the hollows of their common outline away, for they lie at its ends; across a ragged piece
it leaves most of them to the two sides. And where a piece is thin towards its edge, its outline at half its
height runs into every thin place: there notches say less.
"""

import cv2
import numpy as np

from measure.field.edge import colour_length
from measure.field.masks import SQUARE
from measure.field.quick import colours_at, median, median_colour

# Evidence for a cut: logistic regression on 1,658 cuts by shape in drawn fields of three renderers and in
# real pieces laid on real grounds. With the limits below and each group judged by the others, 406 of 674
# wrong cuts are taken back, and 11 of 984 right ones, most of them between scraps in heaps.
_OF_NECK, _OF_HOLLOWS, _OF_EDGE, _BASE = -4.0, -4.1, 7.7, -6.1
_LIMIT = -1.5
_STRONGER, _WEAKER = 10.0, 4.0  # evidence a whole step of cut strength saves, or asks more
_LEAST_LEFT, _MOST_LEFT = 0.02, 3.0
_THINNEST, _EVEN = 0.3, 1.2
_OUTER, _INNER = 0.35, 0.65  # of the depth of a part: its border, and its middle
_SOLID = 0.6  # solidity of both together, below which they may be bent round each other
_RAGGED = (0.7, 0.95)  # solidity of a ragged side: less is a strip or curl, more is smooth
_LEAST_PX2 = 20  # area of a side below which its outline tells nothing
_OTHER_COLOUR = 0.3  # colour between the two, beside what their heights differ, over the greater height


def without_ragged_cuts(labels: np.ndarray, delta: np.ndarray, cut_strength: float) -> np.ndarray:
    """Join the parts of a piece that were cut apart though its outline is as notched elsewhere.

    Parameters
    ----------
    labels : (M, N) ndarray of int32
        0 outside, 1.. for the parts of one cluster.
    delta : (M, N, 3) ndarray of float32
        Difference from the oil.
    cut_strength : float
        0..1; the more, the less evidence a cut needs.

    Returns
    -------
    labels : (M, N) ndarray of int32
        0 outside, 1.. for the parts.
    """
    slack = cut_strength - 0.5
    limit = _LIMIT - slack * (_STRONGER if slack > 0 else _WEAKER)
    out, known = labels, {}
    while out.max() > 1:
        worst, least = None, limit
        for pair in _neighbours(out):
            if pair not in known:
                known[pair] = _evidence(out, pair, delta)
            if known[pair] < least:
                worst, least = pair, known[pair]
        if worst is None:
            break
        first, second = worst
        out = np.where(out == second, first, out)
        known = {pair: value for pair, value in known.items() if not {*pair} & {*worst}}
    return _compact(out) if out is not labels else labels


def _compact(labels: np.ndarray) -> np.ndarray:
    """The same parts numbered 1.. without gaps."""
    number = np.cumsum(np.bincount(labels.ravel()) > 0) - (labels.min() == 0)
    return (number * (np.arange(len(number)) > 0))[labels].astype(np.int32)


def _neighbours(labels: np.ndarray) -> list[tuple[int, int]]:
    """Numbers of parts that touch, the smaller number first, in order."""
    pairs: set[tuple[int, int]] = set()
    for one, other in ((labels[1:], labels[:-1]), (labels[:, 1:], labels[:, :-1])):
        at = (one != other) & (one > 0) & (other > 0)
        pairs |= set(
            zip(np.minimum(one[at], other[at]).tolist(), np.maximum(one[at], other[at]).tolist(), strict=True)
        )
    return sorted(pairs)


def _evidence(labels: np.ndarray, pair: tuple[int, int], delta: np.ndarray) -> float:
    """How much speaks for the cut between two parts; infinite where it is none across a ragged piece."""
    either = (labels == pair[0]) | (labels == pair[1])
    x, y, w, h = cv2.boundingRect(either.view(np.uint8))
    box = np.s_[y : y + h, x : x + w]
    sides = [
        cv2.copyMakeBorder((labels[box] == n).view(np.uint8), 1, 1, 1, 1, cv2.BORDER_CONSTANT) for n in pair
    ]
    if min(map(cv2.countNonZero, sides)) < _LEAST_PX2:
        return np.inf
    both = sides[0] | sides[1]
    hollows = [_hollow(side) for side in sides]
    solid, hollow = _hollow(both)
    if not _RAGGED[0] < min(own for own, _ in hollows) < _RAGGED[1] or solid < _SOLID:
        return np.inf
    left = sum(gap for _, gap in hollows) / max(hollow, 1.0)
    depth = cv2.distanceTransform(both, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)[1:-1, 1:-1]
    depth = np.sqrt(np.rint(depth * depth))  # its last digit depends on where the array lies in memory
    inside = [side[1:-1, 1:-1] > 0 for side in sides]
    cut = [cv2.dilate(side, SQUARE)[1:-1, 1:-1] > 0 for side in sides]
    neck = depth[(inside[0] & cut[1]) | (inside[1] & cut[0])].max()
    deepest = [float(depth[own].max()) for own in inside]
    tones = delta[box]
    if _other_colour(tones, [own & (depth > 0.5 * most) for own, most in zip(inside, deepest, strict=True)]):
        return np.inf
    height = colour_length(tones)
    edge = min(_edge(height, own, depth, most) for own, most in zip(inside, deepest, strict=True))
    return float(
        _BASE
        + _OF_NECK * min(neck / min(deepest), 2.0)
        + _OF_HOLLOWS * np.log(np.clip(left, _LEAST_LEFT, _MOST_LEFT))
        + _OF_EDGE * np.clip(edge, _THINNEST, _EVEN)
    )


def _hollow(mask: np.ndarray) -> tuple[float, float]:
    """Solidity of a part, and the area that its hull has more."""
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    contour = max(contours, key=len)
    own, hull = cv2.contourArea(contour), cv2.contourArea(cv2.convexHull(contour))
    return own / max(hull, 1.0), hull - own


def _edge(height: np.ndarray, own: np.ndarray, depth: np.ndarray, most: float) -> float:
    """Height of a part's border over that of its middle."""
    border = own & (depth <= max(1.0, _OUTER * most))
    if not border.any():
        return _EVEN
    return median(height[border]) / max(median(height[own & (depth > _INNER * most)]), 1e-6)


def _other_colour(delta: np.ndarray, cores: list[np.ndarray]) -> bool:
    """Whether two parts differ in colour and not only in how much of it they have."""
    one, other = (median_colour(colours_at(delta, core)).astype(float) for core in cores)
    heights = float(np.linalg.norm(one)), float(np.linalg.norm(other))
    beside = float(np.linalg.norm(one - other)) ** 2 - (heights[0] - heights[1]) ** 2
    return bool(np.sqrt(max(beside, 0.0)) > _OTHER_COLOUR * max(*heights, 1e-6))
