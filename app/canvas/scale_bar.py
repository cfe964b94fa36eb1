"""The scale bar in the corner of a picture, and round lengths for it."""

import math

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFont, QPainter

from app.number_text import MICRO, THIN

_LARGEST_SHARE = 0.25  # of the view's width
_MOST_PX = 220


def bar_length_um(um_per_screen_px: float, view_width_px: float) -> float:
    """Return the longest round length (1, 2 or 5 times a power of ten) that fits the corner.

    Examples
    --------
    >>> bar_length_um(1.0, 1200)
    200.0
    """
    room = um_per_screen_px * min(_MOST_PX, _LARGEST_SHARE * view_width_px)
    decade = 10.0 ** math.floor(math.log10(room))
    return max(step * decade for step in (1.0, 2.0, 5.0) if step * decade <= room)


def length_text(length_um: float) -> str:
    """Return a length as text, in mm from 1000 µm on."""
    if length_um >= 1000:
        return f"{length_um / 1000:g}{THIN}mm"
    return f"{length_um:g}{THIN}{MICRO}"


def paint_scale_bar(painter: QPainter, view: QRectF, um_per_screen_px: float, font: QFont) -> None:
    """Draw the bar into the lower left corner of a view, in its own pixels."""
    length = bar_length_um(um_per_screen_px, view.width())
    wide = length / um_per_screen_px
    plate = QRectF(view.left() + 12, view.bottom() - 50, wide + 24, 38)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, True)
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(QColor(20, 18, 16, 175))
    painter.drawRoundedRect(plate, 5, 5)
    painter.setFont(font)
    painter.setPen(QColor("#ffffff"))
    painter.drawText(plate.adjusted(0, 2, 0, -14), Qt.AlignmentFlag.AlignCenter, length_text(length))
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
    left, level = plate.left() + 12, plate.bottom() - 9
    painter.fillRect(QRectF(left, level - 1.5, wide, 3), QColor("#ffffff"))
    for x in (left, left + wide):
        painter.drawLine(QPointF(x, level - 5), QPointF(x, level + 4))
