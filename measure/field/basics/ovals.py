"""Ovals laid through outlines or arcs of them: least-squares ellipses and how far they are missed."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations
from math import isfinite

import cv2
import numpy as np

_ENDS_PX = 2.0  # part of an arc beside a notch that blur has rounded
_LEAST_ARC = 16  # points
_LONG = 2.4  # axes of an oval
_FINE = 16  # parts of a px


@dataclass(frozen=True)
class Oval:
    """An ellipse.

    Attributes
    ----------
    centre : (float, float)
        x and y, px.
    axes : (float, float)
        Whole axes, px.
    angle : float
        Of the first axis, degrees.
    """

    centre: tuple[float, float]
    axes: tuple[float, float]
    angle: float

    def outward(self, points: np.ndarray) -> np.ndarray:
        """Unit vectors that point away from the oval at places on or near it, (P, 2)."""
        turned = self._turn()
        along = (points - np.array(self.centre)) @ turned.T
        away = (along / (0.25 * np.array(self.axes) ** 2)) @ turned
        return away / np.maximum(np.linalg.norm(away, axis=-1, keepdims=True), 1e-9)

    def distances(self, points: np.ndarray) -> np.ndarray:
        """Distance of points from the oval, towards its middle, (P,)."""
        (x, y), (first, second) = self.centre, self.axes
        turn = np.deg2rad(self.angle)
        right, down, cosine, sine = points[:, 0] - x, points[:, 1] - y, np.cos(turn), np.sin(turn)
        along = right * cosine + down * sine
        across = down * cosine - right * sine
        ratio = np.hypot(along / (first / 2), across / (second / 2))
        return np.abs(1.0 - 1.0 / np.maximum(ratio, 1e-3)) * np.hypot(along, across)

    def misfit(self, arc: np.ndarray) -> float:
        """Mean distance of an arc, without its ends, over the oval's mean radius."""
        away = self.distances(arc)
        ends = _ends(arc)
        away = away[ends : len(away) - ends]
        return float(np.add.reduce(away)) / len(away) / (np.sqrt(self.axes[0] * self.axes[1]) / 2)

    def points(self) -> np.ndarray:
        """Points on the oval about a pixel apart, (P, 2)."""
        count = max(24, int(np.pi * 0.5 * sum(self.axes)))
        t = np.linspace(0.0, 2.0 * np.pi, count, endpoint=False)
        local = np.stack([self.axes[0] / 2 * np.cos(t), self.axes[1] / 2 * np.sin(t)], axis=1)
        return local @ self._turn() + np.array(self.centre)

    def holds(self, points: np.ndarray) -> np.ndarray:
        """Whether points lie within the oval, (P,) bool."""
        local = (points - np.array(self.centre)) @ self._turn().T
        return np.hypot(*(local / (0.5 * np.array(self.axes))).T) < 1.0

    def _turn(self) -> np.ndarray:
        turn = np.deg2rad(self.angle)
        return np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])


def oval_of(arc: np.ndarray) -> Oval | None:
    """Least-squares ellipse of an arc without its ends, (P, 2) float32; None where there is none."""
    ends = _ends(arc)
    (x, y), (first, second), angle = cv2.fitEllipseDirect(arc[ends : len(arc) - ends])
    usable = min(first, second) > 2.0 and all(map(isfinite, (x, y, first, second, angle)))
    return Oval((x, y), (first, second), angle) if usable else None


def fitted(arc: np.ndarray, least_px2: float, span: float, larger: float) -> Oval | None:
    """Oval of an arc, or None where the arc does not show one.

    Parameters
    ----------
    arc : (P, 2) ndarray of float32
        Points about a pixel apart.
    least_px2 : float
        Smallest area of the part the arc and its chord enclose.
    span : float
        Share of the oval that the arc must go round.
    larger : float
        Most area of the oval over that of the part.
    """
    if not is_part(arc, least_px2):
        return None
    part = float(cv2.contourArea(arc))
    oval = oval_of(arc)
    if oval is None:
        return None
    minor, major = sorted(oval.axes)
    round_ = cv2.arcLength(arc, False) / (np.pi * 0.5 * (minor + major))
    if round_ < span or major > _LONG * minor or np.pi / 4 * minor * major > larger * part:
        return None
    return oval


def is_part(arc: np.ndarray, least_px2: float) -> bool:
    """Whether an arc is long enough to show an oval, and encloses some area with its chord."""
    return len(arc) >= _LEAST_ARC and cv2.contourArea(arc) >= least_px2


def notches_of(contour: np.ndarray, least_px: float, most: int) -> tuple[list[int], list[float]]:
    """Places on a contour of its deepest notches, and their depths.

    Parameters
    ----------
    contour : (P, 2) ndarray of float32
        Closed, points about a pixel apart.
    least_px : float
        Depth from which a notch counts.
    most : int
        How many are looked at.
    """
    places, depths = _defects(np.rint(contour * _FINE).astype(np.int32).tobytes())
    count = sum(depth > least_px for depth in depths[:most])
    return list(places[:count]), list(depths[:count])


@lru_cache(maxsize=4)  # one step after the other asks about the same contour
def _defects(fine: bytes) -> tuple[list[int], list[float]]:
    """Places on a contour between the corners of its hull, and their depths, px, the deepest first."""
    points = np.frombuffer(fine, np.int32).reshape(-1, 2)
    hull = cv2.convexHull(points, returnPoints=False)
    try:
        defects = cv2.convexityDefects(points, np.sort(hull, axis=0)[::-1])
    except cv2.error:  # a contour that crosses itself
        return [], []
    if defects is None:
        return [], []
    _, _, place, deep = defects.reshape(-1, 4).T
    depth = deep / 256.0 / _FINE
    order = (-depth).argsort()
    return place[order].tolist(), depth[order].tolist()


def bends(one: Oval, other: Oval, points: np.ndarray) -> np.ndarray:
    """Angle between two ovals at places where they cross, degrees, (P,)."""
    cosine = (one.outward(points) * other.outward(points)).sum(axis=1)
    return np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))


def arcs_at(contour: np.ndarray, places: list[int]) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """Yield the two arcs of a closed contour between each two of some places on it."""
    for one, other in combinations(places, 2):
        a, b = min(one, other), max(one, other)
        yield contour[a : b + 1], np.concatenate([contour[b:], contour[: a + 1]])


def _ends(arc: np.ndarray) -> int:
    return min(int(_ENDS_PX), len(arc) // 8)
