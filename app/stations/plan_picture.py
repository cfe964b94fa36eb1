"""How full a field should look: pieces at random, drawn in the number and the sizes a plan expects."""

import numpy as np
from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QSizePolicy, QWidget

from app import theme
from measure.sizes.plan import PlanRequest
from measure.sizes.plan_sketch import expected_discs

# as clear oil and kernels look by lamplight, in a light room and in a dark one
OIL, PIECE = "#e4d9bb", "#a5875a"


class FieldSketch(QWidget):
    """One field as a plan has it."""

    def __init__(self) -> None:
        super().__init__()
        self._frame_um = (4.0, 3.0)
        self.discs: np.ndarray = np.zeros((0, 3))  # x, y and radius in µm
        policy = QSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Preferred)
        policy.setHeightForWidth(True)
        self.setSizePolicy(policy)
        self.setMinimumWidth(160)
        self.setAccessibleName("How full a field should look")

    def show_field(self, request: PlanRequest) -> None:
        """Show a field as a plan has it."""
        self._frame_um, self.discs = request.frame_um, expected_discs(request)
        self.setAccessibleDescription(f"{len(self.discs)} pieces cover {100 * request.cover:.1f} % of it")
        self.updateGeometry()
        self.update()

    def sizeHint(self) -> QSize:
        """Qt: a small picture."""
        return QSize(320, self.heightForWidth(320))

    def heightForWidth(self, width: int) -> int:  # noqa: N802 - Qt's name
        """Qt: as high as the field is for its width, within reason."""
        wide, high = self._frame_um
        return round(width * min(max(high / wide, 0.3), 1.2))

    def paintEvent(self, event: QPaintEvent) -> None:
        """Draw oil and pieces."""
        wide, high = self._frame_um
        scale = min((self.width() - 2) / wide, (self.height() - 2) / high)
        field = QRectF(1, 1, wide * scale, high * scale)
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(QPen(theme.current().colour("edge"), 1))
        painter.setBrush(QColor(OIL))
        painter.drawRect(field)
        painter.setClipRect(field)
        colour = QColor(PIECE)
        painter.setPen(Qt.PenStyle.NoPen)
        colour.setAlphaF(0.8)
        painter.setBrush(colour)
        for x, y, radius in self.discs.tolist():
            least = max(radius * scale, 0.7)
            painter.drawEllipse(QPointF(field.left() + x * scale, field.top() + y * scale), least, least)
