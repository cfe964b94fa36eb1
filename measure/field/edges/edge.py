"""Where the edge of a piece lies: half way between the oil and the piece's own colour beside the edge.

The half level follows the piece: its plateau just inside the edge against the oil just outside. What blur
does to that level is undone by the closed forms of `measure.field.edges.edge_level`. Pieces are placed
many at a time: what is the same for all is worked out for all at once.
"""

from collections.abc import Sequence
from typing import NamedTuple

import cv2
import numpy as np

from measure.field.basics.masks import SQUARE, dilated, disc, hull_mask, numbered, square
from measure.field.basics.outline import Levels, areas, crossed, outer_chain
from measure.field.basics.quick import colours_at, length, mean_colour, median, median_colour, percentile
from measure.field.edges.edge_level import (
    CALM_SIGMA_PX,
    SMOOTHING_SIGMA_PX,
    blurred_disc_level,
    blurred_rim_level,
    light_half,
)

__all__ = ["SMOOTHING_SIGMA_PX", "Piece", "place_edge", "place_edges", "place_rim_edge"]

_SOBEL_SIGMA2 = (
    0.45  # blur the gradient operator itself adds, px^2 (fitted to drawn edges, sigma 0.8 to 4 px)
)
_CONVEX = 0.86  # a see-through piece at least this solid is taken as convex
_MIDDLE, _SCATTERED = 0.5, 0.4  # depth over the greatest of its middle; share in one part of a scattered rim
_LINED = 0.9  # share of a bay's shore at which a rim is seen, from which the bay is no break in it
_ROUNDS = 3  # the level depends on the size it gives
_CLEAR_STEP, _OF_COLOUR = 20.0, 0.7  # lightness that alone tells an edge, also over the difference in colour
_CORE, _INNERMOST = 2.6, 0.7  # sigma from the border, or share of the greatest depth: there a piece is itself
_SPOT_PX = 2.0  # spots from this size on are told from the noise
_SOFT_PX, _DETAIL = 2.0, 0.5  # blur from which an edge shows that detail under half of it is none
_TWO, _THREE = disc(2.0), disc(3.0)


class Piece(NamedTuple):
    """A piece to be outlined, in a crop.

    Attributes
    ----------
    delta : (M, N, 3) ndarray of float32
        Lightly smoothed difference from the oil.
    mask : (M, N) ndarray of uint8
        The piece as found, 1 inside.
    others : (M, N) ndarray of bool
        Pixels that belong to other pieces.
    oil_lab : (3,) ndarray or float
        CIELAB colour of the oil there, or its L alone.
    rim_only : bool
        See-through: the outline follows the outer flank of the rim.
    whole : bool
        Known to be one piece, whatever necks its outline has.
    """

    delta: np.ndarray
    mask: np.ndarray
    others: np.ndarray
    oil_lab: np.ndarray | float = 80.0
    rim_only: bool = False
    whole: bool = False


class _Ready(NamedTuple):
    """A piece whose level is known but for what blur does to it."""

    share: np.ndarray  # (M, N) height over that of the plateau beside it
    sigma: float
    step: np.ndarray  # (3,) typical difference from the oil
    free: np.ndarray  # (M, N) uint8, where the outline may run
    depth: np.ndarray  # (M, N) of each pixel in the piece as found, px
    thickness: float = 0.0  # of a rim, px
    colour: float = 1.0  # weight of colour beside lightness in the share


def slope(field: np.ndarray) -> np.ndarray:
    """Gradient magnitude of a field, per px."""
    gx = cv2.Sobel(field, cv2.CV_32F, 1, 0, scale=1 / 8, borderType=cv2.BORDER_REPLICATE)
    gy = cv2.Sobel(field, cv2.CV_32F, 0, 1, scale=1 / 8, borderType=cv2.BORDER_REPLICATE)
    # not the library's magnitude, whose last digit depends on where the array lies in memory
    return np.sqrt(gx * gx + gy * gy)


def local_plateau(field: np.ndarray, reach_px: int, spot_px: float = 0.0) -> np.ndarray:
    """Highest value of a lightly smoothed field within reach, but for bright spots smaller than the reach."""
    calm = cv2.GaussianBlur(field, (0, 0), CALM_SIGMA_PX)
    if spot_px >= _SPOT_PX:
        calm = cv2.morphologyEx(calm, cv2.MORPH_OPEN, disc(spot_px))
    size = 2 * reach_px + 1
    return cv2.dilate(calm, square(size))


