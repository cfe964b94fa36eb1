"""The form of a batch: what went in and how it was ground."""

from dataclasses import replace

from PySide6.QtCore import Signal
from PySide6.QtGui import QFocusEvent
from PySide6.QtWidgets import QFrame, QLineEdit, QPlainTextEdit, QVBoxLayout, QWidget

from app import parts, theme
from app.messages import WARNING
from app.session import Session
from measure.study.records import Batch, BatchRow


class _Notes(QPlainTextEdit):
    """Several lines of text that tell when they are left."""

    left = Signal()

    def focusOutEvent(self, event: QFocusEvent) -> None:
        """Tell it."""
        super().focusOutEvent(event)
        self.left.emit()


class BatchForm(QFrame):
    """Shows one batch and keeps each entry as it is left."""

    def __init__(self, session: Session, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setProperty("look", "card")
        self._session = session
        self._row: BatchRow | None = None
        self.name, self.recipe, self.mill_setting = QLineEdit(), QLineEdit(), QLineEdit()
        self.passes, self.minutes = QLineEdit(), QLineEdit()
        self.notes = _Notes()
        self.notes.setTabChangesFocus(True)
        self.notes.setFixedHeight(3 * self.name.sizeHint().height())
        self.remove = parts.button("Remove this batch", self._remove, look="quiet", icon="remove")
        self._lay_out()
        for line in (self.name, self.recipe, self.mill_setting, self.passes, self.minutes):
            line.editingFinished.connect(self._keep)
        self.notes.left.connect(self._keep)

    def _lay_out(self) -> None:
        column = QVBoxLayout(self)
        column.setContentsMargins(theme.MEDIUM, theme.SMALL, theme.MEDIUM, theme.MEDIUM)
        column.addWidget(parts.label("Batch", "heading"))
        form = parts.form(
            ("Name", self.name, "What you call this grind; it heads every table and chart"),
            ("Recipe", self.recipe, "What went in: nuts, salt, sugar, oil, in your own words"),
            ("Mill setting", self.mill_setting, "Gap, pressure or dial of the mill or refiner"),
            ("Passes", self.passes, "How many times it went through the mill"),
            ("Minutes", self.minutes, "How long it was ground"),
            ("Notes", self.notes, "Anything worth remembering"),
        )
        column.addLayout(form)
        column.addLayout(parts.row(None, self.remove))

    def show_batch(self, row: BatchRow) -> None:
        """Show a batch; what is being typed into the same batch is left alone."""
        same = self._row is not None and row.id == self._row.id
        self._row = row
        batch = row.batch
        values = {
            self.name: batch.name,
            self.recipe: batch.recipe,
            self.mill_setting: batch.mill_setting,
            self.passes: _as_text(batch.passes),
            self.minutes: _as_text(batch.minutes),
        }
        for line, text in values.items():
            if not (same and line.hasFocus() and line.isModified()) and line.text() != text:
                line.setText(text)
                line.setCursorPosition(0)
        if not (same and self.notes.hasFocus()) and self.notes.toPlainText() != batch.notes:
            self.notes.setPlainText(batch.notes)
        self.setEnabled(self._session.writable)

    def edit_name(self) -> None:
        """Put the cursor into the name, all of it chosen, ready to be typed over."""
        self.name.setFocus()
        self.name.selectAll()

    def _keep(self) -> None:
        if self._row is None or not self._session.writable:
            return
        typed = self._typed(self._row.batch)
        if typed != self._row.batch:
            row, self._row = self._row, replace(self._row, batch=typed)
            if self._session.do(self._session.open_study.update_batch, row.id, typed) is None:
                self._row = row
                self.show_batch(row)

    def _typed(self, before: Batch) -> Batch:
        """Return the batch as typed; what makes no sense goes back to what it was, and is told."""
        name = self.name.text().strip()
        if not name:
            self.name.setText(before.name)
            self._session.tell("A batch needs a name; the old one was kept.", WARNING)
        return Batch(
            name=name or before.name,
            recipe=self.recipe.text().strip(),
            mill_setting=self.mill_setting.text().strip(),
            passes=self._number(self.passes, "Passes", before.passes),
            minutes=self._number(self.minutes, "Minutes", before.minutes),
            notes=self.notes.toPlainText(),
        )

    def _number(self, line: QLineEdit, what: str, before: float | None) -> float | None:
        try:
            return _as_number(line, what)
        except ValueError as error:
            self._session.tell(str(error), WARNING)
            line.setText(_as_text(before))
            return before

    def _remove(self) -> None:
        if self._row is not None:
            self._session.do(self._session.open_study.remove_batch, self._row.id)


def _as_text(value: float | None) -> str:
    return "" if value is None else f"{value:g}"


def _as_number(line: QLineEdit, what: str) -> float | None:
    text = line.text().strip().replace(",", ".")
    if not text:
        return None
    try:
        value = float(text)
    except ValueError:
        value = -1.0
    if not 0 <= value < 1e6:
        raise ValueError(f"{what} is a number from 0 up, such as 3 or 2.5, not “{line.text()}”.")
    return value
