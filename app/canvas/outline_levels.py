"""Outlines drawn once into reduced transparent copies, for views that show thousands of pieces at a time."""

import time
from collections.abc import Callable, Iterator, Sequence

import numpy as np
from PySide6.QtCore import QRectF
from PySide6.QtGui import QColor, QImage, QPainter

from app.canvas.picture_item import wrapped
from app.canvas.style import LineStyle
from measure import outlines

_MARGIN_PX = 3  # of a reduced copy: how far a drawn line reaches beyond its box
_CASED_FROM = 0.5  # size of a copy; in smaller ones a halo would hide the pieces
_MOST_PIXELS = 12_000_000  # a copy larger than this is not kept; the next smaller one serves
_STROKES = 20  # outlines drawn at a time, in about a millisecond
_CLEARED_ROWS = 96  # of a copy, cleared at a time


class OutlineLevels:
    """Transparent copies of the outlines at full, half, quarter... size.

    The first is drawn when it is needed. Those that zooming needs next are drawn ahead, a little between each
    two frames; until one is ready its neighbour serves.

    Attributes
    ----------
    shape : tuple of int
        Rows and columns of the picture.
    """

    def __init__(self, shape: tuple[int, int]) -> None:
        self.shape = shape
        self._arrays: dict[int, np.ndarray] = {}
        self._images: dict[int, QImage] = {}
        self._begun: tuple[int, np.ndarray, Iterator[None]] | None = None

    def clear(self) -> None:
        """Forget everything drawn."""
        self._arrays.clear()
        self._images.clear()
        self._begun = None

    def paint(self, painter: QPainter, zoom: float, scene: "OutlineSource") -> None:
        """Draw the copy that suits the zoom, or the one nearest to it until that is ready."""
        level = self._level_for(zoom)
        if not self._images:
            self._draw_level(level, scene)
        level = min(self._images, key=lambda drawn: (abs(drawn - level), drawn))
        painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform, True)
        image = self._images[level]
        # a copy of an odd size ends half a pixel beyond the picture
        size = QRectF(0, 0, image.width() * 2.0**level, image.height() * 2.0**level)
        painter.drawImage(size, image, QRectF(0, 0, image.width(), image.height()))

    @property
    def any(self) -> bool:
        """Whether there is a copy at all."""
        return bool(self._images)

    def drawn(self, zoom: float) -> bool:
        """Whether the copy that suits a zoom is ready."""
        return self._level_for(zoom) in self._images

    def to_draw(self, zoom: float) -> int | None:
        """Return the copy to be drawn next: that which suits the zoom, then its neighbours; None for none."""
        level = self._level_for(zoom)
        # the larger one first, for who sees thousands of pieces will rather go nearer
        wanted = (level, max(level - 1, self._level_for(1.0)), level + 1)
        return next((n for n in wanted if n not in self._images), None)

    def draw_ahead(self, zoom: float, scene: "OutlineSource", end: float) -> bool:
        """Draw a part of the next copy until a time of the clock; return whether there is more to draw."""
        level = self.to_draw(zoom)
        if level is None:
            return False
        if self._begun is None or self._begun[0] != level:
            array = np.empty((*self._size(level), 4), dtype=np.uint8)
            self._begun = level, array, _cleared_and_drawn(array, scene, 0.5**level)
        _, array, strokes = self._begun
        for _ in strokes:
            if time.perf_counter() > end:
                return True
        self._keep(level, array)
        return self.to_draw(zoom) is not None

    def redraw(self, boxes: np.ndarray, scene: "OutlineSource") -> None:
        """Draw again what lies in the given boxes, (K, 4) px, in every copy that exists."""
        self._begun = None
        for level, array in self._arrays.items():
            for box in boxes:
                self._redraw_part(level, array, box, scene)

    def _level_for(self, zoom: float) -> int:
        level = max(0, round(np.log2(1.0 / max(zoom, 1e-6)) - 0.1))
        while self.shape[0] * self.shape[1] / 4.0**level > _MOST_PIXELS:
            level += 1
        return level

    def _draw_level(self, level: int, scene: "OutlineSource") -> None:
        array = np.zeros((*self._size(level), 4), dtype=np.uint8)
        _draw(array, scene, np.arange(len(scene.outlines)), 0.5**level, (0, 0))
        self._keep(level, array)

    def _size(self, level: int) -> tuple[int, int]:
        return -(-self.shape[0] // 2**level), -(-self.shape[1] // 2**level)

    def _keep(self, level: int, array: np.ndarray) -> None:
        self._arrays[level] = array
        self._images[level] = wrapped(array, opaque=False)
        self._begun = None

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
    for _ in _strokes(array, scene, rows, factor, origin):
        pass


def _cleared_and_drawn(array: np.ndarray, scene: OutlineSource, factor: float) -> Iterator[None]:
    """Clear a new copy and draw all outlines, a part at a time: memory taken anew is slow to be had."""
    for first in range(0, len(array), _CLEARED_ROWS):
        array[first : first + _CLEARED_ROWS] = 0
        yield
    yield from _strokes(array, scene, np.arange(len(scene.outlines)), factor, (0, 0))


def _strokes(
    array: np.ndarray, scene: OutlineSource, rows: np.ndarray, factor: float, origin: tuple[int, int]
) -> Iterator[None]:
    """Draw outlines, some at a time."""
    for group in np.unique(scene.group[rows]):
        if group < 0:
            continue
        style = scene.style(int(group))
        members = rows[scene.group[rows] == group]
        lines = [(style.casing, 3)] * (factor >= _CASED_FROM) + [(style.colour, 1)]
        for colour, width in lines:
            for start in range(0, len(members), _STROKES):
                shapes = [scene.outlines[r] for r in members[start : start + _STROKES]]
                outlines.stroke(array, shapes, _bgra(colour), factor=factor, origin_px=origin, width=width)
                yield


def _bgra(colour: QColor) -> tuple[int, int, int, int]:
    share = colour.alphaF()
    blue, green, red = (int(c * share) for c in (colour.blue(), colour.green(), colour.red()))
    return blue, green, red, colour.alpha()
