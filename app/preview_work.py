"""What a preview finds with trial settings: plain functions for a worker, no Qt, heavy imports inside."""

from dataclasses import dataclass, replace
from typing import Any
from weakref import ref

import numpy as np

from measure.model import FieldSettings
from measure.progress import SILENT, Progress

Box = tuple[float, float, float, float]
PixelBox = tuple[int, int, int, int]
# no more than these are looked at first and last
FIRST_MPX, PREVIEW_MPX = 0.15, 2.0
_LEAST_MPX, _LESS, _MORE = 0.015, 0.7, 8.0  # least of a first look; steps to smaller and larger ones
_SEEN, _INSIDE, _FIRST_WORK = 7.0, 20, 1000  # noise units of a piece; see `_work`
_KEPT_PARTS = 4  # the looks at one view


@dataclass(frozen=True)
class Preview:
    """Outlines of a part of a field for trial settings.

    Attributes
    ----------
    outlines : list of (P, 2) ndarray
        In px of the whole picture.
    box : tuple of int
        Left, top, right, bottom of the part, px.
    whole : bool
        The part is all that was asked for.
    """

    outlines: list[np.ndarray]
    box: PixelBox
    whole: bool


class LevelledParts:
    """Parts of one field, freed of what lamps and lenses did: no setting changes that, so it is told once.

    Previews that nobody waits for may run beside the newest one; each finds its own part all the same.
    """

    def __init__(self) -> None:
        self._kept: tuple[Any, dict[PixelBox, Any]] = (lambda: None, {})

    def of(self, light: Any, box: PixelBox) -> Any:
        """The light of a part of a field, left, top, right, bottom in px."""
        from measure.field.ground.plate_shade import part_of
        from measure.field.levelled import levelled

        whose, parts = self._kept
        if whose() is not light:
            parts = {}
        if box not in parts:
            left, top, right, bottom = box
            part = levelled(part_of(light, np.s_[top:bottom, left:right])).level
            # a copy, so that a field left behind is not kept for a part of it
            mask = None if part.zone_mask is None else part.zone_mask.copy()
            delta, distance = part.delta.copy(), part.solid_distance.copy()
            part = replace(part, delta=delta, solid_distance=distance, zone_mask=mask)
            parts = dict([*parts.items(), (box, part)][-_KEPT_PARTS:])
            self._kept = (ref(light, self._forget), parts)
        return parts[box]

    def _forget(self, gone: Any) -> None:
        """Let the parts go with their field."""
        if self._kept[0] is gone:
            self._kept = (lambda: None, {})


_PARTS = LevelledParts()


def looks_mpx(light: Any, wanted: Box) -> tuple[float, ...]:
    """How much of the wanted part of a field to look at first, next and last, Mpx.

    The first look answers within about 0.1 s, unless pieces are large and mottled.

    Parameters
    ----------
    light : Light
    wanted : tuple of float
        Left, top, right, bottom, px.
    """
    left, top, right, bottom = _middle(light, wanted, FIRST_MPX)[0]
    pieces = light.solid_distance[top:bottom, left:right] > _SEEN
    looks = [FIRST_MPX]
    while pieces.size > 1e6 * _LEAST_MPX and _work(pieces) > _FIRST_WORK:
        rows, cols = (round(length * (1 - _LESS**0.5) / 2) for length in pieces.shape)
        pieces = pieces[rows : pieces.shape[0] - rows, cols : pieces.shape[1] - cols]
        looks[0] = pieces.size / 1e6
    while looks[-1] * _MORE < PREVIEW_MPX / 4:
        looks.append(looks[-1] * _MORE)
    return (*looks, PREVIEW_MPX)


def _work(pieces: np.ndarray) -> float:
    """What the time of a look goes with: sides of pixels along outlines, and a share of the pixels within."""
    steps = ((pieces[1:], pieces[:-1]), (pieces[:, 1:], pieces[:, :-1]))
    return sum(np.count_nonzero(a != b) for a, b in steps) + np.count_nonzero(pieces) / _INSIDE


def _middle(light: Any, wanted: Box, most_mpx: float) -> tuple[PixelBox, bool]:
    """The middle of the wanted part of a field, no larger than that, and whether it is all of it."""
    height, width = light.solid_distance.shape
    left, top = max(0, int(wanted[0])), max(0, int(wanted[1]))
    right, bottom = max(left, min(width, int(wanted[2]) + 1)), max(top, min(height, int(wanted[3]) + 1))
    share = min(1.0, (most_mpx * 1e6 / max((right - left) * (bottom - top), 1)) ** 0.5)
    cut_x, cut_y = round((right - left) * (1 - share) / 2), round((bottom - top) * (1 - share) / 2)
    return (left + cut_x, top + cut_y, right - cut_x, bottom - cut_y), share == 1.0


def preview(
    light: Any,
    settings: FieldSettings,
    um_per_px: float,
    wanted: Box,
    most_mpx: float = PREVIEW_MPX,
    progress: Progress = SILENT,
) -> Preview:
    """Find pieces in the wanted part of a field, or in its middle when it is large.

    Parameters
    ----------
    wanted : tuple of float
        Left, top, right, bottom, px.
    most_mpx : float
        How much of it is looked at.
    """
    from measure.field.basics.outline import area
    from measure.field.components.find import find_pieces
    from measure.field.limits import finest_px, smallest_px

    (left, top, right, bottom), whole = _middle(light, wanted, most_mpx)
    if right - left < 8 or bottom - top < 8:
        return Preview([], (left, top, right, bottom), True)
    part = _PARTS.of(light, (left, top, right, bottom))
    limit = smallest_px(settings, um_per_px)
    found = find_pieces(part, limit, settings, progress, finest_px=finest_px(limit))
    shift = np.array([left, top], np.float32)
    # smaller ones are found too, but only to be listed as below the limit
    counted = [o + shift for o in found.outlines if area(o) >= np.pi / 4 * limit**2]
    return Preview(counted, (left, top, right, bottom), whole)
