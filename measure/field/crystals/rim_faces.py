"""Crystals whose rims cross: the places their lines close round, put together to straight-sided outlines.

The rims of see-through pieces that lie over one another are thin lines that cross and go straight on. They
divide the place into faces, of which some lie within two pieces. What faces make together is a piece when it
is convex, and when no larger convex one has it as a part: a face cut off by another piece's side is no piece.
The pieces that explain most of the lines are taken, and the lines have to be those of their rims.

A rim that closes within a body, without a line that leaves it and with the same tone inside as outside, is
that of a see-through piece on the body.
"""

from collections.abc import Iterator
from typing import NamedTuple

import cv2
import numpy as np

from measure.field.basics.masks import closed, dilated, disc, fill_holes, hull_mask, numbered
from measure.field.basics.quick import median, percentile
from measure.field.crystals.face_contact import parted_at_contacts

_LEVELS = (0.4, 0.25, 0.15)  # of the usual height of the lines, from which they are walls between faces
_GAP_PX = 1.5
_SMOOTHING_PX = 0.7
_LEAST_FACE = 0.06  # of the smallest area of interest
_MOST_FACES, _MOST_SETS = 12, 400
_FILLED, _ON_THE_WAY = 0.9, 0.6  # share of the hull that the faces of a piece fill, and some of them
_NOTCH_PX, _NOTCH = 1.5, 0.03  # depth of the hollows a piece may have, and the same over its size
_ON_BORDER_PX = 2.5
_ADDS = 0.2  # share of the border of a piece that must be lines not explained before
_ELSEWHERE = 0.12  # share of the lines that may lie outside of all pieces
_CLEAR, _OIL_LIKE = 0.45, 0.4  # share of the inside that is oil: darkness over the height of the lines
_COVERED = 0.97  # share of the faces that must lie in pieces


class Rims(NamedTuple):
    """What the lines of one place make.

    Attributes
    ----------
    pieces : list of (M, N) ndarray of uint8
        See-through pieces, rim included.
    crossing : bool
        Whether some of them lie over one another.
    """

    pieces: list[np.ndarray]
    crossing: bool


def pieces_of_lines(lines: np.ndarray, low: float, least_px2: float, crossing: bool = True) -> Rims | None:
    """Put faces together to see-through pieces.

    Parameters
    ----------
    lines : (M, N) ndarray of uint8 or float32
        Darkness of thin lines over what they run through.
    low : float
        Least height of a line.
    least_px2 : float
        Smallest area of interest.
    crossing : bool
        Whether to look for pieces that cross or touch, not for a single one only.

    Returns
    -------
    rims : Rims or None
    """
    marked = lines >= low
    if not marked.any():
        return None
    sharp = ridges(lines)
    usual = percentile(sharp[marked], 75)
    best = None
    for level in _LEVELS:
        walls = ((sharp >= level * usual) & marked).view(np.uint8)
        rims = _pieces_within(walls, lines, least_px2, crossing)
        if rims is None:
            continue
        if best is None or rims.crossing:
            best = rims
        # nothing is left to be found along fainter lines
        if rims.crossing or not (marked & (dilated(np.bitwise_or.reduce(rims.pieces), 2.0) == 0)).any():
            break
    return best


def ridges(lines: np.ndarray) -> np.ndarray:
    """How sharply the darkness bends down to both sides of a line: narrow, however wide its flanks."""
    smooth = cv2.GaussianBlur(lines.astype(np.float32), (0, 0), _SMOOTHING_PX)
    xx, yy, xy = (cv2.Sobel(smooth, cv2.CV_32F, i, j, ksize=3) for i, j in ((2, 0), (0, 2), (1, 1)))
    return cv2.sqrt((0.5 * (xx - yy)) ** 2 + xy * xy) - 0.5 * (xx + yy)


