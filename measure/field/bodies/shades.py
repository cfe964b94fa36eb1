"""Shadows told from coloured pieces by their colour: what lies in shade is the ground, only darker.

A piece lit from one side drops a shadow that half of its own height does not tell from it. Shade takes the
same share of all light, so that in CIELAB it moves the ground along one line, towards the point of no light
at L = -16 (the cube roots of the three lights shrink alike). How far a pixel lies off that line, over what
light is left, is its colour whatever the shade. A layer along one side of a coloured piece that has less than
half of that colour, and without which the piece is rounder, is its shadow. So is one that fades into the
ground where the piece itself has a sharp edge, for a lamp is never a point. Pieces without a colour of their
own and clusters tell nothing.
"""

import cv2
import numpy as np

from measure.field.basics.masks import SQUARE, dilated, disc, fill_holes, numbered, opened, solidity
from measure.field.basics.quick import colours_at, median, percentile
from measure.field.cuts.cut_colour import spread
from measure.field.cuts.cut_lobes import oval_misfit
from measure.field.edges.edge import colour_length
from measure.field.edges.flanks import above_half, usual_width

_COLOURED = 12.0  # distance from the line of shade of a coloured piece, CIELAB units of full light
_NO_LIGHT = -16.0  # L of the cube root of nothing
_LEAST_LIGHT = 0.15  # share of its root below which noise is taken for colour
_LEAST_OFF = 4.0  # distance from the line below which noise is taken for colour, CIELAB units
_HALF = 0.5
_GREY = 0.5  # distance from the line over that along it, above which it is no shade
_MOST_SHADE = 0.5  # of the root of light; what takes more is a dark piece
_CALM, _CALM_LEAST_PX = 0.02, 1.0  # smoothing over the depth of the component: shade is large, noise is not
_FRINGE, _THIN_PX = (
    0.6,
    1.5,
)  # half the width of a fringe, which is no shade, over that of the edge; least, px
_FEW_PX = 9  # px of a border that tell its form
_ALONE = 0.7  # solidity of coloured parts that are one piece, which has one side away from the lamp
_ONE_SIDE = 0.5  # mean of the ways from its middle to the shade; 2 / pi is half of all round
_LAYER = 0.8  # thickness of shade over that of the piece, at most
_BENT = 0.9  # solidity of a layer bent round its piece; what is fuller is a piece that touches it
_LEAST_SHARE = 0.04  # area over the piece's, below which a layer is hardly more than the mottle of its edge
_REACH_PX = 4.0  # blur between a piece and its shade
_GAP = 0.5  # the same over half the thickness of the shade: in it the piece may be of less colour
_ROUNDED, _ABOUT = 0.5, 0.35  # share of the piece about its border with shade; radius of that over its depth
_ROUNDER = 0.75  # distance from its oval without shade over that with it
_SOFTER = 1.5  # width of the outer edge of shade over that of the piece, from which it is no part of it
_MOST = 0.7  # area of shade that fades over its piece's; what is more holds clear parts of the piece
_SMOOTH = 0.15  # over the depth of a piece, of what is smoothed from its outline before its form is told
_SPECK = 0.3  # area of what is left beside shade, over it, up to which it is part of it
_BIT = 0.02  # area over that of the largest piece, below which what lies along shade is a part of it


