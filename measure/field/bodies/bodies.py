"""Solid parts of a component, without flanks, halos, stains and what lies inside others."""

import cv2
import numpy as np

from measure.field.basics.compiled import find_objects
from measure.field.basics.masks import dilated, fill_holes, numbered, square
from measure.field.basics.quick import colours_at, median, median_colour, norm
from measure.field.bodies.body_holes import fill_body
from measure.field.cuts.cut import cut_by_shape
from measure.field.edges.edge import colour_length, slope

_BESIDE = 0.15  # share of a part near a stronger one from which it may be its halo
_FADES = 2.5  # own edge width over that of the component from which a part fades out
_FAINTER = 0.35  # height over that of the neighbour below which it is
_SOFT = 0.75  # edge width over thickness from which a part has no edge
_LEAST_SOFT_PX = 6.0
_FAINT = 0.35  # height over the field's usual one below which an edge must be twice as sharp
_PEAK, _CORE = 98.0, 0.6  # share of the height of this percentile above which a piece on a stain lies
_CORE_EDGE = 0.25  # its edge width over its thickness; without an edge of its own it has 0.5 (a normal curve)
_BLEED = 0.15  # height over that of the neighbour below which it is, however sharp (blocks of compression)
_CLUSTER = 8  # parts at whose necks what runs around the field falls into pieces
_COVERED = 0.7  # share of a part inside a larger one from which it belongs to that one


def bodies_of(
    parts: np.ndarray,
    delta: np.ndarray,
    field: np.ndarray,
    typical: np.ndarray,
    distance: np.ndarray,
    clear: np.ndarray,
    least_px2: float,
    seed: float,
    width: float,
    sides: int,
    usual_height: float,
    steep: np.ndarray | None = None,
) -> list[tuple[tuple[slice, slice], np.ndarray]]:
    """Solid parts, largest first, each with its own crop; parts of others, flanks and ghosts left out.

    Parameters
    ----------
    parts : (M, N) ndarray of int32
        1.. for each part.
    delta, field, typical : (M, N, 3), (M, N), (M, N) ndarray of float32
        Difference from the oil, its length, and the typical length of the neighbourhood.
    distance : (M, N) ndarray of float32
        Noise-normalised distance from the oil.
    clear : (M, N) ndarray of int32
        See-through pieces.
    least_px2, seed, width : float
        Smallest area, distance a piece must reach, width of an edge in px.
    sides : int
        Sides of the crop that are sides of the picture.
    usual_height : float
        Usual colour difference of the field's pieces from the oil.
    steep : (M, N) ndarray of float32, optional
        Slope of the field, where it is known.

    Returns
    -------
    bodies : list of ((slice, slice), ndarray of uint8)
    """
    areas = np.bincount(parts.ravel())
    boxes = find_objects(parts)
    taken = _grown_clear(clear, width)
    near = dilated(taken, width + 1.0).astype(np.float32) if taken.any() else taken.astype(np.float32)
    steep = slope(field) if steep is None else steep
    bodies = []
    for j in 1 + np.argsort(-areas[1:], kind="stable"):
        if areas[j] < 0.5 * least_px2:
            break
        box = _padded_box(boxes[j - 1], parts.shape, 1)
        part = parts[box] == j
        mask = part.astype(np.uint8)
        if cv2.countNonZero(taken[box] & mask) / cv2.countNonZero(mask) > _COVERED:
            continue
        height = median(field[box][part])
        if cv2.countNonZero(fill_holes(mask)) > cv2.countNonZero(mask):
            share = field[box] / np.maximum(typical[box], 1e-3)
            mask = fill_body(mask, share, width, _likeness(delta[box], part))
        own_width = edge_width(mask, steep[box], near[box] > 0, height)
        if sides > 2 and _surrounds(part, mask, parts.shape):
            continue
        if _is_soft(mask, own_width, height, usual_height):
            core = _sharp_core(part, field[box], steep[box], least_px2)
            if core is None:
                continue
            part, mask = core, core.astype(np.uint8)
            height = median(field[box][part])
            own_width = edge_width(mask, steep[box], near[box] > 0, height)
        if _is_flank(part, near[box], distance[box], height, seed, own_width > _FADES * width + 1.0):
            continue
        bodies.append((box, mask))
        taken[box] |= fill_holes(mask)
        wide = _padded_box(boxes[j - 1], parts.shape, int(np.ceil(width)) + 3)
        own = dilated((parts[wide] == j).astype(np.uint8), width + 2.0)
        near[wide] = np.maximum(near[wide], height * own)
    return bodies


