"""Is this field good: keep or retake, does it agree with its batch, and marks burnt into the picture."""

import time

import numpy as np
from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QFrame, QLineEdit, QVBoxLayout, QWidget

from app import capture_jobs, number_text, parts, theme
from app.canvas.view import PictureView
from app.messages import DONE, NOTE, explain
from app.session import Session
from measure.errors import KnownError
from measure.field.advice import Advice, FieldSummary, advise, fields_agree
from measure.scale.burnt_in import BurntIn
from measure.study.records import FieldRow
from measure.study.study import Study

KEY = "burnt-in marks"
_SLICE_S = 0.03
_TITLES = {"keep": "Keep this field", "look": "Keep it, with care", "retake": "Better take it again"}
_LOOKS = {"keep": "", "look": "warning", "retake": "warning"}


def left_out_words(rows: list[FieldRow]) -> str:
    """Return what leaving areas out did, and which fields ask to be measured again because of it."""
    whose = "this field" if len(rows) == 1 else f"each of {number_text.count(len(rows), 'field')}"
    text = f"Pieces in these areas of {whose} are left out from the next measuring on."
    measured = sum(row.measured for row in rows)
    if not measured:
        return text
    if len(rows) == 1:
        return f"{text} It was measured already: measure it again."
    done = f"{number_text.count(measured, 'field')} {'was' if measured == 1 else 'were'} measured already"
    return f"{text} {done}: measure {'it' if measured == 1 else 'them'} again."


def advice_of(row: FieldRow) -> Advice | None:
    """Return the advice about a measured field; None before."""
    if not row.measured or row.quality is None:
        return None
    counts = row.counts
    return advise(row.quality, counts.particles - counts.set_aside, counts.at_frame)


def batch_rows(study: Study, row: FieldRow) -> list[FieldRow]:
    """Return the measured fields of a field's batch."""
    return [r for r in study.fields() if r.role == "field" and r.batch_id == row.batch_id and r.measured]


def field_summary(study: Study, row: FieldRow, um_per_px: float) -> FieldSummary:
    """Return what is compared between the fields of a batch; reads the field's particles."""
    particles = study.particles(row.id)
    counted = (particles["set_aside"] == "") & (particles["area_px2"] > 0)
    sizes = particles.diameter_px[counted] * um_per_px
    median = float(np.median(sizes)) if len(sizes) else float("nan")
    spread = float(np.std(np.log(sizes))) if len(sizes) > 4 else float("nan")
    seen = row.quality
    cover, light = (seen.cover, float(np.mean(seen.oil_rgb))) if seen is not None else (float("nan"),) * 2
    return FieldSummary(row.name, row.counts.counted, median, cover, light, spread)


