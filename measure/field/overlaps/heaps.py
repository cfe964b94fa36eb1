"""Heaps of bodies: lenses of a cluster that explain it together, each heap believed by itself.

The areas of even tone of a cluster tell lenses in several divisions, finer and coarser. Lenses that have a
piece in common make one heap. What one heap shows is no reason to doubt another beside it, so each is asked
by itself whether it makes whole pieces, the one that explains most first; where a heap does not, its lenses
are asked one by one.
"""

from collections.abc import Iterator
from typing import NamedTuple

import cv2
import numpy as np

from measure.field.basics.masks import dilated, drawn, square
from measure.field.basics.quick import colours_at, median, median_colour
from measure.field.cuts.cut import cut_by_shape
from measure.field.cuts.neck_evidence import without_false_cuts
from measure.field.edges.edge import place_edge
from measure.field.overlaps.cluster import Cluster
from measure.field.overlaps.heap_rest import with_rest
from measure.field.overlaps.lens_checks import credible_lenses, less_whole, shattered
from measure.field.overlaps.lenses import overlapping, settled
from measure.field.overlaps.mottle import unlike_mottle
from measure.field.overlaps.tone_areas import Areas, tone_areas

_SHARES = (0.6, 0.4, 0.25)  # of a piece's density, from which a step is an edge
_COVERED = 0.5  # share of an earlier outline inside the new pieces from which they replace it
_FINER = 1.3  # by which a finer division must be worth more than a coarser one
_DETAIL_PX = 90.0  # pieces larger than this are looked at in reduced size
_CLEAR_OF_OIL = 4.0  # noise units
_SHARED = 0.1  # of the smaller of two heaps, from which they are about the same pieces


class Heap(NamedTuple):
    """Bodies that lie over one another.

    Attributes
    ----------
    gone : list of int
        Rows of the pieces as found that they replace.
    outlines : list of (P, 2) ndarray
        Whole outlines, in the picture's coordinates.
    rest : list of (P, 2) ndarray
        What they leave of the replaced pieces.
    lenses : int
        How many there are.
    cover : (M, N) ndarray of uint8
        What the bodies cover.
    """

    gone: list[int]
    outlines: list[np.ndarray]
    rest: list[np.ndarray]
    lenses: int
    cover: np.ndarray


class _Guess(NamedTuple):
    """Lenses of one division that may make a heap."""

    worth: float
    areas: Areas
    lenses: dict[int, tuple[int, int]]


def covered(crop: Cluster, new: np.ndarray) -> list[int]:
    """Rows of pieces that new ones, drawn as a mask, stand in place of."""
    return [
        k
        for k, m in enumerate(crop.masks)
        if (area := cv2.countNonZero(m)) and cv2.countNonZero(new & m) / area > _COVERED
    ]


def solid_heaps(crop: Cluster, clear: np.ndarray, least_px2: float, cut_strength: float) -> list[Heap]:
    """Heaps of bodies of a cluster.

    Parameters
    ----------
    crop : Cluster
    clear : (M, N) ndarray of uint8
        What see-through pieces cover that were found since.
    least_px2, cut_strength : float

    Returns
    -------
    heaps : list of Heap
        That have no piece in common.
    """
    heaps: list[Heap] = []
    taken = np.zeros(crop.union.shape, np.uint8)
    waiting = sorted(_guesses(crop), key=lambda guess: -guess.worth)
    while waiting:
        guess = waiting.pop(0)
        areas = guess.areas.enlarged(crop.union.shape)
        pieces = overlapping(areas, guess.lenses)
        cover = np.bitwise_or.reduce([piece for piece, _ in pieces])
        if cv2.countNonZero(cover & taken) > _SHARED * min(
            cv2.countNonZero(cover), max(1, cv2.countNonZero(taken))
        ):
            continue
        heap = _heap(crop, areas, pieces, clear, len(guess.lenses), least_px2, cut_strength)
        if heap is not None:
            heaps.append(heap)
            taken |= heap.cover
        elif len(guess.lenses) > 1:
            single = [
                _Guess(guess.worth / len(guess.lenses), guess.areas, {lens: pair})
                for lens, pair in guess.lenses.items()
            ]
            waiting = sorted([*waiting, *single], key=lambda guess: -guess.worth)
    return heaps


