"""Pieces that go on over or under their neighbours, where the light has passed through both.

The density of what lies over one another adds up (Beer-Lambert law). So inside a neighbour, where it is
denser than the neighbour itself by the density of the piece beside it, the piece goes on; and inside a
crystal, whose middle is as clear as oil, where it has the density of the piece at all. The edge lies at half
of the piece's density. A neighbour's streaks and folds vary along its own colour and a rim is grey, so the
piece is read across them. Where it has no colour nothing can be told under the rim of a crystal, and the edge
is laid between what is seen on both sides of it.
"""

from collections.abc import Sequence
from typing import NamedTuple

import cv2
import numpy as np
import shapely

from measure.field.basics.masks import SQUARE, dilated, drawn, opened, solidity
from measure.field.basics.outline import Levels, crossed, outer_chain
from measure.field.basics.polygons import largest, outline_of, polygon_of, polygons_of
from measure.field.basics.quick import colours_at, less, mean_colour, median, median_colour, set_colours
from measure.field.overlaps.hosts import Host, clear_host, solid_hosts
from measure.field.overlaps.thin_lenses import goes_on_thinly

_HALF = 0.5  # of a piece's density, where its edge lies
_FAINT, _THIN = 0.25, 0.35  # of it, from which a fainter step is looked at, and the least that one adds
_THIN_SHARE = 0.6  # of the piece as it was, that a fainter step may add
_GAP_PX = 2.0  # left between two pieces by a cut
_MARGIN_PX = 8
_LEAST_PX2 = 12
_CLEAR = 0.35  # density of the clear inside of a crystal over that of a body seen in it, at most
_LEAST_DENSITY = 0.06  # natural; fainter bodies are not told from light refracted inwards
_LIKE = (0.6, 1.7)  # density added inside over that of the piece beside
_OTHER = 0.15  # most that lies across the piece's colour, over its density
_BESIDE_PX = 15.0  # reach within which densities are read, for a piece is rarely of one density all over
_FULLER = 0.05  # solidity a piece may lose by what goes on
_MUCH, _MUCH_FULLER = 0.4, 0.02  # share added from which a piece must become as much fuller
_MOST_ADDED = 1.5  # of the piece as it was
_CHANGED = 0.01  # share of a piece's area from which its outline is laid anew
_LEAST_ADDED = 0.03  # of a piece, inside a crystal, for the rim hides where its edge is
_COVERED = 0.75  # share of a splinter within a body and a crystal, which made it, from which it is none
_LEAST_VARIANCE = 1e-4  # of density, which noise leaves everywhere
_GREY = 2.0  # most a rim takes of all colours
_TOLD = 0.25  # spread of a piece's own share, up to which it is read by its colour
_ALSO = 0.15  # share of the rest of a neighbour that may be as dense by chance
# the same, and the most across the colour of a piece, where form is not asked; sine between both colours
_HARDLY, _NO_OTHER, _OWN_HUE = 0.06, 0.08, 0.1


def going_on(
    outlines: Sequence[np.ndarray],
    rim_only: Sequence[bool],
    density: np.ndarray,
    least_px2: float,
    shapes: Sequence[shapely.Polygon] | None = None,
) -> tuple[dict[int, np.ndarray], set[int]]:
    """Give pieces what goes on of them inside their neighbours.

    Parameters
    ----------
    outlines : sequence of (P, 2) ndarray
        Pieces of a cluster, in the crop's coordinates.
    rim_only : sequence of bool
        Which of them are see-through.
    density : (M, N, 3) ndarray of float32
        Optical density against the oil.
    least_px2 : float
        Smallest area of a piece.
    shapes : sequence of Polygon, optional
        Of the outlines, where they are known.

    Returns
    -------
    changed : dict of int to (P, 2) ndarray
        New outlines of some pieces.
    gone : set of int
        Pieces that were but a part of a body seen in a crystal.
    """
    if len(outlines) < 2 or all(rim_only):
        return {}, set()
    shapes = list(shapes or polygons_of(outlines))
    changed: dict[int, np.ndarray] = {}
    gone: set[int] = set()
    tree = shapely.STRtree(shapes)
    pairs = tree.query(shapes, predicate="dwithin", distance=_GAP_PX)
    for host in sorted(range(len(shapes)), key=lambda k: not rim_only[k]):
        some = pairs[1, pairs[0] == host]
        if host in changed:
            some = tree.query(shapes[host], predicate="dwithin", distance=_GAP_PX)
        near = [k for k in some.tolist() if not rim_only[k] and k != host]
        near = sorted(near, key=lambda k: -shapes[k].area)
        for k in near:
            if k in gone or host in gone:
                continue
            new = _goes_on_in(k, host, shapes, outlines, rim_only[host], density, least_px2)
            if new is None:
                continue
            shapes[k], changed[k] = new, outline_of(new)
            if rim_only[host]:
                gone |= _splinters(k, host, near, shapes)
    return {k: outline for k, outline in changed.items() if k not in gone}, gone


