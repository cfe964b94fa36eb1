"""All pieces of the field as a table, with what to show, linked to the picture both ways."""

from collections.abc import Callable

from PySide6.QtCore import QEvent, QItemSelection, QItemSelectionModel, QObject, Qt, Signal
from PySide6.QtGui import QAction
from PySide6.QtWidgets import QComboBox, QTableView, QWidget

from app import number_text, parts, theme
from app.canvas.style import DOUBTFUL
from app.models.field_pieces import FieldPieces
from app.models.particle_table import COLUMNS, ParticleTableModel, RowFilter
from app.theme import KIND_STYLE
from measure.model import KINDS

_WIDTHS = (44, 74, 84, 62, 160, 92, 104, 88, 76, 78, 240)


class PieceList(QWidget):
    """The table and its filters.

    Signals
    -------
    chosen(list)
        The rows chosen are of these pieces.
    pointed(label)
        The pointer is on the row of a piece; 0 for none.
    wanted(label)
        A row was double-clicked: show that piece.
    filtered()
        Another set of pieces passes the filters; see `shown`.
    """

    chosen = Signal(list)
    pointed = Signal(int)
    wanted = Signal(int)
    filtered = Signal()

    def __init__(self, pieces: FieldPieces, action: Callable[[str], QAction]) -> None:
        super().__init__()
        self._pieces = pieces
        self.model = ParticleTableModel(pieces, self)
        self._setting = False
        self.kind = _combo(
            "Kind", [("All kinds", None), *((KIND_STYLE[k].many.capitalize(), k) for k in KINDS)]
        )
        self.counted = _combo(
            "Counted", [("Counted or not", None), ("Counted", True), ("Not counted", False)]
        )
        self.doubt = _combo("Doubt", [("Any doubt", 0.0), ("Doubtful", DOUBTFUL), ("Above a tenth", 0.1)])
        for box in (self.kind, self.counted, self.doubt):
            box.currentIndexChanged.connect(self._filter)
        self.view = _table_view(self.model)
        self.view.selectionModel().selectionChanged.connect(self._tell_chosen)
        self.view.entered.connect(lambda index: self.pointed.emit(self.model.label_of(index.row())))
        self.view.doubleClicked.connect(lambda index: self.wanted.emit(self.model.label_of(index.row())))
        self.view.viewport().installEventFilter(self)
        self.tally = parts.label("", "soft")
        export = parts.action_button(action("particles.export"))
        filters = parts.row(self.kind, self.counted, self.doubt, spacing=theme.TIGHT)
        self.setLayout(parts.column(filters, self.view, parts.row(self.tally, None, export)))

    def refresh(self, chosen: frozenset[int]) -> None:
        """Show the pieces as they are now."""
        self._setting = True
        self.model.refresh()
        self._setting = False
        self.set_chosen(chosen)
        self.tally.setText(
            f"{number_text.fixed(self.model.rowCount(), 0)} of "
            f"{number_text.count(len(self._pieces), 'piece')}"
        )

    def set_chosen(self, labels: frozenset[int]) -> None:
        """Choose the rows of these pieces and bring the first into view."""
        rows = self.model.view_rows(labels)
        selection = QItemSelection()
        last = self.model.columnCount() - 1
        for first, end in _runs(rows):
            selection.select(self.model.index(first, 0), self.model.index(end, last))
        self._setting = True
        flag = QItemSelectionModel.SelectionFlag
        self.view.selectionModel().select(selection, flag.ClearAndSelect)
        if rows:
            at = self.model.index(rows[0], 0)
            self.view.selectionModel().setCurrentIndex(at, flag.NoUpdate)
            self.view.scrollTo(at)
        self._setting = False

    def passing(self) -> list[int]:
        """Return the pieces the filters let through."""
        return self.model.labels()

    def row_filter(self) -> RowFilter:
        """Return what passes now."""
        return RowFilter(self.kind.currentData(), self.counted.currentData(), self.doubt.currentData())

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:  # noqa: N802 - Qt's name
        """Qt: notice the pointer leaving the rows."""
        if event.type() == QEvent.Type.Leave:
            self.pointed.emit(0)
        return super().eventFilter(watched, event)

    def _filter(self) -> None:
        self._setting = True
        self.model.set_filter(self.row_filter())
        self._setting = False
        self.filtered.emit()

    def _tell_chosen(self) -> None:
        if not self._setting:
            rows = self.view.selectionModel().selectedRows()
            self.chosen.emit([self.model.label_of(index.row()) for index in rows])


def _runs(rows: list[int]) -> list[tuple[int, int]]:
    """Return ascending rows as (first, last) of each unbroken run."""
    runs: list[tuple[int, int]] = []
    for row in rows:
        if runs and runs[-1][1] == row - 1:
            runs[-1] = (runs[-1][0], row)
        else:
            runs.append((row, row))
    return runs


def _combo(name: str, choices: list[tuple[str, object]]) -> QComboBox:
    made = QComboBox()
    made.setAccessibleName(f"Show: {name.lower()}")
    for text, value in choices:
        made.addItem(text, value)
    return made


def _table_view(model: ParticleTableModel) -> QTableView:
    view = QTableView()
    view.setModel(model)
    parts.dress_rows(view, "Pieces of the field")
    view.setMouseTracking(True)
    view.setSortingEnabled(True)
    view.horizontalHeader().setSortIndicator(3, Qt.SortOrder.DescendingOrder)
    parts.set_widths(view, _WIDTHS[: len(COLUMNS)])
    return view
