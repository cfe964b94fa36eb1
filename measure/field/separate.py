"""One component of the low level taken apart into pieces: see-through ones, bodies, and cut clusters."""

from dataclasses import dataclass
from math import erf

import cv2
import numpy as np
from scipy.ndimage import find_objects

from measure.field.contrast_parts import contrast_parts, grown_labels
from measure.field.cut import cut_by_shape
from measure.field.cut_colour import cut_by_colour
from measure.field.cut_lobes import cut_by_lobes
from measure.field.edge import colour_length, local_plateau, slope
from measure.field.opposite import parted_by_sign
from measure.field.quick import median
from measure.field.rim_checks import credible
from measure.field.rims import dilated, fill_holes, find_clear, hull_mask, solidity

_SPECK_SHARE = 0.01  # holes below this share of the thickest part's disc are texture, whatever they show
_HOLE_LEVEL = 0.4  # a hole this far towards the body's colour is texture, not oil
_PALE = 0.18  # share of the body's colour that a pale middle keeps and haze over a gap does not
_DIMPLE = 0.09  # the same for a round hole: round pieces that touch leave cusps
_ROUND = 0.78  # radius within a hole over that of its area, from which it is round
_CONVEX_HOLE = 0.86  # a convex hole is a highlight or the bright middle of a bubble
_RIDGE, _FEW_PX = 0.85, 8  # steepness over the highest nearby on the middle of a flank; px that tell a width
_BESIDE = 0.15  # share of a part near a stronger one from which it may be its halo
_FADES = 2.5  # own edge width over that of the component from which a part fades out
_FAINTER = 0.35  # height over that of the neighbour below which it is
_SOFT = 0.75  # edge width over thickness from which a part has no edge
_LEAST_SOFT_PX = 6.0
_FAINT = 0.35  # height over the field's usual one below which an edge must be twice as sharp
_BLEED = 0.15  # height over that of the neighbour below which it is, however sharp (blocks of compression)
_SHADOW = 0.33  # height over that of the strongest part below which a cut part without an edge is a shadow
_SINGLE = 0.92  # solidity from which a body is surely one piece, so that its holes are highlights
_COVERED = 0.7  # share of a part inside a larger one from which it belongs to that one

