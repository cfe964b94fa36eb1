"""A plain histogram of sizes, by number and by volume, painted at once so that it follows each correction."""

from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from PySide6.QtCore import QEvent, QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QColor, QFontMetrics, QKeyEvent, QMouseEvent, QPainter, QPaintEvent
from PySide6.QtWidgets import QWidget

from app import number_text, theme
from app.canvas.style import cosmetic_pen
from measure.sizes.distribution import class_shares, quantiles, size_classes

_RIGHT = 10
_TICKS = (1.0, 2.0, 5.0)


@dataclass(frozen=True)
class HistogramData:
    """What is drawn.

    Attributes
    ----------
    edges_um : (C + 1,) ndarray
        Class limits, um (preferred numbers of ISO 3).
    by_number, by_volume : (C,) ndarray
        Share of each class.
    lit_number, lit_volume : (C,) ndarray
        Share, of the whole, of the pieces that are lit.
    median_um : (2,) ndarray
        x_{50,0} and x_{50,3}.
    count : int
        Pieces counted.
    smallest_um : float
        Lower limit.
    """

    edges_um: np.ndarray = field(default_factory=lambda: np.zeros(0))
    by_number: np.ndarray = field(default_factory=lambda: np.zeros(0))
    by_volume: np.ndarray = field(default_factory=lambda: np.zeros(0))
    lit_number: np.ndarray = field(default_factory=lambda: np.zeros(0))
    lit_volume: np.ndarray = field(default_factory=lambda: np.zeros(0))
    median_um: np.ndarray = field(default_factory=lambda: np.full(2, np.nan))
    count: int = 0
    smallest_um: float = float("nan")


def histogram_data(
    diameter_um: np.ndarray, weight: np.ndarray, volume_um3: np.ndarray, lit: np.ndarray, smallest_um: float
) -> HistogramData:
    """Put counted pieces into classes.

    Parameters
    ----------
    diameter_um, weight, volume_um3 : (K,) ndarray of float
        Size, frame weight and volume of the counted pieces.
    lit : (K,) ndarray of bool
        Which of them are lit.
    smallest_um : float
        Lower limit.
    """
    if not len(diameter_um):
        return HistogramData(smallest_um=smallest_um)
    low = min(diameter_um.min(), smallest_um) if smallest_um > 0 else diameter_um.min()
    edges = size_classes(float(low), float(diameter_um.max()) * 1.001)
    quantity = weight, weight * volume_um3
    by_number, by_volume = (class_shares(diameter_um, q, edges) for q in quantity)
    lit_number, lit_volume = (_part(diameter_um, q, edges, lit) for q in quantity)
    medians = np.array([quantiles(diameter_um, q, np.array([0.5]))[0] for q in quantity])
    return HistogramData(
        edges, by_number, by_volume, lit_number, lit_volume, medians, len(diameter_um), smallest_um
    )


def _part(diameter_um: np.ndarray, quantity: np.ndarray, edges: np.ndarray, lit: np.ndarray) -> np.ndarray:
    if not lit.any():
        return np.zeros(len(edges) - 1)
    part = class_shares(diameter_um[lit], quantity[lit], edges)
    return part * quantity[lit].sum() / quantity.sum()


class _Room(NamedTuple):
    """What the words around the bars need in the size of text the user's system asks for, px."""

    line: int
    left: int
    top: int
    foot: int


def _room() -> _Room:
    metrics = QFontMetrics(theme.font("small"))
    line = max(14, metrics.height())
    return _Room(line, metrics.horizontalAdvance("100 %") + 8, line + 8, 2 * line + 3)


