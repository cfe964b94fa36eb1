"""One component of the low level taken apart into pieces: see-through ones, bodies, and cut clusters."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import cv2
import numpy as np

from measure.field.bands import fibres_in
from measure.field.bodies import bodies_of, edge_width
from measure.field.contrast_parts import contrast_parts, grown_labels
from measure.field.cut import cut_by_shape
from measure.field.cut_colour import cut_by_colour
from measure.field.cut_lobes import cut_by_lobes, is_oval
from measure.field.edge import colour_length, slope
from measure.field.facets import merged_facets, one_crystal
from measure.field.flanks import above_half, without_faint
from measure.field.folds import merged_folds
from measure.field.grey_crystals import grey_crystals, with_crystals
from measure.field.masks import dilated, fill_holes, numbered
from measure.field.one_oval import merged_ovals
from measure.field.one_rim import one_rim
from measure.field.opposite import parted_by_sign
from measure.field.quick import median
from measure.field.ragged import without_ragged_cuts
from measure.field.rim_checks import credible
from measure.field.rim_colour import coloured_bodies, joined
from measure.field.rims import find_clear
from measure.field.seams import along_seams, cut_by_seams
from measure.field.step_seams import cut_by_steps
from measure.field.threads import EVEN_FIBRE, is_band, is_line, threads_between

_SHADOW = 0.33  # height over that of the strongest part below which a cut part without an edge is a shadow
_IN_ONE = 0.8  # share of it that must hang together
_WHOLE = 0.6  # share of a component in pieces, below which it may be one that was not understood
_CLOSED = 1.4  # filled area over its own, from which it closes round something


@dataclass(frozen=True)
class Parts:
    """Pieces of one component.

    Attributes
    ----------
    labels : (M, N) ndarray of int32
        1.. for each piece; 0 elsewhere.
    groups : list of list of int
        Numbers of the pieces that were cut from one cluster.
    clear : set of int
        Numbers of see-through pieces.
    threads : set of int
        Numbers of threads between, along or across pieces.
    """

    labels: np.ndarray
    groups: list[list[int]]
    clear: frozenset[int]
    threads: frozenset[int] = frozenset()


def separate(
    delta: np.ndarray,
    distance: np.ndarray,
    low: np.ndarray,
    least_px2: float,
    seed: float,
    cut_strength: float,
    frame: tuple[bool, bool, bool, bool],
    usual_height: float,
    oil_lab: np.ndarray,
) -> Parts:
    """Take a component apart.

    Parameters
    ----------
    delta : (M, N, 3) ndarray of float32
        Lightly smoothed difference from the oil.
    distance : (M, N) ndarray of float32
        Noise-normalised distance from the oil.
    low : (M, N) ndarray of bool
        The component.
    least_px2 : float
        Smallest area reported.
    seed : float
        Distance a piece must reach somewhere.
    cut_strength : float
    frame : tuple of bool
        Whether the top, bottom, left and right border of the crop is the border of the picture.
    usual_height : float
        Usual colour difference of the field's pieces from the oil.
    oil_lab : (3,) ndarray
        CIELAB colour of the oil there.

    Returns
    -------
    parts : Parts
    """
    seen = _seen(delta, low)
    rest = (least_px2, seed, cut_strength, frame, usual_height, oil_lab)
    fibres = np.zeros(0) if is_band(seen.rims, seen.width) else fibres_in(seen.rims, seen.field, seen.width)
    if fibres.any():
        fibres = _with_flanks(fibres, seen.rims, low, seen.width)

        def anew(part: np.ndarray) -> Parts:
            return _taken_apart(_seen(delta, part), delta, distance, part, *rest)

        return _beside_fibres(fibres, low, anew, least_px2)
    return _taken_apart(seen, delta, distance, low, *rest)


class _Seen(NamedTuple):
    """Difference from the oil of a component, what is strong in it, without faint places, and edge width."""

    field: np.ndarray
    strong: np.ndarray
    rims: np.ndarray
    width: float


def _seen(delta: np.ndarray, low: np.ndarray) -> _Seen:
    field = colour_length(delta)
    strong, width = above_half(field, low)
    return _Seen(field, strong, without_faint(strong, field), width)


def _taken_apart(
    seen: _Seen,
    delta: np.ndarray,
    distance: np.ndarray,
    low: np.ndarray,
    least_px2: float,
    seed: float,
    cut_strength: float,
    frame: tuple[bool, bool, bool, bool],
    usual_height: float,
    oil_lab: np.ndarray,
) -> Parts:
    """Take a component apart in which there are no fibres beside other things."""
    field, strong, rims, width = seen
    clear = _clear_parts(delta, low.view(np.uint8), rims, width, 0.7 * least_px2, frame, oil_lab)
    if clear.any():
        clear = credible(clear, rims, field, distance, seed, 0.7 * least_px2)
    clear = with_crystals(clear, grey_crystals(delta, distance, seed, low, oil_lab, width, least_px2))
    if _is_one_thread(strong, rims, clear, width):
        return Parts(low.astype(np.int32), [[1]], frozenset())
    strong = strong & (clear == 0).astype(np.uint8)
    threads, rest = _without_threads(strong, low, width)
    parts, typical = contrast_parts(field, rest & (clear == 0), strong & (threads == 0), width, least_px2)
    bodies = bodies_of(
        parts, delta, field, typical, distance, clear, least_px2, seed, width, sum(frame), usual_height
    )
    labels = np.zeros(low.shape, np.int32)
    groups: list[list[int]] = []
    used = 0
    for box, mask in bodies:
        cut = _cut(mask, delta[box], least_px2, cut_strength, oil_lab, width)
        cut = _without_shadows(cut, field[box], width)
        inside = (cut > 0) & (labels[box] == 0)
        labels[box][inside] = cut[inside] + used
        groups.append(list(range(used + 1, used + 1 + int(cut.max()))))
        used += int(cut.max())
    # where a strong piece made its neighbour fall below half, the neighbour gets its share back
    labels = grown_labels(labels, low & (field >= 0.3 * typical), width + 1.0).astype(np.int32)
    labels, shadows = parted_by_sign(labels, delta, least_px2)
    groups += [[n] for n in shadows]
    used += len(shadows)
    bare = (threads > 0) & (labels == 0)
    labels[bare] = threads[bare] + used
    strung = range(used + 1, used + int(threads.max()) + 1)
    groups += [[n] for n in strung]
    used += len(strung)
    labels[clear > 0] = clear[clear > 0] + used
    total = used + int(clear.max())
    groups += [[n] for n in range(used + 1, total + 1)]
    if total > 1 and cut_strength > 0:
        labels, groups = merged_ovals(
            labels, groups, delta, lambda m: cut_by_form(m, least_px2, cut_strength), width
        )
    transparent = frozenset(range(used + 1, total + 1))
    if total > 1:
        solid = [n for group in groups for n in group if n not in transparent and n not in strung]
        joined = merged_folds(labels, solid, delta, oil_lab, width)
        groups = [left for group in groups if (left := [n for n in group if n not in joined])]
        crystals = merged_facets(labels, transparent, delta, oil_lab, width)
        groups, transparent = _with_crystals(groups, transparent, crystals)
    if total > 1 or cv2.countNonZero(labels) < _WHOLE * np.count_nonzero(low):
        whole = one_rim(low, field, width)
        if whole is None:
            whole = one_crystal(rims | (labels > 0), labels, delta, oil_lab, width)
        if whole is None:
            whole = one_crystal(low.view(np.uint8), labels, delta, oil_lab, width)
        if whole is not None:
            return Parts(whole.astype(np.int32), [[1]], frozenset([1]))
    return Parts(labels, groups, transparent, frozenset(strung))


def _with_flanks(fibres: np.ndarray, rims: np.ndarray, low: np.ndarray, width: float) -> np.ndarray:
    """Fibres with their flanks, which lie nearer to them than to what they touch."""
    others = (rims > 0) & (fibres == 0)
    labels = np.where(others, fibres.max() + 1, fibres).astype(np.int32)
    grown = grown_labels(labels, low, 3.0 * width + 4.0)
    return np.where(grown <= fibres.max(), grown, 0).astype(np.int32)


def _beside_fibres(
    fibres: np.ndarray, low: np.ndarray, anew: Callable[[np.ndarray], Parts], least_px2: float
) -> Parts:
    """Parts of a component each of which was taken apart by itself once its fibres were known."""
    labels, used = fibres.copy(), int(fibres.max())
    threads = frozenset(range(1, used + 1))
    groups = [[n] for n in threads]
    clear: set[int] = set()
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
        strung |= {k + used for k in parts.threads}
        used += max((k for group in parts.groups for k in group), default=0)
    return Parts(labels, groups, frozenset(clear), frozenset(strung))


def _with_crystals(
    groups: list[list[int]], clear: frozenset[int], crystals: list[list[int]]
) -> tuple[list[list[int]], frozenset[int]]:
    """Groups and see-through pieces once parts were put together."""
    gone = {k for parts in crystals for k in parts}
    groups = [left for group in groups if (left := [k for k in group if k not in gone])]
    firsts = [parts[0] for parts in crystals]
    return groups + [[k] for k in firsts], clear - gone | frozenset(firsts)


def _clear_parts(
    delta: np.ndarray,
    low: np.ndarray,
    rims: np.ndarray,
    width: float,
    least_px2: float,
    frame: tuple[bool, bool, bool, bool],
    oil_lab: np.ndarray,
) -> np.ndarray:
    """See-through pieces, those too that are only seen once coloured bodies beside them are known."""
    coloured = coloured_bodies(delta, rims, oil_lab, least_px2)
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


def _is_one_thread(strong: np.ndarray, rims: np.ndarray, clear: np.ndarray, width: float) -> bool:
    """Whether a component is a single thread or band, in which there is nothing to cut."""
    if is_band(rims, width):
        return True
    # a hollow thread has a pale middle
    return (is_line(strong) or _is_hollow_line(strong)) and not _is_whole(clear, strong)


def _is_hollow_line(strong: np.ndarray) -> bool:
    filled = fill_holes(strong)
    return cv2.countNonZero(filled) > cv2.countNonZero(strong) and is_line(filled)


def _is_whole(clear: np.ndarray, strong: np.ndarray) -> bool:
    """Whether the see-through pieces found account for a line."""
    if clear.max() > 1:
        filled = fill_holes(strong)
        return cv2.countNonZero(filled) > _CLOSED * cv2.countNonZero(strong)
    return bool(clear.any() and (clear[strong > 0] > 0).mean() > _IN_ONE)


def _cut(
    mask: np.ndarray,
    delta: np.ndarray,
    least_px2: float,
    cut_strength: float,
    oil_lab: np.ndarray,
    width: float,
) -> np.ndarray:
    """Cut a body by colour, then each part by shape."""
    if cut_strength <= 0:
        return mask.astype(np.int32)
    labels, used = np.zeros(mask.shape, np.int32), 0
    colours = cut_by_colour(mask, delta, least_px2, oil_lab, width)
    if colours.max() > 1 and is_oval(mask):
        colours = mask.astype(np.int32)  # light and shade of one round piece
    for k in range(1, int(colours.max()) + 1):
        part = cut_in_one_colour((colours == k).view(np.uint8), mask, delta, least_px2, cut_strength)
        labels[part > 0] = part[part > 0] + used
        used += int(part.max())
    return labels


def cut_in_one_colour(
    mask: np.ndarray, body: np.ndarray, delta: np.ndarray, least_px2: float, cut_strength: float
) -> np.ndarray:
    """Cut a piece of one colour along the lines seen in it, then at its necks and into ovals.

    Parameters
    ----------
    mask, body : (M, N) ndarray of uint8
        The piece, and all that is no oil about it.
    delta : (M, N, 3) ndarray of float32
        Difference from the oil.
    least_px2, cut_strength : float

    Returns
    -------
    labels : (M, N) ndarray of int32
        0 outside, 1.. for the parts.
    """

    def seams(part: np.ndarray) -> np.ndarray:
        return cut_by_seams(part, delta, least_px2, body, cut_strength)

    def form(part: np.ndarray) -> np.ndarray:
        cut = along_seams(cut_by_form(part, least_px2, cut_strength, delta), delta)
        return _cut_each(cut, seams) if cut.max() > 1 else cut

    def steps(part: np.ndarray) -> np.ndarray:
        return cut_by_steps(part, delta, least_px2, cut_strength)

    return _cut_each(_cut_each(seams(mask), steps), form)


def _cut_each(labels: np.ndarray, cut: Callable[[np.ndarray], np.ndarray]) -> np.ndarray:
    """Labels of the parts each part is cut into."""
    out, used = np.zeros(labels.shape, np.int32), 0
    for n in range(1, int(labels.max()) + 1):
        part = cut((labels == n).view(np.uint8))
        out[part > 0] = part[part > 0] + used
        used += int(part.max())
    return out


def cut_by_form(
    mask: np.ndarray, least_px2: float, cut_strength: float, delta: np.ndarray | None = None
) -> np.ndarray:
    """Cut a body of one colour at its necks, then each part into the ovals it is made of.

    Parameters
    ----------
    mask : (M, N) ndarray of uint8
    least_px2, cut_strength : float
    delta : (M, N, 3) ndarray of float32, optional
        Difference from the oil, by which cuts across ragged pieces are known and taken back.

    Returns
    -------
    labels : (M, N) ndarray of int32
        0 outside, 1.. for the parts.
    """
    # a fibre is no row of pieces, however its width varies
    if is_line(mask, EVEN_FIBRE):
        return mask.astype(np.int32)
    labels, used = np.zeros(mask.shape, np.int32), 0
    parts = cut_by_shape(mask, cut_strength)
    for n in range(1, int(parts.max()) + 1):
        part = cut_by_lobes((parts == n).astype(np.uint8), least_px2)
        labels[part > 0] = part[part > 0] + used
        used += int(part.max())
    # not before: a side that is two pieces itself looks ragged
    if delta is not None and labels.max() > 1:
        return without_ragged_cuts(labels, delta, cut_strength)
    return labels


def _without_shadows(cut: np.ndarray, field: np.ndarray, width: float) -> np.ndarray:
    """Leave out cut parts that are far fainter than the piece they were cut from and have no edge."""
    count = int(cut.max())
    if count < 2:
        return cut
    heights = np.array([median(field[cut == k]) for k in range(1, count + 1)])
    steep = slope(field)
    keep = np.ones(count + 1, bool)
    for k in np.flatnonzero(heights < _SHADOW * heights.max()) + 1:
        part = (cut == k).astype(np.uint8)
        beside = dilated(((cut > 0) & (cut != k)).astype(np.uint8), width) > 0
        keep[k] = edge_width(part, steep, beside, heights[k - 1]) <= 2.0 * width + 1.0
    number = np.cumsum(keep) - 1
    return np.where(keep, number, 0)[cut].astype(np.int32)
