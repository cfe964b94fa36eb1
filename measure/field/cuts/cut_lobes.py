"""Cut two or more round pieces that lie so far over one another that no neck is left.

Where two round pieces overlap widely, the outline has two notches facing each other, and on either side of
the line between them it follows a smooth oval. An irregular single piece may have such notches too, but its
halves are no ovals, so the wide cut is made only where both halves fit one closely.
"""

from functools import lru_cache
from itertools import combinations

import cv2
import numpy as np

from measure.field.basics.masks import drawn, numbered
from measure.field.basics.ovals import Oval, bends, fitted, notches_of, oval_of
from measure.field.basics.quick import norm
from measure.field.basics.shape import resampled
from measure.field.cuts.cut_colour import spread

_SOLID = 0.97  # solidity above which there are no notches worth a look
_DEEP = 0.035  # depth of a notch over the root of the area
_LEAST_DEEP_PX = 1.2
_SHALLOW, _CLOSE, _CLOSER = 0.02, 0.02, 0.4  # depth of a notch between two nearly perfect ovals; their fits
_BEYOND_PX = 1.5  # that a cut goes on beyond an outline
_LEAST_ARC = 24  # points of an outline
_ROUNDED = 0.993  # a little more, before the outline is traced evenly
_SHALLOW_SOLID = 0.99  # solidity above which there are none
_NOTCHES = 6  # deepest notches looked at
_FIT = 0.048  # mean distance of an arc from its oval over the oval's radius
_BETTER = 0.6  # the same over that of one oval for the whole
_CLEARLY = 0.35  # that of a nearly perfect half over that of one oval for the whole, the other being none
_FAR_DEEP = 0.055  # depth of both notches over the root of the area, from which one half need be no oval
_PERFECT, _FAIR = 0.02, 0.1  # one half may be only a fair oval where the other is nearly perfect
_SPAN = 0.5  # share of the oval that its arc must go round
_LARGER = 1.7  # area of the oval over that of its part
_OVAL, _LEAST_POINTS = 0.015, 60  # the same for a nearly perfect oval, and points that show it
_WIDE = 0.98  # length of the cut over the smaller oval's long axis
_STRAIGHT_DEG, _SHARP_DEG = 10.0, 60.0  # bends at a notch that allow no misfit, and the full misfit


def cut_by_lobes(mask: np.ndarray, least_px2: float) -> np.ndarray:
    """Label the ovals that make up a piece.

    Parameters
    ----------
    mask : (M, N) ndarray of uint8
        One piece.
    least_px2 : float
        Smallest area of a part.

    Returns
    -------
    labels : (M, N) ndarray of int32
        0 outside, 1.. inside.
    """
    whole = (mask > 0).astype(np.int32)
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if len(contours) != 1 or len(contours[0]) < _LEAST_ARC:
        return whole
    contour = contours[0][:, 0].astype(np.float32)
    ends = oval_cut(contour, least_px2)
    if ends is None:
        return whole
    halves = _halves(mask, contour, ends, least_px2)
    if halves.max() < 2:
        return whole
    labels, used = np.zeros(mask.shape, np.int32), 0
    for k in (1, 2):
        further = cut_by_lobes((halves == k).astype(np.uint8), least_px2)
        labels[further > 0] = further[further > 0] + used
        used += int(further.max())
    return labels


def is_oval(mask: np.ndarray) -> bool:
    """Whether a piece is one nearly perfect oval.

    Parameters
    ----------
    mask : (M, N) ndarray of uint8
    """
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if len(contours) != 1 or len(contours[0]) < _LEAST_POINTS:
        return False
    return oval_misfit(contours[0][:, 0].astype(np.float32)) < _OVAL


