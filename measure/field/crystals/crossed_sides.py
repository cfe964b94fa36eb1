"""See-through pieces found as one that lie across one another, told by how their sides go on inside it.

Crystals whose facets are grey, or of which one has a faint rim, close round no clear faces, so their lines
alone (`rims_apart`) do not tell them apart. Their common outline does, with what is seen along the sides that
go on from its notches (`hidden_sides`). Crystals grown together have such notches too, but lie mostly within
one another.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

import cv2
import numpy as np
import shapely

from measure.field.basics.found import Found
from measure.field.basics.masks import drawn, solidity
from measure.field.basics.polygons import largest, outline_of, polygons_of
from measure.field.basics.quick import colours_at, mean_channel
from measure.field.crystals.hidden_sides import Crossing, crossing_sides, own_share
from measure.field.edges.features import oil_at
from measure.field.ground.absorbance import density, is_dark
from measure.field.ground.light import Light
from measure.field.rims.rim_colour import whole_colour
from measure.flags import bits

_OF_NOISE, _LEAST_STEP = 2.5, 3.0  # lightness where a piece begins, in noise units and CIELAB units
_MARGIN_PX = 6
_MOST_PX = 300_000
_CONVEX = 0.96  # solidity from which a common outline has no notches
_COLOURED = 0.22  # share of colour from which what lies there is not see-through alone
_RIMMED = 0.5  # share of the place in see-through pieces
# least of what is seen along a hidden way, of the share of a piece that no other covers, of the width of what
# no other covers, and of the product of the first two with the share of an outline in the open. Of 76 drawn
# sets that cross 65 have as much, of 110 sets of facets none (two reach 0.15), nor bumps that fog makes (0.37
# of the width, where pieces that cross have 0.45)
_SEEN, _OWN, _WIDTH, _LIKELY = 0.5, 0.45, 0.41, 0.165
_BESIDE = 0.95  # most of a piece that no other covers; bumps that lie beside the rest share nothing
_SAME = 0.6  # intersection over union from which a piece was found as it is
_COVERED = 0.5  # share of an earlier outline inside new pieces from which they replace it
_LEAST_SHARE = 0.05  # of the place, of a piece
_FLAGS = bits("rim_only", "touching", "overlap")


class _Place(NamedTuple):
    """A place darker than the oil in a crop: its mask, and x and y of the crop."""

    mask: np.ndarray
    box: tuple[slice, slice]
    origin: np.ndarray


def crossed_sides(found: Found, light: Light, least_px2: float) -> Found:
    """Give see-through pieces that lie across one another, and were found as one, an outline each.

    Parameters
    ----------
    found : Found
        K pieces.
    light : Light
    least_px2 : float
        Smallest area reported.

    Returns
    -------
    Found
        With new pieces last, flagged ``rim_only``, ``touching``, ``overlap``; those they stand for are gone.
    """
    clear = np.flatnonzero((found.flags & bits("rim_only")) != 0)
    if is_dark(float(light.oil_lab[0])) or not len(clear):
        return found
    reaches = np.array([[found.outlines[k].min(axis=0), found.outlines[k].max(axis=0)] for k in clear])
    places = list(_places(light, least_px2, reaches))
    if not places:
        return found
    shapes = polygons_of(found.outlines)
    tree = shapely.STRtree(shapes)
    gone: set[int] = set()
    added: list[tuple[np.ndarray, int]] = []
    number = int(found.parent.max(initial=0))
    for place in places:
        ground = _foot(place)
        rows = [k for k in tree.query(ground).tolist() if shapes[k].intersects(ground)]
        rims = [k for k in rows if found.flags[k] & bits("rim_only")]
        if not _mostly_rimmed(ground, [shapes[k] for k in rims]) or _is_coloured(place, light):
            continue
        crossing = _believed(place, light, least_px2)
        if crossing is None or any(_is_coloured(part, light) for part in _parts(crossing, place)):
            continue
        pieces = [shapely.affinity.translate(piece, *place.origin) for piece in crossing.pieces]
        if len(pieces) < len(rims) or _are_known(pieces, [shapes[k] for k in rims]):
            continue
        number += 1
        cover = shapely.union_all(pieces)
        gone |= {k for k in rows if shapes[k].intersection(cover).area > _COVERED * shapes[k].area}
        added += [(outline_of(largest(piece)), number) for piece in pieces]
    return _with(found, gone, added) if added else found


def _with(found: Found, gone: set[int], added: list[tuple[np.ndarray, int]]) -> Found:
    kept = [k for k in range(len(found.outlines)) if k not in gone]
    return replace(
        found,
        outlines=[found.outlines[k] for k in kept] + [outline for outline, _ in added],
        parent=np.concatenate([found.parent[kept], [n for _, n in added]]).astype(np.int32),
        flags=np.concatenate([found.flags[kept], [_FLAGS] * len(added)]).astype(np.int32),
        origin=np.concatenate([found.origin[kept], [1] * len(added)]).astype(np.int8),
    )


def _places(light: Light, least_px2: float, reaches: np.ndarray) -> Iterator[_Place]:
    """Places darker than the oil, filled, that have notches, do not meet the frame and may touch some pieces.

    ``reaches`` are the least and greatest x and y of each of these, (K, 2, 2).
    """
    lightness = cv2.GaussianBlur(cv2.extractChannel(light.delta, 0), (3, 3), 0)
    step = max(_LEAST_STEP, _OF_NOISE * float(light.noise[0]))
    marked = (lightness <= -step).view(np.uint8)
    if light.zone_mask is not None:
        marked[light.zone_mask > 0] = 0
    rows, columns = marked.shape
    contours, _ = cv2.findContours(marked, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    for contour in contours:
        x, y, w, h = cv2.boundingRect(contour)
        if w * h < 2.0 * least_px2 or w * h > _MOST_PX or cv2.contourArea(contour) < 2.0 * least_px2:
            continue
        if x < 1 or y < 1 or x + w >= columns or y + h >= rows:
            continue
        m = _MARGIN_PX
        box = np.s_[max(0, y - m) : y + h + m, max(0, x - m) : x + w + m]
        if not _meets(box, reaches):
            continue
        mask = np.zeros(marked[box].shape, np.uint8)
        origin = np.array([box[1].start, box[0].start])
        cv2.drawContours(mask, [contour - origin], 0, 1, cv2.FILLED)
        if solidity(mask) < _CONVEX:
            yield _Place(mask, box, origin)


def _meets(box: tuple[slice, slice], reaches: np.ndarray) -> bool:
    """Whether a place may touch one of some pieces, by their least and greatest x and y, (K, 2, 2)."""
    start = np.array([side.start for side in box[::-1]])
    stop = np.array([side.stop for side in box[::-1]])
    return bool(((reaches[:, 0] <= stop) & (reaches[:, 1] >= start)).all(axis=1).any())


def _foot(place: _Place) -> shapely.Polygon:
    contours, _ = cv2.findContours(place.mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    points = max(contours, key=cv2.contourArea).reshape(-1, 2) + 0.5 + place.origin
    return largest(shapely.Polygon(points).buffer(0.5))


def _mostly_rimmed(ground: shapely.Polygon, rims: Sequence[shapely.Polygon]) -> bool:
    return bool(rims) and ground.intersection(shapely.union_all(rims)).area > _RIMMED * ground.area


def _is_coloured(place: _Place, light: Light) -> bool:
    inside = colours_at(light.delta[place.box], place.mask > 0)
    return whole_colour(inside, light.oil_lab) > _COLOURED


def _parts(crossing: Crossing, place: _Place) -> Iterator[_Place]:
    """The part of a place in each piece."""
    for piece in crossing.pieces:
        yield place._replace(mask=drawn(outline_of(piece), place.mask.shape) & place.mask)


def _believed(place: _Place, light: Light, least_px2: float) -> Crossing | None:
    """The pieces of a place that lie across one another and of which enough is seen."""
    middle = [np.array([(side.start + side.stop) / 2.0]) for side in (place.box[1], place.box[0])]
    dark = mean_channel(density(light.delta[place.box], oil_at(light, *middle)[0]))
    least = max(least_px2, _LEAST_SHARE * cv2.countNonZero(place.mask))
    best = None
    for crossing in crossing_sides(cv2.GaussianBlur(dark, (3, 3), 0), place.mask, _SEEN):
        if min(piece.area for piece in crossing.pieces) < least or not _is_likely(crossing):
            continue
        if best is None or crossing.seen > best.seen:
            best = crossing
    return best


def _is_likely(crossing: Crossing) -> bool:
    """Whether enough is seen of pieces each of which lies to a good part in the open."""
    return (
        crossing.seen >= _SEEN
        and _OWN <= crossing.own <= _BESIDE
        and crossing.width >= _WIDTH
        and crossing.seen * crossing.own * crossing.open >= _LIKELY
    )


def _are_known(pieces: Sequence[shapely.Polygon], rims: Sequence[shapely.Polygon]) -> bool:
    """Whether all pieces were found as they are, and none of those found holds the other pieces too."""
    alike = np.array([[_alike(piece, rim) for rim in rims] for piece in pieces])
    nearest = alike.argmax(axis=1)
    if alike.max(axis=1).min() < _SAME or len(set(nearest)) < len(pieces):
        return False
    return own_share([rims[k] for k in nearest]) >= _OWN


def _alike(one: shapely.Polygon, other: shapely.Polygon) -> float:
    shared = one.intersection(other).area
    return float(shared / (one.area + other.area - shared))
