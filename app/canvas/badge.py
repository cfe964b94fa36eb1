"""The letter of a piece beside its outline, drawn once a kind and state and then copied."""

from collections.abc import Callable
from functools import lru_cache

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFont, QGuiApplication, QPainter, QPixmap

from app.canvas.badge_places import SIDE as _SIDE
from app.canvas.style import ASIDE, LineStyle, cosmetic_pen, group_style
from measure.model import KINDS, Kind

_DOT = 3.0  # radius
_DOUBT = QColor("#ffcf4a")
# what draws the mark of a piece: at a place, for its group, doubtful or not
Badge = Callable[[QPainter, QPointF, int, bool], None]


def paint_badge(painter: QPainter, at: QPointF, group: int, doubtful: bool) -> None:
    """Draw the letter of a group above a place in device px; doubtful ones also carry a question mark."""
    mark = _badge(group, doubtful, painter.device().devicePixelRatioF())
    painter.drawPixmap(at - QPointF(mark.width() / mark.devicePixelRatio() / 2, _SIDE + 3), mark)


def paint_dot(painter: QPainter, at: QPointF, _group: int, _doubtful: bool) -> None:
    """Draw a dot where a doubtful piece has no room for its letter."""
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, True)
    painter.setPen(cosmetic_pen(QColor("#3b2a00"), 1.0))
    painter.setBrush(_DOUBT)
    painter.drawEllipse(at, _DOT, _DOT)
    painter.setBrush(Qt.BrushStyle.NoBrush)


@lru_cache(maxsize=128)
def _badge(group: int, doubtful: bool, ratio: float) -> QPixmap:
    style = group_style(group)
    wide = 2 * _SIDE - 3 if doubtful else _SIDE
    mark = QPixmap(round((wide + 1) * ratio), round((_SIDE + 1) * ratio))
    mark.setDevicePixelRatio(ratio)
    mark.fill(Qt.GlobalColor.transparent)
    painter = QPainter(mark)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, True)
    if doubtful:
        _disc(painter, QRectF(_SIDE - 3, 0.5, _SIDE - 1, _SIDE - 1), _DOUBT, QColor("#3b2a00"), "?")
    _letter(painter, style, aside=group % 4 == ASIDE)
    painter.end()
    return mark


def _letter(painter: QPainter, style: LineStyle, *, aside: bool) -> None:
    solid = QColor(style.colour)
    solid.setAlpha(255)
    fill, ink = (QColor("#f4f1ec"), solid) if aside else (solid, _readable_on(solid))
    rect = QRectF(0.5, 0.5, _SIDE - 1, _SIDE - 1)
    _disc(painter, rect, fill, ink, style.letter)
    if aside:
        painter.setPen(cosmetic_pen(ink, 1.3))
        painter.drawLine(rect.bottomLeft() + QPointF(2, -2), rect.topRight() + QPointF(-2, 2))


def _disc(painter: QPainter, rect: QRectF, fill: QColor, ink: QColor, letter: str) -> None:
    painter.setPen(cosmetic_pen(QColor(255, 255, 255, 220), 1.0))
    painter.setBrush(fill)
    painter.drawEllipse(rect)
    font = QFont(painter.font())
    font.setPixelSize(10)
    font.setBold(True)
    painter.setFont(font)
    painter.setPen(ink)
    painter.drawText(rect, Qt.AlignmentFlag.AlignCenter, letter)


def _readable_on(fill: QColor) -> QColor:
    luma = 0.299 * fill.red() + 0.587 * fill.green() + 0.114 * fill.blue()
    return QColor("#ffffff") if luma < 130 else QColor("#14110d")


def kind_badge(kind: Kind) -> QPixmap:
    """Return the letter of a kind as a small picture, for tables and buttons."""
    app = QGuiApplication.instance()
    ratio = app.devicePixelRatio() if isinstance(app, QGuiApplication) else 1.0
    return _badge(KINDS.index(kind) * 4, False, ratio)
