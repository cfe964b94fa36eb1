"""See-through pieces whose rims cross, or close within a body, found by their lines.

Finding makes one piece of crystals that lie over one another, or gives what they share to one of them; and a
crystal on a body is a part of the body. Their lines tell them apart (`rim_faces`), before rims
are completed. Crystals that are grown together show such lines too, where facet meets facet, but what they
close round lies mostly within one another: it is the facets of one piece.
"""

from collections.abc import Iterator
from dataclasses import replace
from typing import NamedTuple

import cv2
import numpy as np
import shapely

from measure.field.basics.found import Found
from measure.field.basics.kind_shape import box_share
from measure.field.basics.masks import SQUARE, closed, dilated, drawn, fill_holes
from measure.field.basics.polygons import largest, outline_of
from measure.field.basics.quick import median, percentile
from measure.field.basics.straight_sides import straight_sided
from measure.field.crystals.rim_faces import Rims, is_clear, is_convex, pieces_of_lines, see_through
from measure.field.ground.absorbance import is_dark
from measure.field.ground.light import Light
from measure.field.rims.rim_walls import turns_in_nowhere
from measure.flags import bits

# least share of each crystal that no other covers, or of two at least where a third lies over both; it was
# 0.44 and more in 28 drawn sets that cross but for one that has two such, 0.33 at most in 7 sets of facets
_OWN, _MOSTLY_OWN = 0.38, 0.5
_STEPS = 2.0  # by which lightness is multiplied to whole numbers
_WIDEST_PX = 9  # a line and its flanks
_OF_NOISE, _LEAST_STEP = 2.5, 3.0  # lightness of the faintest line, in noise units and CIELAB units
_MARGIN_PX = 8
_MOST_PX = 300_000
_LEAST_FACE_PX2, _FEWEST_FACES = 4.0, 3  # pieces that cross share a face and have one each
_HOLE = 0.5  # least area of what lines close round, over the smallest of interest
_PALE = 0.7  # of the height of a rim, below which a place is no body
_ON_BODY = 0.97  # share of a piece and a margin within a body
_COVERED = 0.5  # share of an earlier outline inside new pieces from which they replace it
_SAME = 0.5  # share of an earlier see-through outline that is the new piece
_KNOWN = 0.8  # intersection over union from which a piece was found before
_BESIDE_PX, _STRONGER = 4.0, 3.0  # strength of a rim over the lines of its body, further away than this
_BOXED = 0.85  # share of its box that a piece with four sides fills, its corners rounded
_GAP_PX = 1.5  # between two pieces that touch
_ALIKE = 0.12  # difference of their tones over the height of a rim
_FLAGS = bits("rim_only", "touching", "overlap")


class _Lines(NamedTuple):
    """Thin dark lines, those of others beside them, and all darkness, in steps of lightness, (M, N) uint8."""

    lines: np.ndarray
    beside: np.ndarray
    dark: np.ndarray
    low: float


def rims_apart(found: Found, light: Light, least_px2: float) -> Found:
    """Give see-through pieces whose rims cross or lie within a body an outline each.

    Parameters
    ----------
    found : Found
        K pieces.
    light : Light
    least_px2 : float
        Smallest area reported.

    Returns
    -------
    Found
        With new pieces last, flagged ``rim_only``, ``touching``, ``overlap``; those they stand for are gone.
    """
    if is_dark(float(light.oil_lab[0])) or not found.outlines:
        return found
    field = _thin_lines(light)
    gone: set[int] = set()
    added: list[tuple[np.ndarray, int]] = []
    tree = shapely.STRtree([shapely.box(*o.min(axis=0), *o.max(axis=0)) for o in found.outlines])
    number = int(found.parent.max(initial=0))
    for box, crop, oil in _places(field, least_px2):
        rims = pieces_of_lines(crop.lines, crop.low, least_px2, crossing=oil)
        if rims is None:
            continue
        rows = tree.query(shapely.box(box[1].start, box[0].start, box[1].stop, box[0].stop)).tolist()
        origin = np.array([box[1].start, box[0].start], np.float32)
        masks = {k: drawn(found.outlines[k] - origin, crop.lines.shape) for k in rows if k not in gone}
        old = _replaced(rims, crop, masks, found)
        if old is None:
            continue
        number += 1
        gone |= set(old)
        added += [(_outline(piece) + origin, number) for piece in rims.pieces]
    if not added:
        return found
    kept = [k for k in range(len(found.outlines)) if k not in gone]
    return replace(
        found,
        outlines=[found.outlines[k] for k in kept] + [outline for outline, _ in added],
        parent=np.concatenate([found.parent[kept], [n for _, n in added]]).astype(np.int32),
        flags=np.concatenate([found.flags[kept], [_FLAGS] * len(added)]).astype(np.int32),
        origin=np.concatenate([found.origin[kept], [1] * len(added)]).astype(np.int8),
    )


