"""Take back cuts across one piece: what a neck or notch says is judged by both sides and their outline.

The outline of a lobed or ragged piece has necks of its own. Two pieces that touch meet in a sharp, narrow
neck, and the cut leaves two sides that are full by themselves, one of them near an oval, often of another
tone. Across one piece the sides stay as hollow as before.
"""

import cv2
import numpy as np

from measure.field.basics.masks import SQUARE, kept_parts
from measure.field.basics.quick import colours_at, median_colour, norm
from measure.field.cuts.cut import notch_share
from measure.field.cuts.cut_lobes import oval_misfit
from measure.field.cuts.parts import compact_parts
from measure.field.cuts.seams import contour_of

# Evidence for a cut: logistic regression on 1,468 cuts by shape in drawn fields of five hands, in real pieces
# laid on real grounds and in blood films, these also made smaller, blurred, noisy and compressed.
_WEIGHTS = np.array([-3.32, -7.16, 2.35, 17.7, -0.71, 3.51])
_BASE = -13.34
_LIMIT = -0.7
_STRIP = 0.7  # solidity of a side below which it is a strip or rim, of which this tells nothing
_COARSE_PX, _FINE_PX = 2.0, 16.0  # half a neck at the grain of the picture, and as well drawn as it need be
_STRONGER, _WEAKER = 10.0, 4.0  # evidence a whole step of cut strength saves, or asks more
_NOTCHES = 1.85  # share of oil about the notches against the relative width of the neck, as in cutting
_LEAST_PX2 = 20  # area of a side below which its outline tells nothing
_OTHER_COLOUR = 0.3  # colour between the two, beside what their heights differ, over the greater height
_BESIDE_PX = ((2.5, 8.0, 2.5), (1.5, np.inf, 1.5))  # from the cut: least, most; from the outside: least
_LEAST_BESIDE = 8  # pixels by which the tone beside a cut is told
_MOST_STEP = 1.5
# evidence that compact parts give the borders among them, over the logarithm of how many times as many as a
# few they are
_CROWD, _FEW = 3.0, 3
_BEST_MISFIT, _WORST_MISFIT = 0.004, 1.0


def without_false_cuts(
    labels: np.ndarray, delta: np.ndarray, cut_strength: float, crowded: bool = False
) -> np.ndarray:
    """Join the parts of a piece that were cut apart though its outline is as notched elsewhere.

    Parameters
    ----------
    labels : (M, N) ndarray of int32
        0 outside, 1.. for the parts of one cluster.
    delta : (M, N, 3) ndarray of float32
        Difference from the oil.
    cut_strength : float
        0..1; the more, the less evidence a cut needs.
    crowded : bool
        Whether many compact parts speak for one another.

    Returns
    -------
    labels : (M, N) ndarray of int32
        0 outside, 1.. for the parts.
    """
    slack = cut_strength - 0.5
    limit = _LIMIT - slack * (_STRONGER if slack > 0 else _WEAKER)
    limit -= crowd(len(compact_parts(labels))) if crowded else 0.0
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
    return kept_parts(out, np.bincount(out.ravel()) > 0) if out is not labels else labels


def crowd(count: int) -> float:
    """Return the evidence for a border among so many compact parts: one piece hardly ever falls into many.

    Parameters
    ----------
    count : int
    """
    return _CROWD * float(np.log(max(count, _FEW) / _FEW))


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
    """How much speaks for the cut between two parts; infinite where it cannot be told or is by colour."""
    traits = _traits(labels, pair, delta)
    return np.inf if traits is None else float(_BASE + np.dot(_WEIGHTS, traits))


def _traits(labels: np.ndarray, pair: tuple[int, int], delta: np.ndarray) -> tuple[float, ...] | None:
    """What is known of a cut, as the weights are listed."""
    either = (labels == pair[0]) | (labels == pair[1])
    x, y, w, h = cv2.boundingRect(either.view(np.uint8))
    box = np.s_[y : y + h, x : x + w]
    framed = [
        cv2.copyMakeBorder((labels[box] == n).view(np.uint8), 1, 1, 1, 1, cv2.BORDER_CONSTANT) for n in pair
    ]
    areas = [cv2.countNonZero(side) for side in framed]
    solid = [_solidity(side) for side in framed] if min(areas) >= _LEAST_PX2 else [0.0]
    if min(solid) < _STRIP:
        return None
    both = framed[0] | framed[1]
    depth = cv2.distanceTransform(both, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    depth = np.sqrt(np.rint(depth * depth))  # its last digit depends on where the array lies in memory
    near = [cv2.dilate(side, SQUARE) for side in framed]
    line = (framed[0] & near[1]) | (framed[1] & near[0])
    deepest = [float(depth[side > 0].max()) for side in framed]
    neck = float(depth[line > 0].max())
    sharp = notch_share(both, line, min(deepest))
    tones, inner = delta[box], depth[1:-1, 1:-1]
    sides = [side[1:-1, 1:-1] > 0 for side in framed]
    if _other_colour(tones, [own & (inner > 0.5 * most) for own, most in zip(sides, deepest, strict=True)]):
        return None
    misfit = min(oval_misfit(contour_of(side)) for side in framed)
    relative = neck / min(deepest)
    weight = np.square(deepest)
    return (
        relative + _NOTCHES * sharp,
        relative,
        float(np.log(np.clip(neck, _COARSE_PX, _FINE_PX))),
        float(np.dot(weight, solid) / weight.sum()),
        float(np.log(np.clip(misfit, _BEST_MISFIT, _WORST_MISFIT))),
        min(_step(tones, sides, inner, line[1:-1, 1:-1]), _MOST_STEP),
    )


def _solidity(mask: np.ndarray) -> float:
    """Area of a part over that of its hull, both within its outline."""
    contour = contour_of(mask)
    return cv2.contourArea(contour) / max(cv2.contourArea(cv2.convexHull(contour)), 1.0)


def _step(delta: np.ndarray, sides: list[np.ndarray], depth: np.ndarray, line: np.ndarray) -> float:
    """Difference between the tones on both sides of a cut, over the height of the whole; 0 where not told."""
    away = cv2.distanceTransform(1 - line, cv2.DIST_L2, 5)
    whole = norm(median_colour(colours_at(delta, sides[0] | sides[1])))
    for least, most, inside in _BESIDE_PX:
        beside = (away > least) & (away < most) & (depth > inside)
        parts = [side & beside for side in sides]
        if min(np.count_nonzero(part) for part in parts) >= _LEAST_BESIDE:
            one, other = (median_colour(colours_at(delta, part)) for part in parts)
            return norm(one.astype(float) - other) / max(whole, 1e-6)
    return 0.0


def _other_colour(delta: np.ndarray, cores: list[np.ndarray]) -> bool:
    """Whether two parts differ in colour and not only in how much of it they have."""
    one, other = (median_colour(colours_at(delta, core)).astype(float) for core in cores)
    heights = norm(one), norm(other)
    beside = norm(one - other) ** 2 - (heights[0] - heights[1]) ** 2
    return bool(np.sqrt(max(beside, 0.0)) > _OTHER_COLOUR * max(*heights, 1e-6))