def edge_width(mask: np.ndarray, steep: np.ndarray, beside: np.ndarray, height: float) -> float:
    """Width of a part's edge against the oil, px.

    Parameters
    ----------
    mask : (M, N) ndarray of uint8
    steep : (M, N) ndarray of float32
        Slope of the colour difference, per px.
    beside : (M, N) ndarray of bool
        Where other parts are near.
    height : float
        Colour difference of the part.
    """
    inner: np.ndarray = cv2.erode(mask, square(3), borderValue=1)
    border = (mask & ~inner & 1) > 0
    free = border & ~beside
    border = free if free.sum() > 0.2 * border.sum() else border
    return height / max(median(steep[border]), 1e-3) if border.any() else 0.0


def _is_soft(mask: np.ndarray, own_width: float, height: float, usual_height: float) -> bool:
    """Whether a part has no edge: it fades into the oil over most of its own size (a shadow, a stain)."""
    if own_width <= _LEAST_SOFT_PX:
        return False
    thick = 2.0 * float(cv2.distanceTransform(mask, cv2.DIST_L2, 5).max())
    limit = _SOFT if height > _FAINT * usual_height else 0.5 * _SOFT
    return own_width > limit * thick


def _sharp_core(
    part: np.ndarray, field: np.ndarray, steep: np.ndarray, least_px2: float
) -> np.ndarray | None:
    """A piece with an edge of its own in a part without one, which is a stain it lies on; (M, N) of bool."""
    level = _CORE * np.percentile(field[part], _PEAK)
    count, cores, stats = numbered((part & (field > level)).view(np.uint8), 8)
    if count < 2:
        return None
    largest = 1 + int(np.argmax(stats[1:, 4]))
    if stats[largest, 4] < least_px2:
        return None
    core = (cores == largest).view(np.uint8)
    thick = 2.0 * float(cv2.distanceTransform(core, cv2.DIST_L2, 5).max())
    width = edge_width(core, steep, np.zeros(core.shape, bool), median(field[core > 0]))
    return core > 0 if width < _CORE_EDGE * thick else None


def _is_flank(
    part: np.ndarray, near: np.ndarray, distance: np.ndarray, height: float, seed: float, fades: bool
) -> bool:
    """Whether a part is no piece but the halo, shadow or colour bleed of a stronger piece beside it."""
    if not (distance[part] > seed).any():
        return True
    beside = near[part]
    touched = beside > 0
    share = height / median(beside[touched]) if touched.any() else 1.0
    return bool(touched.mean() > _BESIDE and (share < _BLEED or (fades and share < _FAINTER)))


def _surrounds(part: np.ndarray, filled: np.ndarray, shape: tuple[int, int]) -> bool:
    """Whether a part runs around the field, like the border of a dish, and is no cluster of pieces."""
    wide = part.shape[0] > 0.9 * shape[0] and part.shape[1] > 0.9 * shape[1]
    if not wide or float(fill_holes(closed_at_frame(filled)).sum()) <= 2.0 * float(part.sum()):
        return False
    return int(cut_by_shape(filled, 0.5).max()) < _CLUSTER


def closed_at_frame(mask: np.ndarray) -> np.ndarray:
    """Return a copy with the border set, so that what the frame closes off counts as a hole."""
    out = mask.copy()
    out[[0, -1]] = 1
    out[:, [0, -1]] = 1
    return out


def _grown_clear(clear: np.ndarray, width: float) -> np.ndarray:
    """See-through pieces with the corners of their rims, which no opening reaches."""
    mask = (clear > 0).astype(np.uint8)
    return dilated(mask, width + 2.0) if mask.any() else mask


def _padded_box(box: tuple[slice, slice], shape: tuple[int, int], m: int) -> tuple[slice, slice]:
    rows, cols = box
    return (
        slice(max(0, rows.start - m), min(shape[0], rows.stop + m)),
        slice(max(0, cols.start - m), min(shape[1], cols.stop + m)),
    )


def _likeness(delta: np.ndarray, part: np.ndarray) -> np.ndarray:
    """Cosine between the colour of each pixel against the oil and that of the part, -1..1."""
    values = colours_at(delta, part)
    own = median_colour(values)
    along = delta @ (own / max(norm(own), 1e-6))
    return along / np.maximum(colour_length(delta), 1e-3)
