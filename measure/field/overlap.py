"""Pieces that lie over one another: where light passes through both, their absorbances add.

Inside a cluster the picture is divided along its own edges into areas of even tone. An area whose optical
density is the sum of those of two neighbours is where the two pieces lie over one another; it belongs to
both, and each gets its whole outline along the edge that is seen through the other (Beer-Lambert law).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import cv2
import numpy as np

from measure.field.absorbance import density, density_noise
from measure.field.broken_rims import complete_rims
from measure.field.crossing import crossing_pieces
from measure.field.cut import cut_by_shape
from measure.field.edge import SMOOTHING_SIGMA_PX, place_edge, place_rim_edge
from measure.field.features import oil_at
from measure.field.find import Found
from measure.field.lens_checks import credible_lenses, less_whole, shattered
from measure.field.lenses import overlapping, settled
from measure.field.light import Light
from measure.field.masks import drawn
from measure.field.outline import area
from measure.field.quick import median
from measure.field.rims import dilated, solidity
from measure.field.rims_over import clear_over
from measure.field.sharing import ALONE, Helpers, parts_of
from measure.field.tone_areas import tone_areas
from measure.flags import bits
from measure.progress import SILENT, Progress

_SHARES = (0.6, 0.4, 0.25)  # of a piece's density, from which a step is an edge
_COVERED = 0.5  # share of an earlier outline inside the new pieces from which they replace it
_MOST_PX = 600_000  # larger clusters are left as they are
_MARGIN_PX = 12
_RUN = 25  # clusters that are worked through at a time
_FLAG = bits("touching", "overlap")
_LEAST_OIL_LIGHTNESS = 45.0  # CIELAB; below it the ground is dark and the pieces are seen by reflection
_OPAQUE = 1.4  # natural density from which a piece hides what is under it
_FINER = 1.3  # by which a finer division must be worth more than a coarser one
_DETAIL_PX = 90.0  # pieces larger than this are looked at in reduced size
_SINGLE = 0.96  # solidity from which a piece that stands alone is not looked at
_SAME = 0.75  # intersection over union from which a see-through piece was found before
_MOST_NOISE = 0.032  # natural density; with more, grain shows lines like those of a faint rim
_FREE_RIM, _LINED = 0.04, 0.35  # share of a rim that runs through oil, and of that which must show
_LINE_STEP = 40.0  # lightness a unit of density is worth where the edge of a rim is placed
_CLEAR_OF_OIL = 4.0  # noise units


def least_area_px2(smallest_px: float) -> float:
    """Smallest area reported, as for finding: 0.7 times the lower limit across."""
    return float(np.pi / 4 * (0.7 * smallest_px) ** 2)


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
    found = complete_rims(found, light, least_px2)
    clusters = _clusters(found, light.solid_distance.shape)
    jobs = [
        (
            Found(
                [found.outlines[i] for i in rows], found.parent[rows], found.flags[rows], found.origin[rows]
            ),
            box,
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


def _clusters(found: Found, shape: tuple[int, int]) -> list[tuple[list[int], tuple[slice, slice]]]:
    """Return sets of outlines that meet or nearly meet, with the crop of each."""
    from shapely import STRtree, box

    rects = []
    for outline in found.outlines:
        (x0, y0), (x1, y1) = outline.min(axis=0) - 1.0, outline.max(axis=0) + 1.0
        rects.append(box(x0, y0, x1, y1))
    first = _first_of_each(STRtree(rects).query(rects, predicate="intersects"), len(rects))
    out = []
    order = np.argsort(first, kind="stable")
    for rows in np.split(order, np.flatnonzero(np.diff(first[order])) + 1):
        low = np.min([found.outlines[i].min(axis=0) for i in rows], axis=0).astype(int) - _MARGIN_PX
        high = np.max([found.outlines[i].max(axis=0) for i in rows], axis=0).astype(int) + _MARGIN_PX
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


class _Crop:
    """What is known of one cluster while its pieces are worked out."""

    def __init__(self, found: Found, light: Light, box: tuple[slice, slice]) -> None:
        self.origin = np.array([box[1].start, box[0].start], np.float32)
        self.distance = light.solid_distance[box]
        self.masks = [drawn(outline - self.origin, self.distance.shape) for outline in found.outlines]
        self.rim_only = [bool(flags & bits("rim_only")) for flags in found.flags]
        self.union = np.bitwise_or.reduce(self.masks) if len(self.masks) > 1 else self.masks[0]
        middle = [np.array([(side.start + side.stop) / 2]) for side in (box[1], box[0])]
        self.oil = oil_at(light, *middle)[0]
        self.light_weight = light.light_weight
        self._unsmoothed = light.delta[box]

    @cached_property
    def delta(self) -> np.ndarray:
        """Lightly smoothed difference from the oil."""
        return cv2.GaussianBlur(self._unsmoothed, (0, 0), SMOOTHING_SIGMA_PX)

    @cached_property
    def density(self) -> np.ndarray:
        """Optical density; lines that were told are taken out of it."""
        return density(self.delta, self.oil)

    def placed(self, outline: np.ndarray | None, least_px2: float) -> list[np.ndarray]:
        """Return an outline in the picture's coordinates if it is large enough."""
        if outline is None or len(outline) < 4 or area(outline) < least_px2:
            return []
        return [outline + self.origin]


