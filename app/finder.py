"""Find a command by typing a few letters of it."""

from collections.abc import Callable, Iterable

from PySide6.QtCore import QEvent, QObject, Qt
from PySide6.QtGui import QAction, QKeyEvent
from PySide6.QtWidgets import QFrame, QLineEdit, QListWidget, QListWidgetItem, QVBoxLayout, QWidget

from app import theme

_ROWS = 9


def matches(text: str, query: str) -> bool:
    """Return whether every word typed begins some word of the text.

    Examples
    --------
    >>> matches("Measure all fields", "fi mea"), matches("Measure all fields", "sure")
    (True, False)
    """
    words = text.lower().split()
    return all(any(word.startswith(typed) for word in words) for typed in query.lower().split())


class Finder(QFrame):
    """A line to type in and the commands that fit, over the page; Esc or a click elsewhere closes it."""

    def __init__(self, parent: QWidget, actions: Callable[[], Iterable[QAction]]) -> None:
        super().__init__(parent)
        self.setProperty("look", "card")
        self.setAccessibleName("Find a command")
        self._actions = actions
        self._back: QWidget | None = None
        self.line = QLineEdit()
        self.line.setPlaceholderText("Type a few letters of what you want")
        self.line.setAccessibleName("Type a few letters of what you want")
        self.line.textChanged.connect(self._fill)
        self.line.installEventFilter(self)
        self.list = QListWidget()
        self.list.setAccessibleName("Commands that fit")
        self.list.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.list.itemClicked.connect(lambda _item: self._run())
        column = QVBoxLayout(self)
        column.setContentsMargins(theme.SMALL, theme.SMALL, theme.SMALL, theme.SMALL)
        column.addWidget(self.line)
        column.addWidget(self.list)
        self.hide()

    def open(self) -> None:
        """Show it, empty, with the cursor in the line."""
        room = self.parentWidget()
        if room is None:
            return
        self._back = self.window().focusWidget()
        self.line.clear()
        self._fill("")
        width = min(520, room.width() - 2 * theme.LARGE)
        height = self.line.sizeHint().height() + _ROWS * max(22, self.list.sizeHintForRow(0)) + theme.HUGE
        height = min(height, room.height() - theme.HUGE)
        self.setGeometry((room.width() - width) // 2, theme.HUGE, width, height)
        self.show()
        self.raise_()
        self.line.setFocus(Qt.FocusReason.ShortcutFocusReason)

    def close_up(self) -> None:
        """Hide it and give the focus back."""
        self.hide()
        if self._back is not None:
            self._back.setFocus(Qt.FocusReason.OtherFocusReason)

    def eventFilter(self, _watched: QObject, event: QEvent) -> bool:  # noqa: N802 - Qt's name
        """Let the arrow keys move in the list while one types."""
        if event.type() == QEvent.Type.FocusOut:
            self.hide()
        if event.type() == QEvent.Type.KeyPress and isinstance(event, QKeyEvent):
            return self._key(event.key())
        return False

    def _key(self, key: int) -> bool:
        if key == Qt.Key.Key_Escape:
            self.close_up()
        elif key in {Qt.Key.Key_Return, Qt.Key.Key_Enter}:
            self._run()
        elif key in {Qt.Key.Key_Down, Qt.Key.Key_Up}:
            step = 1 if key == Qt.Key.Key_Down else -1
            self.list.setCurrentRow(max(0, min(self.list.count() - 1, self.list.currentRow() + step)))
        else:
            return False
        return True

    def _fill(self, query: str) -> None:
        self.list.clear()
        for action in self._actions():
            if not (action.isEnabled() and matches(f"{action.text()} {action.toolTip()}", query)):
                continue
            key = action.shortcut().toString(action.shortcut().SequenceFormat.NativeText)
            item = QListWidgetItem(f"{action.text()}    {key}" if key else action.text())
            item.setData(Qt.ItemDataRole.UserRole, action)
            item.setToolTip(action.toolTip())
            self.list.addItem(item)
        self.list.setCurrentRow(0)

    def _run(self) -> None:
        item = self.list.currentItem()
        self.close_up()
        if item is not None:
            item.data(Qt.ItemDataRole.UserRole).trigger()
