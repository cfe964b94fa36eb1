"""A body cut into its pieces: by colour, along lines and steps seen in it, at its necks and into ovals."""

import numpy as np

from measure.field.basics.masks import dilated, kept_parts
from measure.field.basics.quick import median
from measure.field.bodies.bodies import edge_width
from measure.field.bodies.threads import EVEN_FIBRE, is_line
from measure.field.cuts.cut import cut_by_shape
from measure.field.cuts.cut_colour import cut_by_colour
from measure.field.cuts.cut_lobes import cut_by_lobes, is_oval
from measure.field.cuts.gap_heaps import cut_heap, without_cuts_in_full
from measure.field.cuts.neck_evidence import without_false_cuts
from measure.field.cuts.parts import compact_parts, cut_each
from measure.field.cuts.seams import along_seams, cut_by_seams
from measure.field.cuts.step_seams import cut_by_steps
from measure.field.cuts.walled_heaps import cut_by_walls
from measure.field.edges.edge import slope

_SHADOW = 0.33  # height over that of the strongest part below which a cut part without an edge is a shadow


def cut_body(
    mask: np.ndarray,
    delta: np.ndarray,
    least_px2: float,
    cut_strength: float,
    oil_lab: np.ndarray,
    width: float,
) -> np.ndarray:
    """Cut a body by colour, then each part by lines, steps and shape.

    Parameters
    ----------
    mask : (M, N) ndarray of uint8
    delta : (M, N, 3) ndarray of float32
        Difference from the oil.
    least_px2, cut_strength : float
    oil_lab : (3,) ndarray
        CIELAB colour of the oil there.
    width : float
        10-90 % width of the edges, px.

    Returns
    -------
    labels : (M, N) ndarray of int32
        0 outside, 1.. for the parts.
    """
    if cut_strength <= 0:
        return mask.astype(np.int32)
    colours = cut_by_colour(mask, delta, least_px2, oil_lab, width)
    if colours.max() > 1 and is_oval(mask):
        colours = mask.astype(np.int32)  # light and shade of one round piece
    return cut_each(colours, lambda part: cut_in_one_colour(part, mask, delta, least_px2, cut_strength))


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
    cut = _in_turn(mask, body, delta, least_px2, cut_strength)
    heap = None if is_line(mask, EVEN_FIBRE) else cut_heap(mask, delta, least_px2, cut_strength)
    if heap is None:
        return cut
    heap = without_cuts_in_full(heap, cut)
    return heap if len(compact_parts(heap)) > len(compact_parts(cut)) else cut


def _in_turn(
    mask: np.ndarray, body: np.ndarray, delta: np.ndarray, least_px2: float, cut_strength: float
) -> np.ndarray:
    """Cut a piece by one reason after the other."""

    def seams(part: np.ndarray) -> np.ndarray:
        return cut_by_seams(part, delta, least_px2, body, cut_strength)

    def form(part: np.ndarray) -> np.ndarray:
        cut = along_seams(cut_by_form(part, least_px2, cut_strength, delta), delta)
        return cut_each(cut, seams) if cut.max() > 1 else cut

    def steps(part: np.ndarray) -> np.ndarray:
        return cut_by_steps(part, delta, least_px2, cut_strength)

    def walls(part: np.ndarray) -> np.ndarray:
        return cut_by_walls(part, delta, least_px2, cut_strength)

    return cut_each(cut_each(cut_each(seams(mask), steps), form), walls)


def cut_by_form(
    mask: np.ndarray, least_px2: float, cut_strength: float, delta: np.ndarray | None = None
) -> np.ndarray:
    """Cut a body of one colour at its necks, then each part into the ovals it is made of.

    Parameters
    ----------
    mask : (M, N) ndarray of uint8
    least_px2, cut_strength : float
    delta : (M, N, 3) ndarray of float32, optional
        Difference from the oil, by which cuts across single pieces are known and taken back.

    Returns
    -------
    labels : (M, N) ndarray of int32
        0 outside, 1.. for the parts.
    """
    # a fibre is no row of pieces, however its width varies
    if is_line(mask, EVEN_FIBRE):
        return mask.astype(np.int32)
    labels = cut_each(cut_by_shape(mask, cut_strength), lambda part: cut_by_lobes(part, least_px2))
    # not before: a side that is two pieces itself is hollow
    if delta is not None and labels.max() > 1:
        return without_false_cuts(labels, delta, cut_strength)
    return labels


def without_shadows(cut: np.ndarray, field: np.ndarray, width: float) -> np.ndarray:
    """Leave out cut parts that are far fainter than the piece they were cut from and have no edge.

    Parameters
    ----------
    cut : (M, N) ndarray of int32
        0 outside, 1.. for the parts of a body.
    field : (M, N) ndarray of float32
        Colour difference from the oil.
    width : float
        10-90 % width of the edges, px.

    Returns
    -------
    cut : (M, N) ndarray of int32
        Numbered anew without the shadows.
    """
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
    return kept_parts(cut, keep)
