"""Boxes of what was drawn into a picture, and whether its parts are made of thin lines, as letters are."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

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
