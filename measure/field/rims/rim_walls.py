"""See-through pieces side by side, told from one piece by the width of the wall between their middles.

Each piece has a clear middle and a rim round it. Where two touch, the rims of both lie side by side, so the
wall between the two middles is as wide as both rims together. The side between two facets of a crystal, or
the rim of a piece that lies over another, is a single line. All widths are read at half height, where blur
leaves them as they are. `face_contact` asks the same of lines so thin that their darkness tells.

Where the outline about both turns in nowhere they can only meet with whole faces of one length. Then together
they are a box, each is as clear as the other, and nothing paler lies in the wall between them; facets of one
crystal are of several greys, a third one may lie between two lines, and the outline has more corners.
"""

from itertools import combinations
from typing import NamedTuple

import cv2
import numpy as np

from measure.field.basics.masks import SQUARE, dilated, disc, fill_holes, numbered, solidity
from measure.field.basics.ovals import notches_of
from measure.field.basics.quick import median, percentile
from measure.field.cuts.seams import contour_of

_LEVELS = (0.15, 0.25, 0.35, 0.5, 0.65)  # of the strongest place, below which middles are looked for
_STRONGEST = 95  # percentile
_MIDDLE, _LEAST_PX = 0.02, 6.0  # share of the piece that a middle has, and pixels
_COMPACT = 0.8  # solidity of a middle
_PALE = 0.6  # of its rim, that a middle has at most
_BOTH = 0.75  # width of a wall over that of both rims: one line has a half, two have all of it
_DARK = 0.5  # share of a wall that is at least half as high as the fainter rim: oil may lie between the two
_CONVEX = 0.88  # solidity of each part
_STRAIGHT = 1.3  # width of a wall over where it is narrowest, up to which it is a wall
_FEW_PX = 5
_TURNS_IN, _TURNS_IN_PX = 0.05, 1.5  # depth of a notch over the root of the area, and least
_LARGE = 8.0  # root of the area over the width of an edge, from which notches are seen
# of two whose outline turns in nowhere: share of the narrowest box about both, difference of their middles
# over the height of the rim, share of the wall that is dark, and most its width over that of both rims
_BOX, _ALIKE, _ALL_DARK, _NO_MORE = 0.9, 0.09, 0.8, 1.5


class Middle(NamedTuple):
    """A clear middle.

    Attributes
    ----------
    mask : (M, N) ndarray of uint8
    away : (M, N) ndarray of float32
        Distance from it, px.
    height : float
        Of the rim about it.
    """

    mask: np.ndarray
    away: np.ndarray
    height: float


def parted_at_walls(piece: np.ndarray, field: np.ndarray, width_px: float) -> np.ndarray:
    """Part a see-through piece where a wall as wide as two rims runs through it.

    Parameters
    ----------
    piece : (M, N) ndarray of uint8
        Its rim and its inside, with a border of zeros.
    field : (M, N) ndarray of float32
        Colour difference from the oil.
    width_px : float
        10-90 % width of an edge.

    Returns
    -------
    labels : (M, N) ndarray of int32
        1.. for each part; 0 elsewhere.
    """
    one = piece.astype(np.int32)
    middles = _middles(piece, field, width_px)
    if len(middles) < 2:
        return one
    away = np.stack([middle.away for middle in middles])
    rims = _rim_widths(piece, field, middles, away)
    nearest = np.argmin(away - rims[:, None, None], axis=0)
    whole = fill_holes(piece)
    # blur fills the notches of small ones
    convex = cv2.countNonZero(whole) > (_LARGE * width_px) ** 2 and turns_in_nowhere(whole)
    if convex and not _is_box(whole):
        return one
    group = list(range(len(middles)))
    for i, j in combinations(range(len(middles)), 2):
        line = (piece & cv2.dilate((nearest == i).view(np.uint8), SQUARE) & (nearest == j).view(np.uint8)) > 0
        if line.any() and not _is_wall(line, field, middles[i], middles[j], rims[i] + rims[j], convex):
            group = [group[i] if g == group[j] else g for g in group]
    kept = sorted(set(group))
    if len(kept) < 2:
        return one
    number = np.array([kept.index(g) + 1 for g in group], np.int32)
    labels = number[nearest] * (piece > 0)
    parts = [(labels == k).view(np.uint8) for k in range(1, len(kept) + 1)]
    return labels if all(_is_whole(part) for part in parts) else one


def turns_in_nowhere(piece: np.ndarray) -> bool:
    """Whether the outline of a mask has no notch but those that pixels and blur make."""
    least = max(_TURNS_IN * np.sqrt(cv2.countNonZero(piece)), _TURNS_IN_PX)
    return not notches_of(contour_of(piece), least, 1)[0]


