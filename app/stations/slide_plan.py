"""The card about a slide: how thin it is, where fields are taken on it, which are done, and a map."""

from collections.abc import Callable
from dataclasses import replace

from PySide6.QtGui import QAction
from PySide6.QtWidgets import (
    QComboBox,
    QFrame,
    QHBoxLayout,
    QVBoxLayout,
    QWidget,
)

from app import number_text, parts, pickers, theme
from app.flow import flow
from app.messages import DONE, WARNING
from app.number_boxes import NumberBox, WholeBox
from app.session import Session
from app.stations.slide_map import SlideMap
from measure.errors import InvalidInput, KnownError
from measure.sizes.slide_plan import SlidePlan, field_size_mm, plan_slide, sampling_advice
from measure.study.records import Slide, SlideRow

SETTING = "slide_plans"  # slide id -> plan
_NEW = "new slide…"
_NONE = "none yet"


class SlidePlanCard(QFrame):
    """Slides of the batch chosen: the plan, map and advice of one of them."""

    def __init__(self, session: Session, chosen: Callable[[], list[int]], count: QAction) -> None:
        super().__init__()
        self.setProperty("look", "card")
        self._session, self._chosen = session, chosen
        self._batch_id: int | None = None
        self._slide: int | None = None
        self._kept_for: tuple | None = None
        self._chosen_before: list[int] = []
        self.heading = parts.label("", "heading", wrap=True)
        self.slide = QComboBox()
        self.fields, self.glass_width, self.glass_height = WholeBox(), NumberBox(), NumberBox()
        self.field_width, self.field_height = NumberBox(), NumberBox()
        self.film, self.smallest, self.oil_parts = NumberBox(), NumberBox(), NumberBox()
        self.map, self.words = SlideMap(), parts.label("", "soft", wrap=True)
        self.done = parts.label("", wrap=True)
        self.source = parts.label("", "soft", wrap=True)
        self.plan_button = parts.button("Draw the places", self._plan_anew)
        self.print_button = parts.button("Print the map…", self._print)
        self.count_button = parts.action_button(count, text="How many, how much oil?")
        self._lay_out()
        self.map.toggled.connect(self._toggle)
        self.slide.activated.connect(self._slide_chosen)
        for box in (self.film, self.smallest):
            box.valueChanged.connect(lambda _value: self._say())
        for box in (self.film, self.smallest, self.oil_parts):
            box.editingFinished.connect(self._keep_numbers)

    def _lay_out(self) -> None:
        self.fields.setRange(1, 400)
        self.fields.setValue(12)
        for box, low, high, value, unit, decimals in (
            (self.glass_width, 5, 100, 22, " mm", 0), (self.glass_height, 5, 100, 22, " mm", 0),
            (self.field_width, 0.02, 20, 1.2, " mm", 2), (self.field_height, 0.02, 20, 0.9, " mm", 2),
            (self.film, 5, 500, 50, " µm", 0), (self.smallest, 1, 100, 5, " µm", 0),
            (self.oil_parts, 0, 100_000, 0, " parts oil", 0),
        ):  # fmt: skip
            box.setRange(low, high)
            box.setDecimals(decimals)
            box.setValue(value)
            box.setSuffix(unit)
        self.oil_parts.setSpecialValueText("not told")
        for box, name in (
            (self.glass_width, "Width of the cover glass"), (self.glass_height, "Height of the cover glass"),
            (self.field_width, "Width of one field"), (self.field_height, "Height of one field"),
        ):  # fmt: skip
            box.setAccessibleName(name)
        which = parts.form(("Slide", self.slide, "Which smear of this batch"))
        form = parts.form(
            (
                "One part paste in",
                self.oil_parts,
                "By mass; with the film it tells how much paste was looked at",
            ),
            ("Film", self.film, "Height of the film between slide and cover glass"),
            (
                "Smallest piece",
                self.smallest,
                "Smallest pieces that must have settled before the first field",
            ),
            ("Fields", self.fields, "How many fields to take on this slide"),
            ("Cover glass", _pair(self.glass_width, self.glass_height), "Width and height"),
            ("One field", _pair(self.field_width, self.field_height), "Width and height on the slide"),
        )
        column = QVBoxLayout(self)
        column.setContentsMargins(theme.MEDIUM, theme.SMALL, theme.MEDIUM, theme.SMALL)
        column.setSpacing(theme.SMALL)
        buttons = flow(self.plan_button, self.print_button, self.count_button)
        parts.fill(column, (self.heading, which, self.map, self.done, form, self.source, buttons, self.words))

    # showing ------------------------------------------------------------------------------------------------

    def show_batch(self, batch_id: int | None) -> None:
        """Show a slide of a batch: that of a field just chosen, else the one before, else the newest."""
        self._batch_id = batch_id
        chosen = self._chosen()
        fresh, self._chosen_before = chosen != self._chosen_before, chosen
        study = self._session.study
        named = {row.id: row.batch.name for row in study.batches()} if study is not None else {}
        of = f"Slide of {named[batch_id]}" if batch_id in named else "Slide"
        self.heading.setText(f"{of}, and where to take fields")
        slides = self._slides()
        ids = [row.id for row in slides]
        field = self._session.field_row(chosen[0]) if chosen and fresh else None
        wanted = (field.slide_id if field is not None else None, self._slide, ids[-1] if ids else None)
        self._slide = next((one for one in wanted if one in ids), None)
        self.slide.blockSignals(True)
        self.slide.clear()
        for row in slides:
            self.slide.addItem(row.slide.name, row.id)
        if not ids:
            self.slide.addItem(_NONE, 0)
        self.slide.addItem(_NEW, None)
        self.slide.setCurrentIndex(max(0, self.slide.findData(self._slide)) if ids else 0)
        self.slide.blockSignals(False)
        self.slide.setEnabled(self._session.writable and batch_id is not None)
        self._fill()

    def slide_id(self) -> int | None:
        """Return the slide shown; None before there is one."""
        return self._slide

    def _slides(self) -> list[SlideRow]:
        study = self._session.study
        return [row for row in study.slides() if row.slide.batch_id == self._batch_id] if study else []

    def _row(self) -> SlideRow | None:
        return next((row for row in self._slides() if row.id == self._slide), None)

    def _fill(self) -> None:
        """Put what is kept of the slide into the boxes; what is being typed stays when nothing changed."""
        plan, row = self._plan(), self._row()
        shown = (self._batch_id, self._slide, plan, row)
        if shown != self._kept_for:
            self._kept_for = shown
            if row is not None:
                self.oil_parts.setValue(row.slide.dilution or 0)
                self.film.setValue(row.slide.film_um or (plan.film_um if plan is not None else 50))
            if plan is not None:
                self.fields.setValue(len(plan.places_mm))
                self.glass_width.setValue(plan.width_mm)
                self.glass_height.setValue(plan.height_mm)
                self.smallest.setValue(plan.smallest_um)
            self._offer_size(plan)
        self.map.setVisible(plan is not None)
        self.map.show_plan(plan)
        self.print_button.setEnabled(plan is not None)
        may = self._session.writable and self._batch_id is not None
        for widget in (self.plan_button, self.oil_parts, self.film, self.smallest):
            widget.setEnabled(may)
        self._say()

    def _offer_size(self, plan: SlidePlan | None) -> None:
        """Offer the size of a field from the scale of the field in view, or of any of the batch."""
        study = self._session.study
        rows = [r for r in study.fields() if r.role == "field" and r.scale_id is not None] if study else []
        mine = [row for row in rows if row.id in self._chosen()]
        mine += [row for row in rows if row.batch_id == self._batch_id] or rows
        size, words = (plan.field_mm, "") if plan is not None else ((1.2, 0.9), "")
        row = mine[0] if mine else None
        scale = self._session.scale_of(row)
        if plan is None and row is not None and scale is not None:
            size = field_size_mm(row.width_px, row.height_px, scale.um_per_px)
            pixels = number_text.picture_size(row.width_px, row.height_px)
            words = f"One field from {pixels} at {number_text.quantity(scale.um_per_px, 'µm/px', 4)}."
        elif plan is None:
            words = "The size of a field is a guess until one has a scale."
        self.field_width.setValue(size[0])
        self.field_height.setValue(size[1])
        self.source.setText(words)
        self.source.setVisible(bool(words))

    def _say(self) -> None:
        plan = self._plan()
        advice = sampling_advice(self.film.value(), self.smallest.value())
        self.words.setText("\n".join(f"• {words}" for words in advice))
        self.done.setVisible(plan is not None)
        if plan is not None:
            done = f"{len(plan.done)} of {number_text.count(len(plan.places_mm), 'field')} done."
            self.done.setText(f"{done} Click a place when it is taken; the camera marks its own.")

    def _plan(self) -> SlidePlan | None:
        if self._slide is None or self._session.study is None:
            return None
        kept = (self._session.open_study.setting(SETTING, {}) or {}).get(str(self._slide))
        try:
            return SlidePlan.from_json(kept) if kept else None
        except KnownError:
            return None

    # doing --------------------------------------------------------------------------------------------------

    def _slide_chosen(self) -> None:
        self._slide = self.slide.currentData() or None
        if self.slide.currentText() == _NEW and self._batch_id is not None:
            self._slide = self._session.do(self._new_slide)
            self.show_batch(self._batch_id)
        self._fill()

    def _new_slide(self) -> int:
        names = {row.slide.name for row in self._slides()}
        name = next(f"Slide {n}" for n in range(1, len(names) + 2) if f"Slide {n}" not in names)
        dilution = self.oil_parts.value() or None
        if self._batch_id is None:
            raise InvalidInput("A slide belongs to a batch; choose a field of one first.")
        slide = Slide(self._batch_id, name, dilution=dilution, film_um=self.film.value())
        return self._session.open_study.add_slide(slide)

    def _keep_numbers(self) -> None:
        """Keep film and dilution with the slide, and the smallest size with its plan."""
        row, plan = self._row(), self._plan()
        if row is None or not self._session.writable:
            return
        slide = row.slide
        now = replace(slide, dilution=self.oil_parts.value() or None, film_um=self.film.value())
        thinned = (now.dilution, now.film_um) != (slide.dilution, slide.film_um or 50.0)
        new = plan
        if plan is not None:
            new = replace(plan, film_um=self.film.value(), smallest_um=self.smallest.value())

        def keep() -> None:
            study = self._session.open_study
            with study.one_step(f"Change slide {slide.name}"):
                if thinned:
                    study.update_slide(row.id, now)
                if new is not None and new != plan:
                    self._keep(new, "Change the plan of a slide")

        if thinned or new != plan:
            self._session.do(keep)

    def _plan_anew(self) -> None:
        try:
            plan = plan_slide(
                self.fields.value(),
                width_mm=self.glass_width.value(),
                height_mm=self.glass_height.value(),
                field_mm=(self.field_width.value(), self.field_height.value()),
                film_um=self.film.value(),
                smallest_um=self.smallest.value(),
            )
        except KnownError as error:
            self._session.tell(error.text, WARNING)
            return
        self._session.do(self._keep, plan, "Plan the slide")
        self.show_batch(self._batch_id)

    def _keep(self, plan: SlidePlan, text: str) -> None:
        study = self._session.open_study
        with study.one_step(text):
            if self._slide is None:
                self._slide = self._new_slide()
            kept = study.setting(SETTING, {}) or {}
            study.set_setting(SETTING, {**kept, str(self._slide): plan.as_json()}, text)

    def _toggle(self, place: int) -> None:
        plan = self._plan()
        if plan is not None and self._session.writable:
            done = place not in plan.done
            self._session.do(self._keep, plan.with_done(place, done), f"Mark field {place + 1} of the slide")
            self._fill()

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
        batch = next((row.batch.name for row in study.batches() if row.id == self._batch_id), "")
        name = ", ".join(part for part in (batch, self.slide.currentText()) if part)
        numbers = {"film_um": self.film.value(), "smallest_um": self.smallest.value()}
        if self._session.attempt(lambda: write_slide_map(path, plan, name, **numbers)):
            self._session.tell(f"Written: {path.name}.", DONE)


def _pair(first: QWidget, second: QWidget) -> QWidget:
    """Return two boxes beside each other as one widget of a form."""
    both = QWidget()
    line = QHBoxLayout(both)
    line.setContentsMargins(0, 0, 0, 0)
    line.setSpacing(theme.TIGHT)
    for part in (first, parts.label("×"), second):
        line.addWidget(part, 0 if part not in (first, second) else 1)
    both.setFocusProxy(first)
    return both
