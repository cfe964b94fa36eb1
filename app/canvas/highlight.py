"""Pieces that stand out: chosen, or lit up by a chart; fast for a few and for all ten thousand."""

from collections.abc import Callable

import numpy as np
from PySide6.QtCore import Qt
from PySide6.QtGui import QColor, QPainter, QPolygonF

from app.canvas.outline_levels import OutlineLevels, OutlineSource
from app.canvas.style import LineStyle, cosmetic_pen

FEW = (
    100  # pieces in view; up to here a wide line and no filling, for the colour of a piece is what one judges
)
_MANY = 400  # pieces in view; beyond, a drawn-once copy
_EDGE = QColor(255, 255, 255, 210)


class Highlight:
    """A set of pieces drawn in one bright colour.

    Attributes
    ----------
    labels : (K,) ndarray of int
    wide : bool
        A few are drawn with a wide line instead of a filling.
    """

    def __init__(self, colour: QColor, fill: QColor, *, wide: bool) -> None:
        self.labels = np.zeros(0, dtype=int)
        self.wide = wide
        self._colour, self._fill = colour, fill
        self._style = LineStyle(colour, colour)
        self._levels = OutlineLevels((0, 0))

    def set_size(self, shape: tuple[int, int]) -> None:
        """Take the rows and columns of the picture."""
        self._levels = OutlineLevels(shape)

    def set_labels(self, labels: np.ndarray) -> None:
        """Let other pieces stand out."""
        self.labels = labels
        self._levels.clear()

    def rows_among(self, rows: np.ndarray, labels: np.ndarray) -> np.ndarray:
        """Return those of ``rows`` whose piece stands out; ``labels`` are those of all rows."""
        return rows[np.isin(labels[rows], self.labels)] if len(self.labels) else rows[:0]

    def paint(
        self,
        painter: QPainter,
        zoom: float,
        source: OutlineSource,
        labels: np.ndarray,
        rows: np.ndarray,
        polygon_of: Callable[[int, float], QPolygonF],
    ) -> None:
        """Draw what stands out among the rows in view."""
        found = self.rows_among(rows, labels)
        if not len(found):
            return
        if len(found) > _MANY:
            group = np.where(np.isin(labels, self.labels) & (source.group >= 0), 0, -1)
            marked = OutlineSource(source.outlines, source.box, group, lambda _group: self._style)
            self._levels.paint(painter, zoom, marked)
            return
        wide = self.wide and len(found) <= FEW
        painter.setBrush(Qt.BrushStyle.NoBrush if wide else self._fill)
        pens = ((_EDGE, 7.0), (self._colour, 5.0)) if wide else ((self._colour, 1.0),)
        for colour, width in pens:
            painter.setPen(cosmetic_pen(colour, width))
            for row in found:
                painter.drawPolygon(polygon_of(int(row), zoom))
        painter.setBrush(Qt.BrushStyle.NoBrush)
