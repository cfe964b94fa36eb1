"""See-through pieces that lie over or under others: their rim crosses the other's body as a thin dark line.

An opening takes the bodies away and leaves the lines. Where lines close round a convex place most of whose
inside is oil, there is a see-through piece, whatever lies under a part of it.
"""

import cv2
import numpy as np

from measure.field.basics.masks import SQUARE, closed, dilated, disc, fill_holes, hull_mask, numbered
from measure.field.basics.quick import percentile

_RADII = (2.5, 4.0)  # half the width of the widest line looked for, px
_LEAST_LINE = 0.06  # natural density of the faintest line
_SHARE = 0.45  # of the cluster's usual line
_GAPS = (1.5, 4.0, 7.0, 11.0)  # closings tried on broken lines, px
_RIMMED = 0.78  # share of the border along which a line runs
_OIL_INSIDE = 0.45  # share of the inside that must be as clear as oil
_OIL_LIKE = 0.4  # density over that of the line below which the inside is oil
_WIDEST_WALL_PX = 8.0  # of lines round a place
_FEW_LINES = 6  # up to so many lines are also tried by twos
_LEAST_DEPTH_PX = 1.5
_FEWEST_CLEAR = 2  # pixels as clear as oil in the smallest inside so deep, at the border of the crop


def thin_lines(density: np.ndarray) -> tuple[np.ndarray, float]:
    """Density of thin neutral lines, bodies taken away, and the usual one of the strongest.

    Parameters
    ----------
    density : (M, N, 3) ndarray of float32
        Optical density against the oil.
    """
    red, green, blue = cv2.split(density)
    neutral = np.minimum(np.minimum(red, green), blue)
    best, height = np.zeros(neutral.shape, neutral.dtype), 0.0
    for radius in _RADII:
        lines = neutral - cv2.morphologyEx(neutral, cv2.MORPH_OPEN, disc(radius))
        marked = lines[lines > _LEAST_LINE]
        usual = percentile(marked, 85) if marked.size else 0.0
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
    strong = (lines > max(_LEAST_LINE, _SHARE * height)).view(np.uint8)
    dark = _darkest(density) > _OIL_LIKE * height
    beside = dilated(strong, 2.0), dilated(strong, 1.5)
    room = (1 - beside[1]) & ~dark.view(np.uint8)  # clear as oil, away from the lines
    place: np.ndarray = cv2.dilate(hull_mask(strong), SQUARE)
    if not _any_room(place, room) or not _any_depth(place & (1 - beside[1])):
        return [], lines
    scored = []
    tried: set[bytes] = set()
    before = b""
    seen: set[bytes] = set()
    for gap in _GAPS:
        walls = closed(strong, gap)
        if walls.tobytes() == before:
            continue
        before = walls.tobytes()
        for piece in (*_holes(walls, least_px2), *_hulls(walls, least_px2, room, tried)):
            key = piece.tobytes()
            if key in seen or cv2.countNonZero(piece) < least_px2:
                continue  # with another closing the same lines close the same place
            seen.add(key)
            worth = _rim_worth(piece, strong, beside, dark)
            if worth > 0:
                scored.append((worth, piece))
    pieces: list[np.ndarray] = []
    for _, piece in sorted(scored, key=lambda pair: -pair[0]):
        area = cv2.countNonZero(piece)
        if not any(cv2.countNonZero(piece & p) > 0.5 * min(area, cv2.countNonZero(p)) for p in pieces):
            pieces.append(piece)
    return pieces, lines


def _darkest(density: np.ndarray) -> np.ndarray:
    """Largest density of each pixel, whichever way it differs from the oil, (M, N)."""
    red, green, blue = (np.abs(channel) for channel in cv2.split(density))
    return np.maximum(np.maximum(red, green), blue)


def _any_room(place: np.ndarray, room: np.ndarray) -> bool:
    """Whether a place may hold anything that passes `_rim_worth`.

    A piece as deep as asked there holds four pixels away from the lines at least, half of them clear as oil.
    """
    return cv2.countNonZero(place & room) >= _FEWEST_CLEAR


def _any_depth(inside: np.ndarray) -> bool:
    """Whether a place away from the lines is as deep as `_rim_worth` asks: no px beside one is outside."""
    return cv2.countNonZero(cv2.erode(inside, SQUARE)) > 0


