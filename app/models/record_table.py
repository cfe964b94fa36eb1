"""The record of changes as rows one can filter: when, who, what, from, to."""

from collections.abc import Sequence

from PySide6.QtCore import QAbstractTableModel, QModelIndex, QObject, QPersistentModelIndex, Qt

from measure.study.records import EditEntry

Index = QModelIndex | QPersistentModelIndex
Role = Qt.ItemDataRole

HEADINGS = ("When", "Who", "What", "From", "To", "State")
_TIPS = (
    "Date and time, as this computer had it.",
    "Name of the computer's user.",
    "What was done.",
    "What was there before.",
    "What is there since.",
    "Whether it holds, or was undone.",
)
_STATES = {
    "done": "holds",
    "undone": "undone",
    "dropped": "undone, then something else was done",
    "note": "",
    "rescued": "from before the file was rescued",
}
_LONGEST_TIP = 600


def cells(entry: EditEntry) -> tuple[str, ...]:
    """Return the row of an entry as it is shown and copied."""
    made = entry.made[:19].replace("T", " ")
    return made, entry.who, entry.text, entry.was, entry.now, _STATES.get(entry.state, entry.state)


class RecordTable(QAbstractTableModel):
    """Entries of the record, newest first, those that hold all words looked for."""

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.entries: list[EditEntry] = []
        self._all: list[tuple[EditEntry, tuple[str, ...], str]] = []
        self._shown: list[tuple[str, ...]] = []
        self._words: list[str] = []

    def set_entries(self, entries: Sequence[EditEntry]) -> None:
        """Show other entries."""
        rows = [(entry, cells(entry)) for entry in entries]
        self._all = [(entry, row, "\n".join(row).casefold()) for entry, row in rows]
        self._arrange()

    def set_words(self, text: str) -> None:
        """Show only entries that hold each of these words somewhere."""
        self._words = text.casefold().split()
        self._arrange()

    def total(self) -> int:
        """Return how many entries there are, shown or not."""
        return len(self._all)

    def row_text(self, row: int) -> tuple[str, ...]:
        """Return a row as it is shown."""
        return self._shown[row]

    def _arrange(self) -> None:
        self.beginResetModel()
        passing = [(entry, row) for entry, row, text in self._all if all(w in text for w in self._words)]
        self.entries = [entry for entry, _ in passing]
        self._shown = [row for _, row in passing]
        self.endResetModel()

    # Qt -----------------------------------------------------------------------------------------------------

    def rowCount(self, parent: Index = QModelIndex()) -> int:  # noqa: B008 - Qt's own signature
        """Return the number of entries shown."""
        return 0 if parent.isValid() else len(self._shown)

    def columnCount(self, parent: Index = QModelIndex()) -> int:  # noqa: B008
        """Return the number of columns."""
        return 0 if parent.isValid() else len(HEADINGS)

    def data(self, index: Index, role: int = Role.DisplayRole) -> object:
        """Return what a cell shows or a screen reader says."""
        if not index.isValid():
            return None
        text = self._shown[index.row()][index.column()]
        if role in {Role.DisplayRole, Role.AccessibleTextRole}:
            return text
        if role == Role.ToolTipRole and text:
            return text if len(text) <= _LONGEST_TIP else text[: _LONGEST_TIP - 1] + "…"
        return None

    def headerData(self, section: int, orientation: Qt.Orientation, role: int = Role.DisplayRole) -> object:
        """Return the headings and what they mean."""
        if orientation == Qt.Orientation.Vertical:
            return None
        if role == Role.DisplayRole:
            return HEADINGS[section]
        if role == Role.ToolTipRole:
            return _TIPS[section]
        if role == Role.TextAlignmentRole:
            return Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter
        return None
