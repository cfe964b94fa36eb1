"""The rest of pale bodies: what lies between stronger ones, is below half of these, and as strong as they.

A body is found by half of the typical height of its neighbourhood. A pale one between two dark ones is above
that only where it is far from both. The rest of it is as it is: of the same colour, up to their flanks.
"""

import cv2
import numpy as np

from measure.field.basics.masks import SQUARE, dilated, numbered, opened, solidity
from measure.field.basics.quick import colours_at, median, median_colour
from measure.field.bodies.contrast_parts import grown_labels
from measure.field.edges.edge import colour_length

_LEAST_PX2 = 12
_FLANK = 0.6  # of the width of edges, by which a rest is opened so that no flank is one
_BESIDE_PX = 15.0  # from the rest, within which the colour of a body is read
_ALIKE = 0.25  # of a body's colour, by which its rest may differ
_MEETS_PX = 2.0
_HALF = 0.5  # of the height of a body, where its edge lies
_STRONGER, _BODY = 1.5, 0.7  # height of what lies beside over that of the body; solidity, more than of a rim
_FULLER = 0.03  # solidity that a body may lose by its rest


def with_like_rest(labels: np.ndarray, rest: np.ndarray, delta: np.ndarray, width: float) -> np.ndarray:
    """Give bodies what hangs together with them and is of their colour though fainter than their neighbours.

    Parameters
    ----------
    labels : (M, N) ndarray of int32
        Bodies of a component.
    rest : (M, N) ndarray of bool
        What else may be of a body.
    delta : (M, N, 3) ndarray of float32
        Difference from the oil.
    width : float
        Width of the edges, px.

    Returns
    -------
    labels : (M, N) ndarray of int32
        The same array where nothing is changed.
    """
    if labels.max(initial=0) < 2:
        return labels  # nothing stronger beside it
    free = (rest & (labels == 0)).view(np.uint8)
    if cv2.countNonZero(free) < _LEAST_PX2:
        return labels
    wide = opened(free, max(1.5, _FLANK * width))
    count, parts, stats = numbered(wide, 8)
    out, given = labels.copy(), {}
    for k in range(1, count):
        if stats[k, 4] < _LEAST_PX2:
            continue
        part = (parts == k).view(np.uint8)
        body, height = _body_of(part, labels, delta)
        if body and _beside_stronger(part, labels, rest, delta, width, height):
            out[parts == k] = body
            given[body] = height
    return _with_edges(out, labels, rest, delta, width, given) if given else labels


def _with_edges(
    out: np.ndarray,
    before: np.ndarray,
    rest: np.ndarray,
    delta: np.ndarray,
    width: float,
    given: dict[int, float],
) -> np.ndarray:
    """Bodies that were given a rest with its edge too, down to half of their height."""
    heights = np.full(int(before.max()) + 1, np.inf, np.float32)
    heights[list(given)] = list(given.values())
    grown = grown_labels(out, rest, width)
    edge = (out == 0) & (grown > 0) & (colour_length(delta) > _HALF * heights[grown])
    return np.where(edge, grown, out)


def _body_of(part: np.ndarray, labels: np.ndarray, delta: np.ndarray) -> tuple[int, float]:
    """Number and height of the body that a part beside it belongs to; 0 for none."""
    tone = median_colour(colours_at(delta, part > 0))
    near = dilated(part, _BESIDE_PX) > 0
    best, least, height = 0, _ALIKE, 0.0
    for n in np.unique(labels[(dilated(part, _MEETS_PX) > 0) & (labels > 0)]).tolist():
        own = (labels == n).view(np.uint8)
        core = cv2.erode(own, SQUARE) > 0
        core = core & near if np.count_nonzero(core & near) >= _LEAST_PX2 else own > 0
        usual = median_colour(colours_at(delta, core))
        off = float(np.linalg.norm(tone - usual)) / max(float(np.linalg.norm(usual)), 1e-6)
        if off < least and solidity(own | part) > solidity(own) - _FULLER:
            best, least, height = n, off, float(np.linalg.norm(usual))
    return best, height


def _beside_stronger(
    part: np.ndarray, labels: np.ndarray, rest: np.ndarray, delta: np.ndarray, width: float, height: float
) -> bool:
    """Whether a compact body much stronger than that height lies beside a part, and oil: so it was not found.

    Where it meets no oil it may be of the middle of a see-through piece, whose rim is stronger.
    """
    near = dilated(part, 2.0 * width + _MEETS_PX) > 0
    if bool((rest | (labels > 0))[near].all()):
        return False
    heights = colour_length(delta)
    beside = (labels == n for n in np.unique(labels[near & (labels > 0)]).tolist())
    strong = [own.view(np.uint8) for own in beside if median(heights[own]) > _STRONGER * height]
    return any(solidity(own) > _BODY for own in strong)
