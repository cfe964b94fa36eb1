"""The pieces that wait to be looked at, in a short list below the details where there is room for it."""

from collections.abc import Iterable

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QIcon, QResizeEvent
from PySide6.QtWidgets import QHeaderView, QSizePolicy, QTreeWidget, QTreeWidgetItem, QWidget

from app import number_text, parts
from app.canvas.badge import kind_badge
from app.models.field_pieces import FieldPieces
from app.stations.particles_queue import waiting
from app.theme import KIND_STYLE
from measure.model import KINDS

_MOST = 40  # listed; the order shifts with every look, so nobody needs more
_FEWEST_LINES = 5  # of the list; in less room it is not shown
_LABEL = Qt.ItemDataRole.UserRole


class WaitingList(QWidget):
    """Most doubtful first, as the key leads through them.

    Signals
    -------
    wanted(label)
        A row was clicked or entered: show that piece.
    """

    wanted = Signal(int)

    def __init__(self, pieces: FieldPieces) -> None:
        super().__init__()
        self._pieces = pieces
        self._stale, self._chosen = True, frozenset[int]()
        self.rows = QTreeWidget()
        self.rows.setAccessibleName("Pieces that wait to be looked at")
        self.rows.setHeaderLabels(["No.", "Kind", "Size", "Doubt"])
        self.rows.setRootIsDecorated(False)
        self.rows.setUniformRowHeights(True)
        self.rows.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        head = self.rows.header()
        head.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        head.setStretchLastSection(False)
        head.setSectionResizeMode(1, QHeaderView.ResizeMode.Stretch)
        self.rows.itemClicked.connect(lambda item, _column: self.wanted.emit(item.data(0, _LABEL)))
        self.rows.itemActivated.connect(lambda item, _column: self.wanted.emit(item.data(0, _LABEL)))
        self._card = parts.card(self.rows, heading="Waiting to be looked at")
        self.setLayout(parts.column(self._card))
        # it takes what the details leave and never asks for room itself
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Ignored)
        self.setMinimumHeight(0)
        self._card.hide()

    def refresh(self) -> None:
        """List the pieces as they are now; where there is no room, once there is."""
        self._stale = True
        self._suit()

    def set_chosen(self, chosen: Iterable[int]) -> None:
        """Mark the chosen piece, where it is listed."""
        self._chosen = labels = frozenset(chosen)
        self.rows.clearSelection()
        for place in range(self.rows.topLevelItemCount()):
            item = self.rows.topLevelItem(place)
            if item is not None and item.data(0, _LABEL) in labels:
                item.setSelected(True)
                self.rows.scrollToItem(item)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Qt: show the list or leave the room empty."""
        super().resizeEvent(event)
        self._suit()

    def _suit(self) -> None:
        room = self.height() >= (_FEWEST_LINES + 3) * self.fontMetrics().lineSpacing()
        if room and self._stale:
            self._fill()
        self._card.setVisible(room and self.rows.topLevelItemCount() > 0)

    def _fill(self) -> None:
        self._stale = False
        self.rows.clear()
        labels = waiting(self._pieces)[:_MOST].tolist() if len(self._pieces) else []
        self.rows.addTopLevelItems([self._item(label) for label in labels])
        self.set_chosen(self._chosen)

    def _item(self, label: int) -> QTreeWidgetItem:
        table, row = self._pieces.table, self._pieces.row_of(label)
        kind = KINDS[self._pieces.particles["kind"][row]]
        size = number_text.quantity(float(table["area_equivalent_diameter_um"][row]))
        doubt = number_text.percent(float(self._pieces.particles["doubt"][row]))
        item = QTreeWidgetItem([str(label), KIND_STYLE[kind].word, size, doubt])
        item.setIcon(1, QIcon(kind_badge(kind)))
        item.setData(0, _LABEL, label)
        for column in (0, 2, 3):
            item.setTextAlignment(column, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
        return item
