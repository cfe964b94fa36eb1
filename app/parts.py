"""Small parts every page is put together from, so that all pages look alike."""

from collections.abc import Callable, Iterable

from PySide6.QtCore import QEvent, QObject, QSize, Qt
from PySide6.QtGui import QAction
from PySide6.QtWidgets import (
    QAbstractItemView,
    QBoxLayout,
    QFormLayout,
    QFrame,
    QHBoxLayout,
    QHeaderView,
    QLabel,
    QLayout,
    QPushButton,
    QScrollArea,
    QSizePolicy,
    QTableView,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from app import icons, number_text, theme

_USUAL_LINE_PX = 15.0  # of text of the usual size
WIDEST_IN_LINES = 24  # no panel asks for a width of more lines of text; beyond it scrolls sideways


class Words(QLabel):
    """A label in which a number and its unit stay together; an endless word is broken."""

    def __init__(self, text: str = "") -> None:
        super().__init__()
        self.setText(text)

    def setText(self, text: str) -> None:  # noqa: N802 - Qt's name
        """Qt: show these words."""
        self._said = text
        shown = number_text.unbroken(text)
        super().setText(number_text.breakable(shown) if self.wordWrap() else shown)

    def setWordWrap(self, on: bool) -> None:  # noqa: N802
        """Qt: let lines end between words, and within one that is longer than any line."""
        super().setWordWrap(on)
        self.setText(self._said)

    # of Qt's two forms only the one that is called here
    def setSizePolicy(self, across: QSizePolicy.Policy, down: QSizePolicy.Policy) -> None:  # type: ignore[override]  # noqa: N802
        """Qt: set how it grows; lines that wrap keep a height that follows from the width."""
        policy = QSizePolicy(across, down)
        policy.setHeightForWidth(self.wordWrap())
        super().setSizePolicy(policy)

    def text(self) -> str:
        """Return the words as they were given."""
        return self._said


def label(text: str = "", look: str = "", *, wrap: bool = False) -> QLabel:
    """Return a label with one of the looks of `app.style_sheet`."""
    made = Words(text)
    if look:
        made.setProperty("look", look)
    made.setWordWrap(wrap)
    made.setTextFormat(Qt.TextFormat.PlainText)
    if wrap:
        made.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.MinimumExpanding)
    return made


def button(
    text: str, pressed: Callable[[], object], *, look: str = "", icon: str = "", tip: str = ""
) -> QPushButton:
    """Return a push button."""
    made = QPushButton(text)
    made.clicked.connect(lambda _checked=False: pressed())
    return _dressed(made, look, icon, tip)


def action_button(action: QAction, *, look: str = "", icon: str = "", text: str = "") -> QPushButton:
    """Return a push button that does what the action does and is on and off with it."""
    made = QPushButton(text or action.text().rstrip("…"))
    made.setCheckable(action.isCheckable())
    made.setAccessibleName(action.text().rstrip("…"))

    def follow() -> None:
        made.setEnabled(action.isEnabled())
        made.setChecked(action.isChecked())

    action.changed.connect(follow)
    made.clicked.connect(lambda _checked=False: action.trigger())
    follow()
    return _dressed(made, look, icon, action.toolTip())


def tool_button(action: QAction, icon: str, *, look: str = "quiet", words: str = "") -> QToolButton:
    """Return a button that shows the icon of an action, and short words where a `WordyRow` has room."""
    made = QToolButton()
    if words:
        action.setIconText(words)
    made.setDefaultAction(action)
    made.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonIconOnly)
    made.setAccessibleName(action.text())
    made.setProperty("look", look)
    made.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
    icons.set_icon(action, icon)
    return made


def card(*parts: QWidget | QLayout | int | None, heading: str = "") -> QFrame:
    """Return a card holding parts from top to bottom; None stretches, a number is a gap in px."""
    made = QFrame()
    made.setProperty("look", "card")
    column = QVBoxLayout(made)
    column.setContentsMargins(theme.MEDIUM, theme.SMALL, theme.MEDIUM, theme.MEDIUM)
    column.setSpacing(theme.SMALL)
    if heading:
        column.addWidget(label(heading, "heading"))
        made.setAccessibleName(heading)
    fill(column, parts)
    return made


def row(*parts: QWidget | QLayout | int | None, spacing: int = theme.SMALL) -> QHBoxLayout:
    """Return parts side by side; None stretches, a number is a gap in px."""
    made = QHBoxLayout()
    made.setContentsMargins(0, 0, 0, 0)
    made.setSpacing(spacing)
    fill(made, parts)
    return made


