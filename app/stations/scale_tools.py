"""Marking lines of a ruling by hand: click them one by one, or drag across many."""

from collections.abc import Callable

from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QColor, QPainter

from app.canvas.style import cosmetic_pen
from app.canvas.tool import Modifiers, Tool
from app.canvas.view import PictureView

_INK, _CASING = QColor("#b0125f"), QColor(255, 255, 255, 200)


class ClickLines(Tool):
    """Mark one line a click.

    Parameters
    ----------
    mark : callable
        ``mark(x, y, zoom)``, picture px and screen px a picture px.
    """

    name = "click"
    hint = (
        "Click a line near one end of the ruling, then one far away. Each point moves to the line beneath it."
    )
    drags = False

    def __init__(self, mark: Callable[[float, float, float], None]) -> None:
        self._mark = mark
        self._down = False

    def press(self, view: PictureView, at: QPointF, modifiers: Modifiers) -> None:
        """Take the click going down."""
        self._down = True

    def release(self, view: PictureView, at: QPointF, modifiers: Modifiers) -> None:
        """Mark the line."""
        if self._down:
            self._down = False
            self._mark(at.x(), at.y(), view.zoom)

    def double(self, view: PictureView, at: QPointF) -> None:
        """Take the second click of a quick pair as one of its own."""
        self._mark(at.x(), at.y(), view.zoom)


class DragLines(Tool):
    """Mark every line that a stroke crosses.

    Parameters
    ----------
    mark : callable
        ``mark(start, end, zoom)``, picture px and screen px a picture px.
    """

    name = "drag"
    hint = "Drag across the lines, from the first to the last. Escape drops the stroke."
    cursor = Qt.CursorShape.CrossCursor

    def __init__(self, mark: Callable[[QPointF, QPointF, float], None]) -> None:
        self._mark = mark
        self._from: QPointF | None = None
        self._to = QPointF()

    def press(self, view: PictureView, at: QPointF, modifiers: Modifiers) -> None:
        """Begin the stroke."""
        self._from = self._to = at

    def move(self, view: PictureView, at: QPointF, held: bool) -> None:
        """Lead it on."""
        if held:
            self._to = at

    def release(self, view: PictureView, at: QPointF, modifiers: Modifiers) -> None:
        """Mark what it crosses."""
        start, self._from = self._from, None
        if start is not None and (at - start).manhattanLength() >= 4:
            self._mark(start, at, view.zoom)

    def cancel(self) -> bool:
        """Drop the stroke."""
        had, self._from = self._from is not None, None
        return had

    def paint(self, painter: QPainter, view: PictureView) -> None:
        """Draw the stroke."""
        if self._from is None:
            return
        for pen in (cosmetic_pen(_CASING, 4), cosmetic_pen(_INK, 1.5)):
            painter.setPen(pen)
            painter.drawLine(view.to_view(self._from), view.to_view(self._to))