# a line: area over squared half width, the same from which it need not be bent, share of its hull it fills
_LINE, _LONG_LINE, _OPEN = 14.0, 60.0, 0.55
_BEADED, _EVEN_FIBRE = 1.6, 1.45  # outline over that of an even line, of rims and of fibres
_EVEN = 1.5  # its thickest place over its usual thickness
_IN_ONE = 0.8  # share of it that must hang together
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
    usual_height: float,
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

    Returns
    -------
    parts : Parts
    """
    field = colour_length(delta)
    strong, width = above_half(field, low)
    clear = find_clear(low.astype(np.uint8), strong, width, 0.7 * least_px2, frame)
    if clear.any():
        clear = credible(clear, strong, field, distance, seed, 0.7 * least_px2)
    # a hollow thread has a pale middle
    if (_is_line(strong) or _is_line(fill_holes(strong))) and not _is_whole(clear, strong):
        return Parts(low.astype(np.int32), [[1]], frozenset())
    strong = strong & (clear == 0).astype(np.uint8)
    parts, typical = contrast_parts(field, low & (clear == 0), strong, width, least_px2)
    bodies = _bodies(
        parts, delta, field, typical, distance, clear, least_px2, seed, width, sum(frame), usual_height
    )
    labels = np.zeros(low.shape, np.int32)
    groups: list[list[int]] = []
    used = 0
    for box, mask in bodies:
        cut = _without_shadows(_cut(mask, delta[box], least_px2, cut_strength), field[box], width)
        inside = (cut > 0) & (labels[box] == 0)
        labels[box][inside] = cut[inside] + used
        groups.append(list(range(used + 1, used + 1 + int(cut.max()))))
        used += int(cut.max())
    # where a strong piece made its neighbour fall below half, the neighbour gets its share back
    labels = grown_labels(labels, low & (field >= 0.3 * typical), width + 1.0).astype(np.int32)
    labels, shadows = parted_by_sign(labels, delta, least_px2)
    groups += [[n] for n in shadows]
    used += len(shadows)
    labels[clear > 0] = clear[clear > 0] + used
    total = used + int(clear.max())
    groups += [[n] for n in range(used + 1, total + 1)]
    return Parts(labels, groups, frozenset(range(used + 1, total + 1)))


def _is_line(strong: np.ndarray, beaded: float = _BEADED) -> bool:
    """Whether a component is one thin line, a fibre or an open rim: there is nothing in it to cut."""
    area = cv2.countNonZero(strong)
    depth = cv2.distanceTransform(strong, cv2.DIST_L2, 5)
    half = float(depth.max())
    if not area or area < _LINE * half**2:
        return False
    if area < _LONG_LINE * half**2 and area > _OPEN * cv2.countNonZero(hull_mask(strong)):
        return False
    ridge = depth[(depth > 0) & (depth >= cv2.dilate(depth, np.ones((3, 3), np.uint8)))]
    if half > _EVEN * median(ridge) + 1.0:
        return False
    contours, _ = cv2.findContours(strong, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
    if sum(cv2.arcLength(contour, True) for contour in contours) > beaded * area / half:
        return False  # a row of pieces has a longer outline than a line of its thickness
    _, parts = cv2.connectedComponents(strong, connectivity=8)
    return bool(np.bincount(parts.ravel())[1:].max() > _IN_ONE * area)


def _is_whole(clear: np.ndarray, strong: np.ndarray) -> bool:
    """Whether the see-through pieces found account for a line."""
    if clear.max() > 1:
        filled = fill_holes(strong)
        return cv2.countNonZero(filled) > _CLOSED * cv2.countNonZero(strong)
    return bool(clear.any()) and (clear[strong > 0] > 0).mean() > _IN_ONE


def _cut(mask: np.ndarray, delta: np.ndarray, least_px2: float, cut_strength: float) -> np.ndarray:
    """Cut a body by colour, then each part by shape."""
    if cut_strength <= 0:
        return mask.astype(np.int32)
    labels, used = np.zeros(mask.shape, np.int32), 0
    colours = cut_by_colour(mask, delta, least_px2)
    for k in range(1, int(colours.max()) + 1):
        whole = (colours == k).astype(np.uint8)
        # a fibre is no row of pieces, however its width varies
        parts = whole.astype(np.int32) if _is_line(whole, _EVEN_FIBRE) else cut_by_shape(whole, cut_strength)
        for n in range(1, int(parts.max()) + 1):
            part = cut_by_lobes((parts == n).astype(np.uint8), least_px2)
            labels[part > 0] = part[part > 0] + used
            used += int(part.max())
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
        keep[k] = _edge_width(part, steep, beside, heights[k - 1]) <= 2.0 * width + 1.0
    number = np.cumsum(keep) - 1
    return np.where(keep, number, 0)[cut].astype(np.int32)


def above_half(field: np.ndarray, low: np.ndarray) -> tuple[np.ndarray, float]:
    """Pixels above half of the plateau beside them, and the width of the edges in px."""
    inside = np.where(low, field, 0).astype(np.float32)
    width = _usual_width(field, inside, low)
    plateau = np.maximum(local_plateau(inside, int(np.ceil(width)) + 1), 1e-3)
    return (low & (field >= 0.5 * plateau)).astype(np.uint8), width


def _usual_width(field: np.ndarray, inside: np.ndarray, low: np.ndarray) -> float:
    """Width of the edges against the oil, px: where the flank is steepest, for mottle inside is no edge."""
    steep = slope(field)
    ridge = steep >= _RIDGE * cv2.dilate(steep, np.ones((5, 5), np.uint8))
    depth = cv2.distanceTransform(low.view(np.uint8), cv2.DIST_L2, 5)
    for reach in (3, 6, 12, 24):
        plateau = np.maximum(local_plateau(inside, reach), 1e-3)
        share = inside / plateau
        flank = (share > 0.35) & (share < 0.65)
        outer = flank & ridge & (depth <= 2 * reach + 2)
        flank = outer if np.count_nonzero(outer) >= _FEW_PX else flank
        ratio = plateau[flank] / np.maximum(steep[flank], 1e-3)
        width = median(ratio) if ratio.size else 2.0
        if width <= 1.3 * reach:
            break
    return float(np.clip(width, 2.0, 32.0))


def _bodies(
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
) -> list[tuple[tuple[slice, slice], np.ndarray]]:
    """Solid parts, largest first, each with its own crop; parts of others, flanks and ghosts left out."""
    areas = np.bincount(parts.ravel())
    boxes = find_objects(parts)
    taken = _grown_clear(clear, width)
    near = dilated(taken, width + 1.0).astype(np.float32) if taken.any() else taken.astype(np.float32)
    steep = slope(field)
    bodies = []
    for j in 1 + np.argsort(-areas[1:], kind="stable"):
        if areas[j] < 0.5 * least_px2:
            break
        box = _padded_box(boxes[j - 1], parts.shape, 1)
        part = parts[box] == j
        if taken[box][part].mean() > _COVERED:
            continue
        height = median(field[box][part])
        share = field[box] / np.maximum(typical[box], 1e-3)
        mask = fill_body(part.astype(np.uint8), share, width, _likeness(delta[box], part))
        own_width = _edge_width(mask, steep[box], near[box] > 0, height)
        if (sides > 2 and _surrounds(part, mask, parts.shape)) or _is_soft(
            mask, own_width, height, usual_height
        ):
            continue
        if _is_flank(part, near[box], distance[box], height, seed, own_width > _FADES * width + 1.0):
            continue
        bodies.append((box, mask))
        taken[box] |= fill_holes(mask)
        wide = _padded_box(boxes[j - 1], parts.shape, int(np.ceil(width)) + 3)
        own = dilated((parts[wide] == j).astype(np.uint8), width + 2.0)
        near[wide] = np.maximum(near[wide], height * own)
    return bodies


def _edge_width(mask: np.ndarray, steep: np.ndarray, beside: np.ndarray, height: float) -> float:
    """Width of a part's edge against the oil, px."""
    border = (mask & ~cv2.erode(mask, np.ones((3, 3), np.uint8), borderValue=1) & 1) > 0
    free = border & ~beside
    border = free if free.sum() > 0.2 * border.sum() else border
    return height / max(median(steep[border]), 1e-3) if border.any() else 0.0