def _goes_on_in(
    k: int,
    host: int,
    shapes: list[shapely.Polygon],
    outlines: Sequence[np.ndarray],
    clear: bool,
    density: np.ndarray,
    least_px2: float,
) -> shapely.Polygon | None:
    """Piece ``k`` with what goes on of it inside another, or None where nothing does."""
    box, corner = _window(shapes[k], shapes[host], density.shape[:2])
    density = density[box]
    mask = drawn(outline_of(shapes[k]) - corner, density.shape[:2])
    own = drawn(outlines[host] - corner, density.shape[:2])
    if clear:
        through = clear_host(own, density)
        hosts = [] if through is None else [through]
    else:
        for n, outline in enumerate(outlines):
            if n != host and shapes[n].intersects(shapes[host]):
                own &= 1 - drawn(outline - corner, own.shape)
        hosts = solid_hosts(own, mask, density)
    for within in hosts:
        seen = _gone_on(mask, within, density, least_px2)
        new = None if seen is None else _laid(_moved(shapes[k], -corner), *seen)
        if new is not None:
            return _moved(new, corner)
    return None


def _moved(shape: shapely.Polygon, way: np.ndarray) -> shapely.Polygon:
    return shapely.transform(shape, lambda points: points + way)


def _window(
    one: shapely.Polygon, other: shapely.Polygon, shape: tuple[int, int]
) -> tuple[tuple[slice, slice], np.ndarray]:
    """Rows and columns about two pieces, and the corner of them."""
    (x0, y0, x1, y1), (x2, y2, x3, y3) = one.bounds, other.bounds
    x0, y0, x1, y1 = min(x0, x2), min(y0, y2), max(x1, x3), max(y1, y3)
    left, top = max(0, int(x0) - _MARGIN_PX), max(0, int(y0) - _MARGIN_PX)
    box = np.s_[top : min(shape[0], int(y1) + _MARGIN_PX), left : min(shape[1], int(x1) + _MARGIN_PX)]
    return box, np.array([left, top], float)


def _splinters(k: int, host: int, near: list[int], shapes: list[shapely.Polygon]) -> set[int]:
    """Pieces that are but what a body and a crystal have in common."""
    both = shapely.union(shapes[k], shapes[host])
    return {
        n
        for n in near
        if n != k
        and shapes[n].area < shapes[k].area
        and shapes[n].intersection(both).area > _COVERED * shapes[n].area
        and shapes[n].intersection(shapes[host]).area > _HALF * shapes[n].area
    }


def _gone_on(
    mask: np.ndarray, host: Host, density: np.ndarray, least_px2: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray, float] | None:
    """A piece with what goes on of it inside another, its share there, its zone, and the share of its edge.

    None where nothing goes on.
    """
    zone = host.band | host.inside
    alone = mask & (1 - zone)
    if cv2.countNonZero(alone) < max(_LEAST_PX2, 0.5 * least_px2):
        return None
    core = cv2.erode(alone, SQUARE)
    beside = core & dilated(zone, _BESIDE_PX)
    beside = beside if cv2.countNonZero(beside) >= _LEAST_PX2 else core if core.any() else alone
    tone = median_colour(colours_at(density, beside > 0))
    strength = float(tone @ tone)
    if strength < 3 * _LEAST_DENSITY**2 or (host.clear and float(host.level @ tone) > _CLEAR * strength):
        return None
    core = core if cv2.countNonZero(core) >= _LEAST_PX2 else alone
    if host.clear:
        host, reading = _through_rim(host, core, tone, density)
    else:
        spreads = _spread(density, core), _spread(density, cv2.erode(host.inside, SQUARE))
        reading = _reading(tone, *spreads)
    share = _share(host, reading, density)
    if host.clear:
        found = _within(mask, alone, host, share, _HALF)
        told = found is not None and _credible(mask, host, tone, density, *found)
        return (*found, zone, _HALF) if found is not None and told else None
    if _fewer_than(_least_within(mask, host), share, host, _FAINT):
        return None  # nor is there more of what is denser
    for least in (_HALF, _FAINT):
        seen = _levelled(mask, alone, host, share, reading, density, least)
        if seen is not None and _credible(mask, seen.host, tone, density, seen.mask, seen.share, seen.cut):
            return seen.mask, seen.share, zone, seen.cut
    return None


class _Seen(NamedTuple):
    """What of a piece is seen in another: its mask with that, its share there, and the share of its edge."""

    mask: np.ndarray
    share: np.ndarray
    cut: float
    host: Host


