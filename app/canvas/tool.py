"""What a tool of the picture is: a small state that hears presses, moves and releases and draws itself."""

from typing import TYPE_CHECKING

from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QPainter

if TYPE_CHECKING:
    from app.canvas.tool_view import ToolView

Modifiers = Qt.KeyboardModifier


class Tool:
    """One way of acting on the picture with the left button. Places are picture px unless said otherwise.

    Attributes
    ----------
    name : str
        A short key of the tool.
    hint : str
        What to do next, in one sentence, for the status line.
    cursor : Qt.CursorShape
        Pointer over the picture.
    drags : bool
        The button is held on the way; without a mouse, one Return presses and the next releases.
    """

    name = ""
    hint = ""
    cursor = Qt.CursorShape.CrossCursor
    drags = True

    def press(self, view: "ToolView", at: QPointF, modifiers: Modifiers) -> None:
        """Take the left button going down."""

    def move(self, view: "ToolView", at: QPointF, held: bool) -> None:
        """Take the pointer moving, with or without the button held."""

    def release(self, view: "ToolView", at: QPointF, modifiers: Modifiers) -> None:
        """Take the left button coming up."""

    def double(self, view: "ToolView", at: QPointF) -> None:
        """Take a double click."""

    def key(self, view: "ToolView", key: int) -> bool:
        """Take a key; return whether it was for the tool."""
        return False

    def cancel(self) -> bool:
        """Drop what is under way; return whether there was anything."""
        return False

    def paint(self, painter: QPainter, view: "ToolView") -> None:
        """Draw what is under way, in view px."""
