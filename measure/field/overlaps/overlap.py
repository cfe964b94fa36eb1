"""Pieces that lie over one another: where light passes through both, their absorbances add.

Inside a cluster the picture is divided along its own edges into areas of even tone. An area whose optical
density is the sum of those of two neighbours is where the two pieces lie over one another; it belongs to
both, and each gets its whole outline along the edge that is seen through the other (Beer-Lambert law).
On dark ground pieces are seen by what they send back, which adds up in its own way (`absorbance.sent_back`).
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np

from measure.field.basics.found import Found
from measure.field.basics.masks import square
from measure.field.basics.polygons import polygon_of, polygons_of
from measure.field.basics.quick import colours_at, mean_channel, median
from measure.field.basics.sharing import ALONE, Helpers, parts_of
from measure.field.crystals.crossed_sides import crossed_sides
from measure.field.crystals.grey_rims import crossing_crystals, joined
from measure.field.crystals.lines_beyond import lines_beyond
from measure.field.crystals.rims_apart import rims_apart
from measure.field.crystals.rims_over import clear_over
from measure.field.crystals.shared_walls import with_shared_walls
from measure.field.crystals.sides_over import sides_over
from measure.field.edges.edge import place_rim_edge
from measure.field.ground.absorbance import density_noise, oil_density_noise
from measure.field.ground.light import Light
from measure.field.overlaps.cluster import Cluster
from measure.field.overlaps.crossing import crossing_pieces
from measure.field.overlaps.going_on import going_on
from measure.field.overlaps.heaps import covered, solid_heaps
from measure.field.overlaps.lone_lenses import lone_lenses
from measure.field.rims.broken_rims import complete_rims
from measure.field.rims.rims import dilated, solidity
from measure.flags import bits
from measure.progress import SILENT, Progress

_SHARES = (0.6, 0.4, 0.25)  # of a piece's density, from which a step is an edge
_COVERED = 0.5  # share of an earlier outline inside the new pieces from which they replace it
_MOST_PX = 600_000  # larger clusters are left as they are
_MARGIN_PX = 12
_RUN = 25  # clusters that are worked through at a time
_FLAG = bits("touching", "overlap")
_OPAQUE = 1.4  # natural density from which a piece hides what is under it
_FINER = 1.3  # by which a finer division must be worth more than a coarser one
_DETAIL_PX = 90.0  # pieces larger than this are looked at in reduced size
_SINGLE = 0.96  # solidity from which a piece that stands alone is not looked at
_SAME = 0.75  # intersection over union from which a see-through piece was found before
_MOST_NOISE = 0.032  # natural density; with more, grain shows lines like those of a faint rim
_ON_RIM_PX, _EXPLAINED = 3.0, 0.7  # from rims that cross, and share of the border of a place there
_WITHIN = 0.8  # share of a see-through piece within another
_OF_LOOP, _LEAST_BEYOND = 0.4, 4  # height of lines that go on beyond a loop over its own, and how many
_FREE_RIM, _LINED = 0.04, 0.35  # share of a rim that runs through oil, and of that which must show
_LINE_STEP = 40.0  # lightness a unit of density is worth where the edge of a rim is placed
_CLEAR_OF_OIL = 4.0  # noise units


def resolve_overlaps(
    found: Found,
    light: Light,
    least_px2: float,
    cut_strength: float,
    progress: Progress = SILENT,
    helpers: Helpers = ALONE,
) -> Found:
    """Give overlapping pieces their whole outlines.

    Parameters
    ----------
    found : Found
        Pieces as found and cut, K of them.
    light : Light
    least_px2 : float
        Smallest area reported.
    cut_strength : float
        0 leaves everything as it is.
    progress : Progress
    helpers : Helpers, optional
        Processes that take a share.

    Returns
    -------
    Found
        Pieces in clusters without overlap as they were; the others replaced, flagged ``overlap``.
    """
    if cut_strength <= 0 or not found.outlines or density_noise(light) > _MOST_NOISE:
        return found
    apart = crossed_sides(rims_apart(found, light, least_px2), light, least_px2)
    apart, crystals = crossing_crystals(apart, light, least_px2)
    whole = apart
    if oil_density_noise(light) <= _MOST_NOISE:  # beyond it a few specks look like a broken rim
        whole = with_shared_walls(complete_rims(apart, light, least_px2), apart)
    return joined(
        _resolved_bodies(whole, crystals, light, least_px2, cut_strength, progress, helpers), crystals
    )


def _resolved_bodies(
    found: Found,
    crystals: Found,
    light: Light,
    least_px2: float,
    cut_strength: float,
    progress: Progress,
    helpers: Helpers,
) -> Found:
    """The same of all pieces but crystals that were told apart from bodies."""
    if not found.outlines:
        return found
    clusters = _clusters(found, light.solid_distance.shape)
    jobs = [
        (
            Found(
                [found.outlines[i] for i in rows], found.parent[rows], found.flags[rows], found.origin[rows]
            ),
            box,
            _reaching(crystals.outlines, box),
        )
        for rows, box in clusters
    ]
    runs = [jobs[run.start : run.stop] for run in parts_of(len(jobs), _RUN)]
    plan = _Plan(light, least_px2, cut_strength)
    done = helpers.map(_resolved, plan, runs, lambda part: progress.report(0.6 + 0.2 * part, "overlaps"))
    keep = np.ones(len(found.outlines), bool)
    added: list[tuple[np.ndarray, int, int]] = []
    number = int(found.parent.max(initial=0))
    for (rows, _), made in zip(clusters, (made for run in done for made in run), strict=True):
        if made is None:
            continue
        gone, outlines = made
        keep[[rows[k] for k in gone]] = False
        number += 1
        added += [(outline, number, flags) for outline, flags in outlines]
    if not added:
        return found
    kept = np.flatnonzero(keep)
    return replace(
        found,
        outlines=[found.outlines[i] for i in kept] + [o for o, _, _ in added],
        parent=np.concatenate([found.parent[kept], [n for _, n, _ in added]]).astype(np.int32),
        flags=np.concatenate([found.flags[kept], [f for _, _, f in added]]).astype(np.int32),
        origin=np.concatenate([found.origin[kept], [1] * len(added)]).astype(np.int8),
    )


def _reaching(outlines: list[np.ndarray], box: tuple[slice, slice]) -> list[np.ndarray]:
    """Outlines that reach into a crop."""
    start, stop = np.array([[side.start, side.stop] for side in box[::-1]]).T
    return [o for o in outlines if (o.min(axis=0) < stop).all() and (o.max(axis=0) > start).all()]


def _clusters(found: Found, shape: tuple[int, int]) -> list[tuple[list[int], tuple[slice, slice]]]:
    """Return sets of outlines that meet or nearly meet, with the crop of each."""
    from shapely import STRtree, box

    lows, highs = ([end(outline, axis=0) for outline in found.outlines] for end in (np.min, np.max))
    rects = box(*np.array([low - 1.0 for low in lows]).T, *np.array([high + 1.0 for high in highs]).T)
    first = _first_of_each(STRtree(rects).query(rects, predicate="intersects"), len(rects))
    out = []
    order = np.argsort(first, kind="stable")
    for rows in np.split(order, np.flatnonzero(np.diff(first[order])) + 1):
        low = np.min([lows[i] for i in rows], axis=0).astype(int) - _MARGIN_PX
        high = np.max([highs[i] for i in rows], axis=0).astype(int) + _MARGIN_PX
        (x0, y0), (x1, y1) = np.maximum(low, 0), np.minimum(high, shape[::-1])
        if 0 < (x1 - x0) * (y1 - y0) <= _MOST_PX:
            out.append((rows.tolist(), np.s_[y0:y1, x0:x1]))
    return out


def _first_of_each(pairs: np.ndarray, count: int) -> np.ndarray:
    """Lowest number each of some things hangs together with, (K,), from all pairs (2, P) both ways."""
    first = np.arange(count)
    while True:
        lower = first.copy()
        np.minimum.at(lower, pairs[0], first[pairs[1]])
        lower = lower[lower]
        if (lower == first).all():
            return first
        first = lower


@dataclass(frozen=True)
class _Plan:
    """What is the same for all clusters of a field."""

    light: Light
    least_px2: float
    cut_strength: float


def _resolved(
    plan: _Plan, clusters: list[tuple[Found, tuple[slice, slice], list[np.ndarray]]]
) -> list[tuple[list[int], list[tuple[np.ndarray, int]]] | None]:
    """`_resolve` of some clusters."""
    return [_resolve(cluster, plan, box, crystals) for cluster, box, crystals in clusters]


def _resolve(
    cluster: Found, plan: _Plan, box: tuple[slice, slice], crystals: list[np.ndarray]
) -> tuple[list[int], list[tuple[np.ndarray, int]]] | None:
    """Rows of a cluster to be replaced, and outlines and flags of the pieces that replace them."""
    crop = Cluster(cluster, plan.light, box, crystals)
    least_px2 = crop.zoom**2 * plan.least_px2
    if len(crop.masks) == 1 and solidity(crop.masks[0]) > _SINGLE:
        return None
    # only light that passes through the pieces, or comes through them, tells what lies under them
    inside = mean_channel(colours_at(crop.density, crop.union > 0))
    if not inside.size or median(inside) > _OPAQUE:
        return None
    if (inside < -0.05).mean() > 0.5:
        return None
    seen = crop.density.copy() if any(crop.rim_only) or len(crop.masks) > 1 else crop.density
    gone, made = _taken_apart(cluster, plan, crop) or ([], [])
    return _gone_through(cluster, crop, seen, gone, made, least_px2)


def _gone_through(
    cluster: Found,
    crop: Cluster,
    seen: np.ndarray,
    gone: list[int],
    made: list[tuple[np.ndarray, int]],
    least_px2: float,
) -> tuple[list[int], list[tuple[np.ndarray, int]]] | None:
    """The same with bodies that go on through see-through pieces."""
    kept = [k for k in range(len(cluster.outlines)) if k not in gone]
    pieces = [(cluster.outlines[k], int(cluster.flags[k])) for k in kept] + made
    clear = [bool(flags & bits("rim_only")) for _, flags in pieces]
    if len(pieces) < 2:
        return (gone, made) if gone or made else None  # nothing to go on in
    outlines = [crop.outlines[k] for k in kept] + [crop.inward(outline) for outline, _ in made]
    shapes = [crop.shapes[k] for k in kept] + polygons_of(outlines[len(kept) :])
    sides = sides_over(outlines, clear, seen, shapes)
    for n, outline in sides.items():
        outlines[n], shapes[n] = outline, polygon_of(outline)
    whole, lone = lone_lenses(outlines, clear, seen, shapes)
    for n, outline in whole.items():
        outlines[n], shapes[n] = outline, polygon_of(outline)
    left = [n for n in range(len(outlines)) if n not in lone]
    further, none = going_on(
        [outlines[n] for n in left], [clear[n] for n in left], seen, least_px2, [shapes[n] for n in left]
    )
    changed = sides | whole | {left[n]: outline for n, outline in further.items()}
    none = lone | {left[n] for n in none}
    gone = [*gone, *(kept[n] for n in {*changed, *none} if n < len(kept))]
    made = [
        (crop.outward(changed[n]), flags | _FLAG) if n in changed else (outline, flags)
        for n, (outline, flags) in enumerate(pieces)
        if n not in none and (n in changed or n >= len(kept))
    ]
    return (gone, made) if gone or made else None


def _taken_apart(
    cluster: Found, plan: _Plan, crop: Cluster
) -> tuple[list[int], list[tuple[np.ndarray, int]]] | None:
    """Rows to be replaced and what replaces them where pieces lie over one another."""
    least_px2 = crop.zoom**2 * plan.least_px2
    new, made = _clear_pieces(crop, least_px2)
    heaps = solid_heaps(crop, new, least_px2, plan.cut_strength)
    gone = covered(crop, new)
    outlines: list[np.ndarray] = []
    rest: list[np.ndarray] = []
    if not made:
        rows, whole, crossings = _crossing_pieces(crop, least_px2)
        if crossings and crossings >= sum(heap.lenses for heap in heaps):
            gone, outlines = rows, whole
            heaps = [heap for heap in heaps if not set(heap.gone) & set(rows)]
    for heap in heaps:
        gone = [*gone, *(k for k in heap.gone if k not in gone)]
        outlines, rest = outlines + heap.outlines, rest + heap.rest
    made += [(outline, _FLAG) for outline in outlines] + [(outline, bits("touching")) for outline in rest]
    return (gone, made) if made else None


def _crossing_pieces(crop: Cluster, least_px2: float) -> tuple[list[int], list[np.ndarray], int]:
    """Rows of round pieces that cross, their whole outlines, and how many crossings there are."""
    gone, whole, lenses = crossing_pieces(crop.outlines, mean_channel(crop.density), least_px2, crop.shapes)
    return gone, [crop.outward(outline) for outline in whole], lenses


def _clear_pieces(crop: Cluster, least_px2: float) -> tuple[np.ndarray, list[tuple[np.ndarray, int]]]:
    """See-through pieces over or under others that were not found whole; their lines leave the density."""
    covered = np.zeros(crop.distance.shape, np.uint8)
    made: list[tuple[np.ndarray, int]] = []
    if crop.on_dark and crop.is_grey:
        return covered, made  # there the edges of solid grains are as bright (scanning electron microscopes)
    pieces, lines = clear_over(crop.density, least_px2)
    if not pieces and not any(crop.rim_only):
        return covered, made
    rim_lines = lines.copy()
    known_rims = _borders([m for m, crossed in zip(crop.masks, crop.crossed, strict=True) if crossed])
    rim_field = np.zeros((*lines.shape, 3), np.float32)
    rim_field[..., 0] = -_LINE_STEP * lines
    for piece in (*pieces, *(m for m, rim_only in zip(crop.masks, crop.rim_only, strict=True) if rim_only)):
        box = _about(piece)
        edge = dilated(piece[box], 2.0) > 0
        own = np.where(edge, lines[box], np.float32(0))
        crop.density[box] -= own[..., None]
        lines[box] -= own
    areas = [cv2.countNonZero(m) for m in crop.masks]
    for piece in pieces:
        shared = [cv2.countNonZero(piece & m) for m in crop.masks]
        if (
            _is_found(piece, shared, areas, crop)
            or _is_explained(piece, known_rims)
            or not _is_beside_others(piece, shared, areas, crop)
            or _is_loop(piece, rim_lines)
            or not _rim_in_oil(piece, rim_lines, crop.masks, shared)
        ):
            continue
        outline = place_rim_edge(rim_field, piece, np.zeros(piece.shape, bool), crop.oil, crop.light_weight)
        placed = crop.placed(outline, least_px2)
        made += [(outline, _FLAG | bits("rim_only")) for outline in placed]
        covered |= piece * bool(placed)
    return covered, made


def _about(mask: np.ndarray) -> tuple[slice, slice]:
    """Rows and columns of a mask with a margin."""
    x, y, w, h = cv2.boundingRect(mask)
    return np.s_[max(0, y - 3) : y + h + 3, max(0, x - 3) : x + w + 3]


def _is_found(piece: np.ndarray, shared: list[int], areas: list[int], crop: Cluster) -> bool:
    """Whether a see-through piece is one that was found, a facet of it, or what two of them share.

    What two rims share is no third piece, nor what rims that cross close round. A crystal that was told apart
    from these pieces is found as well: some of its rim may be left in the density.
    """
    size = cv2.countNonZero(piece)
    rims = [(s, area) for s, area, rim in zip(shared, areas, crop.rim_only, strict=True) if rim]
    rims += [(cv2.countNonZero(piece & crystal), cv2.countNonZero(crystal)) for crystal in crop.crystals]
    if any(s > max(_WITHIN * size, _COVERED * area) for s, area in rims):
        return True
    return (
        any(s / (size + area - s) > _SAME for s, area in rims) or sum(s > _WITHIN * size for s, _ in rims) > 1
    )


def _is_beside_others(piece: np.ndarray, shared: list[int], areas: list[int], crop: Cluster) -> bool:
    """Whether a piece meets one that it does not mostly cover."""
    box = _about(piece)
    beside = dilated(piece[box], 2.0)
    return any(
        s < _COVERED * area and cv2.countNonZero(m[box] & beside) > 0
        for m, s, area in zip(crop.masks, shared, areas, strict=True)
    )


def _borders(masks: list[np.ndarray]) -> np.ndarray | None:
    """Where the rims of pieces that cross run; None without such."""
    if not masks:
        return None
    edges = [mask & (1 - cv2.erode(mask, square(3), borderValue=0)) for mask in masks]
    return dilated(np.bitwise_or.reduce(edges), _ON_RIM_PX)


def _is_explained(piece: np.ndarray, rims: np.ndarray | None) -> bool:
    """Whether the lines round a place are those of rims that cross there."""
    if rims is None:
        return False
    border = piece & (1 - cv2.erode(piece, square(3), borderValue=0))
    return cv2.countNonZero(border & rims) > _EXPLAINED * cv2.countNonZero(border)


def _is_loop(piece: np.ndarray, lines: np.ndarray) -> bool:
    """Whether fibres that cross close round some oil: their lines go on beyond it."""
    border = piece & (1 - cv2.erode(piece, square(3), borderValue=0))
    usual = median(cv2.dilate(lines, square(5))[border > 0])
    return lines_beyond(piece, (lines >= _OF_LOOP * usual).view(np.uint8)) >= _LEAST_BEYOND


def _rim_in_oil(piece: np.ndarray, lines: np.ndarray, masks: list[np.ndarray], shared: list[int]) -> bool:
    """Whether a rim is seen where it runs through oil; the oil caught between pieces has none there."""
    border = (piece & (1 - cv2.erode(piece, square(3), borderValue=0))) > 0
    bodies = np.zeros(piece.shape, piece.dtype)
    for mask, inside in zip(masks, shared, strict=True):
        if inside < _COVERED * mask.sum():
            bodies |= mask
    free = border & (dilated(bodies, 1.5) == 0)
    if free.sum() < _FREE_RIM * border.sum():
        return True
    usual = np.percentile(lines[border], 75)
    return bool((cv2.dilate(lines, square(5))[free] > 0.4 * usual).mean() > _LINED)