def _pieces_within(walls: np.ndarray, lines: np.ndarray, least_px2: float, crossing: bool) -> Rims | None:
    walls = _largest_net(closed(walls, _GAP_PX))
    faces = _faces(walls, least_px2)
    if not 1 <= len(faces) <= _MOST_FACES:
        return None
    half = percentile(cv2.distanceTransform(walls, cv2.DIST_L2, 3)[walls > 0], 90)
    whole = _joined(faces, half)
    if _is_one(whole):
        convex = [whole]
    elif crossing:
        convex = _maximal(list(_unions(faces, half)))
    else:
        return None
    chosen = _explaining([_with_rim(mask, walls, half) for mask in convex], walls)
    if not chosen:
        return None
    cover, inside = np.bitwise_or.reduce(chosen), np.bitwise_or.reduce(faces)
    if cv2.countNonZero(inside & cover) < _COVERED * cv2.countNonZero(inside):
        return None
    if cv2.countNonZero(walls & (1 - dilated(cover, 2.0))) > _ELSEWHERE * cv2.countNonZero(walls):
        return None
    if _cross(chosen, faces):
        return Rims(chosen, True)
    return Rims(_beside(chosen, faces, walls, lines, half) if crossing else chosen, False)


def _beside(
    pieces: list[np.ndarray], faces: list[np.ndarray], walls: np.ndarray, lines: np.ndarray, half: float
) -> list[np.ndarray]:
    """Pieces that do not cross, each parted where two touch by a face."""
    apart = []
    for piece in pieces:
        own = [face for face in faces if cv2.countNonZero(face & piece) > 0.8 * cv2.countNonZero(face)]
        groups = parted_at_contacts(piece, own, lines, half) if len(own) > 1 else [own]
        apart += [piece] if len(groups) == 1 else _sharing(groups, walls, half)
    return apart


def _sharing(groups: list[list[np.ndarray]], walls: np.ndarray, half: float) -> list[np.ndarray]:
    """Pieces of faces each, with half of the line between two of them."""
    away = [cv2.distanceTransform(1 - np.bitwise_or.reduce(some), cv2.DIST_L2, 5) for some in groups]
    nearest = np.argmin(away, axis=0)
    pieces = [_with_rim(_joined(some, half), walls, half) for some in groups]
    return [piece * (nearest == k) for k, piece in enumerate(pieces)]


def _largest_net(walls: np.ndarray) -> np.ndarray:
    """The lines that hang together round most."""
    count, parts, stats = numbered(walls, 8)
    if count < 3:
        return walls
    return (parts == 1 + int((stats[1:count, 2] * stats[1:count, 3]).argmax())).view(np.uint8)


def _faces(walls: np.ndarray, least_px2: float) -> list[np.ndarray]:
    """Places closed in by lines."""
    inside = fill_holes(walls) & ~walls & 1
    count, parts, stats = numbered(inside, 4)
    large = [k for k in range(1, count) if stats[k, cv2.CC_STAT_AREA] >= max(4.0, _LEAST_FACE * least_px2)]
    return [(parts == k).view(np.uint8) for k in large]


def _joined(faces: list[np.ndarray], half: float) -> np.ndarray:
    """Faces with the walls between them, and half of those about them."""
    return dilated(closed(np.bitwise_or.reduce(faces), half + 1.5), half + 1.0)


def _unions(faces: list[np.ndarray], half: float) -> Iterator[tuple[frozenset[int], np.ndarray]]:
    """Convex sets of faces beside one another, with the walls between them."""
    count = range(len(faces))
    near = [dilated(face, half + 1.5) for face in faces]
    beside = [{j for j in count if j != k and cv2.countNonZero(near[k] & near[j])} for k in count]
    area = [cv2.countNonZero(face) for face in near]
    corners = [cv2.convexHull(cv2.findNonZero(face)) for face in near]
    waiting = [frozenset([k]) for k in count]
    seen = set(waiting)
    for chosen in waiting:  # grows as it goes
        hull = cv2.contourArea(cv2.convexHull(np.concatenate([corners[k] for k in sorted(chosen)])))
        share = sum(area[k] for k in chosen) / max(hull, 1.0)
        if share >= _FILLED:
            mask = _joined([faces[k] for k in sorted(chosen)], half)
            if _is_one(mask):
                yield chosen, mask
        if share < _ON_THE_WAY:
            continue
        for one in sorted(set().union(*(beside[k] for k in chosen)) - chosen):
            more = chosen | {one}
            if more not in seen and len(seen) < _MOST_SETS:
                seen.add(more)
                waiting.append(more)


