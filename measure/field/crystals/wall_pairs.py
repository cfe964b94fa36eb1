"""Two dark bars that face one another are opposite walls of one crystal whose other sides are fine lines.

A crystal that lies a little askew, or stands up, sends light aside at two opposite walls, broad and dark;
along the sides between them it shows a line that is thin and often fainter than the finding level. The bars
are as long as one another, parallel, level and grey, and a line runs from end to end of them on both sides.
Two fibres or lines of a ruling have nothing at their ends.
"""

from dataclasses import replace
from typing import NamedTuple

import cv2
import numpy as np
from shapely import MultiPoint, Polygon, STRtree

from measure.field.basics.found import Found
from measure.field.edges.edge import SMOOTHING_SIGMA_PX
from measure.field.ground.light import Light
from measure.flags import bits

_SLENDER, _LEAST_PX = 2.6, 9.0  # length over width of a bar; its length
_FULL = 0.72  # share of its box that a bar fills
_PARALLEL, _AS_LONG, _LEVEL = 0.1, 0.82, 0.12  # sine between; shorter over longer; shift along over length
_APART = (0.3, 3.5)  # distance over length
_GREY, _AS_DARK = 0.3, 0.6  # colour step over lightness step; fainter over darker
_CLEAR = 0.35  # step from the oil between the bars over that of the bars
_INNER = 0.8  # share of a side, about its middle, that is asked for its line
_BESIDE_PX, _SHIFT_PX = (3.5, 6.5), 2.5  # from a line to what is beside it; how far a line may lie off
_CERTAIN, _LEAST_STEP = 6.0, 0.6  # of a line: over its own chance, and in CIELAB lightness
_BIT, _OTHER = 0.15, 0.5  # of the crystal's area: a bit of its rim; share of a piece that lies in it
_RIM = bits("rim_only", "broken_rim")


class _Bar(NamedTuple):
    """Middle, unit way along, length and width, px, and mean difference from the oil."""

    middle: np.ndarray
    way: np.ndarray
    length: float
    width: float
    step: np.ndarray


def with_wall_pairs(found: Found, light: Light) -> Found:
    """Join bars that are opposite walls of one crystal.

    Parameters
    ----------
    found : Found
        K pieces.
    light : Light

    Returns
    -------
    Found
        At most K pieces, crystals made of bars last.
    """
    bars = {i: bar for i, outline in enumerate(found.outlines) if (bar := _bar(outline, light)) is not None}
    if len(bars) < 2:
        return found
    pairs = list(_facing(bars))
    if not pairs:
        return found
    polygons = [Polygon(outline).buffer(0) for outline in found.outlines]
    tree = STRtree(polygons)
    gone: set[int] = set()
    made = []
    for i, j in pairs:
        if gone & {i, j}:
            continue
        corners = np.vstack([found.outlines[i], found.outlines[j]])
        whole = MultiPoint(corners).convex_hull
        inside = [int(k) for k in tree.query(whole) if k not in (i, j)]
        shares = {k: polygons[k].intersection(whole).area / max(polygons[k].area, 1e-6) for k in inside}
        within = [k for k, share in shares.items() if share > _OTHER]
        if gone & set(within) or any(polygons[k].area > _BIT * whole.area for k in within):
            continue
        if _has_lines(bars[i], bars[j], light):
            gone |= {i, j, *within}
            made.append(np.asarray(whole.exterior.coords[:-1], np.float32))
    if not made:
        return found
    kept = np.array([i for i in range(len(found.outlines)) if i not in gone], int)
    new = len(made)
    return replace(
        found,
        outlines=[*(found.outlines[i] for i in kept), *made],
        parent=np.append(found.parent[kept], np.zeros(new, found.parent.dtype)),
        flags=np.append(found.flags[kept], np.full(new, _RIM, found.flags.dtype)),
        origin=np.append(found.origin[kept], np.zeros(new, found.origin.dtype)),
    )


