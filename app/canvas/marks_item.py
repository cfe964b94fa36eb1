"""Lines, points, areas and words laid over a picture: graduations, clicked points, zones, lengths."""

from dataclasses import dataclass, field

import numpy as np
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFont, QPainter, QPolygonF
from PySide6.QtWidgets import QGraphicsItem

from app.canvas.style import cosmetic_pen

_CASING = QColor(255, 255, 255, 190)
_INK = QColor("#b0125f")
_ZONE_LINE = QColor("#141210")
_ZONE_FILL = QColor(20, 18, 16, 120)
_POINT_RADIUS = 7


@dataclass(frozen=True)
class Marks:
    """What to lay over the picture, all in picture px.

    Attributes
    ----------
    lines : (K, 4) ndarray
        x0, y0, x1, y1 of each line.
    points : (P, 2) ndarray
        Places marked by a cross in a ring.
    labels : sequence of (x, y, text)
        Words beside a place.
    colour : str
        Of lines, points and words.
    """

    lines: np.ndarray = field(default_factory=lambda: np.zeros((0, 4)))
    points: np.ndarray = field(default_factory=lambda: np.zeros((0, 2)))
    labels: tuple[tuple[float, float, str], ...] = ()
    colour: str = _INK.name()


class MarksItem(QGraphicsItem):
    """Paints `Marks` and excluded zones with lines of constant width on screen."""

    def __init__(self) -> None:
        super().__init__()
        self._marks = Marks()
        self._zones: list[QPolygonF] = []
        self._rect = QRectF()

    def set_rect(self, rect: QRectF) -> None:
        """Take the rectangle of the picture."""
        self.prepareGeometryChange()
        self._rect = rect

    def set_marks(self, marks: Marks) -> None:
        """Show these marks in place of the last ones."""
        self._marks = marks
        self.update()

    def set_zones(self, zones: list[QPolygonF]) -> None:
        """Show these excluded zones, shaded."""
        self._zones = zones
        self.update()

    def boundingRect(self) -> QRectF:
        """Qt: the picture and a margin for marks beyond its edge."""
        return self._rect.adjusted(-50, -50, 50, 50)

    def paint(self, painter: QPainter, option: object, widget: object = None) -> None:
        """Qt: zones first, then lines, points and words."""
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, True)
        painter.setPen(cosmetic_pen(_ZONE_LINE, 1.5))
        painter.setBrush(_ZONE_FILL)
        for zone in self._zones:
            painter.drawPolygon(zone)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        colour = QColor(self._marks.colour)
        for pen in (cosmetic_pen(_CASING, 3.5), cosmetic_pen(colour, 1.5)):
            painter.setPen(pen)
            for x0, y0, x1, y1 in np.asarray(self._marks.lines, dtype=float).reshape(-1, 4):
                painter.drawLine(QPointF(x0, y0), QPointF(x1, y1))
        self._paint_on_screen(painter, colour)

    def _paint_on_screen(self, painter: QPainter, colour: QColor) -> None:
        transform = painter.worldTransform()
        painter.save()
        painter.resetTransform()
        for x, y in np.asarray(self._marks.points, dtype=float).reshape(-1, 2):
            at = transform.map(QPointF(x, y))
            for pen in (cosmetic_pen(_CASING, 3.5), cosmetic_pen(colour, 1.5)):
                painter.setPen(pen)
                _ring(painter, at)
        font = QFont(painter.font())
        font.setBold(True)
        painter.setFont(font)
        for x, y, text in self._marks.labels:
            plate_text(painter, transform.map(QPointF(x, y)) + QPointF(10, -10), text)
        painter.restore()


def plate_text(painter: QPainter, at: QPointF, text: str) -> None:
    """Write a few words on a dark plate whose lower left corner is ``at`` (device px)."""
    size = painter.fontMetrics().boundingRect(text)
    plate = QRectF(at.x(), at.y() - size.height() - 6, size.width() + 14, size.height() + 6)
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(QColor(20, 18, 16, 205))
    painter.drawRoundedRect(plate, 4, 4)
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.setPen(QColor("#ffffff"))
    painter.drawText(plate, Qt.AlignmentFlag.AlignCenter, text)


def _ring(painter: QPainter, at: QPointF) -> None:
    r = _POINT_RADIUS
    painter.drawEllipse(at, r, r)
    for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):
        painter.drawLine(at + QPointF(dx * 2, dy * 2), at + QPointF(dx * (r + 3), dy * (r + 3)))