def oval_cut(contour: np.ndarray, least_px2: float) -> tuple[int, int] | None:
    """Find the two notches of a contour between two ovals.

    Parameters
    ----------
    contour : (P, 2) ndarray of float32
        Closed, points about a pixel apart.
    least_px2 : float
        Smallest area of a part.

    Returns
    -------
    ends : (int, int) or None
        Indices of the notches; None where the contour is not that of two ovals.
    """
    area = float(cv2.contourArea(contour))
    if area < 2 * least_px2 or area > _SOLID * float(cv2.contourArea(cv2.convexHull(contour))):
        return None
    notches, depths = notches_of(contour, _deep(area), _NOTCHES)
    if len(notches) < 2:
        return None
    one = oval_misfit(contour)
    best, best_worth = None, 1.0
    for n, a in enumerate(notches):
        for m, b in enumerate(notches[n + 1 :], n + 1):
            deep = min(depths[n], depths[m]) > _FAR_DEEP * np.sqrt(area)
            worth = _worth(contour, min(a, b), max(a, b), one, least_px2, deep)
            if worth < best_worth:
                best, best_worth = (a, b), worth
    return best


def cut_between_ovals(outline: np.ndarray, shape: tuple[int, int], least_px2: float) -> np.ndarray | None:
    """Label the halves of a piece whose outline follows two nearly perfect ovals, where its edge was placed.

    An outline shows shallower notches, and how well ovals fit, better than a contour of pixels.

    Parameters
    ----------
    outline : (P, 2) ndarray of float32
        Edge of the piece, px.
    shape : (int, int)
        Rows and columns of what is labelled.
    least_px2 : float
        Smallest area of a part.

    Returns
    -------
    labels : ndarray of int32 or None
        0 outside, 1.. inside; None where it follows no two ovals.
    """
    hull = float(cv2.contourArea(cv2.convexHull(outline)))
    if float(cv2.contourArea(outline)) > _ROUNDED * hull:
        return None  # before the outline is traced
    points = _points_of(outline)
    ends = _between_close_ovals(points, least_px2)
    return None if ends is None else _halves(drawn(outline, shape), points, ends, least_px2, _BEYOND_PX)


def _between_close_ovals(contour: np.ndarray, least_px2: float) -> tuple[int, int] | None:
    """Shallow notches of a contour between two nearly perfect ovals, or None."""
    area = float(cv2.contourArea(contour))
    if area < 2 * least_px2 or area > _SHALLOW_SOLID * float(cv2.contourArea(cv2.convexHull(contour))):
        return None
    notches, _ = notches_of(contour, max(_LEAST_DEEP_PX, _SHALLOW * float(np.sqrt(area))), _NOTCHES)
    best, least = None, min(_CLOSE, _CLOSER * oval_misfit(contour)) if len(notches) > 1 else 0.0
    for a, b in combinations(notches, 2):
        arcs = _arcs(contour, min(a, b), max(a, b))
        ovals = [fitted(arc, least_px2, _SPAN, _LARGER) for arc in arcs]
        fits = [oval.misfit(arc) for arc, oval in zip(arcs, ovals, strict=True) if oval is not None]
        if len(fits) == 2 and max(fits) < least:
            best, least = (a, b), max(fits)
    return best


def _points_of(outline: np.ndarray) -> np.ndarray:
    """Points about a pixel apart along an outline, (P, 2) float32."""
    count = max(_LEAST_ARC, int(cv2.arcLength(outline, True)))
    return resampled([outline], count)[0].astype(np.float32)


def _halves(
    mask: np.ndarray, contour: np.ndarray, ends: tuple[int, int], least_px2: float, beyond_px: float = 0.0
) -> np.ndarray:
    """Labels of the parts on both sides of the line between two places of a contour."""
    parted = mask.copy()
    start, end = (contour[i].astype(float) for i in ends)
    # a little farther than the notches, which may lie within a pixel of the mask
    farther = (end - start) / max(float(np.hypot(*(end - start))), 1.0) * beyond_px
    (x0, y0), (x1, y1) = np.floor([start - farther, end + farther]).astype(int).tolist()
    cv2.line(parted, (x0, y0), (x1, y1), 0, 1, cv2.LINE_4)
    _, parts, stats = numbered(parted, 4)
    large = np.append(False, stats[1:, cv2.CC_STAT_AREA] >= least_px2)
    if np.count_nonzero(large) != 2:
        return (mask > 0).astype(np.int32)
    return spread((np.cumsum(large) * large)[parts].astype(np.int32), mask)


