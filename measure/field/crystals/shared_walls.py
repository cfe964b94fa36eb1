"""Crystals side by side share the dark wall of both their rims: each gets the half on its own side.

The edge of a rim is looked for where it meets the oil; along a neighbour it is found anywhere in the wall.
"""

from dataclasses import replace
from typing import NamedTuple

import numpy as np
import shapely
from shapely import Polygon

from measure.field.basics.found import Found
from measure.field.basics.polygons import largest, outline_of, polygons_of
from measure.flags import bits

_NEAR_PX = 1.5  # half the distance up to which two crystals touch
_WALL_PX = 4.0  # half the width of a wall
_SLENDER = 0.3  # width over length of what lies near both
_OVER = 0.1  # share of the smaller one that both have, from which they lie over one another
_SAME = 0.6  # intersection over union of a crystal before and after its edge was placed
_CONTACT = bits("rim_only", "touching", "overlap")


def with_shared_walls(found: Found, before: Found) -> Found:
    """Let see-through pieces that touch end in the middle of the wall between them.

    Parameters
    ----------
    found : Found
        K pieces, their edges placed.
    before : Found
        Pieces parted in the middle of walls.

    Returns
    -------
    Found
        K pieces in the same order.
    """
    pairs = _contacts(before)
    if not pairs:
        return found
    rims = [k for k, flags in enumerate(found.flags.tolist()) if flags & bits("rim_only")]
    shapes = dict(zip(rims, polygons_of([found.outlines[k] for k in rims]), strict=True))
    tree = shapely.STRtree([shapes[k] for k in rims])
    changed: set[int] = set()
    for one, other, wall in pairs:
        i, j = (_of(shape, shapes, [rims[n] for n in tree.query(shape).tolist()]) for shape in (one, other))
        if i is not None and j is not None and i != j:
            shapes[i], shapes[j] = _parted(shapes[i], shapes[j], one, wall)
            changed |= {i, j}
    outlines = [outline_of(shapes[k]) if k in changed else o for k, o in enumerate(found.outlines)]
    return replace(found, outlines=outlines)


class _Wall(NamedTuple):
    """Middle of what lies between two crystals, px, its direction, a unit vector, and its length, px."""

    middle: np.ndarray
    along: np.ndarray
    length: float


def _contacts(found: Found) -> list[tuple[Polygon, Polygon, _Wall]]:
    """Pairs of crystals parted at walls, with these."""
    rows = [k for k, flags in enumerate(found.flags.tolist()) if flags & _CONTACT == _CONTACT]
    if len(rows) < 2:
        return []
    shapes = polygons_of([found.outlines[k] for k in rows])
    near = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=2 * _NEAR_PX)
    pairs = []
    for a, b in sorted(map(tuple, near.T.tolist())):
        one, other = shapes[a], shapes[b]
        if a < b and one.intersection(other).area < _OVER * min(one.area, other.area):
            wall = _wall(one, other)
            pairs += [(one, other, wall)] if wall is not None else []
    return pairs


def _of(shape: Polygon, shapes: dict[int, Polygon], rows: list[int]) -> int | None:
    """Row of the piece that a crystal has become."""
    likeness = [shape.intersection(shapes[k]).area / shape.union(shapes[k]).area for k in rows]
    return rows[int(np.argmax(likeness))] if likeness and max(likeness) > _SAME else None


def _wall(one: Polygon, other: Polygon) -> _Wall | None:
    """What lies between two crystals; None where it is no straight wall."""
    both = largest(one.buffer(_NEAR_PX).intersection(other.buffer(_NEAR_PX)))
    if both.is_empty:
        return None
    corners = np.asarray(shapely.oriented_envelope(both).exterior.coords)[:4]
    sides = np.diff(corners[:3], axis=0)
    lengths = np.hypot(*sides.T)
    long = int(np.argmax(lengths))
    if lengths[1 - long] > _SLENDER * lengths[long]:
        return None
    return _Wall(corners.mean(axis=0), sides[long] / lengths[long], float(lengths[long]))


def _parted(one: Polygon, other: Polygon, before: Polygon, wall: _Wall) -> tuple[Polygon, Polygon]:
    """Two pieces with half of the wall between them each; what the first was before tells its side."""
    middle, along, length = wall
    across = np.array([-along[1], along[0]])
    across *= np.sign((np.asarray(before.centroid.coords[0]) - middle) @ across)
    ends = [middle - 0.5 * length * along, middle + 0.5 * length * along]
    halves = [
        Polygon([*ends, ends[1] + side * _WALL_PX * across, ends[0] + side * _WALL_PX * across])
        for side in (1, -1)
    ]
    whole = one.union(other)
    return (
        largest(one.difference(halves[1]).union(whole.intersection(halves[0]))),
        largest(other.difference(halves[0]).union(whole.intersection(halves[1]))),
    )