def _bar(outline: np.ndarray, light: Light) -> _Bar | None:
    """A piece as a bar, or None where it is no slender, straight, dark and grey one."""
    box = cv2.minAreaRect(outline.astype(np.float32))
    corners = cv2.boxPoints(box)
    one, two = corners[1] - corners[0], corners[2] - corners[1]
    along = one if np.hypot(*one) > np.hypot(*two) else two
    length, width = float(np.hypot(*along)), float(min(np.hypot(*one), np.hypot(*two)))
    if length < _LEAST_PX or length < _SLENDER * width:
        return None
    if cv2.contourArea(outline.astype(np.float32)) < _FULL * length * width:
        return None
    middle, way = np.array(box[0], float), np.asarray(along, float) / length
    places = middle + np.linspace(-0.4, 0.4, 9)[:, None] * length * way
    step = np.median(_read(light.delta, places), axis=0)
    if step[0] >= 0 or np.hypot(step[1], step[2]) > _GREY * -step[0]:
        return None
    return _Bar(middle, way, length, width, step)


def _facing(bars: dict[int, _Bar]) -> list[tuple[int, int]]:
    """Pairs of bars that are parallel, level, as long and as dark, the nearest first."""
    pairs = []
    rows = sorted(bars)
    for a, i in enumerate(rows):
        for j in rows[a + 1 :]:
            one, two = bars[i], bars[j]
            long, between = max(one.length, two.length), two.middle - one.middle
            if abs(one.way[0] * two.way[1] - one.way[1] * two.way[0]) > _PARALLEL:
                continue
            across = abs(float(one.way[0] * between[1] - one.way[1] * between[0]))
            level = abs(float(between @ one.way)) < _LEVEL * long
            dark = sorted((-one.step[0], -two.step[0]))
            if (
                level
                and min(one.length, two.length) > _AS_LONG * long
                and _APART[0] * long < across < _APART[1] * long
                and dark[0] > _AS_DARK * dark[1]
            ):
                pairs.append((across, i, j))
    return [(i, j) for _, i, j in sorted(pairs)]


def _has_lines(one: _Bar, two: _Bar, light: Light) -> bool:
    """Whether a line runs from bar to bar at both of their ends, and what is between is clear."""
    way = one.way if one.way @ two.way > 0 else -one.way
    middle = 0.5 * (one.middle + two.middle)
    clear = _read(light.delta, middle + np.linspace(-0.25, 0.25, 7)[:, None] * one.length * way)
    if np.abs(np.median(clear, axis=0)).max() > _CLEAR * min(-one.step[0], -two.step[0]):
        return False
    return all(
        _line(
            one.middle + side * 0.5 * one.length * way, two.middle + side * 0.5 * two.length * two.way, light
        )
        for side in (-1.0, 1.0)
    )


def _line(start: np.ndarray, stop: np.ndarray, light: Light) -> bool:
    """Whether a line, dark or bright, runs between two places."""
    between = stop - start
    length = float(np.hypot(*between))
    across = np.array([-between[1], between[0]]) / length
    count = max(int(_INNER * length), 5)
    along = start + (0.5 + _INNER * np.linspace(-0.5, 0.5, count))[:, None] * between
    off = np.arange(-_SHIFT_PX - _BESIDE_PX[1], _SHIFT_PX + _BESIDE_PX[1] + 0.25, 0.5)
    places = along[:, None] + off[:, None] * across
    lightness = _read(light.delta, places)[..., 0]
    best = 0.0
    for shift in np.arange(-_SHIFT_PX, _SHIFT_PX + 0.25, 0.5):
        away = np.abs(off - shift)
        beside = (away >= _BESIDE_PX[0]) & (away <= _BESIDE_PX[1])
        rise = lightness[:, away <= 1.0].mean(axis=1) - lightness[:, beside].mean(axis=1)
        chance = float(rise.std()) / np.sqrt(count / (2.0 * SMOOTHING_SIGMA_PX + 1.0)) + 1e-3
        step = abs(float(rise.mean()))
        best = max(best, step / chance if step > _LEAST_STEP else 0.0)
    return best > _CERTAIN


def _read(delta: np.ndarray, places: np.ndarray) -> np.ndarray:
    """Differences from the oil at places x, y in px, (..., 2) -> (..., 3)."""
    maps = np.atleast_3d(places.astype(np.float32) - np.float32(0.5)).reshape(len(places), -1, 2)
    x, y = np.ascontiguousarray(maps[..., 0]), np.ascontiguousarray(maps[..., 1])
    read: np.ndarray = cv2.remap(delta, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return read.reshape(*places.shape[:-1], 3)
