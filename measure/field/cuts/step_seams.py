"""Cut pieces that lie over one another, or side by side, along the edge that is seen inside their outline.

Where a piece that hides its neighbour, or one of another tone, ends inside a common outline, its edge shows
as a step of tone or colour from a notch to another place of the outline. It is followed as the cheapest way
through a picture of such steps. Mottle has steps too, so it is a cut only where the step shows all along, a
notch is there, and both sides are compact.
"""

import cv2
import numpy as np

from measure.field.basics.masks import box_about, solidity
from measure.field.basics.ovals import notches_of
from measure.field.cuts.cut_colour import spread
from measure.field.cuts.cut_lobes import oval_misfit
from measure.field.cuts.pale_lines import PaleLine
from measure.field.cuts.seams import Cut, contour_of, cut_again, ends_of_cut, evidence_asked, sides_of
from measure.field.cuts.step_lines import StepLines

_SOLID = 0.975  # solidity above which there are no notches worth a look
_CLEAR, _DEEP, _LEAST_DEEP_PX = 0.03, 0.015, 1.0  # depth of a notch over the root of the area: start, end; px
_DETAIL_PX = 80.0  # root of the area; pieces twice as large are looked at in reduced size
_NOTCHES = 8  # deepest notches looked at
_SHARE = 0.06  # of the whole that each side must have
_LEAST_OUTLINE_PX = 24
_MARGIN_PX = 12  # round a piece: what is smoothed, and its slopes, reach no farther
_BESIDE_PX = 3.0  # how far a line may run from the border of two pieces
# Evidence for a cut: logistic regression on 1,990 edges followed in bodies of drawn fields of four hands and
# of real pieces laid on real grounds, after cuts along paler lines. From 1.5 on, 167 cuts were right, 66
# parted different pieces beside their border, and 9 were wrong (three along cracks), each kind of field
# judged by the others.
_OF_NOTCH, _OF_OVAL, _OF_LENGTH, _OF_LOW, _OF_LOWEST = 1.0, -0.91, -2.14, 1.69, 2.32
_OF_COLOUR, _OF_FULLER, _OF_OTHER, _OF_SHOWN, _OF_SHARE, _BASE = 0.79, 9.14, 5.26, 2.61, 8.48, -15.69
_LIMIT = 1.5


