"""One component of the low level taken apart into fibres, see-through pieces, bodies, and cut clusters."""

from collections.abc import Callable, Collection
from dataclasses import replace
from typing import NamedTuple

import cv2
import numpy as np

from measure.field.basics.component import Component, Parts, zoom_of_component, zoomed_component
from measure.field.basics.masks import box_about, kept_parts, numbered
from measure.field.bodies.bands import fibres_in
from measure.field.bodies.bodies import bodies_of
from measure.field.bodies.contrast_parts import contrast_parts, grown_labels
from measure.field.bodies.folds import merged_folds
from measure.field.bodies.like_rest import with_like_rest
from measure.field.bodies.opposite import parted_by_sign
from measure.field.bodies.threads import is_band, is_one_thread, threads_between
from measure.field.components.cut_body import cut_body, cut_by_form, without_shadows
from measure.field.components.one_oval import merged_ovals
from measure.field.crystals.facets import merged_facets, one_crystal
from measure.field.crystals.grey_crystals import grey_crystals, with_crystals
from measure.field.cuts.gap_heaps import cut_heap
from measure.field.edges.edge import colour_length, slope
from measure.field.edges.flanks import above_half, without_faint
from measure.field.rims.clear_apart import clear_apart
from measure.field.rims.one_rim import one_rim
from measure.field.rims.rim_checks import credible
from measure.field.rims.rim_colour import coloured_bodies, joined
from measure.field.rims.rims import find_clear

_LARGE_RIM_PX = 20.0  # diameter from which a see-through piece is no cell with a pale middle taken for one
_FILLED = 0.5  # share of what was found that is see-through, from which a component is no heap of bodies
_COVERED, _LARGER = 0.5, 2.0  # share of a band in a see-through piece so much larger, of which it is a side
_HEAP_MARGIN_PX = 12  # about what may be a heap: lines in it are looked for no farther
_WHOLE = 0.6  # share of a component in pieces, below which it may be one that was not understood


def separate(component: Component) -> Parts:
    """Take a component apart.

    Parameters
    ----------
    component : Component

    Returns
    -------
    parts : Parts
    """
    seen = _seen(component)
    parts = _parts(component, seen)
    return clear_apart(parts, seen.field, seen.width) if component.cut_strength > 0 else parts


def _parts(component: Component, seen: "_Seen") -> Parts:
    """Take a component apart, its see-through pieces that touch perhaps as one."""
    fibres = np.zeros(0) if is_band(seen.rims, seen.width) else fibres_in(seen.rims, seen.field, seen.width)
    if fibres.any():
        fibres = _with_flanks(fibres, seen.rims, component.low, seen.width)
        fibres = _without_sides(fibres, _clear_pieces(component, seen))
    if not fibres.any():
        return _taken_apart(component, seen)

    def anew(low: np.ndarray) -> Parts:
        part = replace(component, low=low)
        return _taken_apart(part, _seen(part))

    return _beside_fibres(fibres, component.low, anew, component.least_px2)


class _Seen(NamedTuple):
    """Difference from the oil of a component, what is strong in it, without faint places, and edges.

    Of these their usual width and the steepness of the difference, px and per px.
    """

    field: np.ndarray
    strong: np.ndarray
    rims: np.ndarray
    width: float
    steep: np.ndarray


def _seen(component: Component) -> _Seen:
    field = colour_length(component.delta)
    steep = slope(field)
    strong, width = above_half(field, component.low, steep)
    return _Seen(field, strong, without_faint(strong, field), width, steep)


def _with_flanks(fibres: np.ndarray, rims: np.ndarray, low: np.ndarray, width: float) -> np.ndarray:
    """Fibres with their flanks, which lie nearer to them than to what they touch."""
    others = (rims > 0) & (fibres == 0)
    labels = np.where(others, fibres.max() + 1, fibres).astype(np.int32)
    grown = grown_labels(labels, low, 3.0 * width + 4.0)
    return np.where(grown <= fibres.max(), grown, 0).astype(np.int32)


def _without_sides(fibres: np.ndarray, clear: np.ndarray) -> np.ndarray:
    """Fibres but for the wide sides of see-through pieces, which are as even, and have oil within too."""
    kept = np.zeros_like(fibres)
    for k in range(1, int(fibres.max()) + 1):
        own = fibres == k
        size, covered = np.count_nonzero(own), np.bincount(clear[own], minlength=2)[1:]
        larger = np.count_nonzero(clear == 1 + covered.argmax()) > _LARGER * size
        if covered.max() < _COVERED * size or not larger:
            kept[own] = kept.max() + 1
    return kept


