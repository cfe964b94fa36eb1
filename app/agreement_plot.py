"""Difference against mean of two ways of measuring the same pieces, with bias and limits of agreement."""

from dataclasses import dataclass

import numpy as np
from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QPainter, QPaintEvent
from PySide6.QtWidgets import QWidget

from app import number_text, theme
from app.canvas.style import cosmetic_pen

_LEFT, _RIGHT, _TOP, _FOOT = 44, 60, 10, 32


@dataclass(frozen=True)
class AgreementData:
    """What is drawn: sizes in um, differences in per cent of the mean."""

    mean_um: np.ndarray
    difference_percent: np.ndarray
    bias_percent: float
    low_percent: float
    high_percent: float


_NOTHING = AgreementData(np.zeros(0), np.zeros(0), *(float("nan"),) * 3)


class AgreementPlot(QWidget):
    """The plot of Bland and Altman (1986) for a spot check."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._data = _NOTHING
        self.setMinimumHeight(170)
        self.setAccessibleName("Hand against tool")
        self.setToolTip(
            "Each dot is one piece: its size across, and upwards by how much the tool's outline is larger "
            "than the hand's. The middle line is the bias; 95 of 100 are expected between the outer ones."
        )

    def show_data(self, data: AgreementData | None) -> None:
        """Draw other figures, or none."""
        self._data = _NOTHING if data is None else data
        self.setVisible(data is not None)
        self.update()

    def sizeHint(self) -> QSize:
        """Qt: a size that shows a dozen dots well."""
        return QSize(320, 190)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Qt: dots, lines and axes."""
        if not len(self._data.mean_um):
            return
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, True)
        painter.setFont(theme.font("small"))
        room = QRectF(
            _LEFT, _TOP, max(10, self.width() - _LEFT - _RIGHT), max(10, self.height() - _TOP - _FOOT)
        )
        self._paint_lines(painter, room)
        self._paint_dots(painter, room)
        self._paint_axis(painter, room)

    def _reach(self) -> float:
        data = self._data
        ends = [*np.abs(data.difference_percent), abs(data.low_percent), abs(data.high_percent), 1.0]
        return 1.15 * float(np.nanmax(ends))

    def _y(self, percent: float, room: QRectF) -> float:
        return room.center().y() - percent / self._reach() * room.height() / 2

    def _x(self, size_um: float, room: QRectF) -> float:
        low, high = self._limits_um()
        return room.left() + (size_um - low) / (high - low) * room.width()

    def _limits_um(self) -> tuple[float, float]:
        low, high = float(self._data.mean_um.min()), float(self._data.mean_um.max())
        spare = max(0.06 * (high - low), 0.02 * high)
        return max(0.0, low - spare), high + spare

    def _paint_lines(self, painter: QPainter, room: QRectF) -> None:
        palette, data = theme.current(), self._data
        painter.setPen(cosmetic_pen(palette.colour("line"), 1))
        painter.drawRect(room)
        painter.drawLine(QPointF(room.left(), self._y(0, room)), QPointF(room.right(), self._y(0, room)))
        for value, solid in (
            (data.bias_percent, True),
            (data.low_percent, False),
            (data.high_percent, False),
        ):
            if not np.isfinite(value):
                continue
            pen = cosmetic_pen(palette.colour("accent"), 1.6 if solid else 1.2)
            pen.setStyle(Qt.PenStyle.SolidLine if solid else Qt.PenStyle.DashLine)
            painter.setPen(pen)
            y = self._y(value, room)
            painter.drawLine(QPointF(room.left(), y), QPointF(room.right(), y))
            painter.setPen(palette.colour("ink"))
            place = QRectF(room.right() + 4, y - 8, _RIGHT - 6, 16)
            painter.drawText(place, Qt.AlignmentFlag.AlignVCenter, f"{number_text.fixed(value, 1)} %")

    def _paint_dots(self, painter: QPainter, room: QRectF) -> None:
        palette = theme.current()
        painter.setPen(cosmetic_pen(palette.colour("surface"), 1))
        painter.setBrush(palette.colour("ink"))
        for size, difference in zip(self._data.mean_um, self._data.difference_percent, strict=True):
            painter.drawEllipse(QPointF(self._x(size, room), self._y(difference, room)), 3.5, 3.5)

    def _paint_axis(self, painter: QPainter, room: QRectF) -> None:
        painter.setPen(theme.current().colour("soft_ink"))
        top = self._reach() / 1.15
        for value in (-top, 0.0, top):
            place = QRectF(0, self._y(value, room) - 8, _LEFT - 5, 16)
            text = f"{number_text.fixed(value, 0)} %"
            painter.drawText(place, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter, text)
        low, high = self._limits_um()
        foot = QRectF(room.left(), room.bottom() + 3, room.width(), 14)
        painter.drawText(foot, Qt.AlignmentFlag.AlignLeft, number_text.number(low))
        painter.drawText(foot, Qt.AlignmentFlag.AlignRight, number_text.number(high))
        below = foot.translated(0, 13)
        painter.drawText(below, Qt.AlignmentFlag.AlignCenter, f"mean of hand and tool, {number_text.MICRO}")