def cut_by_steps(
    mask: np.ndarray, delta: np.ndarray, least_px2: float, cut_strength: float = 0.5
) -> np.ndarray:
    """Label the parts of a piece on both sides of edges seen inside it.

    Parameters
    ----------
    mask : (M, N) ndarray of uint8
        One piece.
    delta : (M, N, 3) ndarray of float32
        CIELAB difference from the oil.
    least_px2 : float
        Smallest area of a part.
    cut_strength : float
        0..1; the less, the more evidence is asked.

    Returns
    -------
    labels : (M, N) ndarray of int32
        0 outside, 1.. inside.
    """
    limit = evidence_asked(_LIMIT, cut_strength)
    reduce = int(np.sqrt(cv2.countNonZero(mask)) / _DETAIL_PX)
    if reduce < 2:
        return _cut(mask, delta, least_px2, limit)
    small = (max(1, mask.shape[1] // reduce), max(1, mask.shape[0] // reduce))
    reduced = cv2.resize(mask, small, interpolation=cv2.INTER_NEAREST)
    seen = cv2.resize(delta, small, interpolation=cv2.INTER_AREA)
    labels = _cut(reduced, seen, least_px2 / reduce**2, limit)
    if labels.max() < 2:
        return (mask > 0).astype(np.int32)
    return spread(cv2.resize(labels, mask.shape[::-1], interpolation=cv2.INTER_NEAREST), mask)


def _cut(mask: np.ndarray, delta: np.ndarray, least_px2: float, limit: float) -> np.ndarray:
    return cut_again(mask, lambda part: _best_cut(part, delta, least_px2, limit))


def _best_cut(mask: np.ndarray, delta: np.ndarray, least_px2: float, limit: float) -> Cut | None:
    """The cut with most evidence, or None where there is too little."""
    contour = contour_of(mask)
    area = float(cv2.contourArea(contour))
    if len(contour) < _LEAST_OUTLINE_PX or area < 2 * least_px2 or solidity(mask) > _SOLID:
        return None
    root = float(np.sqrt(area))
    places, depths = notches_of(contour, max(_LEAST_DEEP_PX, _DEEP * root), _NOTCHES)
    clear = [(k, depth / root) for k, depth in zip(places, depths, strict=True) if depth >= _CLEAR * root]
    if not clear:
        return None
    box = box_about(mask, _MARGIN_PX)
    corner = np.array([box[1].start, box[0].start], np.float32)
    part, contour = np.ascontiguousarray(mask[box]), contour - corner
    lines = StepLines(part, delta[box])
    clear = [(k, deep) for k, deep in clear if lines.starts_at(contour[k])]
    lined = lines.exits(contour) if clear else []
    best = None
    for n, (start, deep) in enumerate(clear):
        known = [k for k, _ in clear[: n + 1]]
        ends = [k for k in places if k not in known] + lined
        for line in lines.between(contour[start], [contour[k] for k in ends]):
            sides = sides_of(part, line.way, max(least_px2, _SHARE * area)) if line else None
            if line is None or sides is None:
                continue
            evidence = _evidence(lines, line, deep, sides, root, corner)
            if evidence > (best.evidence if best else limit):
                best = Cut(sides, evidence)
    if best is None:
        return None
    return Cut([_placed(side, box, mask.shape) for side in best.sides], best.evidence)


def _placed(side: np.ndarray, box: tuple[slice, slice], shape: tuple[int, ...]) -> np.ndarray:
    """One side of a cut in the array it belongs to, (M, N) uint8."""
    whole = np.zeros(shape, side.dtype)
    whole[box] = side
    return whole


def _evidence(
    lines: StepLines,
    line: PaleLine,
    notch: float,
    sides: list[np.ndarray],
    root: float,
    corner: np.ndarray | None = None,
) -> float:
    """How much speaks for a cut along a line from a notch, whose depth is given over the root of the area.

    With the corner of their crop an oval is laid through a side where it is, the same to the last digit.
    """
    (less, _), (more, fuller) = sorted(((solidity(side), side) for side in sides), key=lambda pair: pair[0])
    sizes = [cv2.countNonZero(side) for side in sides]
    outline = contour_of(fuller) if corner is None else contour_of(fuller) + corner
    return float(
        _BASE
        + _OF_NOTCH * np.log(min(max(notch, 0.01), 0.3))
        + _OF_OVAL * np.log(min(max(oval_misfit(outline), 0.004), 0.2))
        + _OF_LENGTH * len(line.way) / root
        + _OF_LOW * np.log(min(max(line.low / line.least, 0.2), 5.0))
        + _OF_LOWEST * np.log(min(max(line.lowest / line.least, 0.1), 5.0))
        + _OF_COLOUR * np.log(min(max(lines.colour_step(line, sides), 0.02), 1.0))
        + _OF_FULLER * more
        + _OF_OTHER * less
        + _OF_SHOWN * lines.shown(line.way)
        + _OF_SHARE * min(sizes) / sum(sizes)
    )


def step_between(one: np.ndarray, other: np.ndarray, delta: np.ndarray) -> bool:
    """Whether two neighbours are two pieces by the edge that is seen along their border.

    Parameters
    ----------
    one, other : (M, N) ndarray of uint8
        Two pieces that touch.
    delta : (M, N, 3) ndarray of float32
        CIELAB difference from the oil.
    """
    reduce = int(np.sqrt(cv2.countNonZero(one | other)) / _DETAIL_PX)
    if reduce > 1:
        small = (max(1, one.shape[1] // reduce), max(1, one.shape[0] // reduce))
        one, other = (cv2.resize(part, small, interpolation=cv2.INTER_NEAREST) for part in (one, other))
        delta = cv2.resize(delta, small, interpolation=cv2.INTER_AREA)
    both = cv2.morphologyEx(one | other, cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8))
    ends = ends_of_cut(both, spread(one + 2 * (other & (1 - one)).astype(np.int32), both))
    if ends is None:
        return False
    lines = StepLines(both, delta)
    line = lines.between(*ends)[0]
    sides = sides_of(both, line.way, 1.0) if line else None
    if line is None or sides is None:
        return False
    rows, columns = line.way.T
    beside = [cv2.distanceTransform(1 - side, cv2.DIST_L2, 5)[rows, columns] for side in (one, other)]
    if max(float(away.max()) for away in beside) > _BESIDE_PX:
        return False
    contour = contour_of(both)
    root = float(np.sqrt(cv2.contourArea(contour)))
    places, depths = notches_of(contour, _LEAST_DEEP_PX, _NOTCHES)
    at_ends = [
        depth / root
        for k, depth in zip(places, depths, strict=True)
        if np.hypot(*(line.way[[0, -1], ::-1] - contour[k]).T).min() <= _BESIDE_PX
    ]
    notch = max(at_ends, default=0.0)
    return notch >= _CLEAR and _evidence(lines, line, notch, sides, root) > _LIMIT