def shade_beside(delta: np.ndarray, low: np.ndarray, oil_lab: np.ndarray, least_px2: float) -> np.ndarray:
    """Part of a component that is the shadow of its coloured piece.

    Parameters
    ----------
    delta : (M, N, 3) ndarray of float32
        Lightly smoothed difference from the oil.
    low : (M, N) ndarray of bool
        The component.
    oil_lab : (3,) ndarray
        CIELAB colour of the oil there.
    least_px2 : float
        Smallest area of a shadow.

    Returns
    -------
    (M, N) ndarray of bool
    """
    nothing = np.zeros(low.shape, low.dtype)
    seen, pieces = _grey_and_coloured(delta, low, oil_lab)
    if min(cv2.countNonZero(seen), cv2.countNonZero(pieces)) < _FEW_PX:
        return nothing
    # blur leaves a grey fringe along a coloured edge, and so does a lens
    field = colour_length(delta)
    strong, width = above_half(field, low)
    element = disc(max(_THIN_PX, _FRINGE * width))
    seen, pieces = (cv2.morphologyEx(part, cv2.MORPH_OPEN, element) for part in (seen, pieces))
    if not (seen.any() and pieces.any()) or solidity(pieces) <= _ALONE:
        return nothing
    shade = _beside(seen, pieces, least_px2)
    if not shade.any() or not (_fades(shade, pieces, low, field) or _sticks_out(shade, strong)):
        return nothing
    return _with_specks(shade, pieces, low)


def _fades(shade: np.ndarray, pieces: np.ndarray, low: np.ndarray, field: np.ndarray) -> bool:
    """Whether the edge of shade against the oil is much softer than that of its piece."""
    if np.count_nonzero(shade) > _MOST * cv2.countNonZero(pieces):
        return False
    near = spread(np.where(pieces > 0, 2, shade).astype(np.int32), low)
    soft, sharp = (usual_width(field, np.where(near == k, field, 0), near == k) for k in (1, 2))
    return soft > _SOFTER * sharp


def _grey_and_coloured(delta: np.ndarray, low: np.ndarray, oil_lab: np.ndarray) -> np.ndarray:
    """Pixels that may be shade, and those that have the colour of a piece, (2, M, N) uint8."""
    out = np.zeros((2, *low.shape), np.uint8)
    ground = np.asarray(oil_lab, np.float32) - np.array([_NO_LIGHT, 0.0, 0.0], np.float32)
    bright = float(np.sqrt(ground @ ground))
    # nothing tells the depth of what fills its crop
    deepest = min(float(cv2.distanceTransform(low.view(np.uint8), cv2.DIST_L2, 5).max()), max(low.shape))
    fine = _CALM * deepest
    calm = cv2.GaussianBlur(delta, (0, 0), fine) if fine > _CALM_LEAST_PX else delta
    values = colours_at(calm, low)
    darker = values @ (-ground / bright)
    off = np.sqrt(np.maximum(np.einsum("ij,ij->i", values, values) - darker * darker, 0.0))
    colour = off / np.maximum(1.0 - darker / bright, _LEAST_LIGHT)
    coloured = off >= _LEAST_OFF
    if np.count_nonzero(coloured) < _FEW_PX:
        return out
    usual = percentile(colour[coloured], 75)
    if usual < _COLOURED:
        return out
    coloured &= colour >= _HALF * usual
    out[0][low] = ~coloured & (off < _GREY * darker) & (darker < _MOST_SHADE * bright)
    out[1][low] = coloured
    return out


def _beside(shade: np.ndarray, pieces: np.ndarray, least_px2: float) -> np.ndarray:
    """Parts of what looks like shade that lie along one side of a rounded piece, (M, N) bool."""
    depth = cv2.distanceTransform(pieces, cv2.DIST_L2, 5)
    count, parts, stats = numbered(shade, 8)
    chosen, ways = np.zeros(count, bool), np.zeros((count, 2))
    middle = np.argwhere(pieces).mean(axis=0)
    least = max(least_px2, _LEAST_SHARE * cv2.countNonZero(pieces))
    for k in np.flatnonzero(stats[1:, cv2.CC_STAT_AREA] >= least) + 1:
        x, y, w, h = (int(v) for v in stats[k, :4])
        m = max(w, h) + 3
        box = np.s_[max(0, y - m) : y + h + m, max(0, x - m) : x + w + m]
        border = _border((parts[box] == k).view(np.uint8), pieces[box], depth[box])
        if border is None:
            continue
        way = np.argwhere(border) - (middle - (box[0].start, box[1].start))
        ways[k] = (way / np.maximum(np.hypot(*way.T), 1e-6)[:, None]).mean(axis=0)
        chosen[k] = bool(np.hypot(*ways[k]) > _ONE_SIDE)
    lamp = (ways * (stats[:, cv2.CC_STAT_AREA] * chosen)[:, None]).sum(axis=0)
    return (chosen & (ways @ lamp > 0.0))[parts]


