"""Record of changes: when, who, what, from and to, of the whole study or of the field shown."""

from pathlib import Path

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent, QKeySequence
from PySide6.QtWidgets import (
    QApplication,
    QComboBox,
    QHeaderView,
    QLineEdit,
    QTableView,
    QVBoxLayout,
    QWidget,
)

from app import number_text, parts, theme
from app.messages import DONE
from app.models.record_table import HEADINGS, RecordTable
from app.session import NO_FIELD, Session
from measure.cell_text import safe_text
from measure.study.records import EditEntry
from measure.study.study import Study

# shown at once; the rest is read on a thread
FIRST = 200
KEY = "record of changes"
_WIDTHS = (150, 80, 230, 230, 260, 120)
_WORDY = (3, 4)


def read_record(path: Path, field_id: int | None) -> list[EditEntry]:
    """Return the whole record through an opening of its own, so that any thread may ask."""
    with Study.open(path, read_only=True) as study:
        return study.edit_log(field_id)


class RecordPage(QWidget):
    """The audit trail.

    Signals
    -------
    left()
        The user wants to go back.
    field_wanted(int), automatic_wanted(int)
        The user wants to see a field, or to have its automatic result again.
    """

    left = Signal()
    field_wanted = Signal(int)
    automatic_wanted = Signal(int)

    def __init__(self, session: Session) -> None:
        super().__init__()
        self.setAccessibleName("Record of changes")
        self._session = session
        self._complete = True
        self.model = RecordTable(self)
        self.of = QComboBox()
        self.of.setAccessibleName("Changes of")
        self.of.currentIndexChanged.connect(self.load)
        self.words = QLineEdit()
        self.words.setPlaceholderText("Show only entries with these words")
        self.words.setAccessibleName("Show only entries with these words")
        self.words.textChanged.connect(self._filter)
        self.view = _view(self.model)
        self.view.selectionModel().selectionChanged.connect(self._show_buttons)
        self.whole = parts.label("", wrap=True)
        self.whole.setAccessibleName("The chosen entry in full")
        self.whole.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.tally = parts.label("", "soft")
        self.back = parts.button("Back", self.left.emit, tip="Back to where you were  (Esc)")
        self.copy = parts.button(
            "Copy", self.copy_rows, tip="The chosen rows, or all that are shown, as text"
        )
        self.show_field = parts.button("Show its field", self._want_field, tip="Of the chosen entry")
        self.automatic = parts.button(
            "Back to the automatic result",
            self._want_automatic,
            tip="Of the field; undo brings the edits back",
        )
        self._lay_out()
        session.changed.connect(self._changed)

    def _lay_out(self) -> None:
        note = parts.label(
            "Each step is kept here with what was before it, also steps that were undone.", "soft", wrap=True
        )
        column = QVBoxLayout(self)
        column.setContentsMargins(theme.LARGE, theme.LARGE, theme.LARGE, theme.MEDIUM)
        column.setSpacing(theme.SMALL)
        head = parts.row(parts.label("Record of changes", "title"), None, self.back)
        filters = parts.row(self.of, self.words)
        filters.setStretch(1, 1)
        foot = parts.row(self.tally, None, self.show_field, self.automatic, self.copy)
        parts.fill(column, (head, note, filters, self.view, self.whole, foot))
        column.setStretch(3, 1)

    # showing ------------------------------------------------------------------------------------------------

    def open(self) -> None:
        """Show the record of the study that is open."""
        row = self._session.field_row()
        self.of.blockSignals(True)
        chosen = self.of.currentData()
        self.of.clear()
        self.of.addItem("The whole study", None)
        if row is not None:
            self.of.addItem(f"Only {row.name}", row.id)
            self.of.setCurrentIndex(max(0, self.of.findData(chosen)))
        self.of.blockSignals(False)
        self.load()
        self.view.setFocus()

    def load(self) -> None:
        """Read the record anew: the newest at once, the rest in the background."""
        study, field_id = self._session.study, self.of.currentData()
        if study is None:
            return
        found: list[EditEntry] = []
        if not self._session.attempt(lambda: found.extend(study.edit_log(field_id, FIRST))):
            return
        self._complete = len(found) < FIRST
        self._show(found)
        if not self._complete:
            path = Path(study.path)
            self._session.tasks.run(
                lambda _progress: read_record(path, field_id),
                self._show_all,
                failed=lambda error: self._session.tell_error(error, "Reading the record"),
                key=KEY,
            )

    def _show_all(self, entries: list[EditEntry]) -> None:
        self._complete = True
        self._show(entries)

    def _show(self, entries: list[EditEntry]) -> None:
        at = self.view.currentIndex().row()
        self.model.set_entries(entries)
        self.view.setCurrentIndex(self.model.index(min(max(at, 0), self.model.rowCount() - 1), 0))
        self._show_buttons()

    def _filter(self, text: str) -> None:
        self.model.set_words(text)
        self.view.setCurrentIndex(self.model.index(0, 0))
        self._show_buttons()

    def _show_buttons(self) -> None:
        shown, total = self.model.rowCount(), self.model.total()
        more = "" if self._complete else ", older ones are being read"
        self.tally.setText(
            f"{number_text.fixed(shown, 0)} of {number_text.count(total, 'entry', 'entries')}{more}"
        )
        entry = self._entry()
        text = ""
        if entry is not None:
            text = f"{entry.text}\nFrom: {entry.was or '–'}\nTo: {entry.now or '–'}"
        self.whole.setText(text)
        self.show_field.setEnabled(entry is not None and self._known_field(entry) != NO_FIELD)
        row = self._session.field_row(self._field_for_automatic())
        self.automatic.setEnabled(self._session.writable and row is not None and row.measured)
        self.automatic.setText(
            f"Back to the automatic result of {row.name}" if row else "Back to the automatic result"
        )
        self.copy.setEnabled(shown > 0)

    def _changed(self) -> None:
        if self.isVisible():
            self.load()

    # doing --------------------------------------------------------------------------------------------------

    def _entry(self) -> EditEntry | None:
        row = self.view.currentIndex().row()
        return self.model.entries[row] if 0 <= row < len(self.model.entries) else None

    def _known_field(self, entry: EditEntry) -> int:
        there = [i for i in entry.field_ids if self._session.field_row(i) is not None]
        return there[0] if there else NO_FIELD

    def _field_for_automatic(self) -> int:
        if self.of.currentData() is not None:
            return self.of.currentData()
        entry = self._entry()
        return self._known_field(entry) if entry is not None and len(entry.field_ids) == 1 else NO_FIELD

    def _want_field(self) -> None:
        entry = self._entry()
        if entry is not None:
            self.field_wanted.emit(self._known_field(entry))

    def _want_automatic(self) -> None:
        self.automatic_wanted.emit(self._field_for_automatic())

    def copy_rows(self) -> None:
        """Copy the chosen rows, or all that are shown, as text with tabs for a table or a message."""
        rows = sorted({index.row() for index in self.view.selectionModel().selectedRows()})
        if len(rows) < 2 and not self.view.hasFocus():
            rows = list(range(self.model.rowCount()))
        lines = [HEADINGS, *(self.model.row_text(row) for row in rows)]
        text = "\n".join("\t".join(safe_text(" ".join(cell.split())) for cell in line) for line in lines)
        QApplication.clipboard().setText(text)
        self._session.tell(f"Copied {number_text.count(len(rows), 'entry', 'entries')}.", DONE)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Qt: Esc goes back, the usual key copies."""
        if event.key() == Qt.Key.Key_Escape:
            self.left.emit()
        elif event.matches(QKeySequence.StandardKey.Copy):
            self.copy_rows()
        elif event.matches(QKeySequence.StandardKey.Find):
            self.words.setFocus()
        else:
            super().keyPressEvent(event)


class _Rows(QTableView):
    """A table that leaves the copy key to its page, which copies whole rows."""

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Qt: hand the copy key on."""
        if event.matches(QKeySequence.StandardKey.Copy):
            event.ignore()
        else:
            super().keyPressEvent(event)


def _view(model: RecordTable) -> QTableView:
    view = _Rows()
    view.setModel(model)
    parts.dress_rows(view, "Record of changes")
    head = view.horizontalHeader()
    parts.set_widths(view, _WIDTHS)
    for column in _WORDY:  # from and to take what width there is
        head.setSectionResizeMode(column, QHeaderView.ResizeMode.Stretch)
    return view