def _levelled(
    mask: np.ndarray,
    alone: np.ndarray,
    host: Host,
    share: np.ndarray,
    reading: np.ndarray,
    density: np.ndarray,
    least: float,
) -> _Seen | None:
    """What of a piece is seen in a body, by the body's own density near what is seen."""
    found = _within(mask, alone, host, share, least)
    if found is None:
        return None
    about = host.inside & dilated(found[0] & host.inside, _BESIDE_PX) & (1 - dilated(found[0], 2.5))
    about &= 1 - _hanging(found[0], found[1], host.inside)
    cut = least
    if cv2.countNonZero(about) >= _LEAST_PX2:
        host = host._replace(level=median_colour(colours_at(density, about > 0)))
        share = _share(host, reading, density)
        found = _within(mask, alone, host, share, least)
    if found is not None and least < _HALF:
        core = cv2.erode(found[0] & host.inside, SQUARE)
        core = core if cv2.countNonZero(core) >= _LEAST_PX2 else found[0] & host.inside
        cut = min(_HALF, _HALF * median(found[1][core > 0]))
        found = _within(mask, alone, host, share, cut)
    return None if found is None else _Seen(*found, cut, host)


def _hanging(found: np.ndarray, share: np.ndarray, inside: np.ndarray) -> np.ndarray:
    """What is denser than a body and hangs together with what was found of another in it."""
    dense = ((share > _FAINT) & (inside > 0)).view(np.uint8)
    count, parts = cv2.connectedComponents(dense, connectivity=4)
    meets = np.bincount(parts[(found & dense) > 0], minlength=count) > 0
    meets[0] = False
    return meets[parts].view(np.uint8)


def _reading(tone: np.ndarray, *spreads: np.ndarray) -> np.ndarray:
    """By what the share of a piece's density is read from densities, given how these vary otherwise.

    What adds to a piece is told best across the direction in which that varies by itself (Fisher's linear
    discriminant). What of the piece beside lies in the neighbour already does not turn that direction.
    """
    along = np.linalg.solve(_LEAST_VARIANCE * np.eye(3) + sum(spreads), tone)
    return along / float(along @ tone)


def _spread(density: np.ndarray, mask: np.ndarray) -> np.ndarray:
    """Covariance of the densities of a place, (3, 3)."""
    values = colours_at(density, mask > 0).astype(np.float64)
    if len(values) < _LEAST_PX2:
        return np.zeros((3, 3))
    off = np.ascontiguousarray(less(values, mean_colour(values)).T)
    products = off[[0, 0, 0, 1, 1, 2]]
    products *= off[[0, 1, 2, 1, 2, 2]]
    a, b, c, d, e, f = (products.sum(axis=1) / len(values)).tolist()
    return np.array([[a, b, c], [b, d, e], [c, e, f]])


def _through_rim(
    host: Host, core: np.ndarray, tone: np.ndarray, density: np.ndarray
) -> tuple[Host, np.ndarray]:
    """A crystal, and by what the share of a piece is read in it.

    A rim takes light of all colours alike, so a piece with a colour is told under the rim too.
    """
    reading = _reading(tone, _spread(density, core), np.full((3, 3), _GREY**2))
    if float(np.std(colours_at(density, core > 0) @ reading)) > _TOLD:
        return host, tone / float(tone @ tone)
    whole = host.band | host.inside
    return host._replace(inside=whole, band=np.zeros_like(whole), sway=np.full(3, _GREY)), reading


def _share(host: Host, reading: np.ndarray, density: np.ndarray) -> np.ndarray:
    """Share of a piece's density that is added to another, (M, N) float32."""
    own = density.copy()
    inside = host.inside.view(bool)
    set_colours(own, inside, less(colours_at(own, inside), host.level))
    return own @ reading.astype(np.float32)


def _least_within(mask: np.ndarray, host: Host) -> float:
    """Least of a piece inside another that is believed, px."""
    return max(_LEAST_PX2 / 2, _LEAST_ADDED * cv2.countNonZero(mask) if host.clear else 0.0)


def _fewer_than(least: float, share: np.ndarray, host: Host, cut: float) -> bool:
    """Whether fewer px inside a piece than some are as dense."""
    return cv2.countNonZero((share > cut).view(np.uint8) & host.inside) < least


