"""Cut pieces that lie against or over one another along the line that is seen between them.

Where two pieces meet, their edges refract light or leave a gap: a line nearer to the tone of the oil runs
from a notch of the outline to another. It is followed as the cheapest way through a picture of such lines.
Mottled pieces have lines too, so it is a cut only where the line is plain, the notch deep, one side an oval
and the whole none.
"""

from collections.abc import Callable
from functools import lru_cache
from itertools import combinations
from typing import NamedTuple

import cv2
import numpy as np

from measure.field.basics.masks import SQUARE, box_about, dilated, numbered, solidity
from measure.field.basics.ovals import notches_of
from measure.field.cuts.cut_colour import spread
from measure.field.cuts.cut_lobes import oval_misfit
from measure.field.cuts.pale_lines import PaleLine, PaleLines

_SOLID = 0.97  # solidity above which there are no notches worth a look
_DEEP, _LEAST_DEEP_PX = 0.02, 1.0  # depth of a notch over the root of the area
_CLEAR = 0.05  # the same at one end at least; the other may lie where the line runs out
_ONE_OVAL = 0.04  # distance of an outline from its oval over its radius, below which it is one piece
_NOTCHES = 8  # deepest notches looked at
_SHARE = 0.08  # of the whole that each side must have
_LEAST_FREE = 0.25  # share of its outline along which a piece borders the oil
_SIDES = ((0.92, 0.7), (0.94, 0.55))  # solidity of a compact side, and of the other, which it may hide
_PLAIN_SIDES, _PLAIN = (*_SIDES, (0.86, 0.5)), 2.5  # the same where the line is this plain to see
_PART, _FILLED = 0.6, 0.6  # solidity of each side, and share of the hollows that stay, in a cluster
# A plain line in a cluster: solidity, share of its hollows left, length of the line over the root of the
# area, and how plain it is
_CLUSTER, _LEFT, _NECK, _PLAINER = 0.9, 0.7, 0.75, 3.0
_BOTH_DEEP = 0.07  # depth of both notches over the root of the area, joined by a plain line
_IS_OVAL, _NEARLY_OVAL = 0.07, 0.1  # distance of the fuller side from its oval over its radius, in each case
_CLEAR_LINE, _FRONT = 1.8, 0.94  # clearness and solidity of the piece in front, for a cut to be moved
_STEP = 0.12  # of tone across a line, from which one side is seen through the other and told by its tone
_BESIDE_PX = 3.0  # how far a line may run from the border of two pieces
_LEAST_OUTLINE_PX = 24
_MARGIN_PX = 12  # round two parts: what is smoothed, and its slopes, reach no farther
# Evidence for a cut: logistic regression on 28,000 lines followed in 2,600 bodies of drawn fields of two
# renderers, of real pieces laid on real grounds and of films with marked cells. With the limits above and
# evidence of 1.4, 133 cuts were right and 9 wrong, each group judged by the others; 1.7 spares folded skins.
_OF_NOTCH, _OF_OVAL, _OF_WHOLE, _OF_LENGTH = 0.89, -1.49, 3.21, -1.53
_OF_HEIGHT, _OF_FREE, _OF_CLEARNESS, _OF_RISE, _BASE = 1.03, 2.05, 0.48, -0.35, 3.81
_LIMIT = 1.7
_STRONGER, _WEAKER = 2.0, 12.0  # evidence a whole step of cut strength saves, or asks more
_MOST_PLAIN = 4.0  # how much more may be asked before plain lines are no cuts either
_LEAST_MISFIT, _MOST_MISFIT, _MOST_NOTCH = 0.004, 0.2, 0.3


class Cut(NamedTuple):
    """Two sides of a line, and how much speaks for them."""

    sides: list[np.ndarray]
    evidence: float


def evidence_asked(usual: float, cut_strength: float) -> float:
    """Return the evidence a cut must have at a cut strength of 0..1; the usual one at 0.5."""
    slack = cut_strength - 0.5
    return usual - slack * (_STRONGER if slack > 0 else _WEAKER)


