"""Lines, points, areas and words laid over a picture: graduations, clicked points, zones, lengths."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from PySide6.QtCore import QPointF, QRectF, QSizeF, Qt
from PySide6.QtGui import QColor, QFont, QPainter, QPolygonF
from PySide6.QtWidgets import QGraphicsItem, QWidget

from app.canvas.style import cosmetic_pen

_CASING = QColor(255, 255, 255, 190)
_INK = QColor("#8f0d4c")
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

    def paint(self, painter: QPainter, option: object, widget: QWidget | None = None) -> None:
        """Qt: zones first, then lines, points and words."""
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, True)
        painter.setBrush(_ZONE_FILL)
        for zone in self._zones:
            painter.setPen(cosmetic_pen(_CASING, 3.5))
            painter.drawPolygon(zone)
            painter.setPen(cosmetic_pen(_ZONE_LINE, 1.5))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawPolygon(zone)
            painter.setBrush(_ZONE_FILL)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        colour = QColor(self._marks.colour)
        for pen in (cosmetic_pen(_CASING, 3.5), cosmetic_pen(colour, 1.5)):
            painter.setPen(pen)
            for x0, y0, x1, y1 in np.asarray(self._marks.lines, dtype=float).reshape(-1, 4):
                painter.drawLine(QPointF(x0, y0), QPointF(x1, y1))
        self._paint_on_screen(painter, colour, QRectF(widget.rect() if widget else painter.viewport()))

    def _paint_on_screen(self, painter: QPainter, colour: QColor, seen: QRectF) -> None:
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
        places = [transform.map(QPointF(x, y)) for x, y, _ in self._marks.labels]
        sizes = [_plate_size(painter, text) for _, _, text in self._marks.labels]
        for plate, (_, _, text) in zip(plate_places(places, sizes, seen), self._marks.labels, strict=True):
            _paint_plate(painter, plate, text)
        painter.restore()


def plate_places(at: Sequence[QPointF], sizes: Sequence[QSizeF], seen: QRectF) -> list[QRectF]:
    """Return where the plates of words go so that none covers another or leaves the view, all device px.

    Each stands up and to the right of its place, else at another of its corners, else further away.
    """
    taken: list[QRectF] = []
    for place, size in zip(at, sizes, strict=True):
        choices = [
            QRectF(QPointF(place.x() + dx, place.y() + dy), size)
            for step in range(4)
            for dy in (-10 - (step + 1) * size.height(), 10 + step * size.height())
            for dx in (10, -10 - size.width())
        ]
        free = [c for c in choices if not any(c.intersects(other) for other in taken)]
        taken.append(next((c for c in free if seen.contains(c)), (free or choices)[0]))
    return taken


def plate_text(painter: QPainter, at: QPointF, text: str) -> None:
    """Write a few words on a dark plate whose lower left corner is ``at`` (device px)."""
    size = _plate_size(painter, text)
    _paint_plate(painter, QRectF(at - QPointF(0, size.height()), size), text)


def _plate_size(painter: QPainter, text: str) -> QSizeF:
    size = painter.fontMetrics().boundingRect(text)
    return QSizeF(size.width() + 14, size.height() + 6)


def _paint_plate(painter: QPainter, plate: QRectF, text: str) -> None:
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