def _is_one(mask: np.ndarray) -> bool:
    """Whether a mask is one convex piece."""
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return len(contours) == 1 and is_convex(contours[0])


def is_convex(outline: np.ndarray) -> bool:
    """Whether an outline, (P, 1, 2), has no hollow deeper than blur and pixels make."""
    if len(outline) < 8:
        return False
    hull = cv2.convexHull(outline, returnPoints=False)
    try:
        defects = cv2.convexityDefects(outline, hull)
    except cv2.error:  # an outline that touches itself
        return False
    deepest = 0.0 if defects is None else float(defects.reshape(-1, 4)[:, 3].max()) / 256.0
    return deepest <= _NOTCH_PX + _NOTCH * float(np.sqrt(cv2.contourArea(outline)))


def _maximal(candidates: list[tuple[frozenset[int], np.ndarray]]) -> list[np.ndarray]:
    """Those that are no part of another."""
    return [mask for chosen, mask in candidates if not any(chosen < other for other, _ in candidates)]


def _with_rim(mask: np.ndarray, walls: np.ndarray, half: float) -> np.ndarray:
    """A piece with the line that runs round it."""
    return hull_mask(mask | (dilated(mask, half) & walls)) & dilated(mask, half + 1.0)


def _border(piece: np.ndarray) -> np.ndarray:
    return piece & (1 - cv2.erode(piece, disc(1.0), borderValue=0))


def _explaining(pieces: list[np.ndarray], walls: np.ndarray) -> list[np.ndarray]:
    """Pieces that explain the lines by their rims, those that explain most first."""
    rims = [dilated(_border(piece), _ON_BORDER_PX) & walls for piece in pieces]
    left, chosen = walls.copy(), []
    while rims:
        adds = [cv2.countNonZero(rim & left) for rim in rims]
        best = int(np.argmax(adds))
        if adds[best] < _ADDS * cv2.countNonZero(rims[best]) or not adds[best]:
            break
        chosen.append(pieces[best])
        left &= 1 - rims[best]
        rims[best] = np.zeros_like(walls)
    return chosen


def _cross(pieces: list[np.ndarray], faces: list[np.ndarray]) -> bool:
    """Whether a face lies within two pieces."""
    return any(sum(cv2.countNonZero(f & p) > 0.8 * cv2.countNonZero(f) for p in pieces) > 1 for f in faces)


def is_clear(piece: np.ndarray, lines: np.ndarray, dark: np.ndarray, height: float) -> bool:
    """Whether most of the inside of a piece is oil."""
    inside = (piece > 0) & (lines < _OIL_LIKE * height)
    return bool(inside.any() and (dark[inside] < _OIL_LIKE * height).mean() >= _CLEAR)


def see_through(piece: np.ndarray, dark: np.ndarray, lines: np.ndarray, height: float) -> bool:
    """Whether the tone within a rim is that of outside it."""
    inner = cv2.erode(piece, disc(3.0), borderValue=0)
    inside = dark[(inner > 0) & (lines < _OIL_LIKE * height)]
    outside = dark[(dilated(piece, 6.0) & (1 - dilated(piece, 2.5))) > 0]
    if not inside.size or not outside.size:
        return False
    return abs(median(inside) - median(outside)) < _OIL_LIKE * height