def colour_length(delta: np.ndarray) -> np.ndarray:
    """Length of the colour difference of each pixel, CIELAB units."""
    return length(delta)


def place_edge(
    delta: np.ndarray,
    piece: np.ndarray,
    others: np.ndarray,
    oil_lab: np.ndarray | float = 80.0,
    light_weight: float = 1.0,
) -> np.ndarray | None:
    """Sub-pixel outline of one body.

    Parameters
    ----------
    delta, piece, others, oil_lab
        As in `Piece`.
    light_weight : float
        1 where the picture was blurred in linear light, 0 where in its stored values.

    Returns
    -------
    outline : (P, 2) ndarray of float32 or None
        In crop coordinates; None when nothing is left.
    """
    return place_edges([Piece(delta, piece, others, oil_lab)], light_weight)[0]


def place_rim_edge(
    delta: np.ndarray,
    piece: np.ndarray,
    others: np.ndarray,
    oil_lab: np.ndarray | float = 80.0,
    light_weight: float = 1.0,
) -> np.ndarray | None:
    """Sub-pixel outline of one see-through piece, along the outer flank of its rim.

    Gaps in the rim are bridged straight. Parameters and return value as for `place_edge`.
    """
    return place_edges([Piece(delta, piece, others, oil_lab, True)], light_weight)[0]


def place_edges(pieces: Sequence[Piece], light_weight: float = 1.0) -> list[np.ndarray | None]:
    """Sub-pixel outlines of many pieces.

    Parameters
    ----------
    pieces : sequence of Piece
    light_weight : float
        1 where the picture was blurred in linear light, 0 where in its stored values.

    Returns
    -------
    outlines : list of (P, 2) ndarray of float32 or None
        In the coordinates of each crop; None when nothing is left.
    """
    if not pieces:
        return []
    ready = [_rim_ready(p) if p.rim_only else _body_ready(p) for p in pieces]
    oil = np.zeros((len(pieces), 3))
    for row, piece in zip(oil, pieces, strict=True):
        row[: np.size(piece.oil_lab)] = piece.oil_lab
    half = light_half(
        np.stack([r.step for r in ready]),
        oil,
        np.array([r.sigma for r in ready]),
        light_weight,
        np.array([r.colour for r in ready]),
    )
    outlines: list[np.ndarray | None] = [None] * len(pieces)
    kinds = np.array([p.rim_only for p in pieces])
    _trace_bodies(outlines, pieces, ready, half, np.flatnonzero(~kinds))
    _trace_rims(outlines, pieces, ready, half, np.flatnonzero(kinds))
    return outlines


def _trace_bodies(
    outlines: list[np.ndarray | None],
    pieces: Sequence[Piece],
    ready: Sequence[_Ready],
    half: np.ndarray,
    which: np.ndarray,
) -> None:
    """Outline bodies, in place; their level is found again from the size it gives."""
    levels = Levels([ready[i].share for i in which])
    level, sigma = half[which], np.array([ready[i].sigma for i in which])
    going = np.arange(len(which))
    for _ in range(_ROUNDS):
        chains, kept = [], []
        for j in going:
            piece, own = pieces[which[j]], ready[which[j]]
            # the edge lies in the flank; a pale streak deeper inside does not open the piece
            core = own.depth > 2.563 * own.sigma + 1.0
            inside = ((own.share >= level[j]).view(np.uint8) & own.free) | core.view(np.uint8)
            inside = _without_slits(inside, own)
            chain = outer_chain(inside, piece.mask)
            if chain is not None:
                chains.append(chain)
                kept.append(j)
        going = np.array(kept, int)
        if not going.size:
            break
        points, start = crossed(chains, levels, going, level[going])
        for j, outline in zip(going, np.split(points, start[1:]), strict=True):
            outlines[which[j]] = outline
        radius = np.sqrt(np.maximum(areas(points, start), 1.0) / np.pi)
        level[going] = 2.0 * half[which[going]] * blurred_disc_level(radius, sigma[going])


def _without_slits(inside: np.ndarray, own: _Ready) -> np.ndarray:
    """Close slits far finer than the blur, which leaves none in a picture."""
    if own.sigma < _SOFT_PX:
        return inside
    ball = disc(_DETAIL * own.sigma)
    closed: np.ndarray = cv2.morphologyEx(inside, cv2.MORPH_CLOSE, ball)
    return closed & own.free


