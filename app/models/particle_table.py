"""The particles of a field as a table one can sort and filter at ten thousand rows without waiting."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from PySide6.QtCore import QAbstractTableModel, QModelIndex, QObject, QPersistentModelIndex, Qt

from app import number_text, theme
from app.models.field_pieces import FieldPieces
from app.theme import KIND_STYLE
from measure.flags import reason_words
from measure.model import Kind

Index = QModelIndex | QPersistentModelIndex


@dataclass(frozen=True)
class ShownColumn:
    """One column of the view: where it comes from, its heading, plain words, and how a value is written."""

    name: str
    heading: str
    tip: str
    text: Callable[[Any], str]
    numeric: bool = True


def _um(value: float) -> str:
    return number_text.number(value, 3)


def _share(value: float) -> str:
    return number_text.fixed(value, 2)


def _words(names: str) -> str:
    return ", ".join(name.replace("_", " ") for name in names.split())


COLUMNS: tuple[ShownColumn, ...] = (
    ShownColumn("particle", "No.", "Number of the piece in its field.", str),
    ShownColumn("kind", "Kind", "Kernel, skin, salt or other.", lambda k: KIND_STYLE[Kind(k)].word, False),
    ShownColumn(
        "area_equivalent_diameter_um",
        "size xₐ, µm",
        "Diameter of the circle with the same area as the piece.",
        _um,
    ),
    ShownColumn("doubt", "Doubt", "0: sure. 1: quite unsure. Look at the highest first.", _share),
    ShownColumn(
        "set_aside_reason",
        "Not counted",
        "Why the piece is not in the size figures; empty where it is.",
        reason_words,
        False,
    ),
    ShownColumn("feret_max_um", "Longest µm", "Largest Feret diameter: its longest reach.", _um),
    ShownColumn("feret_min_um", "Narrowest µm", "Smallest Feret diameter: the gap it would pass.", _um),
    ShownColumn("circularity", "Circularity", "1 for a circle, less for a torn or long outline.", _share),
    ShownColumn("solidity", "Solidity", "1 without dents; less for a dented outline or a cluster.", _share),
    ShownColumn("size_uncertainty_um", "± size, µm", "Standard uncertainty of the size, from the edge.", _um),
    ShownColumn("flags", "Marks", "What makes a number about the piece less sure.", _words, False),
)


@dataclass(frozen=True)
class RowFilter:
    """Which pieces the table shows; None lets all through."""

    kind: str | None = None
    counted: bool | None = None
    doubt_from: float = 0.0
    labels: frozenset[int] | None = None

    def mask(self, pieces: FieldPieces) -> np.ndarray:
        """Return which rows pass, (K,) ndarray of bool."""
        table = pieces.table
        passes = (
            table["doubt"] >= self.doubt_from if self.doubt_from > 0 else np.ones(len(pieces), dtype=bool)
        )
        if self.kind is not None:
            passes &= table["kind"] == self.kind
        if self.counted is not None:
            passes &= pieces.counted == self.counted
        if self.labels is not None:
            passes &= np.isin(table["particle"], list(self.labels))
        return passes


class ParticleTableModel(QAbstractTableModel):
    """Shows `FieldPieces`; sorting and filtering are index arrays, no proxy model."""

    def __init__(self, pieces: FieldPieces, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._pieces = pieces
        self._rows = np.zeros(0, dtype=int)  # view row -> row of the pieces
        self._view_row: dict[int, int] = {}  # label -> view row
        self._filter = RowFilter()
        self._sorted_by = (3, Qt.SortOrder.DescendingOrder)
        self._pointed = 0

    def refresh(self) -> None:
        """Show the pieces as they are now."""
        self.beginResetModel()
        self._arrange()
        self.endResetModel()

    def set_filter(self, chosen: RowFilter) -> None:
        """Show only what passes."""
        self._filter = chosen
        self.refresh()

    def set_pointed(self, label: int) -> None:
        """Light up the row of the piece under the pointer."""
        old, self._pointed = self._pointed, label
        for which in (old, label):
            row = self._view_row.get(which)
            if row is not None:
                ends = self.index(row, 0), self.index(row, self.columnCount() - 1)
                self.dataChanged.emit(*ends, [Qt.ItemDataRole.BackgroundRole])

    def label_of(self, row: int) -> int:
        """Return the number of the piece in a row of the view."""
        return int(self._pieces.table["particle"][self._rows[row]])

    def labels(self) -> list[int]:
        """Return the numbers of the pieces shown, in the order of the rows."""
        return self._pieces.table["particle"][self._rows].tolist()

    def view_rows(self, labels: Iterable[int]) -> list[int]:
        """Return the rows of the view that show these pieces, ascending."""
        return sorted(self._view_row[label] for label in labels if label in self._view_row)

    def sort(self, column: int, order: Qt.SortOrder = Qt.SortOrder.AscendingOrder) -> None:
        """Qt: sort by a column; equal values keep the order of their numbers."""
        self._sorted_by = (column, order)
        self.layoutAboutToBeChanged.emit()
        before = self.persistentIndexList()
        labels = [self.label_of(index.row()) for index in before]
        self._arrange()
        after = [
            self.index(self._view_row[label], index.column())
            for label, index in zip(labels, before, strict=True)
        ]
        self.changePersistentIndexList(before, after)
        self.layoutChanged.emit()

    def _arrange(self) -> None:
        rows = np.flatnonzero(self._filter.mask(self._pieces))
        column, order = self._sorted_by
        if 0 <= column < len(COLUMNS):
            values = self._pieces.table[COLUMNS[column].name][rows]
            ranked = np.unique(values, return_inverse=True)[1] if values.dtype == object else values
            ranked = -ranked if order == Qt.SortOrder.DescendingOrder else ranked
            rows = rows[np.argsort(ranked, kind="stable")]
        self._rows = rows
        labels = self._pieces.table["particle"][rows].tolist()
        self._view_row = dict(zip(labels, range(len(labels)), strict=True))

    def rowCount(self, parent: Index | None = None) -> int:
        """Qt: rows shown."""
        return 0 if parent is not None and parent.isValid() else len(self._rows)

    def columnCount(self, parent: Index | None = None) -> int:
        """Qt: columns shown."""
        return 0 if parent is not None and parent.isValid() else len(COLUMNS)

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> object:
        """Qt: text, place, colour and words of a cell."""
        if not index.isValid():
            return None
        column = COLUMNS[index.column()]
        if role == Qt.ItemDataRole.DisplayRole:
            return column.text(self._pieces.table[column.name][self._rows[index.row()]])
        if role == Qt.ItemDataRole.TextAlignmentRole:
            side = Qt.AlignmentFlag.AlignRight if column.numeric else Qt.AlignmentFlag.AlignLeft
            return int(side | Qt.AlignmentFlag.AlignVCenter)
        if role == Qt.ItemDataRole.BackgroundRole and self.label_of(index.row()) == self._pointed:
            return theme.current().colour("accent_soft")
        if role == Qt.ItemDataRole.ForegroundRole and not self._pieces.counted[self._rows[index.row()]]:
            return theme.current().colour("soft_ink")
        if role == Qt.ItemDataRole.DecorationRole and column.name == "kind":
            return _swatch(self._pieces.table["kind"][self._rows[index.row()]])
        return None

    def headerData(
        self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole
    ) -> object:
        """Qt: headings and their plain words."""
        if orientation != Qt.Orientation.Horizontal:
            return None
        if role == Qt.ItemDataRole.DisplayRole:
            return COLUMNS[section].heading
        if role == Qt.ItemDataRole.ToolTipRole:
            return COLUMNS[section].tip
        return None


def _swatch(kind: str) -> object:
    from app.canvas.badge import kind_badge

    return kind_badge(Kind(kind))
