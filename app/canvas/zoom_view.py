"""A view one can zoom at the pointer, pan by hand or key, and point in without a mouse."""

from PySide6.QtCore import QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QKeyEvent, QMouseEvent, QPainter, QResizeEvent, QWheelEvent
from PySide6.QtWidgets import QFrame, QGraphicsScene, QGraphicsView, QWidget

_SMALLEST, _LARGEST = 1 / 64, 64.0  # screen pixels a picture pixel
_STEP = 1.25
_ROOM_PX = 14  # free edge around a picture that fills the view
_PAN_SHARE, _PAN_FINE_PX = 0.12, 2

_ARROWS = {
    Qt.Key.Key_Left: (-1, 0),
    Qt.Key.Key_Right: (1, 0),
    Qt.Key.Key_Up: (0, -1),
    Qt.Key.Key_Down: (0, 1),
}


class ZoomView(QGraphicsView):
    """A view of one picture rectangle; scene coordinates are picture px.

    Signals
    -------
    zoomed(float)
        Screen pixels a picture pixel, after each change.
    """

    zoomed = Signal(float)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._scene_kept = QGraphicsScene(self)  # the view does not own its scene
        self.setScene(self._scene_kept)
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.setViewportUpdateMode(QGraphicsView.ViewportUpdateMode.FullViewportUpdate)
        self.setOptimizationFlag(QGraphicsView.OptimizationFlag.DontSavePainterState)
        self.setRenderHint(QPainter.RenderHint.TextAntialiasing, True)
        for policy in (self.setHorizontalScrollBarPolicy, self.setVerticalScrollBarPolicy):
            policy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setTransformationAnchor(QGraphicsView.ViewportAnchor.NoAnchor)
        self.setMouseTracking(True)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self._rect = QRectF()
        self._fitting = True
        self._space_held = False
        self._pan_from: QPointF | None = None

    # -- zoom ---------------------------------------------------------------------------------

    @property
    def zoom(self) -> float:
        """Screen pixels a picture pixel."""
        return self.transform().m11()

    @property
    def fitting(self) -> bool:
        """Whether the whole picture is kept in view."""
        return self._fitting

    def set_rect(self, rect: QRectF) -> None:
        """Take the rectangle of a new picture; a picture of the same size keeps the place in view."""
        same = rect == self._rect
        self._rect = rect
        room = max(rect.width(), rect.height())
        self.setSceneRect(rect.adjusted(-room, -room, room, room))
        if not same or self._fitting:
            self.fit()

    def fit(self) -> None:
        """Show the whole picture, and keep doing so when the view changes size."""
        self._fitting = True
        if self._rect.isEmpty():
            return
        wide = max(1.0, self.viewport().width() - 2.0 * _ROOM_PX) / self._rect.width()
        high = max(1.0, self.viewport().height() - 2.0 * _ROOM_PX) / self._rect.height()
        self._set_zoom(min(wide, high))
        self.centerOn(self._rect.center())
        self.zoomed.emit(self.zoom)

    def one_to_one(self) -> None:
        """Show each picture pixel as one screen pixel."""
        self.zoom_to(1.0 / self.devicePixelRatioF())

    def zoom_in(self) -> None:
        """Zoom in one step about the middle of the view."""
        self.zoom_to(self.zoom * _STEP)

    def zoom_out(self) -> None:
        """Zoom out one step about the middle of the view."""
        self.zoom_to(self.zoom / _STEP)

    def zoom_to(self, zoom: float, at: QPointF | None = None) -> None:
        """Zoom so that the place at ``at`` (view px; the middle by default) stays where it is."""
        at = QPointF(self.viewport().rect().center()) if at is None else at
        fixed = self.to_picture(at)
        self._fitting = False
        self._set_zoom(zoom)
        self._scroll_by(self.to_view(fixed) - at)
        self.zoomed.emit(self.zoom)

    def show_place(self, x_px: float, y_px: float, zoom: float | None = None) -> None:
        """Bring a place of the picture to the middle of the view."""
        self._fitting = False
        if zoom is not None:
            self._set_zoom(zoom)
        self.centerOn(QPointF(x_px, y_px))
        self.zoomed.emit(self.zoom)

    def show_box(self, box: QRectF, share: float = 0.25) -> None:
        """Bring a piece to the middle, its box filling about that share of the view's shorter side."""
        side = max(box.width(), box.height(), 1.0)
        view = min(self.viewport().width(), self.viewport().height())
        self.show_place(box.center().x(), box.center().y(), min(_LARGEST / 4, share * view / side))

    def place(self) -> tuple[float, float, float]:
        """Return the place in view: x and y of its middle in picture px, and the zoom."""
        middle = self.to_picture(QPointF(self.viewport().rect().center()))
        return middle.x(), middle.y(), self.zoom

    def to_picture(self, at: QPointF) -> QPointF:
        """Turn view px into picture px, to a fraction of a pixel."""
        back, _ = self.viewportTransform().inverted()
        return back.map(at)

    def to_view(self, at: QPointF) -> QPointF:
        """Turn picture px into view px."""
        return self.viewportTransform().map(at)

    def _set_zoom(self, zoom: float) -> None:
        zoom = min(_LARGEST, max(_SMALLEST, zoom))
        self.resetTransform()
        self.scale(zoom, zoom)

    def _scroll_by(self, shift: QPointF) -> None:
        across, down = self.horizontalScrollBar(), self.verticalScrollBar()
        across.setValue(across.value() + round(shift.x()))
        down.setValue(down.value() + round(shift.y()))

    # -- hand and keys ------------------------------------------------------------------------

    @property
    def panning(self) -> bool:
        """Whether the picture is being dragged."""
        return self._pan_from is not None

    def pan_starts(self, event: QMouseEvent) -> bool:
        """Begin to drag the picture when the event asks for it; return whether it does."""
        held = self._space_held and event.button() == Qt.MouseButton.LeftButton
        if not held and event.button() != Qt.MouseButton.MiddleButton:
            return False
        self._pan_from = event.position()
        self.viewport().setCursor(Qt.CursorShape.ClosedHandCursor)
        return True

    def pan_moves(self, event: QMouseEvent) -> None:
        """Drag the picture with the pointer."""
        self._fitting = False
        if self._pan_from is not None:
            self._scroll_by(self._pan_from - event.position())
        self._pan_from = event.position()

    def pan_ends(self) -> None:
        """Let the picture go."""
        self._pan_from = None
        self.restore_cursor()

    def restore_cursor(self) -> None:
        """Show the pointer that suits what the next press would do."""
        shape = Qt.CursorShape.OpenHandCursor if self._space_held else self.resting_cursor()
        self.viewport().setCursor(shape)

    def resting_cursor(self) -> Qt.CursorShape:
        """Return the pointer over the picture when nothing is held."""
        return Qt.CursorShape.ArrowCursor

    def wheelEvent(self, event: QWheelEvent) -> None:
        """Qt: zoom at the pointer; sideways wheels pan."""
        turn = event.angleDelta()
        if event.modifiers() & Qt.KeyboardModifier.AltModifier or abs(turn.x()) > abs(turn.y()):
            self._fitting = False
            self._scroll_by(QPointF(-turn.x() or -turn.y(), 0))
        elif turn.y():
            self.zoom_to(self.zoom * _STEP ** (turn.y() / 120.0), event.position())
        event.accept()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Qt: arrows pan (Shift: by a hair), + and - zoom, 0 shows all, 9 one to one, space holds."""
        key = Qt.Key(event.key())
        if key in _ARROWS:
            self._pan_by_key(_ARROWS[key], fine=bool(event.modifiers() & Qt.KeyboardModifier.ShiftModifier))
        elif key in (Qt.Key.Key_Plus, Qt.Key.Key_Equal):
            self.zoom_in()
        elif key == Qt.Key.Key_Minus:
            self.zoom_out()
        elif key == Qt.Key.Key_0:
            self.fit()
        elif key == Qt.Key.Key_9:
            self.one_to_one()
        elif key == Qt.Key.Key_Space and not event.isAutoRepeat():
            self._space_held = True
            self.restore_cursor()
        else:
            event.ignore()

    def keyReleaseEvent(self, event: QKeyEvent) -> None:
        """Qt: let the picture go with the space bar."""
        if event.key() == Qt.Key.Key_Space and not event.isAutoRepeat():
            self._space_held = False
            if not self.panning:
                self.restore_cursor()
        else:
            event.ignore()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Qt: keep the whole picture in view if it was."""
        super().resizeEvent(event)
        if self._fitting:
            self.fit()

    def _pan_by_key(self, way: tuple[int, int], *, fine: bool) -> None:
        self._fitting = False
        step = _PAN_FINE_PX if fine else _PAN_SHARE * min(self.viewport().width(), self.viewport().height())
        self._scroll_by(QPointF(way[0] * step, way[1] * step))
        self.panned_by_key()

    def panned_by_key(self) -> None:
        """Take note that arrows moved the picture under the middle of the view."""