class FieldCare(QFrame):
    """The card about the field in view."""

    def __init__(self, session: Session, view: PictureView) -> None:
        super().__init__()
        self.setProperty("look", "card")
        self._session, self._view = session, view
        self._found: BurntIn | None = None
        self._known = ""  # what is said once the areas are left out
        self._field_id = 0
        self._summaries: dict[tuple, FieldSummary] = {}
        # the particles of a whole batch are read a little at a time, which keeps the window at hand
        self._later = QTimer(self, interval=0, singleShot=True)
        self._later.timeout.connect(self._read_on)
        self.title, self.reason = parts.label("", "heading"), parts.label("", wrap=True)
        self.batch = parts.label("", "soft", wrap=True)
        self.marks = QWidget()
        self.marks_words = parts.label("", "soft", wrap=True)
        self.leave_out = parts.button("Leave out here", self._leave_out, icon="aside")
        self.everywhere = parts.button(
            "In all fields of this zoom",
            lambda: self._leave_out(everywhere=True),
            tip="Leave the same areas out of every field of this scale and size; those measured already "
            "ask to be measured again",
        )
        self.label = QLineEdit()
        self.label.setPlaceholderText("What the bar says, as in 20 µm")
        self.label.setAccessibleName("What the bar says")
        self.label.returnPressed.connect(self._check)
        self.check = parts.label("", wrap=True)
        column = QVBoxLayout(self)
        column.setContentsMargins(theme.MEDIUM, theme.SMALL, theme.MEDIUM, theme.SMALL)
        column.setSpacing(theme.SMALL)
        inner = QVBoxLayout(self.marks)
        inner.setContentsMargins(0, 0, 0, 0)
        parts.fill(
            inner,
            (self.marks_words, parts.row(self.leave_out, self.everywhere, None), self.label, self.check),
        )
        parts.fill(column, (self.title, self.reason, self.batch, self.marks))
        self.marks.hide()

    def show_field(self, row: FieldRow | None) -> None:
        """Show the advice about a field; hidden where there is nothing to say."""
        if row is None or row.id != self._field_id:
            self._forget()
            self._field_id = row.id if row is not None else 0
        advice = advice_of(row) if row is not None and row.role == "field" else None
        self.title.setVisible(advice is not None)
        self.reason.setVisible(advice is not None)
        words = ""
        if advice is not None and row is not None:
            self.title.setText(_TITLES[advice.verdict])
            parts.set_look(self.reason, _LOOKS[advice.verdict])
            edge = ""
            if np.isfinite(advice.edge_share):
                edge = f" {number_text.percent(advice.edge_share)} of the pieces meet the edge."
            self.reason.setText(f"{advice.reason}{edge}")
            words = self._batch_words(row) or ""
        self.batch.setText(words)
        self.batch.setVisible(bool(words))
        self.setVisible(advice is not None or not self.marks.isHidden())

    def _batch_words(self, row: FieldRow) -> str | None:
        """Whether the fields of the batch agree; None while that is being found out."""
        study, began = self._session.open_study, time.perf_counter()
        rows = batch_rows(study, row)
        scales: dict[int | None, float] = {entry.id: entry.scale.um_per_px for entry in study.scales()}
        keys = [(str(study.path), r.id, r.revision, scales.get(r.scale_id, 1.0)) for r in rows]
        for one, key in zip(rows, keys, strict=True):
            if key in self._summaries:
                continue
            if time.perf_counter() - began > _SLICE_S:
                self._later.start()
                return None
            self._summaries[key] = field_summary(study, one, key[-1])
        return fields_agree([self._summaries[key] for key in keys]).words if len(rows) > 1 else ""

    def _read_on(self) -> None:
        row = self._session.field_row() if self._session.study is not None else None
        if row is None or row.id != self._field_id or advice_of(row) is None:
            return
        words = self._batch_words(row)
        if words is not None:
            self.batch.setText(words)
            self.batch.setVisible(bool(words))

    # burnt-in marks -----------------------------------------------------------------------------------------

    def look_for_marks(self) -> None:
        """Look for bars, words and panels in the picture in view."""
        picture = self._session.picture()
        if picture is None:
            return
        field_id = self._session.current_field_id
        self._session.tasks.run(
            lambda progress: capture_jobs.burnt_in(picture, progress),
            lambda found: self._marks_found(field_id, found),
            failed=lambda error: self._session.tell(*explain(error, "Looking for marks")),
            text="Looking for burnt-in marks",
            key=KEY,
        )

    def _marks_found(self, field_id: int, found: BurntIn) -> None:
        if field_id == self._session.current_field_id:
            self._show_marks(found)

    def _show_marks(self, found: BurntIn) -> None:
        if not found.zones:
            self._forget()
            self.setVisible(not self.title.isHidden())
            self._session.tell(
                "No burnt-in bar, words or panel was found; what is there can be drawn by hand.", NOTE
            )
            return
        self._found = found
        self.marks.show()
        self.show()
        self._view.set_preview([zone.astype(np.float32) for zone in found.zones])
        bars = f" The longest bar is {found.bars[0].length_px:.0f} px long." if found.bars else ""
        areas = number_text.count(len(found.zones), "area")
        self.marks_words.setText(f"{areas} may be drawn into the picture, framed there.{bars}")
        self._known = f"Left out: {areas} drawn into the picture.{bars}"
        self.label.setVisible(bool(found.bars))
        self.check.setVisible(False)

    def _leave_out(self, *, everywhere: bool = False) -> None:
        row = self._session.field_row()
        if row is None or self._found is None:
            return
        rows = [row]
        if everywhere:
            shape = (row.scale_id, row.width_px, row.height_px, "field")
            rows = [
                one
                for one in self._session.open_study.fields()
                if (one.scale_id, one.width_px, one.height_px, one.role) == shape
            ]
        if self._session.do(self._keep_zones, rows, self._found.zones) is not None:
            self._view.set_preview([])
            self.marks_words.setText(self._known)
            for button in (self.leave_out, self.everywhere):
                button.hide()
            self._session.tell(left_out_words(rows), DONE)

    def _keep_zones(self, rows: list[FieldRow], zones: tuple) -> None:
        study = self._session.open_study
        whose = rows[0].name if len(rows) == 1 else number_text.count(len(rows), "field")
        with study.one_step(f"Leave out burnt-in marks of {whose}"):
            for row in rows:
                study.update_field(row.id, zones=(*row.zones, *zones))

    def _check(self) -> None:
        if self._found is None or not self._found.bars:
            return
        scale = self._session.scale_of(self._session.field_row())
        um_per_px = scale.um_per_px if scale is not None else None
        try:
            verdict, words = capture_jobs.bar_words(self._found.bars[0], self.label.text(), um_per_px)
        except KnownError as error:
            verdict, words = "alarm", error.text
        parts.set_look(self.check, "" if verdict == "agrees" else "warning")
        self.check.setText(words)
        self.check.setVisible(True)

    def _forget(self) -> None:
        if self._found is not None:
            self._view.set_preview([])
        self._found = None
        self.marks.hide()
        self.label.clear()
        self.check.clear()
        for button in (self.leave_out, self.everywhere):
            button.show()
