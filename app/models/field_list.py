"""The fields of a study in one list, under the heading of their batch."""

from dataclasses import dataclass

from PySide6.QtCore import QAbstractListModel, QModelIndex, QObject, QPersistentModelIndex, Qt
from PySide6.QtGui import QPixmap

from app.session import Session
from app.stations import fields_words
from measure.model import Scale
from measure.study.records import SIZED_ROLES, BatchRow, FieldRow

FIELD_ROLE = Qt.ItemDataRole.UserRole + 1  # FieldRow, None on a heading
BATCH_ROLE = Qt.ItemDataRole.UserRole + 2  # BatchRow, None for pictures without a batch
STATE_ROLE = Qt.ItemDataRole.UserRole + 3  # fields_words.State, None on a heading
HEADING_ROLE = Qt.ItemDataRole.UserRole + 4  # (title, words) on a heading

Index = QModelIndex | QPersistentModelIndex


@dataclass(frozen=True)
class _Entry:
    batch: BatchRow | None
    field: FieldRow | None = None
    state: fields_words.State | None = None
    heading: tuple[str, str] | None = None

    @property
    def key(self) -> tuple[str, int]:
        """Return what stays the same while the rest changes."""
        if self.field is not None:
            return ("field", self.field.id)
        return ("batch", self.batch.id if self.batch is not None else 0)


class FieldListModel(QAbstractListModel):
    """Headings and fields, read anew from the study when it changes."""

    def __init__(self, session: Session, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._session = session
        self._entries: list[_Entry] = []
        self._thumbs: dict[str, QPixmap] = {}

    def reload(self) -> None:
        """Read the study; rows that stay are only updated, so that the selection stays too."""
        new = self._read()
        if [entry.key for entry in new] == [entry.key for entry in self._entries]:
            self._entries = new
            if new:
                self.dataChanged.emit(self.index(0), self.index(len(new) - 1))
            return
        self.beginResetModel()
        self._entries = new
        self.endResetModel()

    def _read(self) -> list[_Entry]:
        study = self._session.study
        if study is None:
            return []
        scales: dict[int | None, Scale] = {row.id: row.scale for row in study.scales()}
        under_way = self._session.measuring.under_way
        by_batch: dict[int | None, list[FieldRow]] = {}
        for row in study.fields():
            by_batch.setdefault(row.batch_id, []).append(row)
        entries = []
        for batch in (*study.batches(), None):
            rows = by_batch.get(batch.id if batch is not None else None, [])
            if batch is None and not rows:
                continue
            entries.append(_Entry(batch, heading=_heading(batch, rows)))
            for row in rows:
                state = fields_words.field_state(row, scales.get(row.scale_id), measuring=row.id in under_way)
                entries.append(_Entry(batch, row, state))
        return entries

    def field_ids(self) -> list[int]:
        """Return the fields in the order of the list."""
        return [entry.field.id for entry in self._entries if entry.field is not None]

    def row_of_field(self, field_id: int) -> int:
        """Return the row of a field, -1 if it is not there."""
        return self._row_of(("field", field_id))

    def row_of_batch(self, batch_id: int) -> int:
        """Return the row of a batch's heading, -1 if it is not there."""
        return self._row_of(("batch", batch_id))

    def _row_of(self, key: tuple[str, int]) -> int:
        return next((row for row, entry in enumerate(self._entries) if entry.key == key), -1)

    def has_thumb(self, sha256: str) -> bool:
        """Return whether the small picture is there."""
        return sha256 in self._thumbs

    def thumb(self, sha256: str) -> QPixmap:
        """Return the small picture of a field that has one."""
        return self._thumbs[sha256]

    def set_thumb(self, sha256: str, pixmap: QPixmap) -> None:
        """Take a small picture."""
        self._thumbs[sha256] = pixmap
        for row, entry in enumerate(self._entries):
            if entry.field is not None and entry.field.sha256 == sha256:
                self.dataChanged.emit(self.index(row), self.index(row), [Qt.ItemDataRole.DecorationRole])

    # Qt -----------------------------------------------------------------------------------------------------

    def rowCount(self, parent: Index = QModelIndex()) -> int:  # noqa: B008 - Qt's own signature
        """Return the number of headings and fields."""
        return 0 if parent.isValid() else len(self._entries)

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> object:
        """Return what the list shows or a screen reader says."""
        if not index.isValid() or index.row() >= len(self._entries):
            return None
        entry = self._entries[index.row()]
        if role == FIELD_ROLE:
            return entry.field
        if role == BATCH_ROLE:
            return entry.batch
        if role == STATE_ROLE:
            return entry.state
        if role == HEADING_ROLE:
            return entry.heading
        if entry.field is None or entry.state is None:
            return self._heading_data(entry, role)
        return self._field_data(entry.field, entry.state, role)

    @staticmethod
    def _heading_data(entry: _Entry, role: int) -> object:
        if role in {Qt.ItemDataRole.DisplayRole, Qt.ItemDataRole.AccessibleTextRole}:
            return ", ".join(entry.heading or ())
        return None

    def _field_data(self, field: FieldRow, state: fields_words.State, role: int) -> object:
        if role == Qt.ItemDataRole.DisplayRole:
            return field.name
        if role == Qt.ItemDataRole.DecorationRole:
            return self._thumbs.get(field.sha256)
        if role == Qt.ItemDataRole.AccessibleTextRole:
            return f"{field.name}, {state.words}. {' '.join(state.remarks)}"
        if role == Qt.ItemDataRole.ToolTipRole:
            return "\n".join((field.name, state.words, *state.remarks))
        return None


def _heading(batch: BatchRow | None, rows: list[FieldRow]) -> tuple[str, str]:
    fields = sum(row.role in SIZED_ROLES for row in rows)
    if batch is None:
        return "No batch yet", fields_words.number_text.count(fields, "field")
    return batch.batch.name, fields_words.batch_words(batch.batch, fields)
