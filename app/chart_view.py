"""A chart in the window: the shapes of a layout painted at once, with pointing, choosing and copying."""

import math
from collections.abc import Callable

from PySide6.QtCore import QEvent, QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import (
    QBrush,
    QColor,
    QFont,
    QFontInfo,
    QFontMetricsF,
    QImage,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QPen,
    QPolygonF,
)
from PySide6.QtWidgets import QWidget

from app import theme
from measure.model import KINDS
from measure.output.charts_layout import Drawing, lay_out
from measure.output.charts_shapes import Area, Box, Dot, Line, Shape, Text
from measure.output.charts_sizes import SizeChart
from measure.output.charts_style import PAPER, ChartStyle, KindLook

_PATTERNS = {
    "////": Qt.BrushStyle.BDiagPattern,
    "\\\\": Qt.BrushStyle.FDiagPattern,
    "....": Qt.BrushStyle.Dense6Pattern,
    "xxx": Qt.BrushStyle.DiagCrossPattern,
}
_POINTS_PER_PX = 0.75


def window_style() -> ChartStyle:
    """Return the style of charts in the colours of the window."""
    palette = theme.current()
    looks = {
        kind: KindLook(
            theme.KIND_STYLE[kind].in_room(palette), PAPER.kinds[kind].hatch, PAPER.kinds[kind].letter
        )
        for kind in KINDS
    }
    size_px = float(QFontInfo(theme.font("small")).pixelSize())
    return ChartStyle(
        surface=palette.surface,
        ink=palette.ink,
        soft=palette.soft_ink,
        line=palette.line,
        accent=palette.accent,
        warning=palette.warning,
        size_pt=size_px,
        kinds=looks,
    )


def paint(painter: QPainter, drawing: Drawing) -> None:
    """Paint a layout; one point of it is one unit of the painter."""
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    for shape in drawing.shapes:
        _PAINT[type(shape)](painter, shape)


def _box(painter: QPainter, box: Box) -> None:
    rect = QRectF(box.x, box.y, box.width, box.height)
    if box.fill:
        painter.fillRect(rect, _colour(box.fill, box.alpha))
    if box.hatch:
        # the pattern is drawn in the edge's colour, over the fill
        painter.fillRect(rect, QBrush(_colour(box.edge, box.alpha), _PATTERNS[box.hatch]))
    if box.fill and box.edge:
        painter.setPen(QPen(_colour(box.edge), 0.8))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawRect(rect)


def _line(painter: QPainter, line: Line) -> None:
    pen = QPen(_colour(line.colour), line.width)
    pen.setJoinStyle(Qt.PenJoinStyle.RoundJoin)
    pen.setCapStyle(Qt.PenCapStyle.FlatCap)
    if line.dashes:
        pen.setDashPattern([d / line.width for d in line.dashes])
    painter.setPen(pen)
    painter.drawPolyline(QPolygonF([QPointF(x, y) for x, y in line.points]))


def _area(painter: QPainter, area: Area) -> None:
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(_colour(area.fill, area.alpha))
    painter.drawPolygon(QPolygonF([QPointF(x, y) for x, y in area.points]))


def _dot(painter: QPainter, dot: Dot) -> None:
    painter.setPen(QPen(_colour(dot.edge), 0.8) if dot.edge else Qt.PenStyle.NoPen)
    painter.setBrush(_colour(dot.fill))
    painter.drawEllipse(QPointF(dot.x, dot.y), dot.radius, dot.radius)


def _text(painter: QPainter, text: Text) -> None:
    font = QFont(theme.font("body"))
    font.setPixelSize(max(1, round(text.size)))
    font.setBold(text.bold)
    metrics = QFontMetricsF(font)
    wide, high = metrics.horizontalAdvance(text.text), metrics.height()
    start = {"left": 0.0, "middle": -wide / 2, "right": -wide}[text.across]
    painter.save()
    painter.translate(text.x, text.y)
    if text.turned:
        painter.rotate(-90)
    place = QRectF(start, -high / 2, wide + 1, high)
    if text.ground:
        painter.fillRect(place.adjusted(-2, 1, 2, -1), _colour(text.ground, 0.82))
    painter.setFont(font)
    painter.setPen(_colour(text.colour))
    painter.drawText(place, Qt.AlignmentFlag.AlignVCenter | Qt.TextFlag.TextDontClip, text.text)
    painter.restore()


def _colour(name: str, alpha: float = 1.0) -> QColor:
    colour = QColor(name)
    colour.setAlphaF(alpha)
    return colour


_PAINT: dict[type[Shape], Callable] = {Box: _box, Line: _line, Area: _area, Dot: _dot, Text: _text}


_EMPTY = Drawing((), (0.0, 0.0, 0.0, 0.0))


