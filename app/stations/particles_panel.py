"""The column beside the picture: which field, doubtful first, the piece, all pieces, learning, histogram."""

from collections.abc import Callable

from PySide6.QtCore import Signal
from PySide6.QtGui import QAction, QImage, QResizeEvent
from PySide6.QtWidgets import QComboBox, QMenu, QProgressBar, QStackedWidget, QToolButton, QWidget

from app import number_text, parts, theme
from app.flow import flow
from app.histogram import Histogram
from app.models.field_pieces import FieldPieces
from app.session import Session
from app.stations.particles_hands import REASONS, Hands
from app.stations.particles_list import PieceList
from app.stations.particles_piece import PieceCard
from app.stations.particles_queue import doubtful_count, looked_at
from app.stations.particles_waiting import WaitingList
from app.stations.sides import page_buttons
from measure.flags import reason_words

_SHARE, _LOWEST = 0.3, 200  # of the column's height that is the histogram's, and px at least
_PAGES = {"piece": "Piece", "table": "All pieces", "kinds": "Learn, check"}


class Panel(QWidget):
    """Everything beside the picture.

    Signals
    -------
    field_wanted(int)
        Another field was chosen.
    """

    field_wanted = Signal(int)

    def __init__(
        self,
        session: Session,
        pieces: FieldPieces,
        action: Callable[[str], QAction],
        hands: Hands,
        histogram: Histogram,
        kinds_page: QWidget,
    ) -> None:
        super().__init__()
        self.setProperty("look", "panel")
        self._session, self._pieces, self._hands = session, pieces, hands
        self.pages = tuple(_PAGES)
        self.fields = QComboBox()
        self.fields.setAccessibleName("Field in view")
        self.fields.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.fields.setMinimumContentsLength(14)
        self.fields.activated.connect(lambda _i: self.field_wanted.emit(self.fields.currentData()))
        self._aside = self._aside_button(action)
        restore = parts.action_button(action("particles.restore"))
        # above the reasons, so that they are in view however many reasons there are
        self.piece = PieceCard(pieces, action, parts.row(self._aside, restore, None))
        self.list = PieceList(pieces, action)
        self.next_ones = WaitingList(pieces)
        self.waiting = parts.label("", wrap=True)
        self.progress = QProgressBar()
        self.progress.setTextVisible(False)
        self.progress.setFixedHeight(6)
        self.progress.setAccessibleName("Doubtful pieces looked at")
        self._stack = QStackedWidget()
        self._lay_out(action, histogram, kinds_page)

    def _lay_out(self, action: Callable[[str], QAction], histogram: Histogram, kinds_page: QWidget) -> None:
        steps = [
            parts.tool_button(action(f"particles.{name}_field"), icon)
            for name, icon in (("previous", "previous"), ("next", "next"))
        ]
        which = parts.row(self.fields, *steps, spacing=theme.TIGHT)
        which.setStretch(0, 1)
        pages = {"piece": self._piece_page(action), "table": self.list, "kinds": parts.scroll(kinds_page)}
        for name in self.pages:
            self._stack.addWidget(pages[name])
        self._page_actions = {name: action(f"particles.page_{name}") for name in self.pages}
        tabs = flow(*page_buttons(self, _PAGES, self._page_actions.__getitem__), spacing=theme.TIGHT)
        column = parts.column(which, tabs, self._stack, histogram, spacing=theme.SMALL, margin=theme.SMALL)
        self.setLayout(column)
        column.setStretch(2, 1)
        self._histogram = histogram
        column.addStrut(314)  # at least; larger text asks for more
        self.show_page("piece")

    def _piece_page(self, action: Callable[[str], QAction]) -> QWidget:
        accept = parts.action_button(action("particles.accept"), look="primary")
        after = parts.action_button(action("particles.next_doubtful"), text="Next piece")
        doubtful = parts.card(
            self.waiting, self.progress, parts.row(accept, after, None), heading="Doubtful first"
        )
        inner = QWidget()
        column = parts.column(doubtful, parts.card(self.piece), self.next_ones)
        column.setStretch(2, 1)
        inner.setLayout(column)
        return parts.scroll(inner)

    def _aside_button(self, action: Callable[[str], QAction]) -> QToolButton:
        """Return the button that sets aside, with the reasons below it."""
        menu = QMenu(self)
        for reason in REASONS:
            entry = menu.addAction(f"…because: {reason_words(reason)}")
            entry.triggered.connect(
                lambda _checked=False, reason=reason: self._hands.set_aside(self._session.selected, reason)
            )
        made = QToolButton()
        made.setText("Set aside")
        made.setAccessibleName("Set aside")
        made.setToolTip(action("particles.aside").toolTip())
        made.setMenu(menu)
        made.setPopupMode(QToolButton.ToolButtonPopupMode.MenuButtonPopup)
        made.clicked.connect(lambda _checked=False: action("particles.aside").trigger())
        return made

    @property
    def page(self) -> str:
        """Name of the page in front."""
        return self.pages[self._stack.currentIndex()]

    def show_page(self, name: str) -> None:
        """Bring a page of the column to the front."""
        self._stack.setCurrentIndex(self.pages.index(name))
        self._histogram.setVisible(name != "kinds")  # room for results, and nothing that tells sizes
        self._page_actions[name].setChecked(True)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Qt: the histogram takes a share of the height, the pages the rest."""
        super().resizeEvent(event)
        self._histogram.setFixedHeight(round(min(400, max(_LOWEST, _SHARE * self.height()))))

    def step_field(self, by: int) -> None:
        """Go to the next or previous field of the list."""
        place = self.fields.currentIndex() + by
        if 0 <= place < self.fields.count():
            self.field_wanted.emit(self.fields.itemData(place))

    def refresh(self, rows: list) -> None:
        """Show the fields there are, and the pieces of the one in view as they are now."""
        self.fields.blockSignals(True)
        self.fields.clear()
        for row in rows:
            self.fields.addItem(row.name, row.id)
        self.fields.setCurrentIndex(self.fields.findData(self._pieces.field_id))
        self.fields.blockSignals(False)
        self.list.refresh(self._session.selected)
        self.next_ones.refresh()
        self.next_ones.set_chosen(self._session.selected)
        self._show_waiting()

    def show_chosen(self, chosen: frozenset[int], image: QImage | None) -> None:
        """Show what is chosen in the table and the details."""
        self.list.set_chosen(chosen)
        self.next_ones.set_chosen(chosen)
        self.piece.show_pieces(chosen, image)
        self._aside.setEnabled(bool(chosen))

    def _show_waiting(self) -> None:
        waiting = doubtful_count(self._pieces)
        seen = int(looked_at(self._pieces).sum())
        self.progress.setMaximum(max(1, waiting + seen))
        self.progress.setValue(seen if waiting + seen else 1)
        self.progress.setVisible(len(self._pieces) > 0)
        if not len(self._pieces):
            text = "No pieces on this field."
        elif waiting:
            text = (
                f"{number_text.count(waiting, 'doubtful piece')} to look at on this field; {seen} looked at."
            )
        else:
            text = f"No doubtful piece is left on this field; {seen} looked at. Next shows the surer ones."
        self.waiting.setText(text)