def _border(part: np.ndarray, piece: np.ndarray, depth: np.ndarray) -> np.ndarray | None:
    """Where a rounded piece borders a layer that looks like its shade, (M, N) bool; None where none does."""
    deep = float(depth.max())
    thick = float(cv2.distanceTransform(part, cv2.DIST_L2, 5).max())
    if thick > _LAYER * deep or solidity(part) > _BENT:
        return None
    gap = max(_REACH_PX, _GAP * thick)
    # shade is a layer along its piece; a see-through crystal that touches one has a grey rim too
    away = cv2.distanceTransform((piece == 0).view(np.uint8), cv2.DIST_L2, 5)[part > 0]
    if percentile(away, 90) > gap + 2.0 * thick:
        return None
    near = dilated(part, gap) > 0
    border = near & (piece > 0) & (cv2.erode(piece, SQUARE) == 0)
    outer = near & (piece == 0) & (cv2.dilate(piece, SQUARE) > 0)
    if min(np.count_nonzero(border), np.count_nonzero(outer)) < _FEW_PX:
        return None
    kernel = disc(max(2.0, _ABOUT * deep)).astype(np.float32)
    about = cv2.filter2D(piece.astype(np.float32), -1, kernel / kernel.sum(), borderType=cv2.BORDER_CONSTANT)
    hollow = 0.5 * (median(about[border]) + median(about[outer])) > _ROUNDED
    return None if hollow else border


def _sticks_out(shade: np.ndarray, strong: np.ndarray) -> bool:
    """Whether a piece is rounder without its shade; grey glass in a marble fills it out."""
    whole = fill_holes(strong | shade.view(np.uint8))
    smooth = _SMOOTH * float(cv2.distanceTransform(whole, cv2.DIST_L2, 5).max())
    whole, rest = (opened(part, smooth) for part in (whole, whole & ~shade & 1))
    return bool(rest.any()) and _misfit(rest) < _ROUNDER * _misfit(whole)


def _misfit(mask: np.ndarray) -> float:
    """Distance of the outline of the largest part from its oval, over its radius."""
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return oval_misfit(max(contours, key=len)[:, 0].astype(np.float32))


def _with_specks(shade: np.ndarray, pieces: np.ndarray, low: np.ndarray) -> np.ndarray:
    """Shade with what lies in it or beyond it and is no piece, (M, N) bool."""
    count, parts, stats = numbered((low & ~shade).view(np.uint8), 4)
    holds = np.bincount(parts.ravel(), pieces.ravel(), count) > 0
    holds |= stats[:, cv2.CC_STAT_AREA] > _SPECK * np.count_nonzero(shade)
    holds[0] = True
    return shade | ~holds[parts]


def with_bits(shade: np.ndarray, labels: np.ndarray) -> np.ndarray:
    """Shade with the bits that were found along it, far smaller than its pieces: light in a clear rim.

    Parameters
    ----------
    shade : (M, N) ndarray of bool
    labels : (M, N) ndarray of int32
        Pieces found beside it.

    Returns
    -------
    (M, N) ndarray of bool
    """
    sizes = np.bincount(labels.ravel())
    sizes[0] = 0
    along = np.unique(labels[dilated(shade.view(np.uint8), _REACH_PX) > 0])
    bits = np.zeros(len(sizes), bool)
    bits[along[sizes[along] < _BIT * sizes.max()]] = True
    bits[0] = False
    return shade | bits[labels]
