"""Pieces seen on two overlapping fields: which are the same, and in which field each is counted."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from measure.field.several.repeats import Overlap
from measure.flags import bits
from measure.particles import Particles

_AT_EDGE = bits("touches_frame", "meets_zone")
_LEAST_SHARED = 0.5  # shared area over united area of two outlines of one piece


@dataclass(frozen=True)
class SharedPieces:
    """Pairs of pieces that are one.

    Attributes
    ----------
    first, second : (K,) ndarray of int
        Rows in the two fields' particles.
    keep_first : (K,) ndarray of bool
        Whether the one of the first field is counted (else that of the second).
    """

    first: np.ndarray
    second: np.ndarray
    keep_first: np.ndarray


def shared_pieces(first: Particles, second: Particles, overlap: Overlap) -> SharedPieces:
    """Find the pieces two overlapping fields share.

    A piece whole in one field and cut by the edge of the other is counted where it is whole. Where both
    see it whole, the first field counts it.

    Parameters
    ----------
    first, second : Particles
        Of the two fields, px of each.
    overlap : Overlap
        How the second lies on the first.

    Returns
    -------
    SharedPieces
        One piece is in no more than one pair.
    """
    from shapely import STRtree

    shapes1 = _shapes(first.outlines)
    shapes2 = _shapes([overlap.moved(outline) for outline in second.outlines])
    if not len(first) or not len(second):
        return _pairs([], first, second)
    tree = STRtree(shapes1)
    found = []
    for row2, row1 in tree.query(shapes2, predicate="intersects").T:
        one, two = shapes1[row1], shapes2[row2]
        both = one.intersection(two).area
        cut = bool((first["flags"][row1] | second["flags"][row2]) & _AT_EDGE)
        # a cut piece shows only a part of itself: compare with the smaller of the two
        united = max(one.area + two.area - both, 1e-9)
        share = both / max(min(one.area, two.area), 1e-9) if cut else both / united
        if share > _LEAST_SHARED:  # those that agree best as a whole are paired first
            found.append((both / united, int(row1), int(row2)))
    return _pairs(sorted(found, reverse=True), first, second)


def _shapes(outlines: Sequence[np.ndarray]) -> list:
    from shapely.geometry import Polygon

    return [Polygon(outline).buffer(0) for outline in outlines]


def _pairs(found: list[tuple[float, int, int]], first: Particles, second: Particles) -> SharedPieces:
    used1, used2, pairs = set(), set(), []
    for _, row1, row2 in found:
        if row1 not in used1 and row2 not in used2:
            used1.add(row1)
            used2.add(row2)
            pairs.append((row1, row2))
    rows = np.array(pairs, int).reshape(-1, 2)
    whole1 = first["flags"][rows[:, 0]] & _AT_EDGE == 0
    whole2 = second["flags"][rows[:, 1]] & _AT_EDGE == 0
    return SharedPieces(rows[:, 0], rows[:, 1], whole1 | ~whole2)


def repeats_of(shared: SharedPieces, first: Particles, second: Particles) -> tuple[np.ndarray, np.ndarray]:
    """Return the labels to take out of the count in the first and in the second field, (K,) ndarrays of int.

    Pieces that meet the edge are not counted anyway and stay as they are, as do those set aside.
    """
    drop1 = shared.first[~shared.keep_first]
    drop2 = shared.second[shared.keep_first]
    labels = []
    for particles, rows in ((first, drop1), (second, drop2)):
        counted = (particles["set_aside"][rows] == "") & (particles["flags"][rows] & _AT_EDGE == 0)
        labels.append(particles["label"][rows[counted]])
    return labels[0], labels[1]