def _beside_fibres(
    fibres: np.ndarray, low: np.ndarray, anew: Callable[[np.ndarray], Parts], least_px2: float
) -> Parts:
    """Parts of a component each of which was taken apart by itself once its fibres were known."""
    labels, used = fibres.copy(), int(fibres.max())
    threads = frozenset(range(1, used + 1))
    groups = [[n] for n in threads]
    clear: set[int] = set()
    whole: set[int] = set()
    strung = set(threads)
    count, rest, stats = numbered((low & (fibres == 0)).view(np.uint8), 8)
    for n in range(1, count):
        if stats[n, 4] < least_px2:
            continue
        parts = anew(rest == n)
        inside = (parts.labels > 0) & (labels == 0)
        labels[inside] = parts.labels[inside] + used
        groups += [[k + used for k in group] for group in parts.groups]
        clear |= {k + used for k in parts.clear}
        whole |= {k + used for k in parts.whole}
        strung |= {k + used for k in parts.threads}
        used += max((k for group in parts.groups for k in group), default=0)
    return Parts(labels, groups, frozenset(clear), frozenset(strung), frozenset(whole))


def looked_at_closer(component: Component, parts: Parts) -> tuple[np.ndarray, Parts, int]:
    """Parts of a component that may be several small pieces, found in a larger picture of it.

    Crystals that fill a component and threads keep what was found: their rims are looked for by their width.

    Parameters
    ----------
    component : Component
    parts : Parts
        What `separate` found.

    Returns
    -------
    delta : (zoom M, zoom N, 3) ndarray of float32
        The picture the parts belong to.
    parts : Parts
    zoom : int
        How many times larger than the component that is; 1 where nothing is changed.
    """
    zoom = 1 if parts.threads else zoom_of_component(component)
    if zoom > 1 and parts.clear:
        sizes = np.bincount(parts.labels.ravel())
        clear = sizes[list(parts.clear)]
        large = clear.max() > np.pi / 4 * _LARGE_RIM_PX**2
        zoom = 1 if large or clear.sum() > _FILLED * sizes[1:].sum() else zoom
    if zoom == 1:
        return component.delta, parts, 1
    closer = zoomed_component(component, zoom)
    return closer.delta, separate(closer), zoom


def _taken_apart(component: Component, seen: _Seen) -> Parts:
    """Take a component apart in which there are no fibres beside other things."""
    low, least_px2 = component.low, component.least_px2
    field, width = seen.field, seen.width
    clear = _clear_pieces(component, seen)
    if is_one_thread(seen.strong, seen.rims, clear, width):
        return Parts(low.astype(np.int32), [[1]], frozenset())
    strong = seen.strong & (clear == 0).astype(np.uint8)
    threads, rest = _without_threads(strong, low, width)
    contrast, typical = contrast_parts(field, rest & (clear == 0), strong & (threads == 0), width, least_px2)
    labels, groups = _cut_bodies(component, seen, contrast, typical, clear)
    # where a strong piece made its neighbour fall below half, the neighbour gets its share back
    labels = grown_labels(labels, low & (field >= 0.3 * typical), width + 1.0).astype(np.int32)
    rest = (rest > 0) & (clear == 0) & (threads == 0)
    labels = with_like_rest(labels, rest, component.delta, width)
    labels, shadows = parted_by_sign(labels, component.delta, least_px2)
    used = sum(map(len, groups)) + len(shadows)
    bare = (threads > 0) & (labels == 0)
    labels[bare] = threads[bare] + used
    strung = range(used + 1, used + int(threads.max()) + 1)
    used += len(strung)
    labels[clear > 0] = clear[clear > 0] + used
    see_through = range(used + 1, used + int(clear.max()) + 1)
    groups += [[n] for n in (*shadows, *strung, *see_through)]
    found = Parts(labels, groups, frozenset(see_through), frozenset(strung))
    return _put_together(component, seen, found)


def _clear_pieces(component: Component, seen: _Seen) -> np.ndarray:
    """See-through pieces of a component, by their rims and by their lack of colour."""
    delta, distance, low, oil_lab = component.delta, component.distance, component.low, component.oil_lab
    least_px2, seed = component.least_px2, component.seed
    clear = _by_rims(component, seen.rims, seen.width, 0.7 * least_px2)
    if clear.any():
        clear = credible(clear, seen.rims, seen.field, distance, seed, 0.7 * least_px2)
    grey = grey_crystals(delta, distance, seed, low, oil_lab, seen.width, least_px2, seen.field, seen.steep)
    return _without_heaps(with_crystals(clear, grey), component, seen)


def _without_heaps(clear: np.ndarray, component: Component, seen: _Seen) -> np.ndarray:
    """See-through pieces without heaps of small ones, whose outline may be as straight."""
    keep = [not _is_heap(component, seen, clear == k) for k in range(1, int(clear.max()) + 1)]
    return clear if all(keep) else kept_parts(clear, np.array([False, *keep]))