def _guesses(crop: Cluster) -> Iterator[_Guess]:
    """Lenses of each division, those with pieces in common together."""
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
    for level, division in enumerate(tone_areas(seen, near, _SHARES)):
        areas, lenses, worth = settled(division)
        asked = credible_lenses(areas, lenses, crop.masks)
        lenses = unlike_mottle(areas, lenses, asked, crop.on_dark)
        for group in _together(lenses):
            total = sum(worth[lens] for lens in group)
            yield _Guess(total if level == 0 else total / _FINER, areas, group)


def _together(lenses: dict[int, tuple[int, int]]) -> list[dict[int, tuple[int, int]]]:
    """Lenses parted into sets that have no piece in common."""
    groups: list[tuple[set[int], dict[int, tuple[int, int]]]] = []
    for lens, pair in lenses.items():
        bases, own = set(pair), {lens: pair}
        apart = []
        for others, group in groups:
            if others & bases:
                bases, own = bases | others, group | own
            else:
                apart.append((others, group))
        groups = [*apart, (bases, own)]
    return [group for _, group in groups]


def _heap(
    crop: Cluster,
    areas: Areas,
    pieces: list[tuple[np.ndarray, np.ndarray]],
    clear: np.ndarray,
    lenses: int,
    least_px2: float,
    cut_strength: float,
) -> Heap | None:
    """The heap some pieces with their lenses make, or None where they are no whole pieces."""
    cover = np.bitwise_or.reduce([piece for piece, _ in pieces]) | clear
    left = _left(crop, covered(crop, cover), cover)
    whole = with_rest([piece for piece, _ in pieces], left, least_px2)
    cover = np.zeros(crop.union.shape, np.uint8)
    outlines: list[np.ndarray] = []
    shared = np.sum(whole, axis=0) > 1
    for piece, (_, base) in zip(whole, pieces, strict=True):
        own = crop.delta.copy()
        own[shared & (piece > 0)] = median_colour(colours_at(crop.delta, base))
        others = (areas.labels > 1) & (piece == 0)
        cut = without_false_cuts(cut_by_shape(piece, cut_strength), crop.delta, cut_strength)
        for k in range(1, int(cut.max()) + 1):
            part = (cut == k).astype(np.uint8)
            outline = place_edge(own, part, others | ((cut > 0) & (cut != k)), crop.oil, crop.light_weight)
            placed = crop.placed(outline, least_px2)
            outlines += placed
            cover |= part * bool(placed)
    if not outlines:
        return None
    gone = covered(crop, cover | clear)
    rest = _rest(crop, gone, cover | clear, least_px2)
    parts = [drawn(crop.inward(outline), crop.union.shape) for outline in (*outlines, *rest)]
    replaced = [crop.masks[k] for k in gone]
    if any(shattered(piece, parts) for piece in replaced) or less_whole(replaced, parts):
        return None
    return Heap(gone, outlines, rest, lenses, cover)


def _rest(crop: Cluster, gone: list[int], new: np.ndarray, least_px2: float) -> list[np.ndarray]:
    """Outlines of what the new pieces leave of the replaced ones."""
    wider: np.ndarray = cv2.dilate(new, square(3))
    rest = _left(crop, gone, wider)
    if not rest.any():
        return []
    rest = cv2.morphologyEx(rest, cv2.MORPH_OPEN, square(3))
    count, parts = cv2.connectedComponents(rest, connectivity=4)
    outlines = []
    for k in range(1, count):
        part = (parts == k).astype(np.uint8)
        if part.sum() >= least_px2:
            outline = place_edge(crop.delta, part, new > 0, crop.oil, crop.light_weight)
            outlines += crop.placed(outline, least_px2)
    return outlines


def _left(crop: Cluster, gone: list[int], new: np.ndarray) -> np.ndarray:
    """Mask of what new pieces leave of the replaced ones."""
    rest = np.zeros(crop.union.shape, np.uint8)
    for k in gone:
        rest |= crop.masks[k]
    return rest & (1 - new)


def _near(union: np.ndarray, distance: np.ndarray) -> np.ndarray:
    """The cluster with all that stands clear of the oil and hangs together with it."""
    clear = ((distance > _CLEAR_OF_OIL) | (union > 0)).astype(np.uint8)
    count, found = cv2.connectedComponents(clear, connectivity=4)
    parts: np.ndarray = found
    if count == 2:
        return clear
    return (np.bincount(parts[union > 0], minlength=count) > 0).view(np.uint8)[parts]