def _is_wall(
    line: np.ndarray, field: np.ndarray, one: Middle, other: Middle, rims_px: float, convex: bool
) -> bool:
    """Whether the border between two middles runs through a wall as wide as both their rims."""
    both = one.away + other.away
    across = both[line]
    narrow = across <= _STRAIGHT * across.min()
    if narrow.sum() < _FEW_PX or median(across[narrow]) < _BOTH * rims_px:
        return False
    between = field[(both <= _STRAIGHT * across.min()) & (one.away > 0) & (other.away > 0)]
    height = min(one.height, other.height)
    dark = float((between >= 0.5 * height).mean())
    if not convex or dark < _DARK:
        return dark >= _DARK
    steps = median(field[one.mask > 0]) - median(field[other.mask > 0])
    return (
        dark >= _ALL_DARK and median(across[narrow]) <= _NO_MORE * rims_px and abs(steps) <= _ALIKE * height
    )


def _is_box(piece: np.ndarray) -> bool:
    """Whether a piece fills the narrowest box about it."""
    _, (wide, high), _ = cv2.minAreaRect(cv2.findNonZero(piece))
    return cv2.countNonZero(piece) >= _BOX * (wide + 1.0) * (high + 1.0)


def _is_whole(part: np.ndarray) -> bool:
    """Whether a part hangs together and is convex."""
    return numbered(part, 8)[0] == 2 and solidity(part) >= _CONVEX


def _rim_widths(piece: np.ndarray, field: np.ndarray, middles: list[Middle], away: np.ndarray) -> np.ndarray:
    """Usual width of the rim about each middle, px, towards the oil, (K,)."""
    nearest = np.argmin(away, axis=0)
    half = 0.5 * np.array([middle.height for middle in middles], np.float32)[nearest]
    upper = piece & (field >= half).view(np.uint8)
    upper = fill_holes(upper | np.bitwise_or.reduce([middle.mask for middle in middles]))
    edge = (upper & (1 - cv2.erode(upper, SQUARE, borderValue=1))) > 0
    own = [away[k][edge & (nearest == k)] for k in range(len(middles))]
    return np.array([median(px) if len(px) >= _FEW_PX else 0.0 for px in own], np.float32)


def _middles(piece: np.ndarray, field: np.ndarray, width_px: float) -> list[Middle]:
    """Clear places that a rim closes in."""
    inner = cv2.erode(piece, disc(1.0), borderValue=0)
    strongest = percentile(field[piece > 0], _STRONGEST)
    least = max(_MIDDLE * cv2.countNonZero(piece), _LEAST_PX)
    ridge = cv2.dilate(field, disc(max(1.0, 0.5 * width_px)))
    outside = cv2.dilate(1 - inner, SQUARE)
    found: list[tuple[np.ndarray, float]] = []
    taken = np.zeros_like(piece)
    for level in _LEVELS:
        parts, stats = numbered(inner & (field < level * strongest).view(np.uint8), 4)[1:]
        open_ones = np.unique(parts[outside > 0])
        for k in range(1, len(stats)):
            if stats[k, cv2.CC_STAT_AREA] < least or k in open_ones:
                continue
            middle = fill_holes((parts == k).view(np.uint8))
            if cv2.countNonZero(middle & taken) or solidity(middle) < _COMPACT:
                continue
            about = dilated(middle, width_px + 2.0) & (1 - middle) & piece
            height = median(ridge[about > 0])
            if median(field[middle > 0]) <= _PALE * height:
                taken |= middle
                found.append((middle, height))
    grown = [_at_half(*own, field, inner, outside, taken) for own in found] if len(found) > 1 else []
    return [
        Middle(mask, cv2.distanceTransform(1 - mask, cv2.DIST_L2, 5), height)
        for mask, (_, height) in zip(grown, found, strict=len(found) > 1)
    ]


def _at_half(
    middle: np.ndarray,
    height: float,
    field: np.ndarray,
    inner: np.ndarray,
    outside: np.ndarray,
    taken: np.ndarray,
) -> np.ndarray:
    """A middle up to where its rim is half as high, if no other is reached there."""
    half = 0.5 * (height + median(field[middle > 0]))
    parts = numbered(inner & (field < half).view(np.uint8) | middle, 4)[1]
    grown = fill_holes((parts == parts[middle > 0][0]).view(np.uint8))
    beyond = cv2.countNonZero(grown & (outside | (taken & (1 - middle))))
    return middle if beyond or solidity(grown) < _COMPACT else grown