def column(
    *parts: QWidget | QLayout | int | None, spacing: int = theme.SMALL, margin: int = 0
) -> QVBoxLayout:
    """Return parts below one another; None stretches, a number is a gap in px."""
    made = QVBoxLayout()
    made.setContentsMargins(margin, margin, margin, margin)
    made.setSpacing(spacing)
    fill(made, parts)
    return made


def fill(layout: QHBoxLayout | QVBoxLayout, parts: tuple[QWidget | QLayout | int | None, ...]) -> None:
    """Add parts to a layout; None stretches, a number is a gap in px."""
    for part in parts:
        if part is None:
            layout.addStretch(1)
        elif isinstance(part, int):
            layout.addSpacing(part)
        elif isinstance(part, QLayout):
            layout.addLayout(part)
        else:
            layout.addWidget(part)


def box_of(widget: QWidget) -> QBoxLayout:
    """Return the row or column in which a widget holds its parts."""
    layout = widget.layout()
    if not isinstance(layout, QBoxLayout):
        raise TypeError(f"{type(widget).__name__} holds no row or column of parts")
    return layout


def form(*rows: tuple[str, QWidget, str]) -> QFormLayout:
    """Return a form; each row is its words, its widget and a tip that also a screen reader tells."""
    made = QFormLayout()
    made.setVerticalSpacing(theme.TIGHT)
    made.setHorizontalSpacing(theme.MEDIUM)
    made.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.AllNonFixedFieldsGrow)
    made.setRowWrapPolicy(QFormLayout.RowWrapPolicy.WrapLongRows)  # large text in a narrow panel
    for words, widget, tip in rows:
        widget.setToolTip(tip)
        widget.setAccessibleName(words)
        widget.setAccessibleDescription(tip)
        name = label(words)
        name.setToolTip(tip)
        name.setBuddy(widget)
        name.setMinimumHeight(min(widget.sizeHint().height(), 40))
        made.addRow(name, widget)
    return made


def dress_rows(view: QTableView, name: str, padding: int = 8) -> None:
    """Give a table the looks all have: whole rows chosen, no grid, nothing typed, Tab leaves it."""
    view.setAccessibleName(name)
    view.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
    view.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
    view.setTabKeyNavigation(False)
    view.setShowGrid(False)
    view.setWordWrap(False)
    view.verticalHeader().hide()
    view.verticalHeader().setSectionResizeMode(QHeaderView.ResizeMode.Fixed)
    view.verticalHeader().setDefaultSectionSize(view.fontMetrics().height() + padding)
    view.horizontalHeader().setHighlightSections(False)


def set_widths(view: QTableView, widths: Iterable[int]) -> None:
    """Give columns their widths, px in text of the usual size; larger text makes them wider."""
    scale = max(1.0, view.fontMetrics().lineSpacing() / _USUAL_LINE_PX)
    for column, width in enumerate(widths):
        view.setColumnWidth(column, round(scale * width))


class _UpAndDown(QScrollArea):
    """Scrolls up and down, so it asks for the width of what it holds, whatever the text size."""

    def minimumSizeHint(self) -> QSize:  # noqa: N802 - Qt's name
        """Return the width of what it holds, within reason."""
        hint, inner = super().minimumSizeHint(), self.widget()
        if inner is None:
            return hint
        width = inner.minimumSizeHint().width() + self.verticalScrollBar().sizeHint().width()
        widest = WIDEST_IN_LINES * self.fontMetrics().lineSpacing()
        return QSize(max(hint.width(), min(width, widest)), hint.height())

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:  # noqa: N802 - Qt's name
        """Qt: ask for another width as soon as what it holds does."""
        if watched is self.widget() and event.type() == QEvent.Type.LayoutRequest:
            self.updateGeometry()
        return super().eventFilter(watched, event)


def scroll(inner: QWidget) -> QScrollArea:
    """Return an area that scrolls up and down, and sideways only when it cannot have the width it needs."""
    made = _UpAndDown()
    made.setWidget(inner)
    made.setWidgetResizable(True)
    made.setFrameShape(QFrame.Shape.NoFrame)
    made.setFocusPolicy(Qt.FocusPolicy.NoFocus)
    return made


def set_look(widget: QWidget, look: str, prop: str = "look") -> None:
    """Change the look of a widget that is shown already."""
    if widget.property(prop) != look:
        widget.setProperty(prop, look)
        widget.style().unpolish(widget)
        widget.style().polish(widget)


def _dressed(made: QPushButton, look: str, icon: str, tip: str) -> QPushButton:
    if look:
        made.setProperty("look", look)
    if icon:
        icons.set_icon(made, icon, "accent_ink" if look == "primary" else "ink")
        if made.text():  # the style leaves too little room beside an icon
            made.setText(f" {made.text()}")
    if tip:
        made.setToolTip(tip)
    made.setAutoDefault(True)  # Return presses the button that has the focus, not only the space bar
    return made
