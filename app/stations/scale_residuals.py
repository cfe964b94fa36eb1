"""A small chart: how far each graduation lies from its place in the fit."""

import numpy as np
from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QKeyEvent, QMouseEvent, QPainter, QPaintEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from app import number_text, theme
from app.canvas.style import cosmetic_pen
from measure.scale import RulingFit

_LEFT, _RIGHT, _TOP, _BOTTOM = 64, 16, 22, 24
_NEAR_PX = 12


class ResidualChart(QWidget):
    """Shows residuals in px over the place on the ruling in µm; click or use the arrows to point at a line.

    Signals
    -------
    chosen(int)
        Position of the graduation pointed at, in the order of the fit.
    """

    chosen = Signal(int)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._fit: RulingFit | None = None
        self._at = -1
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setMouseTracking(True)
        self.setAccessibleName("Distances from the fit")

    def sizeHint(self) -> QSize:
        """Qt: a strip below the picture."""
        return QSize(400, 128)

    def set_fit(self, fit: RulingFit | None) -> None:
        """Show the residuals of a fit; None hides the chart."""
        self._fit, self._at = fit, -1
        self.setVisible(fit is not None)
        if fit is not None:
            spread = number_text.number(float(np.std(fit.residuals_px)), 2)
            self.setAccessibleDescription(
                f"{len(fit.index)} lines, standard deviation of their distances {spread} px. "
                "Left and right go from line to line."
            )
        self.update()

    def point_at(self, at: int) -> None:
        """Point at one graduation and say so."""
        if self._fit is None:
            return
        self._at = min(max(at, 0), len(self._fit.index) - 1)
        self.setToolTip(self._words(self._fit, self._at))
        self.update()
        self.chosen.emit(self._at)

    @staticmethod
    def _words(fit: RulingFit, at: int) -> str:
        place, off = line_places_um(fit)[at], fit.residuals_px[at]
        return (
            f"Line at {number_text.number(place, 4)} µm: {number_text.fixed(float(off), 3)} px off its place"
        )

    def _room(self) -> QRectF:
        return QRectF(self.rect()).adjusted(_LEFT, _TOP, -_RIGHT, -_BOTTOM)

    @staticmethod
    def _top(fit: RulingFit) -> float:
        """Largest residual the chart holds, px."""
        return max(float(np.abs(fit.residuals_px).max()) * 1.15, 0.01)

    def _places(self, fit: RulingFit) -> np.ndarray:
        """Where each graduation's point is drawn, (K, 2) in widget px."""
        room, lengths = self._room(), line_places_um(fit)
        x = room.left() + room.width() * lengths / max(float(lengths[-1]), 1e-9)
        y = room.center().y() - 0.5 * room.height() * fit.residuals_px / self._top(fit)
        return np.column_stack([x, y])

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Qt: point at the nearest line."""
        if self._fit is None:
            return
        away = np.abs(self._places(self._fit)[:, 0] - event.position().x())
        if away.min() <= _NEAR_PX:
            self.point_at(int(away.argmin()))

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Qt: go from line to line."""
        steps: dict[int, int] = {Qt.Key.Key_Left: -1, Qt.Key.Key_Right: 1}
        step = steps.get(event.key())
        if step is None or self._fit is None:
            super().keyPressEvent(event)
        else:
            self.point_at(self._at + step if self._at >= 0 else 0)

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Qt: zero line, band of one standard deviation, points, words."""
        fit = self._fit
        if fit is None:
            return
        palette, room = theme.current(), self._room()
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.fillRect(self.rect(), palette.colour("surface"))
        self._paint_scale(painter, palette, room, fit)
        places, off = self._places(fit), np.abs(fit.residuals_px)
        large = off > 3 * max(float(np.std(fit.residuals_px)), 1e-9)
        for k, (x, y) in enumerate(places):
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(palette.colour("warning" if large[k] else "accent"))
            painter.drawEllipse(QPointF(x, y), 3.0, 3.0)
        if self._at >= 0:
            painter.setPen(cosmetic_pen(palette.colour("ink"), 1.5))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawEllipse(QPointF(*places[self._at]), 6.0, 6.0)
        if self.hasFocus():
            painter.setPen(cosmetic_pen(palette.colour("accent"), 2))
            painter.drawRect(QRectF(self.rect()).adjusted(1, 1, -1, -1))

    def _paint_scale(self, painter: QPainter, palette: theme.Palette, room: QRectF, fit: RulingFit) -> None:
        top, middle = self._top(fit), room.center().y()
        spread = 0.5 * room.height() * float(np.std(fit.residuals_px)) / top
        painter.fillRect(
            QRectF(room.left(), middle - spread, room.width(), 2 * spread), palette.colour("raised")
        )
        painter.setPen(cosmetic_pen(palette.colour("line"), 1))
        painter.drawRect(room)
        painter.setPen(cosmetic_pen(palette.colour("edge"), 1))
        painter.drawLine(QPointF(room.left(), middle), QPointF(room.right(), middle))
        painter.setFont(theme.font("small"))
        painter.setPen(palette.colour("soft_ink"))
        right = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
        for share, text in ((1, number_text.number(top, 2)), (0, "0"), (-1, number_text.number(-top, 2))):
            y = middle - 0.5 * room.height() * share
            painter.drawText(QRectF(0, y - 8, _LEFT - 6, 16), right, text)
        head = self._words(fit, self._at) if self._at >= 0 else "Distance of each line from its place, px"
        painter.drawText(QRectF(room.left(), 2, room.width(), _TOP - 4), Qt.AlignmentFlag.AlignLeft, head)
        foot = QRectF(room.left(), room.bottom() + 2, room.width(), _BOTTOM - 2)
        painter.drawText(foot, Qt.AlignmentFlag.AlignLeft, "0")
        last = f"{number_text.number(float(line_places_um(fit)[-1]), 4)} µm along the ruling"
        painter.drawText(foot, Qt.AlignmentFlag.AlignRight, last)


def line_places_um(fit: RulingFit) -> np.ndarray:
    """Return the place of each line from the first along the ruling, (K,) µm."""
    ends = fit.lines[:, 2:] - fit.lines[:, :2]
    along = ends[int(np.argmax(np.hypot(*ends.T)))]  # of the longest: a short one may be no more than a dot
    normal = np.array([-along[1], along[0]]) / np.hypot(*along)
    middle = (fit.lines[:, :2] + fit.lines[:, 2:]) / 2
    places = np.abs((middle - middle[0]) @ normal) * fit.scale.um_per_px
    # the lines' own numbers are exact, the picture only tells how many µm a number is
    numbers = fit.index - fit.index[0]
    step = float(places[-1] / max(numbers[-1], 1))
    if fit.scale.division_um and len(numbers) > 2:
        step = fit.scale.division_um
    return numbers * step