def _by_rims(component: Component, rims: np.ndarray, width: float, least_px2: float) -> np.ndarray:
    """Pieces with rims, those too that are only seen once coloured bodies beside them are known."""
    low, frame = component.low.view(np.uint8), component.frame
    coloured = coloured_bodies(component.delta, rims, component.oil_lab, least_px2)
    clear = find_clear(low, rims, width, least_px2, frame)
    if coloured is None:
        return clear
    return joined(clear, find_clear(low, rims, width, least_px2, frame, coloured), coloured)


def _without_threads(strong: np.ndarray, low: np.ndarray, width: float) -> tuple[np.ndarray, np.ndarray]:
    """Threads between pieces, and the component without what lies nearer to them than to the pieces."""
    threads = threads_between(strong, width)
    if not threads.any():
        return threads, low
    apart = np.where(threads > 0, 2, (strong > 0).astype(np.int32)).astype(np.int32)
    return threads, low & (grown_labels(apart, low, 3.0 * width + 4.0) != 2)


def _cut_bodies(
    component: Component, seen: _Seen, contrast: np.ndarray, typical: np.ndarray, clear: np.ndarray
) -> tuple[np.ndarray, list[list[int]]]:
    """Bodies among parts of like contrast, each cut; numbers of the pieces of each."""
    delta, least_px2 = component.delta, component.least_px2
    bodies = bodies_of(
        contrast,
        delta,
        seen.field,
        typical,
        component.distance,
        clear,
        least_px2,
        component.seed,
        seen.width,
        sum(component.frame),
        component.usual_height,
        seen.steep,
    )
    labels = np.zeros(component.low.shape, np.int32)
    groups: list[list[int]] = []
    used = 0
    for box, mask in bodies:
        cut = cut_body(mask, delta[box], least_px2, component.cut_strength, component.oil_lab, seen.width)
        cut = without_shadows(cut, seen.field[box], seen.width)
        inside = (cut > 0) & (labels[box] == 0)
        labels[box][inside] = cut[inside] + used
        groups.append(list(range(used + 1, used + 1 + int(cut.max()))))
        used += int(cut.max())
    return labels, groups


def _put_together(component: Component, seen: _Seen, parts: Parts) -> Parts:
    """Pieces without what was parted though it belongs together: ovals, folded skins, crystals."""
    labels, groups, transparent = parts.labels, parts.groups, parts.clear
    delta, oil_lab, width = component.delta, component.oil_lab, seen.width
    least_px2, cut_strength = component.least_px2, component.cut_strength
    several, folded = sum(map(len, groups)) > 1, {}
    if several and cut_strength > 0:
        labels, groups = merged_ovals(
            labels, groups, delta, lambda mask: cut_by_form(mask, least_px2, cut_strength), width
        )
    if several:
        solid = [n for group in groups for n in group if n not in transparent and n not in parts.threads]
        folded = merged_folds(labels, solid, delta, oil_lab, width)
        groups = _without(groups, folded)
        crystals = merged_facets(labels, transparent, delta, oil_lab, width)
        groups, transparent = _with_facets(groups, transparent, crystals)
    if several or cv2.countNonZero(labels) < _WHOLE * np.count_nonzero(component.low):
        whole = _one_crystal(component, seen, labels)
        if whole is not None:
            return Parts(whole.astype(np.int32), [[1]], frozenset([1]))
    return Parts(labels, groups, transparent, parts.threads, frozenset(folded.values()))


def _without(groups: list[list[int]], gone: Collection[int]) -> list[list[int]]:
    return [left for group in groups if (left := [n for n in group if n not in gone])]


def _with_facets(
    groups: list[list[int]], clear: frozenset[int], crystals: list[list[int]]
) -> tuple[list[list[int]], frozenset[int]]:
    """Groups and see-through pieces once the facets of crystals were put together."""
    gone = {k for parts in crystals for k in parts}
    firsts = [parts[0] for parts in crystals]
    return _without(groups, gone) + [[k] for k in firsts], clear - gone | frozenset(firsts)


def _one_crystal(component: Component, seen: _Seen, labels: np.ndarray) -> np.ndarray | None:
    """The component as one see-through piece, where that is what it is."""
    delta, oil_lab, width = component.delta, component.oil_lab, seen.width
    whole = one_rim(component.low, seen.field, width)
    if whole is None:
        whole = one_crystal(seen.rims | (labels > 0), labels, delta, oil_lab, width)
    if whole is None:
        whole = one_crystal(component.low.view(np.uint8), labels, delta, oil_lab, width)
    return None if whole is None or _is_heap(component, seen, whole) else whole


def _is_heap(component: Component, seen: _Seen, piece: np.ndarray) -> bool:
    """Whether what is strong in a piece that is taken for see-through falls into many small ones."""
    strong = (seen.strong & piece).astype(np.uint8)
    box = box_about(strong, _HEAP_MARGIN_PX)
    heap = np.ascontiguousarray(strong[box])
    return cut_heap(heap, component.delta[box], component.least_px2, component.cut_strength) is not None
