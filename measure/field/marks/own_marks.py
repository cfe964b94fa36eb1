"""Bars, words and lines drawn into a picture: left out by themselves, and said with where they stand."""

import numpy as np

from measure.field.ground.light import zone_mask
from measure.field.marks.oil_edge import oil_edge_zones
from measure.field.marks.surround import COVERED, border_zones
from measure.model import Picture
from measure.scale.blurred_marks import blurred_marks
from measure.scale.drawn_marks import find_drawn
from measure.scale.drawn_strip import drawn_strips
from measure.scale.drawn_words import compressed_words
from measure.scale.glowing_words import glowing_words

_SAME = 0.92  # share of a box found by its form that exact tones found already
_SLACK_PX = 1.0  # by which boxes of one mark found in two ways differ
_NAMED = 6  # marks that are named by their place
MARKS = "A bar, words or a line drawn into the picture"  # how what is said of them begins


def mark_zones(picture: Picture, zones: tuple[np.ndarray, ...] = ()) -> tuple[np.ndarray, ...]:
    """Boxes of what was drawn into a picture and is not left out yet.

    Parameters
    ----------
    picture : Picture
    zones : tuple of (K, 2) ndarray
        What is left out already, x and y in px.

    Returns
    -------
    zones : tuple of (4, 2) ndarray of float
        x and y in px, corner of the first pixel at 0, 0.
    """
    marks = _all_marks(picture)
    shape = picture.pixels.shape[:2]
    known = zone_mask(shape, zones) if marks else None
    if known is None:
        return marks
    masks = [zone_mask(shape, (mark,)) for mark in marks]
    return tuple(
        mark
        for mark, mask in zip(marks, masks, strict=True)
        if mask is not None and mask.any() and known[mask > 0].mean() < COVERED
    )


def _all_marks(picture: Picture) -> tuple[np.ndarray, ...]:
    """Strips of words along an edge, and marks that stand in none of them."""
    strips = drawn_strips(picture)
    alone = [mark for mark in find_drawn(picture).areas if not _in_any(mark, strips)]
    words = [box for box in compressed_words(picture) if not _in_any(box, strips)]
    alone += [box for box in words if not any(_meet(box, mark) for mark in alone)]
    glowing = [box for box in glowing_words(picture) if not _in_any(box, strips)]
    alone += [box for box in glowing if not any(_meet(box, mark) for mark in alone)]
    blurred = [box for box in blurred_marks(picture) if not _in_any(box, strips)]
    if not blurred:
        return (*strips, *alone)
    shape = picture.pixels.shape[:2]
    exact = zone_mask(shape, tuple(alone))
    masks = [zone_mask(shape, (box,)) for box in blurred]
    more = [
        box
        for box, mask in zip(blurred, masks, strict=True)
        if mask is not None and (exact is None or exact[mask > 0].mean() < _SAME)
    ]
    size = np.array([picture.width_px, picture.height_px])
    kept = [mark for mark in alone if not any(_within(mark, box) for box in more)]
    return (*strips, *kept, *(np.clip(box, 0, size) for box in more))


def _in_any(mark: np.ndarray, strips: tuple[np.ndarray, ...]) -> bool:
    """Whether the middle of a mark stands in the rows of a strip."""
    return any(low[1] <= mark[:, 1].mean() <= high[1] for low, high in (s[[0, 2]] for s in strips))


def _within(mark: np.ndarray, box: np.ndarray) -> bool:
    (low, high), (least, most) = ((m.min(axis=0), m.max(axis=0)) for m in (mark, box))
    return bool((low >= least - _SLACK_PX).all() and (high <= most + _SLACK_PX).all())


def _meet(one: np.ndarray, other: np.ndarray) -> bool:
    """Whether the boxes of two marks have a place in common."""
    low, high = np.maximum(one.min(axis=0), other.min(axis=0)), np.minimum(one.max(axis=0), other.max(axis=0))
    return bool((low < high).all())


def zones_by_itself(picture: Picture, zones: tuple[np.ndarray, ...] = ()) -> tuple[np.ndarray, ...]:
    """All that is left out of a picture without being asked: the border, drawn marks, glass beyond the oil.

    Parameters
    ----------
    picture : Picture
    zones : tuple of (K, 2) ndarray
        What is left out already, x and y in px.
    """
    border = border_zones(picture, zones)
    marks = mark_zones(picture, (*zones, *border))
    return (*border, *marks, *oil_edge_zones(picture, (*zones, *border, *marks)))


def are_by_itself(picture: Picture, zones: tuple[np.ndarray, ...]) -> list[bool]:
    """Whether each area is one that is left out without being asked.

    Parameters
    ----------
    picture : Picture
    zones : tuple of (K, 2) ndarray
        What is left out, x and y in px.
    """
    shape = picture.pixels.shape[:2]
    own = zone_mask(shape, zones_by_itself(picture)) if zones else None
    masks = [zone_mask(shape, (np.asarray(zone, float),)) for zone in zones]
    return [
        own is not None and mask is not None and bool(mask.any()) and bool(own[mask > 0].mean() >= COVERED)
        for mask in masks
    ]


def marks_note(marks: tuple[np.ndarray, ...]) -> str:
    """Return what is said of drawn marks left out of a picture."""
    return f"{MARKS} is left out, nothing is counted there: {_places(marks)} px (left, top, right, bottom)."


def counted_marks_note(
    marks: tuple[np.ndarray, ...], zones: tuple[np.ndarray, ...], shape: tuple[int, int]
) -> str:
    """Return what is said of drawn marks that count as part of the field.

    Parameters
    ----------
    marks, zones : tuple of (K, 2) ndarray
        Marks, and areas left out by hand, which may hold a part of a mark; x and y in px.
    shape : (int, int)
        Rows and columns of the picture.
    """
    known = zone_mask(shape, zones)
    masks = [zone_mask(shape, (mark,)) for mark in marks]
    begun = [known is not None and m is not None and bool(known[m > 0].any()) for m in masks]
    whole = tuple(mark for mark, part in zip(marks, begun, strict=True) if not part)
    parts = tuple(mark for mark, part in zip(marks, begun, strict=True) if part)
    said = []
    if whole:
        at = f"it stands at {_places(whole)} px."
        said.append(f"{MARKS} counts as part of the field, as was asked for; {at}")
    if parts:
        said.append(
            f"{MARKS} is left out by hand but for a part outside of the area left out, which counts, as was "
            f"asked for; all of it stands at {_places(parts)} px."
        )
    return " ".join(said)


def _places(marks: tuple[np.ndarray, ...]) -> str:
    more = f"; and {len(marks) - _NAMED} more" if len(marks) > _NAMED else ""
    return "; ".join(rectangle(mark) for mark in marks[:_NAMED]) + more


def rectangle(zone: np.ndarray) -> str:
    """Return the box of an area in px as the option --exclude takes it."""
    (left, top), (right, bottom) = np.floor(zone.min(axis=0)), np.ceil(zone.max(axis=0))
    return f"{left:.0f},{top:.0f},{right:.0f},{bottom:.0f}"