def _is_soft(mask: np.ndarray, own_width: float, height: float, usual_height: float) -> bool:
    """Whether a part has no edge: it fades into the oil over most of its own size (a shadow, a stain)."""
    thick = 2.0 * float(cv2.distanceTransform(mask, cv2.DIST_L2, 5).max())
    limit = _SOFT if height > _FAINT * usual_height else 0.5 * _SOFT
    return own_width > max(limit * thick, _LEAST_SOFT_PX)


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
    """Whether a part runs around the field, like the border of a dish, instead of lying in it."""
    wide = part.shape[0] > 0.9 * shape[0] and part.shape[1] > 0.9 * shape[1]
    return wide and float(fill_holes(closed_at_frame(filled)).sum()) > 2.0 * float(part.sum())


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
    own = np.array([median(delta[..., i][part]) for i in range(3)], np.float32)
    along = delta @ (own / max(float(np.linalg.norm(own)), 1e-6))
    return along / np.maximum(colour_length(delta), 1e-3)


def fill_body(
    mask: np.ndarray, share: np.ndarray, width_px: float, likeness: np.ndarray | float = 1.0
) -> np.ndarray:
    """Fill the holes of a body that are texture or highlights, not the oil between touching pieces.

    Parameters
    ----------
    mask : (M, N) ndarray of uint8
    share : (M, N) ndarray of float32
        Difference from the oil as a share of the plateau beside it.
    width_px : float
        10-90 % width of an edge.
    likeness : (M, N) ndarray of float, optional
        1 where a pixel differs from the oil as the body does, -1 where the other way round.
    """
    pale = share * likeness  # the shadow in a gap differs from the oil too, but not as the body does
    holes = fill_holes(mask) - mask
    if not holes.any():
        return mask
    count, labels, stats, _ = cv2.connectedComponentsWithStats(holes, connectivity=4)
    filled = mask.copy()
    thick = float(cv2.distanceTransform(mask, cv2.DIST_L2, 5).max())
    single = solidity(mask | holes) > _SINGLE
    for k in range(1, count):
        x, y, w, h, n = (int(v) for v in stats[k])
        box = np.s_[y : y + h, x : x + w]
        hole = labels[box] == k
        small = n <= max(6.0, _SPECK_SHARE * np.pi * thick**2)
        # a ring is thinner than its hole; what lies between touching pieces is smaller than they are
        ring = np.sqrt(n / np.pi) > 0.8 * thick
        inside = (single or ring) and solidity(hole.astype(np.uint8)) > _CONVEX_HOLE
        if small or inside or median(share[box][hole]) > _HOLE_LEVEL or _is_no_oil(hole, pale[box], width_px):
            filled[box][hole] = 1
    return filled


def _depth(hole: np.ndarray) -> np.ndarray:
    padded = cv2.copyMakeBorder(hole.view(np.uint8), 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=0)
    return cv2.distanceTransform(padded, cv2.DIST_L2, 3)[1:-1, 1:-1]


def _is_no_oil(hole: np.ndarray, share: np.ndarray, width_px: float) -> bool:
    """Whether a hole shows more than blur leaves of the oil in a gap so wide: a pale middle, not a gap."""
    depth = _depth(hole)
    deepest = float(depth.max())
    # both flanks of an edge reach the middle of a narrow gap; 10-90 % of a Gaussian edge is 2.56 sigma
    blurred = 2.0 * (1.0 - 0.5 * (1.0 + erf(2.56 * deepest / width_px / np.sqrt(2.0))))
    round_ = deepest > _ROUND * np.sqrt(cv2.countNonZero(hole.view(np.uint8)) / np.pi)
    pale = _DIMPLE if round_ and solidity(hole.astype(np.uint8)) > _CONVEX_HOLE else _PALE
    return median(share[depth > 0.6 * deepest]) > pale + blurred
