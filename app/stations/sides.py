"""How a station is laid out: work at the left, a panel at the right, words where there is nothing yet."""

from collections.abc import Callable, Mapping

from PySide6.QtCore import Qt
from PySide6.QtGui import QAction, QActionGroup, QResizeEvent
from PySide6.QtWidgets import QLayout, QSplitter, QStackedWidget, QToolButton, QWidget

from app import parts, theme


class _Sides(QSplitter):
    """Work and panel; the work has half of the window at least, until the border is moved by hand."""

    def __init__(self) -> None:
        super().__init__(Qt.Orientation.Horizontal)
        self._moved = False
        self.splitterMoved.connect(self._note_move)

    def _note_move(self, _place: int, _which: int) -> None:
        self._moved = True

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Qt: give the work its half as far as the panel allows."""
        super().resizeEvent(event)
        half, whole = self.window().width() // 2, sum(self.sizes())
        if not self._moved and self.sizes()[0] < half < whole:
            self.setSizes([half, whole - half])


def side_by_side(left: QWidget, right: QWidget, widths: tuple[int, int]) -> QSplitter:
    """Return work and panel with a border that can be moved; the work takes what width there is more."""
    split = _Sides()
    split.addWidget(left)
    split.addWidget(right)
    split.setStretchFactor(0, 1)
    split.setStretchFactor(1, 0)
    split.setChildrenCollapsible(False)
    split.setSizes(list(widths))
    return split


def panel(*inner: QWidget | QLayout, at_least: int) -> QWidget:
    """Return the panel at the side of a station, px wide at least; larger text asks for more."""
    made = QWidget()
    made.setProperty("look", "panel")
    column = parts.column(*inner, margin=theme.SMALL)
    column.addStrut(at_least)
    made.setLayout(column)
    return made


def or_empty(words: str, whole: QWidget, go: Callable[[str], object]) -> QStackedWidget:
    """Return a stack of two pages: words that teach with a way to Fields, and the station at work."""
    to_fields = parts.button("Go to Fields", lambda: go("fields"), look="primary")
    taught = parts.label(words, wrap=True)
    taught.setAlignment(Qt.AlignmentFlag.AlignCenter)
    empty = QWidget()
    empty.setLayout(parts.column(None, taught, parts.row(None, to_fields, None), None, margin=theme.HUGE))
    stack = QStackedWidget()
    stack.addWidget(empty)
    stack.addWidget(whole)
    return stack


def page_buttons(
    owner: QWidget, pages: Mapping[str, str], action: Callable[[str], QAction]
) -> list[QToolButton]:
    """Return a button for each page, one of them pressed at a time.

    Parameters
    ----------
    pages : mapping
        Name of the page to its words.
    action : callable
        Gives the action of a page's name.
    """
    group = QActionGroup(owner)
    return [_page_button(action(name), text, group) for name, text in pages.items()]


def _page_button(action: QAction, text: str, group: QActionGroup) -> QToolButton:
    action.setCheckable(True)
    group.addAction(action)
    made = QToolButton()
    made.setText(text)
    made.setCheckable(True)
    made.setToolTip(action.toolTip())
    made.setAccessibleName(action.text())
    made.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
    made.clicked.connect(lambda _checked=False: action.trigger())
    action.toggled.connect(made.setChecked)
    return made