class Histogram(QWidget):
    """Two rows of bars over one axis of sizes: by number above, by volume below.

    Signals
    -------
    pointed(low_um, high_um)
        The pointer is on a class; nan, nan when it left.
    chosen(low_um, high_um)
        A class was clicked.
    """

    pointed = Signal(float, float)
    chosen = Signal(float, float)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._data = HistogramData()
        self._pointed = -1
        self._mark_um = float("nan")
        self._empty = "Nothing is counted yet."
        self.setMouseTracking(True)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setMinimumHeight(196)
        self.setAccessibleName("Histogram of sizes")
        self.setToolTip(
            "Share of the pieces (by number) and of their volume in each size class.\n"
            "Volume shows the coarse pieces a tongue meets.\n"
            "Point at a bar to see its pieces; click to choose them."
        )

    def show_data(self, data: HistogramData) -> None:
        """Draw other figures."""
        self._data = data
        self.setAccessibleDescription(self._in_words())
        self.update()

    def mark(self, size_um: float) -> None:
        """Mark the size of the piece under the pointer; nan for none."""
        self._mark_um = size_um
        self.update()

    @property
    def data(self) -> HistogramData:
        """What is drawn."""
        return self._data

    def sizeHint(self) -> QSize:
        """Qt: a size that shows both rows well."""
        return QSize(340, 210)

    def _in_words(self) -> str:
        data = self._data
        if not data.count:
            return self._empty
        number, volume = (number_text.quantity(float(m)) for m in data.median_um)
        return f"{data.count} counted; half of the pieces below {number}, half of the volume below {volume}"

    # -- drawing ------------------------------------------------------------------------------

    def paintEvent(self, event: QPaintEvent) -> None:
        """Qt: both rows and the axis."""
        painter = QPainter(self)
        palette = theme.current()
        painter.setFont(theme.font("small"))
        if not self._data.count:
            painter.setPen(palette.colour("soft_ink"))
            painter.drawText(self.rect(), Qt.AlignmentFlag.AlignCenter, self._empty)
            return
        data = self._data
        rows, room = self._row_rects(), _room()
        words = ("by number", "by volume")
        shares = ((data.by_number, data.lit_number), (data.by_volume, data.lit_volume))
        for rect, word, share, median in zip(rows, words, shares, data.median_um, strict=True):
            self._paint_row(painter, rect, *share)
            painter.setPen(palette.colour("ink"))
            head = QRectF(rect.left(), rect.top() - room.top + 2, rect.width(), room.top - 4)
            text = f"x₅₀ = {number_text.quantity(float(median))}"
            painter.drawText(
                head, Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter, f"Share {word}"
            )
            painter.drawText(head, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter, text)
        self._paint_axis(painter, rows[-1])
        self._paint_limit(painter, rows)
        self._paint_mark(painter, rows)

    def _paint_row(self, painter: QPainter, rect: QRectF, share: np.ndarray, lit: np.ndarray) -> None:
        palette = theme.current()
        top = max(float(share.max()), 1e-9) * 1.08
        painter.setPen(cosmetic_pen(palette.colour("line"), 1))
        painter.drawLine(rect.bottomLeft(), rect.bottomRight())
        painter.setPen(palette.colour("soft_ink"))
        room = _room()
        scale = QRectF(0, rect.top() - 4, room.left - 4, room.line)
        painter.drawText(scale, Qt.AlignmentFlag.AlignRight, number_text.percent(float(share.max())))
        ground = QColor(palette.colour("edge"))
        for i, (whole, part) in enumerate(zip(share, lit, strict=True)):
            left, right = self._x(self._data.edges_um[i], rect), self._x(self._data.edges_um[i + 1], rect)
            for value, colour in ((whole, ground), (part, palette.colour("accent"))):
                high = rect.height() * value / top
                if value > 0:
                    bar = QRectF(left + 0.5, rect.bottom() - high, max(1.0, right - left - 1), high)
                    painter.fillRect(bar, colour)
            if i == self._pointed:
                painter.setPen(cosmetic_pen(palette.colour("ink"), 1))
                painter.drawRect(QRectF(left, rect.top(), right - left, rect.height()))

    def _paint_axis(self, painter: QPainter, rect: QRectF) -> None:
        painter.setPen(theme.current().colour("soft_ink"))
        low, high = self._data.edges_um[0], self._data.edges_um[-1]
        room = _room()
        ticks = [m * 10.0**e for e in range(-3, 5) for m in _TICKS if low <= m * 10.0**e <= high]
        for tick in ticks:
            x = self._x(tick, rect)
            painter.drawLine(QPointF(x, rect.bottom()), QPointF(x, rect.bottom() + 3))
            place = QRectF(x - 30, rect.bottom() + 3, 60, room.line - 1)
            painter.drawText(place, Qt.AlignmentFlag.AlignCenter, f"{tick:g}")
        foot = QRectF(rect.left(), rect.bottom() + room.line + 1, rect.width(), room.line)
        painter.drawText(foot, Qt.AlignmentFlag.AlignRight, f"size, {number_text.MICRO}")
        counted = f"{number_text.count(self._data.count, 'piece')} counted"
        painter.drawText(foot, Qt.AlignmentFlag.AlignLeft, counted)

    def _paint_limit(self, painter: QPainter, rows: tuple[QRectF, ...]) -> None:
        limit = self._data.smallest_um
        if not limit > 0:
            return
        pen = cosmetic_pen(theme.current().colour("warning"), 1.4)
        pen.setStyle(Qt.PenStyle.DashLine)
        painter.setPen(pen)
        for rect in rows:
            x = self._x(limit, rect)
            painter.drawLine(QPointF(x, rect.top()), QPointF(x, rect.bottom()))
        at = QRectF(self._x(limit, rows[0]) + 4, rows[0].top(), rows[0].width(), _room().line)
        painter.drawText(at, Qt.AlignmentFlag.AlignLeft, f"lower limit {number_text.quantity(limit)}")

    def _paint_mark(self, painter: QPainter, rows: tuple[QRectF, ...]) -> None:
        edges = self._data.edges_um
        if not edges[0] <= self._mark_um <= edges[-1]:
            return
        painter.setPen(cosmetic_pen(theme.current().colour("accent"), 2))
        for rect in rows:
            x = self._x(self._mark_um, rect)
            painter.drawLine(QPointF(x, rect.top()), QPointF(x, rect.bottom()))

    def _row_rects(self) -> tuple[QRectF, QRectF]:
        room = _room()
        wide = self.width() - room.left - _RIGHT
        high = (self.height() - room.foot - 2 * room.top) / 2
        first = QRectF(room.left, room.top, wide, high)
        return first, first.translated(0, high + room.top)

    def _x(self, size_um: float, rect: QRectF) -> float:
        low, high = np.log(self._data.edges_um[[0, -1]])
        return rect.left() + rect.width() * (np.log(size_um) - low) / (high - low)

    # -- pointing -----------------------------------------------------------------------------

    def class_at(self, x: float) -> int:
        """Return the class at a place across, -1 for none."""
        if not self._data.count:
            return -1
        rect = self._row_rects()[0]
        low, high = np.log(self._data.edges_um[[0, -1]])
        size = np.exp(low + (x - rect.left()) / rect.width() * (high - low))
        place = int(np.searchsorted(self._data.edges_um, size, side="right")) - 1
        return place if 0 <= place < len(self._data.edges_um) - 1 else -1

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Qt: point at a class."""
        self._point(self.class_at(event.position().x()))

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Qt: choose a class."""
        self._choose(self.class_at(event.position().x()))

    def leaveEvent(self, event: QEvent) -> None:
        """Qt: point at nothing."""
        self._point(-1)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Qt: left and right point at classes, Return chooses."""
        last = len(self._data.edges_um) - 2
        if event.key() == Qt.Key.Key_Left:
            self._point(max(0, self._pointed - 1) if self._pointed >= 0 else last)
        elif event.key() == Qt.Key.Key_Right:
            self._point(min(last, self._pointed + 1))
        elif event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self._choose(self._pointed)
        else:
            event.ignore()

    def _limits(self, place: int) -> tuple[float, float]:
        edges = self._data.edges_um
        return (float(edges[place]), float(edges[place + 1])) if place >= 0 else (np.nan, np.nan)

    def _point(self, place: int) -> None:
        if place != self._pointed and self._data.count:
            self._pointed = place
            self.pointed.emit(*self._limits(place))
            self.update()

    def _choose(self, place: int) -> None:
        if place >= 0:
            self.chosen.emit(*self._limits(place))
