"""Pale pieces no place of which stands clear of the noise, known by all of their area together.

The finding level asks one lightly smoothed place to stand out. A pale piece of some hundred pixels does not,
but its mean does: smoothed as wide as the smallest piece of interest, noise and specks fade and it stays.
"""

from collections.abc import Iterator
from typing import NamedTuple

import cv2
import numpy as np

from measure.field.basics.masks import numbered, solidity
from measure.field.basics.quick import median, median_colour
from measure.field.edges.edge import SMOOTHING_SIGMA_PX
from measure.field.ground.light import Light

_REDUCE = 3  # a third of the picture's size holds all that is wide enough
_SIGMA = 1.0  # of the smoothing, in these larger pixels
_FLOOR = 0.25  # CIELAB; steps of 8 bits leave this much doubt in the mean of an even place
_LEVEL = 5.5  # units of the doubt that a piece must reach, at sensitivity 0.5
_HALF = 0.5  # of its own height, from where a place belongs to a piece
_LARGEST = 0.02  # of the picture, up to which it is a piece and no stain
# larger px from the piece to what is beside it; share of its height by which it rises there
_AROUND, _STEP = (1.5, 3.0), 0.8
_LIGHTER = 1.2  # CIELAB of lightness by which it differs; colour alone is what compression leaves
_EVEN = 0.7  # half of its places over their mean; specks are bright or dark in a few
_EDGE_PX, _RISE = (1.0, 3.0), 0.5  # from its edge inwards and outwards; share of its height it rises by there
_FULL = 0.88  # solidity; a stain is ragged
_NOISE = 1.54  # median length of three independent normal deviates (chi distribution)
_BESIDE = 0.5  # share of the surroundings that must be oil for it to be told
_FEW = 200


class _Coarse(NamedTuple):
    """The picture at a smaller size: how far from the oil in units of its doubt, and what is known there."""

    distance: np.ndarray
    known: np.ndarray


def faint_bodies(
    light: Light, labels: np.ndarray, least_px2: float, factor: float = 1.0
) -> Iterator[tuple[slice, slice, np.ndarray]]:
    """Find pale pieces beside those that are known.

    Parameters
    ----------
    light : Light
    labels : (M, N) ndarray of int32
        Components found already; 0 for the oil. Pieces may be written into it one by one.
    least_px2 : float
        Smallest area reported.
    factor : float
        By how much the level is raised or lowered.

    Yields
    ------
    rows, cols : slice
        A window.
    body : (m, n) ndarray of bool
        The piece in it.
    """
    coarse = _coarse(light, labels)
    if coarse is None:
        return
    high = ((coarse.distance > _LEVEL * factor) & ~coarse.known).view(np.uint8)
    taken = np.zeros(high.shape, bool)
    for x, y, w, h, _ in numbered(high, 8)[2][1:].tolist():
        if x == 0 or y == 0 or x + w == high.shape[1] or y + h == high.shape[0]:
            continue  # light that falls off at the frame looks like this
        m = max(w, h) + int(_AROUND[1]) + 2
        box = np.s_[max(0, y - m) : y + h + m, max(0, x - m) : x + w + m]
        core = np.zeros(high[box].shape, bool)
        core[y - box[0].start : y - box[0].start + h, x - box[1].start : x - box[1].start + w] = True
        # a piece may reach the level in several places
        piece = _piece(
            coarse.distance[box], coarse.known[box] | taken[box], core & (high[box] > 0) & ~taken[box]
        )
        if piece is None or not least_px2 <= _REDUCE**2 * piece.sum() <= _LARGEST * labels.size:
            continue
        rows, cols, large = _at_full_size(piece, box, labels)
        if large.any() and _is_body(light.delta[rows, cols], large, labels[rows, cols] == 0):
            taken[box] |= piece
            yield rows, cols, large


