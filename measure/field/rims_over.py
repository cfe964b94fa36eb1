"""See-through pieces that lie over or under others: their rim crosses the other's body as a thin dark line.

An opening takes the bodies away and leaves the lines. Where lines close round a convex place most of whose
inside is oil, there is a see-through piece, whatever lies under a part of it.
"""

import cv2
import numpy as np

from measure.field.rims import closed, dilated, disc, fill_holes, hull_mask, solidity

_RADII = (2.5, 4.0)  # half the width of the widest line looked for, px
_LEAST_LINE = 0.06  # natural density of the faintest line
_SHARE = 0.45  # of the cluster's usual line
_GAPS = (1.5, 4.0, 7.0, 11.0)  # closings tried on broken lines, px
_CONVEX = 0.9
_RIMMED = 0.78  # share of the border along which a line runs
_OIL_INSIDE = 0.45  # share of the inside that must be as clear as oil
_OIL_LIKE = 0.4  # density over that of the line below which the inside is oil
_FEW_LINES = 6  # up to so many lines are also tried by twos
_LEAST_DEPTH_PX = 1.5


def thin_lines(density: np.ndarray) -> tuple[np.ndarray, float]:
    """Density of thin neutral lines, bodies taken away, and the usual one of the strongest.

    Parameters
    ----------
    density : (M, N, 3) ndarray of float32
        Optical density against the oil.
    """
    neutral = density.min(axis=2)
    best, height = np.zeros_like(neutral), 0.0
    for radius in _RADII:
        lines = neutral - cv2.morphologyEx(neutral, cv2.MORPH_OPEN, disc(radius))
        marked = lines > _LEAST_LINE
        usual = float(np.percentile(lines[marked], 85)) if marked.any() else 0.0
        if usual > 1.15 * height:
            best, height = lines, usual
    return best, height


def clear_over(density: np.ndarray, least_px2: float) -> tuple[list[np.ndarray], np.ndarray]:
    """Masks of see-through pieces of a cluster, rim included, and the field of lines.

    Parameters
    ----------
    density : (M, N, 3) ndarray of float32
    least_px2 : float
        Smallest area of interest.

    Returns
    -------
    pieces : list of (M, N) ndarray of uint8
        May lie over one another.
    lines : (M, N) ndarray of float32
    """
    lines, height = thin_lines(density)
    if height <= _LEAST_LINE:
        return [], lines
    strong = (lines > max(_LEAST_LINE, _SHARE * height)).astype(np.uint8)
    dark = np.abs(density).max(axis=2) > _OIL_LIKE * height
    scored = []
    for gap in _GAPS:
        walls = closed(strong, gap)
        for piece in (*_holes(walls, least_px2), *_hulls(walls, least_px2)):
            worth = _rim_worth(piece, strong, dark)
            if worth > 0 and piece.sum() >= least_px2:
                scored.append((worth, piece))
    pieces: list[np.ndarray] = []
    for _, piece in sorted(scored, key=lambda pair: -pair[0]):
        if not any((piece & p).sum() > 0.5 * min(piece.sum(), p.sum()) for p in pieces):
            pieces.append(piece)
    return pieces, lines


def _holes(walls: np.ndarray, least_px2: float) -> list[np.ndarray]:
    """Places closed in by lines, with the lines beside them."""
    inside = fill_holes(walls) & ~walls & 1
    count, parts, stats, _ = cv2.connectedComponentsWithStats(inside, connectivity=4)
    out = []
    for k in range(1, count):
        if stats[k, cv2.CC_STAT_AREA] < 0.15 * least_px2:
            continue
        hole = (parts == k).astype(np.uint8)
        depth = 2.0 * float(cv2.distanceTransform(walls, cv2.DIST_L2, 5)[dilated(hole, 4.0) > 0].max())
        out.append(hull_mask(hole | (dilated(hole, min(depth, 8.0)) & walls)))
    return out


def _hulls(walls: np.ndarray, least_px2: float) -> list[np.ndarray]:
    """Hulls of lines, which is what a broken rim goes round."""
    count, parts, stats, _ = cv2.connectedComponentsWithStats(walls, connectivity=8)
    large = [k for k in range(1, count) if stats[k, 2] * stats[k, 3] >= 0.3 * least_px2]
    sets = [[k] for k in large]
    if len(large) <= _FEW_LINES:
        sets += [[j, k] for j in large for k in large if j < k]
    return [hull_mask(np.isin(parts, numbers).astype(np.uint8)) for numbers in sets]


def _rim_worth(piece: np.ndarray, strong: np.ndarray, dark: np.ndarray) -> float:
    """How well lines run round a place, less what of them lies inside; 0 when it is no see-through piece."""
    rows, cols = np.flatnonzero(piece.any(axis=1)), np.flatnonzero(piece.any(axis=0))
    box = np.s_[max(0, rows[0] - 3) : rows[-1] + 4, max(0, cols[0] - 3) : cols[-1] + 4]
    piece, strong, dark = piece[box], strong[box], dark[box]
    if solidity(piece) < _CONVEX:
        return 0.0
    border = piece & ~cv2.erode(piece, disc(1.0), borderValue=0) & 1
    rimmed = float((dilated(strong, 2.0)[border > 0] > 0).mean())
    if rimmed < _RIMMED:
        return 0.0
    inside = piece & ~dilated(strong, 1.5) & 1
    depth = float(cv2.distanceTransform(inside, cv2.DIST_L2, 5).max()) if inside.any() else 0.0
    if depth < _LEAST_DEPTH_PX or (~dark[inside > 0]).mean() < _OIL_INSIDE:
        return 0.0
    deep = cv2.distanceTransform(piece, cv2.DIST_L2, 5)
    across = (deep > 0.5 * deep.max()) & (strong > 0)
    return rimmed - float(across.sum()) / float((deep > 0.5 * deep.max()).sum())
