"""The map of a slide: the cover glass from above, and the fields to take."""

from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QFontMetrics, QMouseEvent, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QWidget

from app import theme
from measure.sizes.slide_plan import SlidePlan


class SlideMap(QWidget):
    """The cover glass seen from above, with the fields to take.

    Signals
    -------
    toggled(int)
        A place was clicked.
    """

    toggled = Signal(int)

    def __init__(self) -> None:
        super().__init__()
        self._plan: SlidePlan | None = None
        self.setMinimumHeight(max(180, 14 * QFontMetrics(theme.font("small")).height()))
        self.setAccessibleName("Map of the slide")

    def show_plan(self, plan: SlidePlan | None) -> None:
        """Show another plan."""
        self._plan = plan
        if plan is not None:
            self.setAccessibleDescription(f"{len(plan.done)} of {len(plan.places_mm)} fields done")
        self.update()

    def sizeHint(self) -> QSize:
        """Return a square."""
        return QSize(220, 200)

    def _glass(self, plan: SlidePlan) -> QRectF:
        scale = min((self.width() - 8) / plan.width_mm, (self.height() - 8) / plan.height_mm)
        width = plan.width_mm * scale
        return QRectF((self.width() - width) / 2, 4, width, plan.height_mm * scale)

    def _points(self, plan: SlidePlan) -> list[QPointF]:
        glass = self._glass(plan)
        scale = glass.width() / plan.width_mm
        return [QPointF(glass.left() + x * scale, glass.top() + y * scale) for x, y in plan.places_mm]

    def _radius(self, plan: SlidePlan) -> float:
        """Return how large a mark may be: round its number, and so that neighbours stay apart."""
        scale = self._glass(plan).width() / plan.width_mm
        return min(self._wide_enough() + 1, max(3.0, 0.45 * scale * min(plan.step_mm)))

    def _wide_enough(self) -> float:
        """Return the radius of a mark that holds its number."""
        return 0.5 * QFontMetrics(theme.font("small")).horizontalAdvance("000")

    def paintEvent(self, event: QPaintEvent) -> None:
        """Draw glass, walk and places."""
        plan = self._plan
        if plan is None:
            return
        palette, points = theme.current(), self._points(plan)
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(QPen(palette.colour("ink"), 1.2))
        painter.setBrush(palette.colour("raised"))
        painter.drawRoundedRect(self._glass(plan), 3, 3)
        painter.setPen(QPen(palette.colour("line"), 1))
        painter.drawPolyline(points)
        painter.setFont(theme.font("small"))
        radius = self._radius(plan)
        following = plan.next_place
        for place, point in enumerate(points):
            done = place in plan.done
            painter.setPen(
                QPen(
                    palette.colour("accent" if place == following else "ink"), 2 if place == following else 1
                )
            )
            painter.setBrush(palette.colour("accent" if done else "surface"))
            painter.drawEllipse(point, radius, radius)
            if radius < self._wide_enough() - 3:
                continue
            painter.setPen(palette.colour("accent_ink" if done else "ink"))
            box = QRectF(point.x() - radius, point.y() - radius, 2 * radius, 2 * radius)
            painter.drawText(box, Qt.AlignmentFlag.AlignCenter, str(place + 1))

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Mark the place under the pointer as done, or as open again."""
        plan = self._plan
        if plan is not None:
            for place, point in enumerate(self._points(plan)):
                if (point - event.position()).manhattanLength() < 1.6 * self._radius(plan):
                    self.toggled.emit(place)
