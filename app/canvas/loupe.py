"""A magnifier in the corner of a picture: the pixels about the pointer with cross-hairs."""

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QImage, QPainter, QPaintEvent
from PySide6.QtWidgets import QWidget

from app import theme
from app.canvas.style import cosmetic_pen

_SIDE, _TIMES = 168, 8


class Loupe(QWidget):
    """Shows a square of the picture magnified eight times; it never takes the mouse."""

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self._image: QImage | None = None
        self._at = QPointF()
        self.setFixedSize(_SIDE, _SIDE)
        self.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        self.setObjectName("loupe")
        self.setAccessibleName("Larger view about the pointer")
        self.hide()

    def look(self, image: QImage | None, x_px: float, y_px: float) -> None:
        """Show the place x, y of the picture; without a picture, hide."""
        self._image, self._at = image, QPointF(x_px, y_px)
        self.setVisible(image is not None)
        self.update()

    def put_away_from(self, at: QPointF) -> None:
        """Stand in the upper right corner of the parent, or upper left when the pointer is there."""
        margin, room = 12, self.parentWidget()
        if room is None:
            return
        right = room.width() - _SIDE - margin
        near = at.x() > right - margin and at.y() < _SIDE + 2 * margin
        self.move(margin if near else right, margin)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Qt: the magnified pixels, cross-hairs and a border."""
        painter = QPainter(self)
        room = QRectF(self.rect())
        painter.fillRect(room, theme.current().colour("picture"))
        if self._image is not None:
            half = _SIDE / _TIMES / 2
            source = QRectF(self._at.x() - half, self._at.y() - half, 2 * half, 2 * half)
            inside = source.intersected(QRectF(self._image.rect()))
            target = QRectF(
                (inside.left() - source.left()) * _TIMES,
                (inside.top() - source.top()) * _TIMES,
                inside.width() * _TIMES,
                inside.height() * _TIMES,
            )
            painter.drawImage(target, self._image, inside)
        middle = room.center()
        for colour, width in ((QColor(255, 255, 255, 150), 3), (QColor("#b0125f"), 1)):
            painter.setPen(cosmetic_pen(colour, width))
            for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):
                painter.drawLine(
                    middle + QPointF(dx * 7, dy * 7), middle + QPointF(dx * _SIDE / 2, dy * _SIDE / 2)
                )
        painter.setPen(cosmetic_pen(theme.current().colour("edge"), 2))
        painter.drawRect(room.adjusted(1, 1, -1, -1))