def cut_by_seams(
    mask: np.ndarray, delta: np.ndarray, least_px2: float, body: np.ndarray, cut_strength: float = 0.5
) -> np.ndarray:
    """Label the parts of a piece on both sides of lines that run from notch to notch.

    Parameters
    ----------
    mask : (M, N) ndarray of uint8
        One piece.
    delta : (M, N, 3) ndarray of float32
        CIELAB difference from the oil.
    least_px2 : float
        Smallest area of a part.
    body : (M, N) ndarray of uint8
        All that the piece was cut from; oil is what lies outside.
    cut_strength : float
        0..1; the less, the more evidence is asked.

    Returns
    -------
    labels : (M, N) ndarray of int32
        0 outside, 1.. inside.
    """
    limit = evidence_asked(_LIMIT, cut_strength)
    oil = cv2.dilate(1 - body, SQUARE)
    return cut_again(mask, lambda part: _best_cut(part, delta, least_px2, oil, limit))


def cut_again(mask: np.ndarray, best: Callable[[np.ndarray], Cut | None]) -> np.ndarray:
    """Label the parts of a piece that is cut in two again and again.

    Parameters
    ----------
    mask : (M, N) ndarray of uint8
    best : callable
        The best cut of a mask, or None where it is to be left whole.

    Returns
    -------
    labels : (M, N) ndarray of int32
        0 outside, 1.. inside.
    """
    cut = best(mask)
    if cut is None:
        return (mask > 0).astype(np.int32)
    labels, used = np.zeros(mask.shape, np.int32), 0
    for side in cut.sides:
        further = cut_again(side, best)
        labels[further > 0] = further[further > 0] + used
        used += int(further.max())
    return spread(labels, mask)


def _best_cut(
    mask: np.ndarray, delta: np.ndarray, least_px2: float, oil: np.ndarray, limit: float
) -> Cut | None:
    """The cut with most evidence, or None where there is too little."""
    contour = contour_of(mask)
    area = float(cv2.contourArea(contour))
    if len(contour) < _LEAST_OUTLINE_PX or area < 2 * least_px2 or solidity(mask) > _SOLID:
        return None
    root = float(np.sqrt(area))
    places, depths = notches_of(contour, max(_LEAST_DEEP_PX, _DEEP * root), _NOTCHES)
    clear = [k for k, depth in zip(places, depths, strict=True) if depth > _CLEAR * root]
    if not clear or oval_misfit(contour) < _ONE_OVAL:
        return None
    lines = PaleLines(mask, delta)
    clear = [k for k in clear if lines.starts_at(contour[k])]
    if not clear:
        return None
    lined = lines.exits(contour)
    deep = dict(zip(places, (depth / root for depth in depths), strict=True))
    best = None
    for n, start in enumerate(clear):
        ends = [k for k in places if k not in clear[: n + 1] and lines.starts_at(contour[k])] + lined
        for end, line in zip(ends, lines.between(contour[start], [contour[k] for k in ends]), strict=True):
            sides = sides_of(mask, line.way, max(least_px2, _SHARE * area)) if line else None
            if line is None or sides is None or not _are_pieces(mask, sides, line, oil):
                continue
            evidence = _evidence(line, deep[start], mask, sides, oil)
            notch = min(deep[start], deep.get(end, 0.0))
            if limit < _LIMIT + _MOST_PLAIN and _plainly_parts(mask, sides, line, notch):
                evidence = max(evidence, limit + line.clearness)
            if evidence > (best.evidence if best else limit):
                best = Cut(sides, evidence)
    return best


