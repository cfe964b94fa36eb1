"""The pieces of components outlined many at a time, and cut once more where their outlines show a neck.

The low level a component is found with, and the blur of its flanks, blunt the notches between touching
pieces. Once an outline runs where the edge is, a neck may show that did not before.
"""

from typing import NamedTuple

import cv2
import numpy as np

from measure.field.basics.component import Parts
from measure.field.basics.masks import drawn, solidity
from measure.field.basics.outline import area
from measure.field.bodies.contrast_parts import grown_labels
from measure.field.bodies.tails import without_tails
from measure.field.components.cut_body import cut_by_form
from measure.field.crystals.grey_layer import is_in_grey
from measure.field.cuts.cut_lobes import cut_between_ovals
from measure.field.cuts.seams import along_seams, seam_between
from measure.field.edges.edge import Piece, place_edges
from measure.flags import bits

_BATCH_PX = 2_000_000  # pixels of pieces that are outlined at a time
_MARGIN_PX = 4
_FULL = 0.94  # area over that of the hull above which an outline has no neck
_COMPACT = 0.86  # the same of a part below which it is the ragged end of a stain and no piece
_TRIMS = 2  # times tails are looked for: a glow about one hides another
_INSIDE_SHARE = 0.7  # of an outline inside larger ones, from which it is left out
_FLANK_PX = 4.0  # how far beyond its outline a piece may have been found


_Waiting = tuple[Piece, np.ndarray, int]  # a piece, the corner of its crop, the cluster it is from


class Outlined(NamedTuple):
    """Outlines, the number of the cluster each was cut from, flags, and how many clusters there were."""

    outlines: list[np.ndarray]
    group: list[int]
    flags: list[int]
    groups: int


class Outliner:
    """Collects the pieces of all components and outlines them many at a time.

    Parameters
    ----------
    light_weight : float
    least_px2 : float
        Smallest area reported.
    """

    def __init__(self, light_weight: float, least_px2: float, cut_strength: float) -> None:
        self._light_weight, self._least_px2, self._cut_strength = light_weight, least_px2, cut_strength
        self._waiting: list[_Waiting] = []
        self._waiting_px = self._groups = 0
        self._outlines: list[np.ndarray] = []
        self._group: list[int] = []
        self._flags: list[int] = []
        self._known: dict[int, int] = {}  # flags of groups that are known for what they are

    def add(
        self,
        delta: np.ndarray,
        parts: Parts,
        other: np.ndarray,
        oil_lab: np.ndarray,
        offset: np.ndarray,
        flags: int = 0,
    ) -> None:
        """Add the pieces of one component, known by these flags, in its crop with this corner, x and y."""
        for group in parts.groups:
            self._groups += 1
            if flags or group[0] in parts.threads:
                self._known[self._groups] = flags | (bits("thread") if group[0] in parts.threads else 0)
            for n in group:
                cropped = _cropped(delta, parts, other, n, oil_lab)
                if cropped is not None:
                    self._waiting.append((cropped[0], cropped[1] + offset, self._groups))
                    self._waiting_px += cropped[0].mask.size
        if self._waiting_px > _BATCH_PX:
            self._place()

    def _place(self) -> None:
        again: list[_Waiting] = []
        for waiting, outline in self._placed(self._waiting):
            parts = self._cut_again(waiting[0], outline)
            if len(parts) > 1:
                again += [(part, *waiting[1:]) for part in parts]
            else:
                self._keep(waiting, outline)
        for waiting, outline in self._placed(again):
            self._keep(waiting, outline)
        self._waiting, self._waiting_px = [], 0

    def _placed(self, waiting: list[_Waiting]) -> list[tuple[_Waiting, np.ndarray]]:
        """Outline pieces and cut their tails off, which may be pieces themselves."""
        placed: list[tuple[_Waiting, np.ndarray]] = []
        for _ in range(_TRIMS):
            anew: list[_Waiting] = []
            for own, outline in self._outlines_of(waiting):
                trimmed = without_tails(own[0], outline, self._least_px2)
                if trimmed is None:
                    placed.append((own, outline))
                else:
                    anew += [(piece, *own[1:]) for piece in (trimmed.piece, *trimmed.cut_off)]
            waiting = anew
        return placed + self._outlines_of(waiting)

    def _outlines_of(self, waiting: list[_Waiting]) -> list[tuple[_Waiting, np.ndarray]]:
        """Outlines of pieces, without those too small to be reported or of which nothing was left."""
        waiting = [own for own in waiting if own[0].mask.any()]
        outlines = place_edges([piece for piece, _, _ in waiting], self._light_weight)
        return [
            (own, outline)
            for own, outline in zip(waiting, outlines, strict=True)
            if outline is not None and len(outline) >= 4 and area(outline) >= self._least_px2
        ]

    def _keep(self, waiting: _Waiting, outline: np.ndarray) -> None:
        piece, offset, group = waiting
        self._outlines.append(outline + offset)
        self._group.append(group)
        self._flags.append(bits("rim_only") * piece.rim_only | self._known.get(group, 0))

    def _cut_again(self, piece: Piece, outline: np.ndarray) -> list[Piece]:
        """Parts of a piece whose necks show only now that its edge is where it belongs."""
        if piece.rim_only or piece.whole or self._cut_strength <= 0:
            return []
        shape = (piece.mask.shape[0], piece.mask.shape[1])
        if _is_hollow(outline):
            mask = drawn(outline, shape)
            form: np.ndarray | None = cut_by_form(mask, self._least_px2, self._cut_strength, piece.delta)
        else:
            form = cut_between_ovals(outline, shape, self._least_px2)
        if form is None:
            return []
        cut = along_seams(form, piece.delta)
        sizes = np.bincount(cut.ravel())[1:]
        if len(sizes) < 2 or sizes.min() < self._least_px2:
            return []
        masks = [(cut == n).view(np.uint8) for n in range(1, len(sizes) + 1)]
        ragged = min(solidity(part) for part in masks) < _COMPACT
        if ragged and not (len(masks) == 2 and seam_between(masks[0], masks[1], piece.delta)):
            return []
        labels = grown_labels(cut, piece.mask > 0, _FLANK_PX)
        return [
            Piece(
                piece.delta,
                (labels == n).view(np.uint8),
                piece.others | ((labels > 0) & (labels != n)),
                piece.oil_lab,
            )
            for n in range(1, len(sizes) + 1)
        ]

    def outlined(self) -> Outlined:
        """All pieces so far."""
        self._place()
        return Outlined(self._outlines, self._group, self._flags, self._groups)


