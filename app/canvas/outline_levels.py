"""Outlines drawn once into reduced transparent copies, for views that show thousands of pieces at a time."""

from collections.abc import Callable, Sequence

import numpy as np
from PySide6.QtCore import QRectF
from PySide6.QtGui import QColor, QImage, QPainter

from app.canvas.picture_item import wrapped
from app.canvas.style import LineStyle
from measure import outlines

_MARGIN_PX = 3  # of a reduced copy: how far a drawn line reaches beyond its box
_CASED_FROM = 0.5  # size of a copy; in smaller ones a halo would hide the pieces
_MOST_PIXELS = 12_000_000  # a copy larger than this is not kept; the next smaller one serves


class OutlineLevels:
    """Transparent copies of the outlines at full, half, quarter... size, drawn when first needed.

    Attributes
    ----------
    shape : tuple of int
        Rows and columns of the picture.
    """

    def __init__(self, shape: tuple[int, int]) -> None:
        self.shape = shape
        self._arrays: dict[int, np.ndarray] = {}
        self._images: dict[int, QImage] = {}

    def clear(self) -> None:
        """Forget everything drawn."""
        self._arrays.clear()
        self._images.clear()

    def paint(self, painter: QPainter, zoom: float, scene: "OutlineSource") -> None:
        """Draw the copy that suits the zoom."""
        level = self._level_for(zoom)
        if level not in self._images:
            self._draw_level(level, scene)
        painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform, True)
        image = self._images[level]
        # a copy of an odd size ends half a pixel beyond the picture
        size = QRectF(0, 0, image.width() * 2.0**level, image.height() * 2.0**level)
        painter.drawImage(size, image, QRectF(0, 0, image.width(), image.height()))

    def redraw(self, boxes: np.ndarray, scene: "OutlineSource") -> None:
        """Draw again what lies in the given boxes, (K, 4) px, in every copy that exists."""
        for level, array in self._arrays.items():
            for box in boxes:
                self._redraw_part(level, array, box, scene)

    def _level_for(self, zoom: float) -> int:
        level = max(0, round(np.log2(1.0 / max(zoom, 1e-6)) - 0.1))
        while self.shape[0] * self.shape[1] / 4.0**level > _MOST_PIXELS:
            level += 1
        return level

    def _draw_level(self, level: int, scene: "OutlineSource") -> None:
        rows, columns = (-(-side // 2**level) for side in self.shape)
        array = np.zeros((rows, columns, 4), dtype=np.uint8)
        _draw(array, scene, np.arange(len(scene.outlines)), 0.5**level, (0, 0))
        self._arrays[level] = array
        self._images[level] = wrapped(array, opaque=False)

    def _redraw_part(self, level: int, array: np.ndarray, box: np.ndarray, scene: "OutlineSource") -> None:
        factor = 0.5**level
        left, top = np.maximum(np.floor(box[:2] * factor).astype(int) - _MARGIN_PX, 0)
        right, bottom = np.ceil(box[2:] * factor).astype(int) + _MARGIN_PX
        part = array[top:bottom, left:right]
        part[:] = 0
        reach = (
            np.array([left - _MARGIN_PX, top - _MARGIN_PX, right + _MARGIN_PX, bottom + _MARGIN_PX]) / factor
        )
        # a crop of its own, for lines are clipped to the image they are drawn in
        _draw(part, scene, outlines.meeting(scene.box, tuple(reach)), factor, (int(left), int(top)))


class OutlineSource:
    """What the copies are drawn from: outlines, their boxes and the style of each.

    Attributes
    ----------
    outlines : sequence of (P, 2) ndarray
        In picture px.
    box : (K, 4) ndarray
        Bounding boxes.
    group : (K,) ndarray of int
        What decides the style; -1 for a piece that is not shown.
    style : callable
        ``style(group) -> LineStyle``.
    """

    def __init__(
        self,
        shapes: Sequence[np.ndarray],
        box: np.ndarray,
        group: np.ndarray,
        style: Callable[[int], LineStyle],
    ) -> None:
        self.outlines = shapes
        self.box = box
        self.group = group
        self.style = style


def _draw(
    array: np.ndarray, scene: OutlineSource, rows: np.ndarray, factor: float, origin: tuple[int, int]
) -> None:
    for group in np.unique(scene.group[rows]):
        if group < 0:
            continue
        style = scene.style(int(group))
        shapes = [scene.outlines[r] for r in rows[scene.group[rows] == group]]
        if factor >= _CASED_FROM:
            outlines.stroke(array, shapes, _bgra(style.casing), factor=factor, origin_px=origin, width=3)
        outlines.stroke(array, shapes, _bgra(style.colour), factor=factor, origin_px=origin)


def _bgra(colour: QColor) -> tuple[int, int, int, int]:
    share = colour.alphaF()
    blue, green, red = (int(c * share) for c in (colour.blue(), colour.green(), colour.red()))
    return blue, green, red, colour.alpha()