def _trace_rims(
    outlines: list[np.ndarray | None],
    pieces: Sequence[Piece],
    ready: Sequence[_Ready],
    half: np.ndarray,
    which: np.ndarray,
) -> None:
    """Outline see-through pieces, in place."""
    chains, kept, level = [], [], []
    for j, i in enumerate(which):
        own, others = ready[i], pieces[i].others
        at = 2.0 * half[i] * blurred_rim_level(own.thickness, own.sigma)
        chain = outer_chain(_rim_inside(pieces[i].mask, own, at) & ~others.view(np.uint8) & 1, pieces[i].mask)
        if chain is not None:
            chains.append(chain)
            kept.append(j)
            level.append(at)
    if not kept:
        return
    levels = Levels([ready[i].share for i in which])
    points, start = crossed(chains, levels, np.array(kept), np.array(level))
    for j, outline in zip(kept, np.split(points, start[1:]), strict=True):
        outlines[which[j]] = outline


def _body_ready(body: Piece) -> _Ready:
    inside = body.mask.view(bool)
    values = colours_at(body.delta, inside)
    colour = colour_weight(values)
    field = along_own_colour(body.delta, values, colour)
    reach, sigma = edge_reach(field, body.mask, inside)
    depth = _depth(body.mask)
    # in its flanks a blurred piece is paler than it is, and half of the light lies elsewhere in a larger step
    core = depth >= min(_CORE * sigma, _INNERMOST * float(depth.max()))
    # no wider than what the blur leaves level, or the plateau sinks; the mask is as fat as the blur
    spot = min(0.5 * reach, float(depth.max()) - 1.6 * reach)
    plateau = local_plateau(np.where(inside, field, np.float32(0.0)), reach, spot)
    share = field / np.maximum(plateau, 1e-3)
    wider: np.ndarray = cv2.dilate(body.mask, _TWO)
    free = wider & ~body.others.view(np.uint8) & 1
    return _Ready(share, sigma, _typical(colours_at(body.delta, core)), free, depth, colour=colour)


def _rim_ready(piece: Piece) -> _Ready:
    mask = piece.mask.view(bool)
    field = colour_length(piece.delta)
    inner = np.where(mask, field, np.float32(0.0))
    band = mask & (cv2.erode(piece.mask, _THREE) == 0)
    height = percentile(inner[band], 85) if band.any() else float(inner.max())
    rim = (inner >= 0.5 * height).view(np.uint8)
    reach, sigma = edge_reach(field, piece.mask, rim.view(bool))
    # where the rim is missing the plateau must not sink to that of the oil's own noise
    plateau = np.maximum(local_plateau(inner, min(reach, 3)), max(0.25 * height, 1e-3))
    thickness = 2.0 * percentile(cv2.distanceTransform(rim, cv2.DIST_L2, 3)[rim.view(bool)], 80)
    values = colours_at(piece.delta, rim.view(bool) & band)
    step = _typical(values) if len(values) else np.zeros(3)
    wider: np.ndarray = cv2.dilate(piece.mask, _TWO)
    free = wider & ~piece.others.view(np.uint8) & 1
    return _Ready(field / plateau, sigma, step, free, _depth(piece.mask), thickness)


def _rim_inside(piece: np.ndarray, own: _Ready, level: float) -> np.ndarray:
    """Inside of a see-through piece at a level of its rim, (M, N) uint8."""
    rim = (own.share >= level).view(np.uint8) & own.free
    # the piece as found is fat by the low level; it only speaks where no rim is near
    gap = (own.depth > 1.4 * own.sigma).view(np.uint8) & (1 - dilated(rim, 3.0))
    core = 3.0 * own.sigma + 2.0
    inside = _bridged(rim | gap | (own.depth > core).view(np.uint8), piece, rim)
    deepest = float(own.depth.max())
    if deepest > core or _in_one(inside, piece) >= _SCATTERED * cv2.countNonZero(piece):
        return inside
    # in a small piece everything is near a rim, so only its middle joins the bits that are seen of it
    return _bridged(rim | (own.depth > _MIDDLE * deepest).view(np.uint8), piece, rim)


def _in_one(inside: np.ndarray, piece: np.ndarray) -> int:
    """Most pixels of a piece that lie in one part of its inside."""
    stats = numbered(inside & piece, 8)[2]
    return int(stats[1:, cv2.CC_STAT_AREA].max(initial=0))


