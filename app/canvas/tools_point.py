"""Tools that only look and choose: pick pieces, measure a length, mark out a rectangle."""

from collections.abc import Callable

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QPainter

from app.canvas.marks_item import plate_text
from app.canvas.tool import Modifiers, Tool
from app.canvas.tool_pull import PullTool, paint_straight
from app.canvas.tool_view import ToolView

_CLICK_PX = 4  # screen px


class PickTool(PullTool):
    """Choose pieces: click one, Shift-click adds or takes away, drag a rectangle round many.

    Parameters
    ----------
    choose : callable
        ``choose(labels, add)``: the pieces met, and whether to add to (or, when all are chosen already,
        take from) what is chosen.
    """

    name = "pick"
    hint = "Click a piece. Shift adds or takes away; drag a rectangle round several."
    cursor = Qt.CursorShape.ArrowCursor

    def __init__(self, choose: Callable[[list[int], bool], None]) -> None:
        super().__init__()
        self._choose = choose

    def pulled(self, view: ToolView, start: QPointF, end: QPointF, modifiers: Modifiers) -> None:
        """Choose what was met."""
        add = bool(modifiers & (Modifiers.ShiftModifier | Modifiers.ControlModifier))
        if (end - start).manhattanLength() * view.zoom <= _CLICK_PX:
            label = view.label_at(end.x(), end.y())
            self._choose([label] if label else [], add)
        else:
            self._choose(view.labels_in(QRectF(start, end).normalized()), add)


class RectangleTool(PullTool):
    """Mark out a rectangle by dragging.

    Parameters
    ----------
    done : callable
        ``done(rect)``, picture px.
    clicked : callable, optional
        ``clicked(at)``, picture px, where the button went down and up in one place.
    """

    name = "rectangle"
    hint = "Drag a rectangle. Escape drops it."

    def __init__(
        self, done: Callable[[QRectF], None], clicked: Callable[[QPointF], None] | None = None
    ) -> None:
        super().__init__()
        self._done, self._clicked = done, clicked

    def pulled(self, view: ToolView, start: QPointF, end: QPointF, modifiers: Modifiers) -> None:
        """Hand it over unless it is empty; a click hands over its place."""
        rect = QRectF(start, end).normalized()
        if self._clicked is not None and (end - start).manhattanLength() * view.zoom <= _CLICK_PX:
            self._clicked(start)
        elif rect.width() >= 1 and rect.height() >= 1:
            self._done(rect)


class LengthTool(Tool):
    """Take the length between two places: drag, or click twice.

    Parameters
    ----------
    text_of : callable
        ``text_of(start, end) -> str``: the length in words, for places in picture px.
    done : callable, optional
        ``done(start, end)`` when both places are set.
    """

    name = "length"
    hint = "Drag from one place to another, or click both. Zoom in for a finer length; Escape clears."

    def __init__(
        self,
        text_of: Callable[[QPointF, QPointF], str],
        done: Callable[[QPointF, QPointF], None] = lambda _start, _end: None,
    ) -> None:
        self._text_of, self._done = text_of, done
        self._ends: list[QPointF] = []
        self._open = False  # the second end still follows the pointer

    def press(self, view: ToolView, at: QPointF, modifiers: Modifiers) -> None:
        """Set an end."""
        if self._open:
            self._ends[1] = at
        else:
            self._ends, self._open = [at, at], True

    def move(self, view: ToolView, at: QPointF, held: bool) -> None:
        """Let the second end follow."""
        if self._open:
            self._ends[1] = at

    def release(self, view: ToolView, at: QPointF, modifiers: Modifiers) -> None:
        """Set the second end, unless this was the click that set the first."""
        if not self._open:
            return
        start = self._ends[0]
        if (at - start).manhattanLength() * view.zoom > _CLICK_PX:
            self._ends[1], self._open = at, False
            self._done(start, at)

    def cancel(self) -> bool:
        """Clear the length."""
        had = bool(self._ends)
        self._ends, self._open = [], False
        return had

    def paint(self, painter: QPainter, view: ToolView) -> None:
        """Draw the line, its ends and the length."""
        if not self._ends:
            return
        start, end = (view.to_view(at) for at in self._ends)
        paint_straight(painter, start, end, ends=True)
        plate_text(painter, end + QPointF(10, -8), self._text_of(*self._ends))
