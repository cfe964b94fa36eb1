"""A view that hands presses, moves and keys to the tool in hand, by mouse or by keyboard alone."""

from PySide6.QtCore import QEvent, QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QFocusEvent, QImage, QKeyEvent, QMouseEvent, QPainter
from PySide6.QtWidgets import QWidget

from app.canvas.tool import Tool
from app.canvas.zoom_view import ZoomView

_CLICK_PX = 4  # screen px; a longer way with the button held is a drag


class ToolView(ZoomView):
    """A view with a tool in hand. Without a mouse the middle of the view is the pointer.

    Signals
    -------
    clicked(x, y, modifiers)
        Left click without a tool, in picture px.
    dragged(x0, y0, x1, y1, modifiers)
        Left drag without a tool, after release.
    hovered(label)
        The piece under the pointer changed; 0 for none.
    pointed(x, y)
        The pointer moved over the picture; nan, nan when it left.
    escaped()
        Escape was pressed with nothing under way.
    """

    clicked = Signal(float, float, object)
    dragged = Signal(float, float, float, float, object)
    hovered = Signal(int)
    pointed = Signal(float, float)
    escaped = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._tool: Tool | None = None
        self._pressed: QPointF | None = None  # view px
        self._hovered = 0
        self._by_key = False  # the middle of the view is the pointer
        self._key_held = False
        self.pointed.connect(self._light_up)

    @property
    def image(self) -> QImage | None:
        """The picture at full size, as shown."""
        return None

    def label_at(self, x_px: float, y_px: float) -> int:
        """Return the number of the piece at a place; 0 for none."""
        return 0

    def labels_in(self, rect: QRectF) -> list[int]:
        """Return the numbers of the pieces that lie in a box, in picture px."""
        return []

    @property
    def by_key(self) -> bool:
        """Whether the middle of the view is the pointer, for the keys were used last."""
        return self._by_key

    @property
    def tool(self) -> Tool | None:
        """The tool in hand, None when clicks go to the signals."""
        return self._tool

    def set_tool(self, tool: Tool | None) -> None:
        """Take a tool in hand; what the last one had under way is dropped."""
        if self._tool is not None:
            self._tool.cancel()
        self._tool = tool
        self._pressed, self._key_held = None, False
        self.restore_cursor()
        self.viewport().update()

    def resting_cursor(self) -> Qt.CursorShape:
        """Return the pointer of the tool in hand."""
        return Qt.CursorShape.ArrowCursor if self._tool is None else self._tool.cursor

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Qt: begin to pan, or hand the press to the tool."""
        self._by_key = False
        if self.pan_starts(event) or event.button() != Qt.MouseButton.LeftButton or self.image is None:
            return
        self._press(event.position(), event.modifiers())

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Qt: pan, light up what is under the pointer, and hand the move to the tool."""
        if self.panning:
            self.pan_moves(event)
            return
        self._by_key = False
        self._move(event.position(), held=self._pressed is not None)

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """Qt: end panning, or hand the release to the tool."""
        if self.panning:
            self.pan_ends()
        elif event.button() == Qt.MouseButton.LeftButton and self._pressed is not None:
            self._release(event.position(), event.modifiers())

    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:
        """Qt: a double click is for the tool; without one it is a second click."""
        if event.button() == Qt.MouseButton.LeftButton and self._tool is not None and self.image is not None:
            self._tool.double(self, self.to_picture(event.position()))
            self.viewport().update()
        else:
            self.mousePressEvent(event)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Qt: Escape drops what is under way, Return presses at the middle, the rest is for tool and zoom."""
        key = event.key()
        tool = self._tool
        if key == Qt.Key.Key_Escape:
            if not self._drop():
                self.escaped.emit()
            return
        if tool is not None and tool.key(self, key):
            self.viewport().update()
        elif key in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and self.image is not None:
            self._press_by_key(event.modifiers())
        else:
            super().keyPressEvent(event)

    def panned_by_key(self) -> None:
        """Without a mouse, the picture moves under the pointer: the middle of the view."""
        self._by_key = True
        self._move(self._middle(), held=self._key_held)

    def _press(self, at: QPointF, modifiers: Qt.KeyboardModifier) -> None:
        self._pressed = at
        if self._tool is not None:
            self._tool.press(self, self.to_picture(at), modifiers)
            self.viewport().update()

    def _move(self, at: QPointF, *, held: bool) -> None:
        place = self.to_picture(at)
        self.pointed.emit(place.x(), place.y())
        if self._tool is not None:
            self._tool.move(self, place, held)
            self.viewport().update()

    def _release(self, at: QPointF, modifiers: Qt.KeyboardModifier) -> None:
        start, self._pressed = self._pressed, None
        place = self.to_picture(at)
        if self._tool is not None:
            self._tool.release(self, place, modifiers)
            self.viewport().update()
        elif start is None:
            return
        elif (at - start).manhattanLength() <= _CLICK_PX:
            self.clicked.emit(place.x(), place.y(), modifiers)
        else:
            begin = self.to_picture(start)
            self.dragged.emit(begin.x(), begin.y(), place.x(), place.y(), modifiers)

    def _press_by_key(self, modifiers: Qt.KeyboardModifier) -> None:
        """Press, and at the next call release, at the middle of the view."""
        self._by_key = True
        if not self._key_held:
            self._press(self._middle(), modifiers)
            if self._tool is None or not self._tool.drags:
                self._release(self._middle(), modifiers)
                return
        else:
            self._release(self._middle(), modifiers)
        self._key_held = not self._key_held

    def _drop(self) -> bool:
        had = self._key_held or self._pressed is not None
        self._key_held, self._pressed = False, None
        if self._tool is not None:
            had = self._tool.cancel() or had
        self.viewport().update()
        return had

    def _middle(self) -> QPointF:
        return QPointF(self.viewport().rect().center())

    def _light_up(self, x_px: float, y_px: float) -> None:
        gone = x_px != x_px
        label = self._hovered if self._pressed is not None else 0 if gone else self.label_at(x_px, y_px)
        if label != self._hovered:
            self._hovered = label
            self.hovered.emit(label)

    def paint_pointer(self, painter: QPainter) -> None:
        """Draw the tool's work and, without a mouse, the pointer in the middle; in view px."""
        if self._tool is not None:
            self._tool.paint(painter, self)
        if self._by_key and self.hasFocus():
            _cross(painter, self._middle())

    def leaveEvent(self, event: QEvent) -> None:
        """Qt: the pointer is gone, so nothing is under it."""
        super().leaveEvent(event)
        self.pointed.emit(float("nan"), float("nan"))

    def focusOutEvent(self, event: QFocusEvent) -> None:
        """Qt: forget a space bar that was held."""
        super().focusOutEvent(event)
        self._space_held = False
        self.restore_cursor()


def _cross(painter: QPainter, at: QPointF) -> None:
    for colour, width in ((Qt.GlobalColor.white, 4), (Qt.GlobalColor.black, 1.5)):
        pen = painter.pen()
        pen.setColor(colour)
        pen.setWidthF(width)
        painter.setPen(pen)
        for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            painter.drawLine(at + QPointF(dx * 4, dy * 4), at + QPointF(dx * 16, dy * 16))
