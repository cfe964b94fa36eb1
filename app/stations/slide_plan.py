"""The card that plans where on a slide fields are taken, shows the map and what is done."""

from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QMouseEvent, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QDoubleSpinBox, QFrame, QSpinBox, QVBoxLayout, QWidget

from app import number_text, parts, pickers, theme
from app.messages import DONE
from app.session import Session
from measure.errors import KnownError
from measure.sizes.slide_plan import SlidePlan, plan_slide, sampling_advice
from measure.study.records import Slide

SETTING = "slide_plans"  # batch or slide key -> plan


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
        self.setMinimumHeight(180)
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

    def _glass(self) -> QRectF:
        plan = self._plan
        scale = min((self.width() - 8) / plan.width_mm, (self.height() - 8) / plan.height_mm)
        return QRectF(4, 4, plan.width_mm * scale, plan.height_mm * scale)

    def _points(self) -> list[QPointF]:
        glass = self._glass()
        scale = glass.width() / self._plan.width_mm
        return [QPointF(glass.left() + x * scale, glass.top() + y * scale) for x, y in self._plan.places_mm]

    def paintEvent(self, event: QPaintEvent) -> None:
        """Draw glass, walk and places."""
        if self._plan is None:
            return
        palette, points = theme.current(), self._points()
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(QPen(palette.colour("ink"), 1.2))
        painter.setBrush(palette.colour("raised"))
        painter.drawRoundedRect(self._glass(), 3, 3)
        painter.setPen(QPen(palette.colour("line"), 1))
        painter.drawPolyline(points)
        painter.setFont(theme.font("small"))
        following = self._plan.next_place
        for place, point in enumerate(points):
            done = place in self._plan.done
            painter.setPen(
                QPen(
                    palette.colour("accent" if place == following else "ink"), 2 if place == following else 1
                )
            )
            painter.setBrush(palette.colour("accent" if done else "surface"))
            painter.drawEllipse(point, 10, 10)
            painter.setPen(palette.colour("accent_ink" if done else "ink"))
            box = QRectF(point.x() - 10, point.y() - 10, 20, 20)
            painter.drawText(box, Qt.AlignmentFlag.AlignCenter, str(place + 1))

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Mark the place under the pointer as done, or as open again."""
        if self._plan is not None:
            for place, point in enumerate(self._points()):
                if (point - event.position()).manhattanLength() < 16:
                    self.toggled.emit(place)


class SlidePlanCard(QFrame):
    """Plan, map and advice of the batch chosen."""

    def __init__(self, session: Session) -> None:
        super().__init__()
        self.setProperty("look", "card")
        self._session = session
        self._batch_id: int | None = None
        self.fields, self.width, self.height = QSpinBox(), QDoubleSpinBox(), QDoubleSpinBox()
        self.film, self.smallest = QDoubleSpinBox(), QDoubleSpinBox()
        self.map, self.words = SlideMap(), parts.label("", "soft", wrap=True)
        self.plan_button = parts.button("Draw the places", self._plan_anew)
        self.print_button = parts.button("Print the map…", self._print)
        self._lay_out()
        self.map.toggled.connect(self._toggle)
        for box in (self.film, self.smallest):
            box.valueChanged.connect(lambda _value: self._show())

    def _lay_out(self) -> None:
        self.fields.setRange(1, 400)
        self.fields.setValue(12)
        for box, low, high, value, unit in (
            (self.width, 5, 100, 22, " mm"), (self.height, 5, 100, 22, " mm"),
            (self.film, 5, 500, 50, " µm"), (self.smallest, 1, 100, 5, " µm"),
        ):  # fmt: skip
            box.setRange(low, high)
            box.setDecimals(0)
            box.setValue(value)
            box.setSuffix(unit)
        form = parts.form(
            ("Fields", self.fields, "How many fields to take on this slide"),
            ("Glass width", self.width, "Of the cover glass"),
            ("Glass height", self.height, "Of the cover glass"),
            ("Film", self.film, "Height of the film between slide and cover glass"),
            ("Smallest", self.smallest, "Smallest pieces that must have settled"),
        )
        column = QVBoxLayout(self)
        column.setContentsMargins(theme.MEDIUM, theme.SMALL, theme.MEDIUM, theme.SMALL)
        column.setSpacing(theme.SMALL)
        buttons = parts.row(self.plan_button, self.print_button, None)
        parts.fill(
            column, (parts.label("Where to take fields", "heading"), form, buttons, self.map, self.words)
        )

    def show_batch(self, batch_id: int | None) -> None:
        """Show the plan of a batch's slide."""
        self._batch_id = batch_id
        plan = self._plan()
        if plan is not None:
            self.fields.setValue(len(plan.places_mm))
            self.width.setValue(plan.width_mm)
            self.height.setValue(plan.height_mm)
        self._show()

    def _slide_id(self) -> int | None:
        study = self._session.study
        slides = [row for row in study.slides() if row.slide.batch_id == self._batch_id] if study else []
        return slides[-1].id if slides else None

    def _plan(self) -> SlidePlan | None:
        slide_id = self._slide_id()
        if slide_id is None:
            return None
        kept = (self._session.open_study.setting(SETTING, {}) or {}).get(str(slide_id))
        try:
            return SlidePlan.from_json(kept) if kept else None
        except KnownError:
            return None

    def _show(self) -> None:
        plan = self._plan()
        self.map.setVisible(plan is not None)
        self.map.show_plan(plan)
        self.print_button.setEnabled(plan is not None)
        self.plan_button.setEnabled(self._session.writable and bool(self._batch_id))
        advice = "\n".join(
            f"• {words}" for words in sampling_advice(self.film.value(), self.smallest.value())
        )
        done = ""
        if plan is not None:
            done = f"{len(plan.done)} of {number_text.count(len(plan.places_mm), 'field')} done. "
            done += "Click a place when it is taken; the camera marks its own.\n"
        self.words.setText(done + advice)

    def _plan_anew(self) -> None:
        try:
            plan = plan_slide(self.fields.value(), width_mm=self.width.value(), height_mm=self.height.value())
        except KnownError as error:
            self._session.tell(error.text, "warning")
            return
        self._session.do(self._keep, plan, "Plan the slide")
        self._show()

    def _keep(self, plan: SlidePlan, text: str) -> None:
        study = self._session.open_study
        with study.one_step(text):
            slide_id = self._slide_id()
            if slide_id is None:
                slide_id = study.add_slide(Slide(self._batch_id, "Slide 1", film_um=self.film.value()))
            kept = study.setting(SETTING, {}) or {}
            study.set_setting(SETTING, {**kept, str(slide_id): plan.as_json()}, text)

    def _toggle(self, place: int) -> None:
        plan = self._plan()
        if plan is not None and self._session.writable:
            done = place not in plan.done
            self._session.do(self._keep, plan.with_done(place, done), f"Mark field {place + 1} of the slide")
            self._show()

    def field_taken(self) -> None:
        """Mark the next place as done: the camera took it."""
        plan = self._plan()
        if plan is not None and plan.next_place is not None:
            self._toggle(plan.next_place)

    def _print(self) -> None:
        plan = self._plan()
        path = pickers.save(self, "Print the map of the slide", "tables", "slide map.pdf", "PDF (*.pdf)")
        if plan is None or path is None:
            return
        from measure.output.slide_map import write_slide_map

        study = self._session.open_study
        name = next((row.batch.name for row in study.batches() if row.id == self._batch_id), "")
        numbers = {"film_um": self.film.value(), "smallest_um": self.smallest.value()}
        if self._session.attempt(lambda: write_slide_map(path, plan, name, **numbers)):
            self._session.tell(f"Written: {path.name}.", DONE)