def _are_pieces(mask: np.ndarray, sides: list[np.ndarray], line: PaleLine, oil: np.ndarray) -> bool:
    """Whether two sides of a line may each be a piece, or a cluster of them."""
    # where two see-through pieces overlap, what lies between their edges hardly borders the oil
    if min(_free(side, oil) for side in sides) < _LEAST_FREE:
        return False
    (worse, gap), (better, other_gap) = sorted(_hollow(side) for side in sides)
    solid, hollow = _hollow(mask)
    allowed = _PLAIN_SIDES if line.clearness > _PLAIN else _SIDES
    fits = any(better > compact and worse > other for compact, other in allowed)
    fits |= worse > _PART and gap + other_gap < _FILLED * hollow
    return fits and better > solid


def _plainly_parts(mask: np.ndarray, sides: list[np.ndarray], line: PaleLine, notch: float) -> bool:
    """Whether a plain line joins two deep notches, or parts a cluster into fuller ones, oval or not."""
    if line.lowest < line.least or line.clearness < _PLAIN:
        return False
    oval = oval_misfit(contour_of(max(sides, key=solidity)))
    if notch > _BOTH_DEEP and oval < _IS_OVAL:
        return True
    solid, hollow = _hollow(mask)
    (worse, gap), (_, other_gap) = sorted(_hollow(side) for side in sides)
    fuller = solid < _CLUSTER and worse > _PART and gap + other_gap < _LEFT * hollow
    short = len(line.way) < _NECK * np.sqrt(cv2.countNonZero(mask))
    return bool(fuller and short and line.clearness > _PLAINER and oval < _NEARLY_OVAL)


def _evidence(
    line: PaleLine, notch: float, mask: np.ndarray, sides: list[np.ndarray], oil: np.ndarray
) -> float:
    """How much speaks for a cut along a line; depth of its deeper notch over the root of the area."""
    whole = contour_of(mask)
    root = float(np.sqrt(cv2.contourArea(whole)))
    oval, one = (
        np.log(min(max(oval_misfit(contour), _LEAST_MISFIT), _MOST_MISFIT))
        for contour in (contour_of(max(sides, key=solidity)), whole)
    )
    return float(
        _BASE
        + _OF_NOTCH * np.log(min(notch, _MOST_NOTCH))
        + _OF_OVAL * oval
        + _OF_WHOLE * one
        + _OF_LENGTH * len(line.way) / root
        + _OF_HEIGHT * np.log(line.height)
        + _OF_FREE * min(_free(side, oil) for side in sides)
        + _OF_CLEARNESS * np.log(line.low / line.least)
        + _OF_RISE * np.log(line.rise)
    )


def along_seams(labels: np.ndarray, delta: np.ndarray) -> np.ndarray:
    """Lay the cut between each two parts along the line that is seen from one of its ends to the other.

    Parameters
    ----------
    labels : (M, N) ndarray of int32
        Parts of one piece; 0 outside.
    delta : (M, N, 3) ndarray of float32
        CIELAB difference from the oil.

    Returns
    -------
    (M, N) ndarray of int32
        The same numbers; cuts without a line stay as they are.
    """
    out = labels.copy()
    for a, b in combinations(range(1, int(labels.max()) + 1), 2):
        whole = ((out == a) | (out == b)).view(np.uint8)
        box = box_about(whole, _MARGIN_PX)
        both, own = np.ascontiguousarray(whole[box]), out[box]
        ends = ends_of_cut(both, own)
        if ends is None:
            continue
        line = PaleLines(both, delta[box]).between(*ends)[0]
        if line is None or line.clearness < _CLEAR_LINE or line.step > _STEP:
            continue
        sides = sides_of(both, line.way, 1.0)
        if sides is None or max(solidity(side) for side in sides) < _FRONT:
            continue
        swapped = np.count_nonzero(own[sides[0] > 0] == b) > np.count_nonzero(own[sides[0] > 0] == a)
        one, other = sides[::-1] if swapped else sides
        moved = spread(one * np.int32(a) + other * np.int32(b), both)
        own[moved > 0] = moved[moved > 0]
    return out