def _depth(mask: np.ndarray) -> np.ndarray:
    """Depth of each pixel; the border is repeated once, so a piece cut off there does not look eroded."""
    framed = cv2.copyMakeBorder(mask, 1, 1, 1, 1, cv2.BORDER_REPLICATE)
    return cv2.distanceTransform(framed, cv2.DIST_L2, 5)[1:-1, 1:-1]


def _typical(values: np.ndarray) -> np.ndarray:
    return median_colour(values).astype(float)


def colour_weight(values: np.ndarray) -> float:
    """Weight of colour beside lightness, 1 or 0, where the edge of a piece is placed.

    Cameras sample colour half as densely as lightness and compression thins it out again, so that it runs
    over the edge; in a dark piece the colour of the oil is lost as well, which is no colour of the piece.
    Where one is clearly darker than the oil, lightness alone tells where the edge is.

    Parameters
    ----------
    values : (P, 3) ndarray
        CIELAB differences from the oil in the piece.
    """
    height = length(values)
    # where it is itself, not in its flanks
    step = mean_colour(colours_at(values, height >= percentile(height, 75)))
    return 0.0 if -step[0] > max(_CLEAR_STEP, _OF_COLOUR * float(np.hypot(step[1], step[2]))) else 1.0


def along_own_colour(delta: np.ndarray, values: np.ndarray, colour: float = 1.0) -> np.ndarray:
    """Height of each pixel along the colour of a piece, or its length where it has no single colour.

    ``colour`` is the weight of colour beside lightness.
    """
    mean = mean_colour(values)
    height = float(np.sqrt(mean @ mean))
    typical = float(length(values).mean())
    if height < 0.75 * typical or height <= 0:
        return colour_length(delta)
    along = mean * np.array([1.0, colour, colour])
    return cv2.transform(delta, (along / np.sqrt(along @ along)).reshape(1, 3))


def _bridged(mask: np.ndarray, piece: np.ndarray, rim: np.ndarray) -> np.ndarray:
    """Close the notches a broken rim leaves in a convex piece, (M, N) uint8."""
    mask = cv2.morphologyEx(mask, cv2.MORPH_OPEN, disc(1.0))
    hull = hull_mask(mask)
    if cv2.countNonZero(mask) > _CONVEX * cv2.countNonZero(hull):
        return _without_bays(hull, mask, rim)
    radius = max(2.0, 0.3 * np.sqrt(cv2.countNonZero(piece) / np.pi))
    m = int(np.ceil(radius)) + 1
    padded = cv2.copyMakeBorder(mask, m, m, m, m, cv2.BORDER_CONSTANT, value=0)
    return cv2.morphologyEx(padded, cv2.MORPH_CLOSE, disc(radius))[m:-m, m:-m].copy()


def _without_bays(hull: np.ndarray, mask: np.ndarray, rim: np.ndarray) -> np.ndarray:
    """Leave out of a hull the bays along which the rim is whole; where it is broken the hull bridges it."""
    bays = hull & ~mask & 1
    if not bays.any():
        return hull
    out, near = hull.copy(), cv2.dilate(rim, SQUARE)
    count, parts = cv2.connectedComponents(bays, connectivity=4)
    beside = cv2.dilate(parts.astype(np.float32), SQUARE).astype(np.int32) * (mask > 0)
    lined = np.bincount(beside.ravel(), near.ravel(), count)
    length = np.bincount(beside.ravel(), minlength=count)
    whole = lined > _LINED * np.maximum(length, 1)
    whole[0] = False
    out[whole[parts]] = 0
    return out


def edge_reach(field: np.ndarray, piece: np.ndarray, typical: np.ndarray) -> tuple[int, float]:
    """How far inside the plateau is looked for, px, and the sigma of the edge's blur.

    ``typical`` are the pixels whose height is that of the piece.
    """
    heights = field[typical]
    height = percentile(heights, 80) if heights.size else 1.0
    border = (piece & (1 - cv2.erode(piece, SQUARE))).view(bool)
    steepest = cv2.dilate(slope(field), SQUARE)[border]
    steep = median(steepest) if steepest.size else height
    sigma2 = (0.3989 * max(height, 1e-3) / max(steep, 1e-3)) ** 2 - _SOBEL_SIGMA2
    sigma = float(np.sqrt(min(max(sigma2, 0.3), 60.0)))
    wanted = round(2.563 * sigma)
    if wanted <= 2:
        return 2, sigma
    radius = float(cv2.distanceTransform(piece, cv2.DIST_L2, 3).max())
    return int(min(wanted, max(2.0, radius))), sigma