def _holes(walls: np.ndarray, least_px2: float) -> list[np.ndarray]:
    """Places closed in by lines, with the lines beside them."""
    inside = fill_holes(walls) & ~walls & 1
    if not cv2.countNonZero(inside):
        return []
    count, parts, stats = numbered(inside, 4)
    large = [k for k in range(1, count) if stats[k, cv2.CC_STAT_AREA] >= 0.15 * least_px2]
    thick = cv2.distanceTransform(walls, cv2.DIST_L2, 5) if large else walls
    out = []
    for k in large:
        x, y, w, h = (int(v) for v in stats[k, :4])
        m = int(_WIDEST_WALL_PX) + 2
        box = np.s_[max(0, y - m) : y + h + m, max(0, x - m) : x + w + m]
        hole = (parts[box] == k).view(np.uint8)
        depth = 2.0 * float(thick[box][dilated(hole, 4.0) > 0].max())
        piece = np.zeros(walls.shape, np.uint8)
        piece[box] = hull_mask(hole | (dilated(hole, min(depth, _WIDEST_WALL_PX)) & walls[box]))
        out.append(piece)
    return out


def _hulls(walls: np.ndarray, least_px2: float, room: np.ndarray, tried: set[bytes]) -> list[np.ndarray]:
    """Hulls of lines that hold some room, which is what a broken rim goes round; those not tried yet."""
    count, parts, stats = numbered(walls, 8)
    large = [k for k in range(1, count) if stats[k, 2] * stats[k, 3] >= 0.3 * least_px2]
    sets = [[k] for k in large]
    if len(large) <= _FEW_LINES:
        sets += [[j, k] for j in large for k in large if j < k]
    corners = {k: _corners(parts, stats[k], k) for k in large}
    hulls = []
    for numbers in sets:
        outline = cv2.convexHull(np.concatenate([corners[k] for k in numbers]))
        key = outline.tobytes()
        if key in tried:
            continue
        tried.add(key)
        x, y, w, h = cv2.boundingRect(outline)
        if cv2.countNonZero(room[y : y + h, x : x + w]) < _FEWEST_CLEAR:
            continue
        hull = np.zeros(walls.shape, np.uint8)
        cv2.fillConvexPoly(hull, outline, 1)
        hulls.append(hull)
    return hulls


def _corners(parts: np.ndarray, stats: np.ndarray, number: int) -> np.ndarray:
    """Corners of the convex hull of a numbered part, (P, 1, 2)."""
    x, y, w, h = (int(v) for v in stats[:4])
    part = (parts[y : y + h, x : x + w] == number).view(np.uint8)
    contours, _ = cv2.findContours(part, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE, offset=(x, y))
    return cv2.convexHull(np.concatenate(contours))


def _rim_worth(
    piece: np.ndarray, strong: np.ndarray, beside: tuple[np.ndarray, np.ndarray], dark: np.ndarray
) -> float:
    """How well lines run round a convex place, less what of them lies inside; 0 when it is not see-through.

    ``beside`` are the places within 2 and 1.5 px of strong lines.
    """
    x, y, w, h = cv2.boundingRect(piece)
    box = np.s_[max(0, y - 3) : y + h + 3, max(0, x - 3) : x + w + 3]
    piece, strong, dark = piece[box], strong[box], dark[box].view(np.uint8)
    border = piece & (1 - cv2.erode(piece, disc(1.0), borderValue=0))
    rimmed = cv2.countNonZero(border & beside[0][box]) / cv2.countNonZero(border)
    if rimmed < _RIMMED:
        return 0.0
    inside = piece & (1 - beside[1][box])
    count = cv2.countNonZero(inside)
    if not count or cv2.countNonZero(inside & (1 - dark)) < _OIL_INSIDE * count:
        return 0.0
    if float(cv2.distanceTransform(inside, cv2.DIST_L2, 5).max()) < _LEAST_DEPTH_PX:
        return 0.0
    deep = cv2.distanceTransform(piece, cv2.DIST_L2, 5)
    middle = (deep > 0.5 * deep.max()).view(np.uint8)
    return rimmed - cv2.countNonZero(middle & strong) / cv2.countNonZero(middle)
