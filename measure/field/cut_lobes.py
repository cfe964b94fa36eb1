"""Cut two or more round pieces that lie so far over one another that no neck is left.

Where two round pieces overlap widely, the outline has two notches facing each other, and on either side of
the line between them it follows a smooth oval. An irregular single piece may have such notches too, but its
halves are no ovals, so the wide cut is made only where both halves fit one closely.
"""

import cv2
import numpy as np

from measure.field.cut_colour import spread

_SOLID = 0.97  # solidity above which there are no notches worth a look
_DEEP = 0.035  # depth of a notch over the root of the area
_LEAST_DEEP_PX = 1.2
_NOTCHES = 6  # deepest notches looked at
_FIT = 0.048  # mean distance of an arc from its oval over the oval's radius
_BETTER = 0.6  # the same over that of one oval for the whole
_CLEARLY = 0.35  # that of a nearly perfect half over that of one oval for the whole, the other being none
_FAR_DEEP = 0.055  # depth of both notches over the root of the area, from which one half need be no oval
_PERFECT, _FAIR = 0.02, 0.1  # one half may be only a fair oval where the other is nearly perfect
_SPAN = 0.5  # share of the oval that its arc must go round
_LONG = 2.4  # axes of an oval
_LARGER = 1.7  # area of the oval over that of its part
_OVAL, _LEAST_POINTS = 0.015, 60  # the same for a nearly perfect oval, and points that show it
_WIDE = 0.98  # length of the cut over the smaller oval's long axis
_STRAIGHT_DEG, _SHARP_DEG = 10.0, 60.0  # bends at a notch that allow no misfit, and the full misfit
_FINE = 16  # parts of a px
_ENDS_PX = 2.0  # part of an arc beside a notch that blur has rounded


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
    if len(contours) != 1 or len(contours[0]) < 24:
        return whole
    contour = contours[0][:, 0].astype(np.float32)
    ends = oval_cut(contour, least_px2)
    if ends is None:
        return whole
    halves = mask.copy()
    start, end = ((int(contour[i][0]), int(contour[i][1])) for i in ends)
    cv2.line(halves, start, end, 0, 1, cv2.LINE_4)
    count, parts, stats, _ = cv2.connectedComponentsWithStats(halves, connectivity=4)
    large = [k for k in range(1, count) if stats[k, cv2.CC_STAT_AREA] >= least_px2]
    if len(large) != 2:
        return whole
    labels, used = np.zeros(mask.shape, np.int32), 0
    for k in large:
        further = cut_by_lobes((parts == k).astype(np.uint8), least_px2)
        labels[further > 0] = further[further > 0] + used
        used += int(further.max())
    return spread(labels, mask)


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
    fine = np.round(contour * _FINE).astype(np.int32)
    hull = cv2.convexHull(fine, returnPoints=False)
    if area < 2 * least_px2 or area > _SOLID * float(cv2.contourArea(contour[hull[:, 0]])):
        return None
    notches, depths = _notches(fine, hull, area)
    one = oval_misfit(contour)
    best, best_worth = None, 1.0
    for n, a in enumerate(notches):
        for m, b in enumerate(notches[n + 1 :], n + 1):
            deep = min(depths[n], depths[m]) > _FAR_DEEP * np.sqrt(area)
            worth = _worth(contour, min(a, b), max(a, b), one, least_px2, deep)
            if worth < best_worth:
                best, best_worth = (a, b), worth
    return best


def _notches(fine: np.ndarray, hull: np.ndarray, area: float) -> tuple[list[int], list[float]]:
    """Places on a contour, in parts of a px, of its deepest notches, and their depths in px."""
    try:
        defects = cv2.convexityDefects(fine, np.sort(hull, axis=0)[::-1])
    except cv2.error:  # a contour that crosses itself
        return [], []
    if defects is None:
        return [], []
    _, _, place, deep = defects.reshape(-1, 4).T
    depth = deep / 256.0 / _FINE
    order = np.argsort(-depth)[:_NOTCHES]
    order = order[depth[order] > max(_LEAST_DEEP_PX, _DEEP * np.sqrt(area))]
    return place[order].tolist(), depth[order].tolist()


def _worth(contour: np.ndarray, a: int, b: int, one: float, least_px2: float, deep: bool) -> float:
    """How badly the two halves of a contour are ovals, over what is allowed; 1 and more is no cut."""
    arcs = (contour[a : b + 1], np.concatenate([contour[b:], contour[: a + 1]]))
    return _worth_of(arcs, one, least_px2, deep)