def _arcs(contour: np.ndarray, a: int, b: int) -> tuple[np.ndarray, np.ndarray]:
    return contour[a : b + 1], np.concatenate([contour[b:], contour[: a + 1]])


def _worth(contour: np.ndarray, a: int, b: int, one: float, least_px2: float, deep: bool) -> float:
    """How badly the two halves of a contour are ovals, over what is allowed; 1 and more is no cut."""
    return _worth_of(_arcs(contour, a, b), one, least_px2, deep)


def _worth_of(arcs: tuple[np.ndarray, np.ndarray], one: float, least_px2: float, deep: bool = False) -> float:
    fits: list[float] = []
    ovals: list[Oval] = []
    for arc in arcs:
        oval = _oval(arc, least_px2)
        if oval is None and not deep:
            return 1.0
        fits.append(np.inf if oval is None else oval.misfit(arc))
        # one so far off allows no cut, whatever the other is
        if not deep and fits[-1] >= min(_FAIR, max(_BETTER * one, 1e-6)):
            return 1.0
        ovals += [] if oval is None else [oval]
    worst = max(fits)
    if deep and min(fits) < _PERFECT and min(cv2.contourArea(arc) for arc in arcs) >= least_px2:
        # a round piece against one of any other shape
        return min(fits) / max(_CLEARLY * one, 1e-6)
    if not np.isfinite(worst):
        return 1.0
    allowed = _FAIR if min(fits) < _PERFECT else _FIT * _sharpness(ovals[0], ovals[1], arcs[0])
    return max(worst / allowed, worst / max(_BETTER * one, 1e-6))


def _deep(area_px2: float) -> float:
    """Least depth of a notch, px."""
    return max(_LEAST_DEEP_PX, _DEEP * float(np.sqrt(area_px2)))


def _sharpness(one: Oval, other: Oval, arc: np.ndarray) -> float:
    """Share of the usual tolerance where two ovals meet at a small angle, as along the waist of one pear."""
    bend = bends(one, other, arc[[0, -1]].astype(float)).min()
    return float(np.clip((bend - _STRAIGHT_DEG) / (_SHARP_DEG - _STRAIGHT_DEG), 0.3, 1.0))


def are_ovals(first: np.ndarray, second: np.ndarray, whole: np.ndarray) -> bool:
    """Whether two neighbours are two ovals over one another rather than one piece that was cut.

    Parameters
    ----------
    first, second : (P, 2) ndarray of float32
        The part of each outline that does not run along the other, points about a pixel apart.
    whole : (P, 2) ndarray of float32
        Outline of both together.
    """
    area = float(cv2.contourArea(whole))
    notches, _ = notches_of(whole, _deep(area), _NOTCHES)
    return bool(notches) and _worth_of((first, second), oval_misfit(whole), 0.1 * area) < 1.0


def _oval(arc: np.ndarray, least_px2: float) -> Oval | None:
    """Oval of an arc whose chord is no longer than it; None where it has none."""
    oval = fitted(arc, least_px2, _SPAN, _LARGER)
    if oval is None or norm(arc[0] - arc[-1]) > _WIDE * max(oval.axes):
        return None
    return oval


def oval_misfit(contour: np.ndarray) -> float:
    """Mean distance of a contour from its own oval over the oval's radius.

    Parameters
    ----------
    contour : (P, 2) ndarray of float32
        Closed, points about a pixel apart.
    """
    return _own_misfit(contour.tobytes(), contour.dtype.str)


@lru_cache(maxsize=4)  # one step after the other asks about the same contour
def _own_misfit(contour: bytes, kind: str) -> float:
    points = np.frombuffer(contour, kind).reshape(-1, 2)
    oval = oval_of(points)
    return oval.misfit(points) if oval else 1.0
