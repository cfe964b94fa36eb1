"""Holes of a body: texture, highlights and pale middles are filled, the oil between pieces is not."""

import cv2
import numpy as np

from measure.field.basics.masks import SQUARE, fill_holes, numbered, solidity
from measure.field.basics.quick import median
from measure.field.bodies.gaps import left_by_blur

_SPECK_SHARE = 0.01  # holes below this share of the thickest part's disc are texture, whatever they show
_MOST_SPECK_SHARE = 0.02  # the same in a body that is surely one piece
_HOLE_LEVEL = 0.4  # a hole this far towards the body's colour is texture, not oil
_PALE = 0.18  # share of the body's colour that a pale middle keeps and haze over a gap does not
_DIMPLE = 0.09  # the same for a round hole: round pieces that touch leave cusps
_ROUND = 0.78  # radius within a hole over that of its area, from which it is round
_CONVEX_HOLE = 0.86  # a convex hole is a highlight or the bright middle of a bubble
_OPPOSITE = 0.2  # share of the body's contrast, the other way round, from which a round hole is a highlight
# thickness of a bright or dark rim over the width of an edge, and length over its thickness: where pieces
# touch they grow thicker to both sides, a rim does not
_RIM, _RUN, _RIMMED = 2.0, 3.0, 0.88  # and solidity of what has one
_SINGLE = 0.92  # solidity from which a body is surely one piece, so that its holes are highlights


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
    count, labels, stats = numbered(holes, 4)
    filled = mask.copy()
    thickness = cv2.distanceTransform(mask, cv2.DIST_L2, 5)
    thick = float(thickness.max())
    solid = solidity(mask | holes)
    single = solid > _SINGLE
    rim_px = _RIM * width_px + 1.0
    outer = cv2.distanceTransform(
        cv2.copyMakeBorder(mask | holes, 1, 1, 1, 1, cv2.BORDER_CONSTANT), cv2.DIST_L2, 5
    )
    outer = outer[1:-1, 1:-1]
    for k in range(1, count):
        x, y, w, h, n = (int(v) for v in stats[k])
        box = np.s_[y : y + h, x : x + w]
        hole = labels[box] == k
        small = n <= max(6.0, (_MOST_SPECK_SHARE if single else _SPECK_SHARE) * np.pi * thick**2)
        # a ring is thinner than its hole; what lies between touching pieces is smaller than they are
        ring = np.sqrt(n / np.pi) > 0.8 * _thickness_round(thickness, stats[k])
        inside = (single or ring) and solidity(hole.astype(np.uint8)) > _CONVEX_HOLE
        inside = inside or (solid > _RIMMED and thick > rim_px and _has_rim(hole, outer[box], rim_px))
        if small or inside or median(share[box][hole]) > _HOLE_LEVEL or _is_no_oil(hole, pale[box], width_px):
            filled[box][hole] = 1
    return filled


def _thickness_round(thickness: np.ndarray, stats: np.ndarray) -> float:
    """Half the thickness of the body round a hole, px."""
    x, y, w, h, n = (int(v) for v in stats)
    m = int(np.ceil(2.0 * np.sqrt(n / np.pi)))
    return float(thickness[max(0, y - m) : y + h + m, max(0, x - m) : x + w + m].max())


def _has_rim(hole: np.ndarray, outer: np.ndarray, rim_px: float) -> bool:
    """Whether only a thin line parts a hole from the outside for a long way, as the rim of one piece does."""
    inner = cv2.erode(hole.view(np.uint8), SQUARE, borderType=cv2.BORDER_CONSTANT, borderValue=0)
    thin = (hole & (inner == 0) & (outer < rim_px)).view(np.uint8)
    count, _, stats = numbered(thin, 8)
    return count > 1 and int(stats[1:, cv2.CC_STAT_AREA].max()) > _RUN * rim_px


def _depth(hole: np.ndarray) -> np.ndarray:
    padded = cv2.copyMakeBorder(hole.view(np.uint8), 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=0)
    return cv2.distanceTransform(padded, cv2.DIST_L2, 3)[1:-1, 1:-1]


def _is_no_oil(hole: np.ndarray, share: np.ndarray, width_px: float) -> bool:
    """Whether a hole shows more than blur leaves of the oil in a gap so wide: a pale middle, not a gap.

    A gap shows the oil, so a round hole that differs from it the other way round is a highlight.
    """
    depth = _depth(hole)
    deepest = float(depth.max())
    blurred = float(left_by_blur(np.array([deepest]), width_px)[0])
    round_ = deepest > _ROUND * np.sqrt(cv2.countNonZero(hole.view(np.uint8)) / np.pi)
    dimple = round_ and solidity(hole.astype(np.uint8)) > _CONVEX_HOLE
    middle = median(share[depth > 0.6 * deepest])
    return middle > (_DIMPLE if dimple else _PALE) + blurred or (dimple and middle < -_OPPOSITE)
