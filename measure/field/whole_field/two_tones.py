"""Neighbours of two tones that share one even outline are one piece: a bit of nut with skin on one side.

Tones part such a piece in many ways: by colour, as a strong part beside a faint one, or as one lighter than
the ground beside one that is darker. What its outline says is the same: two pieces that touch leave notches
at both ends of the border between them and are hollow there together, while the outline of one piece runs
on over those places as it does elsewhere, and the whole is as full as a piece is. Two edges that stand flush
all along would be chance. Parts of one tone are asked elsewhere (`reunite`): crystals do stand flush.
"""

from dataclasses import replace
from typing import NamedTuple

import cv2
import numpy as np
import shapely
from shapely import Polygon

from measure.field.basics.found import Found
from measure.field.basics.masks import drawn, eroded
from measure.field.basics.polygons import largest, outline_of, polygons_of
from measure.field.basics.quick import colours_at, median_colour, norm
from measure.field.edges.edge import SMOOTHING_SIGMA_PX
from measure.field.ground.light import Light
from measure.field.rims.rim_colour import coloured_pixels
from measure.flags import bits

# three drawing hands: pairs of two are at most 0.91 full; real sweets in heaps reach 0.97 and turn in by 0.58
_FULL = 0.92  # solidity of both together
_TURNED_IN = 0.56  # share of a disc about the end of the border that is piece; 0.5 along a straight edge
_REACH, _LEAST_PX = 0.5, 3.0  # radius of that disc over the smaller part's size
_AS_FULL = 0.025  # by which it may be less solid than the larger part: a piece is fuller without its shadow
_LEAST_SHARE = 0.12  # of the whole, of the smaller part; a mere strip beside a piece is mostly shade
_SEAM = 0.6  # length of the border over that size
_GAP_PX = 1.6  # bridged between parts, each of which ends half way to the ground
_IN_ONE = 0.98  # share of two parts that must hang together once the gap is bridged
_APART = 0.35  # difference of the tones over the stronger one's from the ground
_EDGE_PX = 1.5  # of a part, where blur mixes it with its neighbour
_OTHERWISE = bits("rim_only", "overlap", "shade", "thread")
_ROUNDS = 2


class Common(NamedTuple):
    """What two parts have in common."""

    outline: Polygon
    full: float  # solidity
    turned_in: float  # share of a disc about the end of their border that is theirs, of the worse one
    seam: float  # length of their border over the smaller one's size
    share: float  # of the smaller one in the whole
    gained: float  # solidity of the whole less that of the larger one


def with_two_tones(found: Found, light: Light) -> Found:
    """Join neighbours of two tones that are one piece.

    Parameters
    ----------
    found : Found
        K pieces.
    light : Light

    Returns
    -------
    Found
        At most K pieces, joined ones last.
    """
    known: dict[tuple[int, int], Common | None] = {}
    kept_alive = []  # so that no other outline has the number of one that was asked about
    for _ in range(_ROUNDS):
        kept_alive += found.outlines
        sets = _sets(found, light, known)
        if not sets:
            break
        gone = np.zeros(len(found.outlines), bool)
        gone[[row for rows, _ in sets for row in rows]] = True
        kept, first = np.flatnonzero(~gone), [rows[0] for rows, _ in sets]
        found = replace(
            found,
            outlines=[found.outlines[i] for i in kept] + [outline_of(shape) for _, shape in sets],
            parent=np.concatenate([found.parent[kept], found.parent[first]]).astype(np.int32),
            flags=np.concatenate([found.flags[kept], found.flags[first]]).astype(np.int32),
            origin=np.concatenate([found.origin[kept], found.origin[first]]).astype(np.int8),
        )
    return found


