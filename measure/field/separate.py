"""One component of the low level taken apart into pieces: see-through ones, bodies, and cut clusters."""

from dataclasses import dataclass

import cv2
import numpy as np

from measure.field.cut import cut_by_shape
from measure.field.edge import colour_length, local_plateau, slope
from measure.field.rims import disc, fill_holes, find_clear, solidity

_SPECK_SHARE = 0.01  # holes below this share of a body are texture, whatever they show
_HOLE_LEVEL = 0.25  # a hole this far towards the body's colour is texture, not oil
_CONVEX_HOLE = 0.86  # a convex hole is a highlight or the bright middle of a bubble
_COVERED = 0.7  # share of a part inside a larger one from which it belongs to that one


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
    """

    labels: np.ndarray
    groups: list[list[int]]
    clear: frozenset[int]


def separate(
    delta: np.ndarray,
    distance: np.ndarray,
    low: np.ndarray,
    least_px2: float,
    seed: float,
    cut_strength: float,
    frame: tuple[bool, bool, bool, bool],
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

    Returns
    -------
    parts : Parts
    """
    field = colour_length(delta)
    strong, plateau, width = above_half(field, low)
    clear = find_clear(low.astype(np.uint8), strong, width, 0.7 * least_px2, frame)
    strong = strong & (clear == 0).astype(np.uint8)
    bodies = _bodies(strong, field / plateau, distance, clear, least_px2, seed, width)
    labels = np.zeros(low.shape, np.int32)
    groups: list[list[int]] = []
    used = 0
    for box, mask in bodies:
        cut = cut_by_shape(mask, cut_strength)
        inside = cut > 0
        labels[box][inside] = cut[inside] + used
        groups.append(list(range(used + 1, used + 1 + int(cut.max()))))
        used += int(cut.max())
    labels[clear > 0] = clear[clear > 0] + used
    total = used + int(clear.max())
    groups += [[n] for n in range(used + 1, total + 1)]
    return Parts(labels, groups, frozenset(range(used + 1, total + 1)))


def above_half(field: np.ndarray, low: np.ndarray) -> tuple[np.ndarray, np.ndarray, float]:
    """Pixels above half of the plateau beside them, that plateau, and the width of the edges in px."""
    height = float(np.percentile(field[low], 80))
    steep = float(np.percentile(slope(field)[low], 90))
    width = float(np.clip(height / max(steep, 1e-3), 2.0, 40.0))
    plateau = local_plateau(np.where(low, field, 0).astype(np.float32), int(np.ceil(width)) + 1)
    plateau = np.maximum(plateau, 1e-3)
    return (low & (field >= 0.5 * plateau)).astype(np.uint8), plateau, width


def _bodies(
    strong: np.ndarray,
    share: np.ndarray,
    distance: np.ndarray,
    clear: np.ndarray,
    least_px2: float,
    seed: float,
    width: float,
) -> list[tuple[tuple[slice, slice], np.ndarray]]:
    """Solid parts, largest first, each with its own crop; parts of others, flanks and ghosts left out."""
    count, parts, stats, _ = cv2.connectedComponentsWithStats(strong, connectivity=8)
    taken = _grown_clear(clear, width)
    near = cv2.dilate(taken, disc(width + 1.0))
    bodies = []
    for j in 1 + np.argsort(-stats[1:, cv2.CC_STAT_AREA], kind="stable"):
        n = stats[j, cv2.CC_STAT_AREA]
        if n < 0.5 * least_px2:
            break
        box = _padded_box(stats[j], strong.shape, 1)
        part = parts[box] == j
        if taken[box][part].mean() > _COVERED:
            continue
        own = part & (near[box] == 0)
        if not (distance[box][own] > seed).any():
            continue
        mask = fill_body(part.astype(np.uint8), share[box])
        bodies.append((box, mask))
        taken[box] |= fill_holes(mask)
        wide = _padded_box(stats[j], strong.shape, int(np.ceil(width)) + 3)
        near[wide] |= cv2.dilate((parts[wide] == j).astype(np.uint8), disc(width + 1.0))
    return bodies


def _grown_clear(clear: np.ndarray, width: float) -> np.ndarray:
    """See-through pieces with the corners of their rims, which no opening reaches."""
    mask = (clear > 0).astype(np.uint8)
    return cv2.dilate(mask, disc(width + 2.0)) if mask.any() else mask


def _padded_box(stats: np.ndarray, shape: tuple[int, int], m: int) -> tuple[slice, slice]:
    x, y, w, h = (int(v) for v in stats[:4])
    return (
        slice(max(0, y - m), min(shape[0], y + h + m)),
        slice(max(0, x - m), min(shape[1], x + w + m)),
    )


def fill_body(mask: np.ndarray, share: np.ndarray) -> np.ndarray:
    """Fill the holes of a body that are texture or highlights, not the oil between touching pieces.

    Parameters
    ----------
    mask : (M, N) ndarray of uint8
    share : (M, N) ndarray of float32
        Difference from the oil as a share of the plateau beside it.
    """
    holes = fill_holes(mask) - mask
    if not holes.any():
        return mask
    count, labels, stats, _ = cv2.connectedComponentsWithStats(holes, connectivity=4)
    filled, total = mask.copy(), int(mask.sum())
    for k in range(1, count):
        x, y, w, h, n = (int(v) for v in stats[k])
        box = np.s_[y : y + h, x : x + w]
        hole = labels[box] == k
        small = n <= max(6, _SPECK_SHARE * total)
        if (
            small
            or np.median(share[box][hole]) > _HOLE_LEVEL
            or solidity(hole.astype(np.uint8)) > _CONVEX_HOLE
        ):
            filled[box][hole] = 1
    return filled