def _within(
    mask: np.ndarray, alone: np.ndarray, host: Host, share: np.ndarray, cut: float
) -> tuple[np.ndarray, np.ndarray] | None:
    """A piece with what is connected to it and as dense inside another, and the share of its density."""
    least = _least_within(mask, host)
    if _fewer_than(least, share, host, cut):
        return None  # what is told beneath the band adds nothing inside
    share = _bridged(share, mask, host)
    either = host.mask | mask if host.clear else host.mask | mask | host.band
    goes_on = ((share > cut) & (either > 0)).view(np.uint8)
    goes_on = opened(goes_on, 1.5) | alone
    parts = cv2.connectedComponents(goes_on, connectivity=4)[1]
    own_part = np.bincount(parts[alone > 0]).argmax()
    goes_on = (parts == own_part).view(np.uint8)
    count = cv2.countNonZero(goes_on & host.inside)
    if count < least or count > _MOST_ADDED * cv2.countNonZero(mask):
        return None
    return goes_on, share


def _credible(
    mask: np.ndarray,
    host: Host,
    tone: np.ndarray,
    density: np.ndarray,
    goes_on: np.ndarray,
    share: np.ndarray,
    cut: float = _HALF,
) -> bool:
    """Whether what is as dense as a piece is one with it."""
    seen = (goes_on & host.inside) > 0
    values = density[seen] - host.level
    told = bool(host.sway.any())
    along = share[seen] if told else values @ tone / float(tone @ tone)
    rest = values - along[:, None] * tone
    if told:
        rest -= np.clip(rest @ host.sway / float(host.sway @ host.sway), -1.0, 1.0)[:, None] * host.sway
    across = np.linalg.norm(rest, axis=1) / float(np.linalg.norm(tone))
    least = _LIKE[0] if cut == _HALF else _THIN
    if not least < median(along) < _LIKE[1] or median(across) > _OTHER:
        return False
    if not host.clear:
        rest = cv2.erode(host.inside, SQUARE) & (1 - dilated(goes_on, 3.0))
        also = (share[rest > 0] > cut).mean() if cv2.countNonZero(rest) >= _LEAST_PX2 else 1.0
        if also > _ALSO:
            return False
        if cut < _HALF:
            little = bool(np.count_nonzero(seen) <= _THIN_SHARE * cv2.countNonZero(mask))
            return little and goes_on_thinly(mask, goes_on, host.inside, share)
        if also <= _HARDLY and median(across) <= _NO_OTHER and _turned(tone, host.level) >= _OWN_HUE:
            return True  # of another colour than the neighbour, it is told whatever its form
    fuller = solidity(goes_on) - solidity(mask)
    much = np.count_nonzero(seen) > _MUCH * cv2.countNonZero(mask) and not (host.clear and told)
    return fuller >= (_MUCH_FULLER if much else -_FULLER)


def _turned(tone: np.ndarray, other: np.ndarray) -> float:
    """Sine of the angle between the colours of two densities, (3,) each."""
    lengths = max(float(np.linalg.norm(tone) * np.linalg.norm(other)), 1e-9)
    return float(np.linalg.norm(np.cross(tone, other))) / lengths


def _bridged(share: np.ndarray, mask: np.ndarray, host: Host) -> np.ndarray:
    """The share of a body's density, under the rim from what is seen on both sides of it."""
    sure = 1.0 - host.band.astype(np.float32)
    # outside, other bodies may have as much
    outside = (host.mask | host.band | mask) == 0
    value = np.where(outside, 0.0, np.clip(share, 0.0, 1.0)) * sure
    depth = float(cv2.distanceTransform(host.band, cv2.DIST_L2, 5).max())
    sigma = max(1.0, 0.7 * depth)
    weight = cv2.GaussianBlur(sure, (0, 0), sigma)
    smooth = cv2.GaussianBlur(value.astype(np.float32), (0, 0), sigma) / np.maximum(weight, 1e-3)
    return np.where(host.band > 0, smooth, share).astype(np.float32)


def _laid(
    shape: shapely.Polygon, goes_on: np.ndarray, share: np.ndarray, zone: np.ndarray, cut: float = _HALF
) -> shapely.Polygon | None:
    """The outline of a piece, anew where it lies in another."""
    part = goes_on & dilated(zone, 2.0)
    chain = outer_chain(part, part)
    if chain is None or len(chain) < 4:
        return None
    field = np.where(dilated(part, 1.0) > 0, share, 0.0).astype(np.float32)
    points, _ = crossed([chain], Levels([field]), np.zeros(1, np.intp), np.array([cut]))
    contours = cv2.findContours(zone, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0]
    rings = [c.reshape(-1, 2).astype(np.float64) + 0.5 for c in contours if len(c) > 3]
    rest = shape.difference(shapely.union_all([polygon_of(ring) for ring in rings]))
    new = largest(shapely.union_all([rest.buffer(0.3), polygon_of(points).buffer(0.3)]).buffer(-0.3))
    if new.is_empty or new.symmetric_difference(shape).area < _CHANGED * shape.area:
        return None
    return shapely.Polygon(new.exterior)