def _sets(
    found: Found, light: Light, known: dict[tuple[int, int], Common | None]
) -> list[tuple[tuple[int, int], Polygon]]:
    """Rows that are one piece, each row once, the fullest first; what two outlines have in common is kept."""
    if len(found.outlines) < 2:
        return []
    shapes = polygons_of(found.outlines)
    one, other = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=2 * _GAP_PX)
    solid = found.flags & _OTHERWISE == 0
    both = (one < other) & solid[one] & solid[other]
    asked = []
    for i, j in zip(one[both].tolist(), other[both].tolist(), strict=True):
        pair = id(found.outlines[i]), id(found.outlines[j])
        if pair not in known:
            known[pair] = _common(shapes[i], shapes[j], [found.outlines[i], found.outlines[j]], light)
        common = known[pair]
        if common is not None:
            asked.append(((i, j), common))
    used: set[int] = set()
    sets = []
    for rows, common in sorted(asked, key=lambda ask: -ask[1].full):
        if not used & set(rows):
            used |= set(rows)
            sets.append((rows, common.outline))
    return sets


def _common(one: Polygon, other: Polygon, outlines: list[np.ndarray], light: Light) -> Common | None:
    """What two parts of one piece have in common; None where they are none. What is cheap is asked first."""
    smaller, larger = sorted((one.area, other.area))
    if smaller < _LEAST_SHARE * _IN_ONE * larger:  # the whole holds the larger one but for that share
        return None
    first, second = tones(outlines, light)
    if tones_apart(first, second) <= _APART or only_one_coloured(first, second, light):
        return None
    common = common_of(one, other)
    return common if common is not None and is_one(common) else None


def is_one(common: Common) -> bool:
    """Whether an outline shows nothing of the border between two parts."""
    even = common.full >= _FULL and common.turned_in < _TURNED_IN and common.seam >= _SEAM
    return even and common.gained >= -_AS_FULL and common.share >= _LEAST_SHARE


def common_of(one: Polygon, other: Polygon) -> Common | None:
    """What two parts have in common; None where they do not hang together."""
    wide = [shape.buffer(_GAP_PX) for shape in (one, other)]
    bridged = shapely.union_all(wide).buffer(-_GAP_PX)
    whole = largest(bridged)
    if whole.is_empty or whole.area < _IN_ONE * bridged.area:
        return None
    size = float(np.sqrt(min(one.area, other.area)))
    seam = wide[0].intersection(wide[1])
    radius = max(_LEAST_PX, _REACH * size)
    ends = shapely.get_parts(shapely.line_merge(seam.intersection(whole.exterior)))
    turned = [_share_about(end.centroid, radius, whole) for end in ends]
    length = seam.area / (2.0 * _GAP_PX)
    larger = max(one, other, key=lambda shape: shape.area)
    full, before = (shape.area / shape.convex_hull.area for shape in (whole, larger))
    share = min(one.area, other.area) / whole.area
    return Common(whole, full, max(turned, default=1.0), length / max(size, 1e-6), share, full - before)


def _share_about(place: shapely.Point, radius: float, whole: Polygon) -> float:
    disc = place.buffer(radius)
    return float(disc.intersection(whole).area / disc.area)


def tones(outlines: list[np.ndarray], light: Light) -> list[np.ndarray]:
    """Usual differences of some parts from the ground, (3,) each, CIELAB; 0 where nothing is left of one."""
    low = np.maximum(np.min([o.min(axis=0) for o in outlines], axis=0).astype(int) - 2, 0)
    x1, y1 = np.max([o.max(axis=0) for o in outlines], axis=0).astype(int) + 3
    delta = cv2.GaussianBlur(light.delta[low[1] : y1, low[0] : x1], (0, 0), SMOOTHING_SIGMA_PX)
    own = []
    for outline in outlines:
        mask = drawn(outline - low, delta.shape[:2])
        inner = eroded(mask, _EDGE_PX)
        inside = (inner if inner.any() else mask) > 0
        own.append(median_colour(colours_at(delta, inside)) if inside.any() else np.zeros(3))
    return own


def tones_apart(one: np.ndarray, other: np.ndarray) -> float:
    """Difference of two tones over the stronger one's from the ground."""
    return float(norm(one - other) / max(norm(one), norm(other), 1e-6))


def only_one_coloured(one: np.ndarray, other: np.ndarray, light: Light) -> bool:
    """Whether one part has a colour and the other takes or adds light alone: two materials.

    Parameters
    ----------
    one, other : (3,) ndarray
        Differences from the ground, as `tones` gives them.
    light : Light
    """
    first, second = coloured_pixels(np.array([one, other], np.float32), light.oil_lab)
    return bool(first != second)
