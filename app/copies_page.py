"""Earlier copies of a study: when each was made and what it holds; one can be brought back as a new study."""

from pathlib import Path

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from app import number_text, parts, theme
from app.copies_keeper import CopiesKeeper, when_text
from app.session import Session
from measure.errors import StudyFileError
from measure.progress import Progress
from measure.study.copies import Contents, Copy, contents_of

KEY = "look into copies"
_HEADINGS = ("Made", "Why", "Fields", "Particles", "Steps", "Size")
_WIDTHS = (170, 260, 90, 110, 90, 110)


class CopiesPage(QWidget):
    """The list of copies.

    Signals
    -------
    left()
        The user wants to go back.
    wanted(Copy)
        The user wants that copy as a new study.
    """

    left = Signal()
    wanted = Signal(object)

    def __init__(self, session: Session, keeper: CopiesKeeper) -> None:
        super().__init__()
        self.setAccessibleName("Earlier copies")
        self._session, self._keeper = session, keeper
        self._path: Path | None = None
        self.copies: list[Copy] = []
        self.title = parts.label("Earlier copies", "title")
        self.empty = parts.label(
            "There is no copy yet. One is made when a study is opened and every quarter of an hour while it "
            "changes.",
            wrap=True,
        )
        self.view = _view()
        self.view.itemSelectionChanged.connect(self._show_button)
        self.view.itemDoubleClicked.connect(lambda _item: self._want())
        self.bring = parts.button(
            "Bring it back as a new study…", self._want, look="primary", tip="The study itself stays as it is"
        )
        self.back = parts.button("Back", self.left.emit, tip="Back to where you were  (Esc)")
        self._lay_out()
        keeper.made.connect(
            lambda: self.isVisible() and self._path is not None and self.show_copies(self._path)
        )

    def _lay_out(self) -> None:
        note = parts.label(
            "Copies are made in the background and grow sparser with age. They lie in your own folder of "
            "this computer, not beside the study, so that they outlive it.",
            "soft",
            wrap=True,
        )
        column = QVBoxLayout(self)
        column.setContentsMargins(theme.LARGE, theme.LARGE, theme.LARGE, theme.MEDIUM)
        column.setSpacing(theme.SMALL)
        head = parts.row(self.title, None, self.back)
        parts.fill(column, (head, note, self.empty, self.view, parts.row(None, self.bring)))
        column.setStretch(3, 1)
        column.setAlignment(self.empty, Qt.AlignmentFlag.AlignTop)

    def show_copies(self, path: Path) -> None:
        """Show the copies of a study, newest first; what they hold follows as it is read."""
        self._path, self.copies = path, self._keeper.copies(path)
        self.title.setText(f"Earlier copies of {path.stem}")
        self.view.setRowCount(len(self.copies))
        for row, copy in enumerate(self.copies):
            why = "as it was when opened" if copy.opened else "while it changed"
            size = f"{number_text.number(copy.size_bytes / 1e6, 2)} MB"
            for column, text in enumerate((when_text(copy.when), why, "…", "…", "…", size)):
                self.view.setItem(row, column, _cell(text, right=column > 1))
        self.view.setVisible(bool(self.copies))
        self.empty.setVisible(not self.copies)
        if self.copies:
            self.view.selectRow(0)
            self.view.setFocus()
        else:
            self.back.setFocus()
        self._show_button()
        self._look_into()

    def _look_into(self) -> None:
        copies = list(self.copies)

        def work(progress: Progress) -> list[Contents | None]:
            found: list[Contents | None] = []
            for place, copy in enumerate(copies):
                progress.report(place / len(copies), "")
                try:
                    found.append(contents_of(copy.path))
                except StudyFileError:
                    found.append(None)
            return found

        def done(found: list[Contents | None]) -> None:
            if copies == self.copies:
                self._show_contents(found)

        if copies:
            self._session.tasks.run(work, done, key=KEY)

    def _show_contents(self, found: list[Contents | None]) -> None:
        for row, contents in enumerate(found):
            values = None if contents is None else (contents.fields, contents.particles, contents.actions)
            for column in range(3):
                text = "cannot be read" if values is None else number_text.fixed(values[column], 0)
                self.view.setItem(row, 2 + column, _cell(text, right=True))

    def _chosen(self) -> Copy | None:
        row = self.view.currentRow()
        return self.copies[row] if 0 <= row < len(self.copies) else None

    def _show_button(self) -> None:
        self.bring.setEnabled(self._chosen() is not None)

    def _want(self) -> None:
        copy = self._chosen()
        if copy is not None:
            self.wanted.emit(copy)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Qt: Esc goes back, Return brings the chosen copy back."""
        if event.key() == Qt.Key.Key_Escape:
            self.left.emit()
        elif event.key() in {Qt.Key.Key_Return, Qt.Key.Key_Enter}:
            self._want()
        else:
            super().keyPressEvent(event)


def _cell(text: str, *, right: bool) -> QTableWidgetItem:
    made = QTableWidgetItem(text)
    made.setTextAlignment(_side(right=right))
    return made


def _side(*, right: bool) -> Qt.AlignmentFlag:
    side = Qt.AlignmentFlag.AlignRight if right else Qt.AlignmentFlag.AlignLeft
    return side | Qt.AlignmentFlag.AlignVCenter


def _view() -> QTableWidget:
    view = QTableWidget(0, len(_HEADINGS))
    view.setHorizontalHeaderLabels(_HEADINGS)
    parts.dress_rows(view, "Earlier copies", 10)
    view.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
    for column in range(len(_HEADINGS)):
        heading = view.horizontalHeaderItem(column)
        if heading is not None:
            heading.setTextAlignment(_side(right=column > 1))
    view.horizontalHeader().setSectionResizeMode(1, QHeaderView.ResizeMode.Stretch)
    parts.set_widths(view, _WIDTHS)
    return view