def _thin_lines(light: Light) -> _Lines:
    lightness = cv2.extractChannel(light.delta, 0)
    dark = cv2.GaussianBlur(cv2.convertScaleAbs(np.minimum(lightness, 0), alpha=_STEPS), (3, 3), 0)
    body = cv2.morphologyEx(dark, cv2.MORPH_OPEN, np.ones((_WIDEST_PX, _WIDEST_PX), np.uint8))
    low = _STEPS * max(_LEAST_STEP, _OF_NOISE * float(light.noise[0]))
    lines = cv2.subtract(dark, body)
    if light.zone_mask is not None:
        lines[light.zone_mask > 0] = 0  # letters of a mark that is left out close round places too
    return _Lines(lines, lines, dark, low)


def _places(field: _Lines, least_px2: float) -> Iterator[tuple[tuple[slice, slice], _Lines, bool]]:
    """Crops about lines that close round something, without others beside, and whether that is oil.

    Not those of one rim in oil, which were found, nor the many lines of what a body is made of.
    """
    marked = (field.lines >= field.low).view(np.uint8)
    contours, tree = cv2.findContours(marked, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    for k, contour in enumerate(contours):
        if tree[0, k, 3] >= 0 or tree[0, k, 2] < 0:
            continue
        holes, hole = [], int(tree[0, k, 2])
        while hole >= 0:
            holes.append(cv2.contourArea(contours[hole]))
            hole = int(tree[0, hole, 0])
        x, y, w, h = cv2.boundingRect(contour)
        if sum(holes) < _HOLE * least_px2 or w * h > _MOST_PX:
            continue
        faces = sum(area > _LEAST_FACE_PX2 for area in holes)
        m = _MARGIN_PX
        box = np.s_[max(0, y - m) : y + h + m, max(0, x - m) : x + w + m]
        own = np.zeros(marked[box].shape, np.uint8)
        cv2.drawContours(own, [contour - (box[1].start, box[0].start)], 0, 1, cv2.FILLED)
        oil = _mostly_oil(own, field, box)
        if oil:
            if faces < 2 and is_convex(contour):
                continue
        elif faces > _FEWEST_FACES:
            continue
        lines = field.lines[box]
        yield box, _Lines(lines * dilated(own, 1.5), lines, field.dark[box], field.low), oil


def _mostly_oil(own: np.ndarray, field: _Lines, box: tuple[slice, slice]) -> bool:
    """Whether what lines close in is not darker than oil."""
    inside = (own > 0) & (field.lines[box] < field.low)
    return not inside.any() or median(field.dark[box][inside]) < field.low


def _replaced(rims: Rims, crop: _Lines, masks: dict[int, np.ndarray], found: Found) -> list[int] | None:
    """Rows of the pieces that new ones stand for; None where the new ones are not believed."""
    heights = [_height(piece, crop.lines) for piece in rims.pieces]
    if len(rims.pieces) == 1:
        return [] if _on_body(rims.pieces[0], heights[0], crop, masks) else None
    if not rims.crossing and all(_is_known(piece, masks, found) for piece in rims.pieces):
        return None
    if not all(is_clear(p, crop.lines, crop.dark, h) for p, h in zip(rims.pieces, heights, strict=True)):
        return None
    if not _each_by_itself(rims.pieces) or (
        not rims.crossing and _of_several_greys(rims.pieces, crop, heights)
    ):
        return None
    cover, clear = np.bitwise_or.reduce(rims.pieces), crop.dark < _PALE * max(heights)
    return [
        k
        for k, mask in masks.items()
        if mask.any()
        and cover[mask > 0].mean() > _COVERED
        and (found.flags[k] & bits("rim_only") or clear[mask > 0].mean() > _COVERED)
    ]


def _is_known(piece: np.ndarray, masks: dict[int, np.ndarray], found: Found) -> bool:
    """Whether a piece was found as it is."""
    return any(
        cv2.countNonZero(mask & piece) > _KNOWN * cv2.countNonZero(mask | piece)
        for k, mask in masks.items()
        if found.flags[k] & bits("rim_only")
    )


def _each_by_itself(pieces: list[np.ndarray]) -> bool:
    """Whether pieces that cross lie to a good part beside one another, as facets of one crystal do not."""
    layers = np.sum(pieces, axis=0)
    own = [cv2.countNonZero(p & (layers == 1)) / max(1, cv2.countNonZero(p)) for p in pieces]
    return min(own) >= _OWN or sum(share >= _MOSTLY_OWN for share in own) >= 2


def _of_several_greys(pieces: list[np.ndarray], crop: _Lines, heights: list[float]) -> bool:
    """Whether pieces differ in tone whose outline together turns in nowhere, as facets of one crystal do."""
    whole = fill_holes(closed(np.bitwise_or.reduce(pieces), _GAP_PX))
    if not turns_in_nowhere(whole):
        return False
    tones = [median(crop.dark[(cv2.erode(p, SQUARE) > 0) & (crop.lines < crop.low)]) for p in pieces]
    return max(tones) - min(tones) > _ALIKE * min(heights)


def _on_body(piece: np.ndarray, height: float, crop: _Lines, masks: dict[int, np.ndarray]) -> bool:
    """Whether a piece is a straight-sided rim wholly on a body that is seen through it."""
    around = cv2.dilate(piece, np.ones((9, 9), np.uint8)) > 0
    on = any(mask[around].mean() > _ON_BODY for mask in masks.values())
    known = any((mask & piece).sum() > _SAME * (mask | piece).sum() for mask in masks.values())
    if not on or known or is_clear(piece, crop.lines, crop.dark, height):
        return False
    straight = box_share(_outline(piece)) > _BOXED or straight_sided(piece)
    return straight and see_through(piece, crop.dark, crop.lines, height) and _stands_out(piece, crop)


def _stands_out(piece: np.ndarray, crop: _Lines) -> bool:
    """Whether a rim is stronger all round than the lines of the body it lies on."""
    border = piece & (1 - cv2.erode(piece, np.ones((3, 3), np.uint8), borderValue=0))
    rim = cv2.dilate(crop.lines, np.ones((5, 5), np.uint8))[border > 0]
    elsewhere = crop.beside[dilated(piece, _BESIDE_PX) == 0]
    own = percentile(elsewhere.astype(np.float32), 95) if elsewhere.size else 0.0
    return percentile(rim.astype(np.float32), 25) >= _STRONGER * own


def _height(piece: np.ndarray, lines: np.ndarray) -> float:
    border = piece & (1 - cv2.erode(piece, np.ones((5, 5), np.uint8), borderValue=0))
    return percentile(lines[border > 0].astype(np.float32), 75)


def _outline(piece: np.ndarray) -> np.ndarray:
    contours, _ = cv2.findContours(piece, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    points = max(contours, key=len).reshape(-1, 2) + 0.5
    return outline_of(largest(shapely.Polygon(points).buffer(0.5)))