def seam_between(one: np.ndarray, other: np.ndarray, delta: np.ndarray) -> bool:
    """Whether two neighbours are two pieces by the line that is seen along their border.

    Parameters
    ----------
    one, other : (M, N) ndarray of uint8
        Two pieces that touch.
    delta : (M, N, 3) ndarray of float32
        CIELAB difference from the oil.
    """
    both = cv2.morphologyEx(one | other, cv2.MORPH_CLOSE, SQUARE)
    labels = spread(one + 2 * (other & (1 - one)).astype(np.int32), both)
    ends = ends_of_cut(both, labels)
    line = PaleLines(both, delta).between(*ends)[0] if ends else None
    sides = sides_of(both, line.way, 1.0) if line else None
    if line is None or sides is None:
        return False
    rows, columns = line.way.T
    along = (dilated(one, _BESIDE_PX) & dilated(other, _BESIDE_PX))[rows, columns]
    contour = contour_of(both)
    root = float(np.sqrt(cv2.contourArea(contour)))
    places, depths = notches_of(contour, _LEAST_DEEP_PX, _NOTCHES)
    # depth of a notch within reach of each end of the line
    at_ends = [
        max((d / root for k, d in zip(places, depths, strict=True) if _near(contour[k], end)), default=0.0)
        for end in line.way[[0, -1], ::-1]
    ]
    if not along.all() or max(at_ends) == 0.0:
        return False
    in_front = max(solidity(side) for side in sides) > _FRONT
    if in_front and max(at_ends) > _CLEAR and line.clearness > _PLAINER:
        return True
    if _plainly_parts(both, sides, line, min(at_ends)):
        return True
    return _evidence(line, max(at_ends), both, sides, cv2.dilate(1 - both, SQUARE)) > _LIMIT


def _near(place: np.ndarray, other: np.ndarray) -> bool:
    return bool(np.hypot(*(place - other)) <= _BESIDE_PX)


def ends_of_cut(both: np.ndarray, labels: np.ndarray) -> tuple[np.ndarray, list[np.ndarray]] | None:
    """Return the two places x, y where the cut between parts meets their common outline, None without."""
    if cv2.connectedComponents(both, connectivity=4)[0] != 2:
        return None
    contour = contour_of(both)
    x, y = contour.astype(int).T
    own = labels[y, x]
    at = np.flatnonzero(own != np.roll(own, 1))
    return (contour[at[0]], [contour[at[1]]]) if len(at) == 2 else None


def contour_of(mask: np.ndarray) -> np.ndarray:
    """Return the longest outline of a mask, (P, 2) x and y; not to be changed."""
    return _contour_of(mask.tobytes(), mask.shape)


@lru_cache(maxsize=4)  # one step after the other asks about the same mask
def _contour_of(mask: bytes, shape: tuple[int, int]) -> np.ndarray:
    seen = np.frombuffer(mask, np.uint8).reshape(shape)
    contours, _ = cv2.findContours(seen, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outline: np.ndarray = max(contours, key=len)[:, 0].astype(np.float32)
    outline.setflags(write=False)
    return outline


def sides_of(mask: np.ndarray, way: np.ndarray, least_px2: float) -> list[np.ndarray] | None:
    """Return the two sides of a line, or None where there are not two that are large enough."""
    cut = mask.copy()
    cv2.polylines(cut, [way[:, ::-1].reshape(-1, 1, 2).astype(np.int32)], False, 0, 1, cv2.LINE_4)
    count, parts, stats = numbered(cut, 4)
    large = [k for k in range(1, count) if stats[k, 4] >= least_px2]
    return [(parts == k).view(np.uint8) for k in large] if len(large) == 2 else None


def _free(side: np.ndarray, oil: np.ndarray) -> float:
    """Share of its outline along which a part borders the oil."""
    x, y = contour_of(side).astype(int).T
    return float((oil[y, x] > 0).mean())


def _hollow(mask: np.ndarray) -> tuple[float, float]:
    """Solidity of a part, and the area that its hull has more."""
    contour = contour_of(mask)
    own, hull = float(cv2.contourArea(contour)), float(cv2.contourArea(cv2.convexHull(contour)))
    return own / max(hull, 1.0), hull - own
