"""A widget for any chart laid out in shapes."""

from collections.abc import Callable
from typing import Any, Protocol

from PySide6.QtCore import QEvent, QSize, Qt
from PySide6.QtGui import QColor, QImage, QPainter, QPaintEvent
from PySide6.QtWidgets import QWidget

from app import theme
from app.chart_view import paint, window_style
from measure.output.charts_layout import Drawing
from measure.output.charts_style import PAPER, ChartStyle

# takes the kind of chart its widget shows
LayOut = Callable[[Any, float, float, ChartStyle], Drawing]


class Spoken(Protocol):
    """A chart that can be said in words."""

    def in_words(self) -> str:
        """Return what it shows."""


class DrawnChart(QWidget):
    """Shows a chart, or what will come; words for a screen reader come from the chart's ``in_words``."""

    def __init__(self, lay_out: LayOut, name: str, parent: QWidget | None = None, *, empty: str = "") -> None:
        super().__init__(parent)
        self._lay_out, self._empty = lay_out, empty
        self.chart: Spoken | None = None
        self.setAccessibleName(name)
        self.setMinimumSize(360, 220)

    def show_chart(self, chart: Spoken | None) -> None:
        """Show another chart, or none."""
        self.chart = chart
        self.setAccessibleDescription("" if chart is None else chart.in_words())
        self.update()

    def sizeHint(self) -> QSize:
        """Qt: a size at which everything can be read."""
        return QSize(640, 400)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Qt: paint the chart, laid out for the present size."""
        painter = QPainter(self)
        if self.chart is None:
            painter.fillRect(self.rect(), theme.current().colour("surface"))
            painter.setPen(theme.current().colour("soft_ink"))
            room = self.rect().adjusted(theme.LARGE, 0, -theme.LARGE, 0)
            painter.drawText(room, Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap, self._empty)
        else:
            paint(painter, self._lay_out(self.chart, self.width(), self.height(), window_style()))
        painter.end()

    def changeEvent(self, event: QEvent) -> None:
        """Qt: another theme or font."""
        self.update()
        super().changeEvent(event)

    def image(self, width: int = 1600, height: int = 1000) -> QImage:
        """Return the chart as a picture on white, for other programs."""
        made = QImage(width, height, QImage.Format.Format_RGB32)
        made.fill(QColor(PAPER.surface))
        if self.chart is not None:
            painter = QPainter(made)
            ratio = width / 800.0
            painter.scale(ratio, ratio)
            paint(painter, self._lay_out(self.chart, width / ratio, height / ratio, ChartStyle(size_pt=12.0)))
            painter.end()
        return made