def _coarse(light: Light, labels: np.ndarray) -> _Coarse | None:
    """The picture at the smaller size, without what is known; None where too little oil is left."""
    size = (max(1, labels.shape[1] // _REDUCE), max(1, labels.shape[0] // _REDUCE))
    small = cv2.resize(light.delta, size, interpolation=cv2.INTER_AREA)
    taken = (labels > 0).view(np.uint8)
    if light.zone_mask is not None:
        taken |= light.zone_mask
    known = cv2.resize(taken * np.uint8(255), size, interpolation=cv2.INTER_AREA)
    known = cv2.dilate((known > 0).view(np.uint8), np.ones((3, 3), np.uint8))
    free = (1 - known).astype(np.float32)
    if cv2.countNonZero(known) > known.size - _FEW:
        return None
    # what is known must not shine into its surroundings
    weight = np.maximum(cv2.GaussianBlur(free, (0, 0), _SIGMA), 1e-3)
    smooth = cv2.GaussianBlur(small * free[..., None], (0, 0), _SIGMA) / weight[..., None]
    oil = smooth[free > 0]
    oil = oil - median_colour(oil)
    scale = np.maximum(1.4826 * median_colour(np.abs(oil)), _FLOOR)
    clipped = np.clip(oil, -3 * scale, 3 * scale)
    values, vectors = np.linalg.eigh(np.cov(clipped.T) + np.diag(np.full(3, _FLOOR**2)))
    white = (vectors / np.sqrt(np.maximum(values, 1e-6))) @ vectors.T
    distance = np.linalg.norm(cv2.transform(smooth, white.astype(np.float32)), axis=2)
    return _Coarse(np.where(free > 0, distance, 0.0).astype(np.float32), known > 0)


def _piece(distance: np.ndarray, known: np.ndarray, core: np.ndarray) -> np.ndarray | None:
    """What belongs to a core, if it stands out of its surroundings on all sides."""
    height = float(distance[core].max()) if core.any() else 0.0
    _, parts, _ = numbered(((distance > _HALF * height) & ~known).view(np.uint8), 4)
    piece = np.isin(parts, np.unique(parts[core])) & (parts > 0)
    if not piece.any():
        return None
    away = cv2.distanceTransform((~piece).view(np.uint8), cv2.DIST_L2, 3)
    ring = (away >= _AROUND[0]) & (away <= _AROUND[1])
    beside = ring & ~known
    if beside.sum() < _BESIDE * max(int(ring.sum()), 1):
        return None
    usual = median(distance[piece])
    return piece if usual - median(distance[beside]) >= _STEP * (usual - _NOISE) else None


def _is_body(delta: np.ndarray, piece: np.ndarray, free: np.ndarray) -> bool:
    """Whether a piece is full, evenly darker or lighter than the oil, and has an edge, as no glow has."""
    if solidity(piece.view(np.uint8)) < _FULL:
        return False
    smooth = cv2.GaussianBlur(delta, (0, 0), SMOOTHING_SIGMA_PX)
    mean = smooth[piece].mean(axis=0)
    along = smooth @ mean / max(float(mean @ mean), 1e-6)
    if abs(float(mean[0])) < _LIGHTER or median(along[piece]) < _EVEN:
        return False
    inwards, outwards = (
        cv2.distanceTransform(side.view(np.uint8), cv2.DIST_L2, 5) for side in (piece, ~piece)
    )
    inner = (inwards >= _EDGE_PX[0]) & (inwards <= _EDGE_PX[1])
    outer = (outwards >= _EDGE_PX[0]) & (outwards <= _EDGE_PX[1]) & free
    if not inner.any() or not outer.any():
        return False
    return float(along[inner].mean() - along[outer].mean()) >= _RISE


def _at_full_size(
    piece: np.ndarray, box: tuple[slice, slice], labels: np.ndarray
) -> tuple[slice, slice, np.ndarray]:
    rows, cols = (
        slice(_REDUCE * side.start, _REDUCE * side.start + _REDUCE * n)
        for side, n in zip(box, piece.shape, strict=True)
    )
    rows, cols = (
        slice(rows.start, min(rows.stop, labels.shape[0])),
        slice(cols.start, min(cols.stop, labels.shape[1])),
    )
    large = (
        cv2.resize(piece.astype(np.float32), None, fx=_REDUCE, fy=_REDUCE, interpolation=cv2.INTER_LINEAR)
        > 0.3
    )
    large = large[: rows.stop - rows.start, : cols.stop - cols.start]
    return rows, cols, large & (labels[rows, cols] == 0)