def together(outlined: dict[int, Outlined]) -> Outlined:
    """What was outlined at several sizes, by how many times larger it was, in px of the picture."""
    outlines: list[np.ndarray] = []
    group: list[int] = []
    flags: list[int] = []
    groups = 0
    for zoom, some in outlined.items():
        outlines += [outline / np.float32(zoom) for outline in some.outlines] if zoom > 1 else some.outlines
        group += [number + groups for number in some.group]
        flags += some.flags
        groups += some.groups
    return Outlined(outlines, group, flags, groups)


def _is_hollow(outline: np.ndarray) -> bool:
    return area(outline) < _FULL * cv2.contourArea(cv2.convexHull(outline.astype(np.float32)))


def _cropped(
    delta: np.ndarray, parts: Parts, other: np.ndarray, n: int, oil_lab: np.ndarray
) -> tuple[Piece, np.ndarray] | None:
    """One piece of a component in a crop of its own, and the crop's corner in that of the component."""
    piece = (parts.labels == n).view(np.uint8)
    x, y, w, h = cv2.boundingRect(piece)
    if not w:
        return None
    m = _MARGIN_PX
    x0, y0 = max(0, x - m), max(0, y - m)
    box = np.s_[y0 : y + h + m, x0 : x + w + m]
    piece = piece[box].copy()
    others = other[box] | ((parts.labels[box] > 0) & (piece == 0))
    cropped = Piece(delta[box], piece, others, oil_lab, n in parts.clear, n in parts.whole)
    return cropped, np.array([x0, y0], np.float32)


def not_inside(outlines: list[np.ndarray], flags: np.ndarray, shape: tuple[int, int]) -> np.ndarray:
    """Indices of the outlines that do not lie inside a larger one (the bright middle of a bubble does).

    Crystals told apart from the bodies they cross are not hidden by these, and hide what touches no other.

    Parameters
    ----------
    outlines : list of (P, 2) ndarray
        K pieces.
    flags : (K,) ndarray of int32
    shape : (int, int)
        Rows and columns of the picture.

    Returns
    -------
    keep : (L,) ndarray of int
    """
    crossing, touching = is_in_grey(flags), (flags & bits("touching")) > 0
    sizes = np.array([area(o) for o in outlines])
    covered = np.zeros(shape, np.uint8)  # 1 by bodies, 2 by crystals
    keep = []
    for i in np.argsort(-sizes, kind="stable"):
        x0, y0 = np.maximum(np.floor(outlines[i].min(axis=0)).astype(int), 0)
        x1, y1 = np.ceil(outlines[i].max(axis=0)).astype(int) + 1
        crop = covered[y0:y1, x0:x1]
        own = np.zeros_like(crop)
        points = np.round((outlines[i] - [x0 + 0.5, y0 + 0.5]) * 16).astype(np.int32)
        cv2.fillPoly(own, [points.reshape(-1, 1, 2)], 1, shift=4)
        count = cv2.countNonZero(own)
        hiding = 2 if crossing[i] else 1 if touching[i] else 3
        if count and cv2.countNonZero(own * (crop & hiding)) / count <= _INSIDE_SHARE:
            keep.append(i)
            crop |= own << int(crossing[i])
    return np.sort(np.array(keep, int))
