"""Marking lines of a ruling by hand: click them one by one, or drag across many."""

from collections.abc import Callable

from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QPainter

from app.canvas.tool import Modifiers, Tool
from app.canvas.tool_pull import PullTool, paint_straight
from app.canvas.tool_view import ToolView


class ClickLines(Tool):
    """Mark one line a click.

    Parameters
    ----------
    mark : callable
        ``mark(x, y, zoom)``, picture px and screen px a picture px.
    """

    name = "click"
    hint = "Click one end of the ruling or bar, then the other. Each point moves to the line beneath it."
    drags = False

    def __init__(self, mark: Callable[[float, float, float], None]) -> None:
        self._mark = mark
        self._down = False

    def press(self, view: ToolView, at: QPointF, modifiers: Modifiers) -> None:
        """Take the click going down."""
        self._down = True

    def release(self, view: ToolView, at: QPointF, modifiers: Modifiers) -> None:
        """Mark the line."""
        if self._down:
            self._down = False
            self._mark(at.x(), at.y(), view.zoom)

    def double(self, view: ToolView, at: QPointF) -> None:
        """Take the second click of a quick pair as one of its own."""
        self._mark(at.x(), at.y(), view.zoom)


class DragLines(PullTool):
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
        super().__init__()
        self._mark = mark

    def pulled(self, view: ToolView, start: QPointF, end: QPointF, modifiers: Modifiers) -> None:
        """Mark what it crosses."""
        if (end - start).manhattanLength() >= 4:
            self._mark(start, end, view.zoom)

    def paint(self, painter: QPainter, view: ToolView) -> None:
        """Draw the stroke."""
        if self._from is not None:
            paint_straight(painter, view.to_view(self._from), view.to_view(self._to))