def _resolved(
    plan: _Plan, clusters: list[tuple[Found, tuple[slice, slice]]]
) -> list[tuple[list[int], list[tuple[np.ndarray, int]]] | None]:
    """`_resolve` of some clusters."""
    return [_resolve(cluster, plan, box) for cluster, box in clusters]


def _resolve(
    cluster: Found, plan: _Plan, box: tuple[slice, slice]
) -> tuple[list[int], list[tuple[np.ndarray, int]]] | None:
    """Rows of a cluster to be replaced, and outlines and flags of the pieces that replace them."""
    least_px2 = plan.least_px2
    crop = _Crop(cluster, plan.light, box)
    if crop.oil[0] < _LEAST_OIL_LIGHTNESS or (len(crop.masks) == 1 and solidity(crop.masks[0]) > _SINGLE):
        return None
    # only light that passes through the pieces tells what lies under them
    inside = crop.density[crop.union > 0].mean(axis=1)
    if not inside.size or median(inside) > _OPAQUE:
        return None
    if (inside < -0.05).mean() > 0.5:
        return None
    new, made = _clear_pieces(crop, least_px2)
    solid, outlines, lenses = _solid_pieces(crop, least_px2, plan.cut_strength)
    gone = _covered(crop, new | solid)
    rest = _rest(crop, gone, new | solid, least_px2) if outlines else []
    if outlines and not _credible(crop, gone, (*outlines, *rest)):
        gone, outlines, rest, lenses = _covered(crop, new), [], [], 0
        if made:
            return None
    if not made:
        rows, whole, crossings = _crossing_pieces(cluster, crop, least_px2)
        if crossings and crossings >= lenses:
            gone, outlines, rest = rows, whole, []
    made += [(outline, _FLAG) for outline in outlines] + [(outline, bits("touching")) for outline in rest]
    return (gone, made) if made else None


def _covered(crop: "_Crop", new: np.ndarray) -> list[int]:
    """Pieces that new ones stand in place of."""
    return [k for k, m in enumerate(crop.masks) if m.any() and new[m > 0].mean() > _COVERED]


def _credible(crop: "_Crop", gone: list[int], outlines: Sequence[np.ndarray]) -> bool:
    """Whether outlines in place of pieces make whole pieces of them, not splinters."""
    parts = [drawn(outline - crop.origin, crop.union.shape) for outline in outlines]
    replaced = [crop.masks[k] for k in gone]
    return not any(shattered(piece, parts) for piece in replaced) and not less_whole(replaced, parts)


def _crossing_pieces(
    cluster: Found, crop: "_Crop", least_px2: float
) -> tuple[list[int], list[np.ndarray], int]:
    """Rows of round pieces that cross, their whole outlines, and how many crossings there are."""
    found = [outline - crop.origin for outline in cluster.outlines]
    gone, whole, lenses = crossing_pieces(found, crop.density.mean(axis=2), least_px2)
    return gone, [outline + crop.origin for outline in whole], lenses


def _clear_pieces(crop: _Crop, least_px2: float) -> tuple[np.ndarray, list[tuple[np.ndarray, int]]]:
    """See-through pieces over or under others that were not found whole; their lines leave the density."""
    covered = np.zeros(crop.distance.shape, np.uint8)
    made: list[tuple[np.ndarray, int]] = []
    pieces, lines = clear_over(crop.density, least_px2)
    if not pieces and not any(crop.rim_only):
        return covered, made
    rim_lines = lines.copy()
    rim_field = np.zeros((*lines.shape, 3), np.float32)
    rim_field[..., 0] = -_LINE_STEP * lines
    for piece in (*pieces, *(m for m, rim_only in zip(crop.masks, crop.rim_only, strict=True) if rim_only)):
        edge = dilated(piece, 2.0) > 0
        crop.density[edge] -= lines[edge][:, None]
        lines = np.where(edge, 0, lines)
    for piece in pieces:
        shared = [float((piece & m).sum()) for m in crop.masks]
        alike = [s / float((piece | m).sum()) for s, m in zip(shared, crop.masks, strict=True)]
        known = any(a > _SAME and rim for a, rim in zip(alike, crop.rim_only, strict=True))
        beside = dilated(piece, 2.0)
        others = [
            (m & beside).any() and s < _COVERED * m.sum() for m, s in zip(crop.masks, shared, strict=True)
        ]
        if known or not any(others) or not _rim_in_oil(piece, rim_lines, crop.masks, shared):
            continue
        outline = place_rim_edge(rim_field, piece, np.zeros(piece.shape, bool), crop.oil, crop.light_weight)
        placed = crop.placed(outline, least_px2)
        made += [(outline, _FLAG | bits("rim_only")) for outline in placed]
        covered |= piece * bool(placed)
    return covered, made