def _worth_of(arcs: tuple[np.ndarray, np.ndarray], one: float, least_px2: float, deep: bool = False) -> float:
    fits = [_fit(arc, float(np.linalg.norm(arc[0] - arc[-1])), least_px2) for arc in arcs]
    worst = max(fits)
    if deep and min(fits) < _PERFECT and min(cv2.contourArea(arc) for arc in arcs) >= least_px2:
        # a round piece against one of any other shape
        return min(fits) / max(_CLEARLY * one, 1e-6)
    if not np.isfinite(worst):
        return 1.0
    allowed = _FAIR if min(fits) < _PERFECT else _FIT * _sharpness(arcs)
    return max(worst / allowed, worst / max(_BETTER * one, 1e-6))


def _sharpness(arcs: tuple[np.ndarray, np.ndarray]) -> float:
    """Share of the usual tolerance where two ovals meet at a small angle, as along the waist of one pear."""
    one, other = (_oval(arc) for arc in arcs)
    if one is None or other is None:
        return 1.0
    bends = []
    for end in (arcs[0][0], arcs[0][-1]):
        first, second = _outward(one, end), _outward(other, end)
        bends.append(float(np.degrees(np.arccos(np.clip(first @ second, -1.0, 1.0)))))
    return float(np.clip((min(bends) - _STRAIGHT_DEG) / (_SHARP_DEG - _STRAIGHT_DEG), 0.3, 1.0))


def _outward(oval: tuple[tuple[float, float], tuple[float, float], float], point: np.ndarray) -> np.ndarray:
    """Unit vector that points away from an oval at a place on it."""
    (x, y), (first, second), angle = oval
    turn = np.deg2rad(angle)
    axes = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    along = axes @ (point - np.array([x, y]))
    away = (along / (0.25 * np.array([first, second]) ** 2)) @ axes
    return away / max(float(np.linalg.norm(away)), 1e-9)


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
    fine = np.round(whole * _FINE).astype(np.int32)
    notches, _ = _notches(fine, cv2.convexHull(fine, returnPoints=False), area)
    return bool(notches) and _worth_of((first, second), oval_misfit(whole), 0.1 * area) < 1.0


def _fit(arc: np.ndarray, chord_px: float, least_px2: float) -> float:
    """Mean distance of an arc from its oval over the oval's radius; infinite where it has none."""
    part = float(cv2.contourArea(arc))
    if part < least_px2 or len(arc) < 16:
        return np.inf
    oval = _oval(arc)
    if oval is None:
        return np.inf
    minor, major = oval[1]
    span = cv2.arcLength(arc, False) / (np.pi * 0.5 * (minor + major))
    if span < _SPAN or major > _LONG * minor or np.pi / 4 * minor * major > _LARGER * part:
        return np.inf
    return _distance(arc, oval) if chord_px <= _WIDE * major else np.inf


def _oval(arc: np.ndarray) -> tuple[tuple[float, float], tuple[float, float], float] | None:
    """Least-squares ellipse of an arc without its ends (centre, axes, angle), or None."""
    ends = min(int(_ENDS_PX), len(arc) // 8)
    inner = arc[ends : len(arc) - ends]
    (x, y), (first, second), angle = cv2.fitEllipseDirect(inner)
    usable = np.isfinite([x, y, first, second, angle]).all() and min(first, second) > 2.0
    return ((x, y), (first, second), angle) if usable else None


def _distance(arc: np.ndarray, oval: tuple[tuple[float, float], tuple[float, float], float]) -> float:
    """Mean distance of an arc from an oval over the oval's mean radius."""
    (x, y), (first, second), angle = oval
    turn = np.deg2rad(angle)
    along = (arc[:, 0] - x) * np.cos(turn) + (arc[:, 1] - y) * np.sin(turn)
    across = -(arc[:, 0] - x) * np.sin(turn) + (arc[:, 1] - y) * np.cos(turn)
    ratio = np.hypot(along / (first / 2), across / (second / 2))
    away = np.abs(1.0 - 1.0 / np.maximum(ratio, 1e-3)) * np.hypot(along, across)
    ends = min(int(_ENDS_PX), len(arc) // 8)
    return float(away[ends : len(away) - ends].mean()) / (np.sqrt(first * second) / 2)


def oval_misfit(contour: np.ndarray) -> float:
    """Mean distance of a contour from its own oval over the oval's radius.

    Parameters
    ----------
    contour : (P, 2) ndarray of float32
        Closed, points about a pixel apart.
    """
    oval = _oval(contour)
    return _distance(contour, oval) if oval else 1.0
