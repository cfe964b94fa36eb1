"""Boxes of what was drawn into a picture, and whether its parts are made of thin lines, as letters are."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import cv2
import numpy as np

from measure.model import Picture

_BAND = 0.15  # of the picture's rows, under its upper and over its lower edge, where cameras write
_MARGIN_PX = 3  # about words
_THIN = 0.4  # width of a letter's lines over its height; half a disc's is 0.5


@dataclass(frozen=True, eq=False)
class Part:
    """The box of a connected part, px, ends without."""

    left: int
    top: int
    right: int
    bottom: int

    @property
    def height(self) -> int:
        """Rows it spans."""
        return self.bottom - self.top

    @property
    def width(self) -> int:
        """Columns it spans."""
        return self.right - self.left


def is_thin(area_px2: float, around_px: float, height_px: float) -> bool:
    """Whether a part of some area and length of outline is made of lines as thin as those of letters."""
    return bool(2.0 * area_px2 <= _THIN * height_px * max(around_px, 1.0))


def level_box(left: float, top: float, right: float, bottom: float) -> np.ndarray:
    """Corners of a level rectangle, (4, 2) ndarray of float, x and y in px."""
    return np.array([[left, top], [right, top], [right, bottom], [left, bottom]], float)


def box_round(parts: Iterable[Part], margin_px: int) -> np.ndarray:
    """Corners of the level rectangle round some parts and a margin, (4, 2) ndarray of float."""
    sides = np.array([(p.left, p.top, p.right, p.bottom) for p in parts])
    low, high = sides[:, :2].min(axis=0) - margin_px, sides[:, 2:].max(axis=0) + margin_px
    return level_box(*low, *high)


def boxes_near_edges(
    picture: Picture,
    least_px: int,
    boxes_of: Callable[[np.ndarray], list[tuple[int, int, int, int]]],
    most_cols: int | None = None,
) -> tuple[np.ndarray, ...]:
    """Find boxes in the bands of a picture in which cameras write.

    Parameters
    ----------
    picture : Picture
    least_px : int
        Height of the smallest words that are looked for; a band has two such rows at least.
    boxes_of : callable
        Takes a band, (M, N, 3) of uint8; returns boxes in it: left, top, right, bottom, ends without.
    most_cols : int, optional
        Columns to which a wider picture is reduced first.

    Returns
    -------
    boxes : tuple of (4, 2) ndarray of float
        With a margin, x and y in px, corner of the first pixel at 0, 0.
    """
    pixels = picture.pixels if picture.pixels.dtype == np.uint8 else (picture.pixels >> 8).astype(np.uint8)
    rows, cols = pixels.shape[:2]
    deep = round(_BAND * rows)
    if deep < 2 * least_px or cols < 8 * least_px:
        return ()
    share = min(1.0, (most_cols or cols) / cols)
    found = []
    for first in (0, rows - deep):
        band = pixels[first : first + deep]
        if share < 1.0:
            band = cv2.resize(band, None, fx=share, fy=share, interpolation=cv2.INTER_AREA)
        for left, top, right, bottom in np.array(boxes_of(band), float).reshape(-1, 4) / share:
            low = np.maximum([left - _MARGIN_PX, first + top - _MARGIN_PX], 0)
            high = np.minimum([right + _MARGIN_PX, first + bottom + _MARGIN_PX], [cols, rows])
            found.append(level_box(*low, *high))
    return tuple(found)
