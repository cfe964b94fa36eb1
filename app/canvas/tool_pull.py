"""What tools share that pull from one place to another: the two ends, and how they are drawn."""

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QPainter

from app.canvas.style import cosmetic_pen
from app.canvas.tool import Modifiers, Tool
from app.canvas.tool_view import ToolView

_BAND_FILL, _BAND_LINE = QColor(255, 255, 255, 50), QColor(255, 255, 255)
_INK, _CASING = QColor("#b0125f"), QColor(255, 255, 255, 200)


class PullTool(Tool):
    """A pull from where the button went down; what it is for is told by `pulled`."""

    def __init__(self) -> None:
        self._from: QPointF | None = None
        self._to = QPointF()

    def pulled(self, view: ToolView, start: QPointF, end: QPointF, modifiers: Modifiers) -> None:
        """Use the pull; both ends in picture px."""
        raise NotImplementedError

    def press(self, view: ToolView, at: QPointF, modifiers: Modifiers) -> None:
        """Begin here."""
        self._from = self._to = at

    def move(self, view: ToolView, at: QPointF, held: bool) -> None:
        """Lead the end on."""
        if held:
            self._to = at

    def release(self, view: ToolView, at: QPointF, modifiers: Modifiers) -> None:
        """Hand both ends over."""
        start, self._from = self._from, None
        if start is not None:
            self.pulled(view, start, at, modifiers)

    def cancel(self) -> bool:
        """Drop the pull."""
        had, self._from = self._from is not None, None
        return had

    def paint(self, painter: QPainter, view: ToolView) -> None:
        """Draw the rectangle between the ends."""
        if self._from is not None:
            paint_band(painter, QRectF(view.to_view(self._from), view.to_view(self._to)).normalized())


def paint_band(painter: QPainter, rect: QRectF) -> None:
    """Draw a rectangle being stretched, in view px."""
    painter.setBrush(_BAND_FILL)
    painter.setPen(cosmetic_pen(QColor(0, 0, 0, 140), 2.5))
    painter.drawRect(rect)
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.setPen(cosmetic_pen(_BAND_LINE, 1.0))
    painter.drawRect(rect)


def paint_straight(painter: QPainter, start: QPointF, end: QPointF, *, ends: bool = False) -> None:
    """Draw a straight line being pulled, in view px, with rings at its ends if wanted."""
    for pen in (cosmetic_pen(_CASING, 4), cosmetic_pen(_INK, 1.5)):
        painter.setPen(pen)
        painter.drawLine(start, end)
        for at in (start, end) if ends else ():
            painter.drawEllipse(at, 4, 4)