def _rim_in_oil(piece: np.ndarray, lines: np.ndarray, masks: list[np.ndarray], shared: list[float]) -> bool:
    """Whether a rim is seen where it runs through oil; the oil caught between pieces has none there."""
    border = (piece & (1 - cv2.erode(piece, np.ones((3, 3), np.uint8), borderValue=0))) > 0
    bodies = np.zeros_like(piece)
    for mask, inside in zip(masks, shared, strict=True):
        if inside < _COVERED * mask.sum():
            bodies |= mask
    free = border & (dilated(bodies, 1.5) == 0)
    if free.sum() < _FREE_RIM * border.sum():
        return True
    usual = np.percentile(lines[border], 75)
    return bool((cv2.dilate(lines, np.ones((5, 5), np.uint8))[free] > 0.4 * usual).mean() > _LINED)


def _solid_pieces(
    crop: _Crop, least_px2: float, cut_strength: float
) -> tuple[np.ndarray, list[np.ndarray], int]:
    """Bodies that lie over or under one another: what they cover, their outlines, and how many lenses."""
    covered = np.zeros(crop.distance.shape, np.uint8)
    outlines: list[np.ndarray] = []
    best = None
    near = _near(crop.union, crop.distance)
    # the strips and corners of a rim that was found whole are no pieces
    for mask, rim_only in zip(crop.masks, crop.rim_only, strict=True):
        near &= 1 - dilated(mask, 2.0) if rim_only and mask.any() else 1
    size = median(np.sqrt([cv2.countNonZero(m) for m in crop.masks]))
    reduce = max(1, int(size / _DETAIL_PX))
    seen = crop.density
    if reduce > 1:
        small = (near.shape[1] // reduce, near.shape[0] // reduce)
        seen = cv2.resize(seen, small, interpolation=cv2.INTER_AREA)
        near = cv2.resize(near, small, interpolation=cv2.INTER_NEAREST)
    for areas in tone_areas(seen, near, _SHARES):
        areas, lenses, worth = settled(areas)
        lenses = credible_lenses(areas, lenses, crop.masks)
        if lenses and (best is None or worth > _FINER * best[2]):
            best = (areas, lenses, worth)
    if best is None:
        return covered, outlines, 0
    areas = best[0].enlarged(crop.distance.shape)
    pieces = overlapping(areas, best[1])
    shared = np.sum([p for p, _ in pieces], axis=0) > 1
    for piece, base in pieces:
        own = crop.delta.copy()
        own[shared & (piece > 0)] = np.median(crop.delta[base], axis=0)
        others = (areas.labels > 1) & (piece == 0)
        cut = cut_by_shape(piece, cut_strength)
        for k in range(1, int(cut.max()) + 1):
            part = (cut == k).astype(np.uint8)
            outline = place_edge(own, part, others | ((cut > 0) & (cut != k)), crop.oil, crop.light_weight)
            placed = crop.placed(outline, least_px2)
            outlines += placed
            covered |= part * bool(placed)
    return covered, outlines, len(best[1])


def _rest(crop: _Crop, gone: list[int], new: np.ndarray, least_px2: float) -> list[np.ndarray]:
    """Outlines of what the new pieces leave of the replaced ones."""
    if not gone:
        return []
    rest: np.ndarray = np.any([crop.masks[k] for k in gone], axis=0).astype(np.uint8)
    wider: np.ndarray = cv2.dilate(new, np.ones((3, 3), np.uint8))
    rest &= 1 - wider
    rest = cv2.morphologyEx(rest, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    count, parts = cv2.connectedComponents(rest, connectivity=4)
    outlines = []
    for k in range(1, count):
        part = (parts == k).astype(np.uint8)
        if part.sum() >= least_px2:
            outline = place_edge(crop.delta, part, new > 0, crop.oil, crop.light_weight)
            outlines += crop.placed(outline, least_px2)
    return outlines


def _near(union: np.ndarray, distance: np.ndarray) -> np.ndarray:
    """The cluster with all that stands clear of the oil and hangs together with it."""
    clear = ((distance > _CLEAR_OF_OIL) | (union > 0)).astype(np.uint8)
    count, found = cv2.connectedComponents(clear, connectivity=4)
    parts: np.ndarray = found
    if count == 2:
        return clear
    return (np.bincount(parts[union > 0], minlength=count) > 0).view(np.uint8)[parts]
