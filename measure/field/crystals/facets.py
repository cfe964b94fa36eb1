"""A crystal seen askew: facets of different grey, found as pieces, that make one straight-sided outline.

A facet sends light aside, the steeper the more, so a crystal that lies on an edge or a corner shows facets
from nearly clear to black, each even and colourless; with focus above or below its middle some of its edges
are bright and others dark. Together they are convex, and their common outline has corners; pieces that lie
against one another by chance leave notches.
"""

import cv2
import numpy as np

from measure.field.basics.masks import closed, dilated, fill_holes, solidity
from measure.field.basics.quick import colours_at, median_colour
from measure.field.basics.straight_sides import straight_sided
from measure.field.cuts.cut import cut_by_shape
from measure.field.rims.rim_colour import colour_share, coloured_pixels

_SOLID, _SOLID_CLEAR = 0.95, 0.93  # solidity of the outline, and beside a see-through part, which bulges
_LEAST_SIZE = 4.0  # size over the width of the edges, from which facets are seen
_COLOURED = 0.22  # share of colour in a difference from the oil, from which it is no facet
_LEAST = 0.2  # share of a component that must be darker than the oil, or brighter, for its colour to be told
_FOREIGN = 0.05  # share of the whole from which a part must have no colour
_FILLED = 0.6  # share of their hull that parts fill; the rest is clear
_ON_THE_WAY = 0.5  # the same of a few of them
_MOST, _MOST_SETS = 6, 300  # parts of a crystal, and sets of parts that are looked at


def merged_facets(
    labels: np.ndarray, clear: frozenset[int], delta: np.ndarray, oil_lab: np.ndarray, width: float
) -> list[list[int]]:
    """Give the parts of crystals seen askew one number each crystal, in place.

    Parameters
    ----------
    labels : (M, N) ndarray of int32
        1.. for each part of a component; 0 elsewhere.
    clear : set of int
        Parts that are see-through: no more than one of a crystal.
    delta : (M, N, 3) ndarray of float32
        CIELAB difference from the oil.
    oil_lab : (3,) ndarray
    width : float
        10-90 % width of an edge, px.

    Returns
    -------
    crystals : list of list of int
        Numbers of the parts of each; the crystal has the first of them.
    """
    parts = _neutral(labels, delta, oil_lab)
    crystals: list[list[int]] = []
    if len(parts) < 2:
        return crystals
    reach = 0.5 * width + 1.5
    for chosen in _sets(labels, parts, reach):
        seen_through = clear.intersection(chosen)
        if len(seen_through) > 1 or any(set(chosen) & set(other) for other in crystals):
            continue
        box, whole = _filled(labels, chosen, reach)
        if _is_crystal(whole, _SOLID_CLEAR if seen_through else _SOLID):
            own = labels[box]
            own[(whole > 0) & ((own == 0) | np.isin(own, chosen))] = chosen[0]
            crystals.append(chosen)
    return crystals


def one_crystal(
    mask: np.ndarray, labels: np.ndarray, delta: np.ndarray, oil_lab: np.ndarray, width: float
) -> np.ndarray | None:
    """Fill a component that is one crystal, whatever its rims and facets look like.

    Parameters
    ----------
    mask : (M, N) ndarray of uint8
        What differs from the oil in it.
    labels, delta, oil_lab, width
        As in `merged_facets`.

    Returns
    -------
    piece : (M, N) ndarray of uint8 or None
    """
    whole = fill_holes(closed(mask, 0.5 * width + 1.5))
    area = cv2.countNonZero(whole)
    if area < (_LEAST_SIZE * width) ** 2 or not _is_crystal(whole, _SOLID):
        return None
    parts = 1 + np.flatnonzero(np.bincount(labels.ravel())[1:] > _FOREIGN * area)
    places = [mask > 0, *(labels == k for k in parts)]
    return None if any(_is_coloured(colours_at(delta, place), oil_lab) for place in places) else whole


def _is_coloured(values: np.ndarray, oil_lab: np.ndarray) -> bool:
    """Whether what is darker than the oil, or what is brighter, differs from it in colour, (P, 3)."""
    darker = values[:, 0] < 0
    sides = [
        side
        for side in (colours_at(values, darker), colours_at(values, ~darker))
        if len(side) > _LEAST * len(values)
    ]
    return any(colour_share(side.mean(axis=0), oil_lab) > _COLOURED for side in sides)


def _neutral(labels: np.ndarray, delta: np.ndarray, oil_lab: np.ndarray) -> list[int]:
    """Numbers of the parts that lose or gain light without colour."""
    numbers = (1 + np.flatnonzero(np.bincount(labels.ravel())[1:])).tolist()
    if len(numbers) < 2:
        return []
    steps = [median_colour(colours_at(delta, labels == k)) for k in numbers]
    told = coloured_pixels(np.array(steps, np.float32), oil_lab)
    return [k for k, coloured in zip(numbers, told, strict=True) if not coloured]


def _sets(labels: np.ndarray, parts: list[int], reach: float) -> list[list[int]]:
    """Sets of parts that lie beside one another and fill most of their hull, the largest first."""
    masks = {k: (labels == k).view(np.uint8) for k in parts}
    points = {k: cv2.convexHull(cv2.findNonZero(mask)) for k, mask in masks.items()}
    area = {k: cv2.countNonZero(mask) for k, mask in masks.items()}
    near = {k: dilated(mask, reach) for k, mask in masks.items()}
    beside = {k: {j for j in parts if j != k and cv2.countNonZero(near[k] & near[j])} for k in parts}
    waiting = [frozenset([k]) for k in parts]
    seen = set(waiting)
    filled: list[tuple[int, list[int]]] = []
    for chosen in waiting:  # grows as it goes
        for one in sorted(set().union(*(beside[k] for k in chosen)) - chosen):
            more = chosen | {one}
            if more in seen or len(seen) > _MOST_SETS:
                continue
            seen.add(more)
            whole = sum(area[k] for k in more)
            hull = cv2.convexHull(np.concatenate([points[k] for k in sorted(more)]))
            share = whole / max(cv2.contourArea(hull), 1.0)
            if share >= _FILLED:
                filled.append((whole, sorted(more)))
            if share >= _ON_THE_WAY and len(more) < _MOST:
                waiting.append(more)
    return [chosen for _, chosen in sorted(filled, key=lambda item: -item[0])]


def _filled(labels: np.ndarray, chosen: list[int], reach: float) -> tuple[tuple[slice, slice], np.ndarray]:
    """What some parts fill together, with the lines between them, in a crop."""
    part = np.isin(labels, chosen).view(np.uint8)
    x, y, w, h = cv2.boundingRect(part)
    m = int(np.ceil(reach)) + 2
    box = np.s_[max(0, y - m) : y + h + m, max(0, x - m) : x + w + m]
    return box, fill_holes(closed(part[box], reach))


def _is_crystal(whole: np.ndarray, solid: float) -> bool:
    """Whether a filled outline is convex, without a neck, with corners and straight sides."""
    if solidity(whole) < solid or int(cut_by_shape(whole, 0.5).max()) > 1:
        return False
    return straight_sided(whole)