class ChartView(QWidget):
    """Shows one size chart and follows the pointer and the arrow keys over its classes.

    Signals
    -------
    pointed(int)
        The class pointed at, -1 for none.
    chosen(int, bool)
        A class was clicked (or Return pressed on it); True when all coarser ones are meant as well.
    """

    pointed = Signal(int)
    chosen = Signal(int, bool)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._chart: SizeChart | None = None
        self._drawing: Drawing | None = None
        self._pointed = -1
        self._marked: tuple[float, ...] = ()
        self.setMouseTracking(True)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setMinimumSize(420, 260)
        self.setAccessibleName("Chart of sizes")
        self.setToolTip(
            "Point at a bar to light its pieces; click to see them, Shift+click for all coarser ones too."
        )

    @property
    def chart(self) -> SizeChart | None:
        """What is shown."""
        return self._chart

    @property
    def pointed_class(self) -> int:
        """The class pointed at, -1 for none."""
        return self._pointed

    def show_chart(self, chart: SizeChart) -> None:
        """Show another chart."""
        if self._chart is None or len(chart.edges_um) != len(self._chart.edges_um):
            self._pointed = -1
        self._chart, self._drawing = chart, None
        self.setAccessibleDescription(chart.in_words())
        self.update()

    def mark(self, sizes_um: tuple[float, ...]) -> None:
        """Mark the sizes of chosen pieces."""
        if sizes_um != self._marked:
            self._marked, self._drawing = sizes_um, None
            self.update()

    def image(self, width: int = 1600, height: int = 950) -> QImage:
        """Return the chart as a picture on white, for other programs."""
        made = QImage(width, height, QImage.Format.Format_RGB32)
        made.fill(QColor(PAPER.surface))
        painter = QPainter(made)
        ratio = width / 800.0
        painter.scale(ratio, ratio)
        style = ChartStyle(size_pt=12.0)
        paint(
            painter,
            lay_out(self._chart, width / ratio, height / ratio, style) if self._chart else _EMPTY,
        )
        painter.end()
        return made

    def sizeHint(self) -> QSize:
        """Qt: a size at which everything can be read."""
        return QSize(760, 480)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Qt: paint the chart, laid out for the present size."""
        painter = QPainter(self)
        if self._chart is None:
            painter.fillRect(self.rect(), theme.current().colour("surface"))
            painter.end()
            return
        paint(painter, self.drawing())
        if self.hasFocus():
            painter.setPen(QPen(theme.current().colour("accent"), 2))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRect(self.rect().adjusted(1, 1, -1, -1))
        painter.end()

    def drawing(self) -> Drawing:
        """Return the layout for the present size and colours."""
        if self._chart is None:
            return _EMPTY
        if self._drawing is None:
            self._drawing = lay_out(
                self._chart,
                self.width(),
                self.height(),
                window_style(),
                pointed=self._pointed,
                marked_um=self._marked,
            )
        return self._drawing

    def resizeEvent(self, event: QEvent) -> None:
        """Qt: lay out anew."""
        self._drawing = None

    def changeEvent(self, event: QEvent) -> None:
        """Qt: another theme or font means another layout."""
        self._drawing = None
        super().changeEvent(event)

    def class_at(self, x: float, y: float) -> int:
        """Return the class at a place of the widget, -1 for none."""
        if self._chart is None:
            return -1
        left, top, right, bottom = self.drawing().plot
        inside = left <= x <= right and top <= y <= bottom + 12
        size = self.drawing().size_at(x) if inside else math.nan
        return self._chart.class_at(size) if math.isfinite(size) else -1

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Qt: point at a class."""
        self._point(self.class_at(event.position().x(), event.position().y()))

    def leaveEvent(self, event: QEvent) -> None:
        """Qt: point at nothing."""
        self._point(-1)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Qt: choose a class."""
        place = self.class_at(event.position().x(), event.position().y())
        if place >= 0 and event.button() == Qt.MouseButton.LeftButton:
            self.chosen.emit(place, bool(event.modifiers() & Qt.KeyboardModifier.ShiftModifier))

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Qt: left and right point at classes, Return chooses, Escape lets go."""
        last = len(self._chart.edges_um) - 2 if self._chart else -1
        if event.key() == Qt.Key.Key_Left and last >= 0:
            self._point(max(0, self._pointed - 1) if self._pointed >= 0 else last)
        elif event.key() == Qt.Key.Key_Right and last >= 0:
            self._point(min(last, self._pointed + 1))
        elif event.key() == Qt.Key.Key_Escape and self._pointed >= 0:
            self._point(-1)
        elif event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and self._pointed >= 0:
            self.chosen.emit(self._pointed, bool(event.modifiers() & Qt.KeyboardModifier.ShiftModifier))
        else:
            event.ignore()

    def _point(self, place: int) -> None:
        if place != self._pointed:
            self._pointed, self._drawing = place, None
            self.pointed.emit(place)
            self.update()
