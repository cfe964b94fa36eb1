"""A sheet over the whole window, with a title and a way back."""

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QVBoxLayout, QWidget

from app import parts, theme


class Sheet(QWidget):
    """A page of the window that one looks at and leaves again.

    Signals
    -------
    left()
        The user wants to go back.
    """

    left = Signal()

    def __init__(self, title: str, *tools: QWidget) -> None:
        super().__init__()
        self.setAccessibleName(title)
        self.back = parts.button("Back", self.left.emit, look="primary", tip="Back to where you were  (Esc)")
        self.holder = QWidget()
        self.holder.setMaximumWidth(1500)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(theme.LARGE, theme.LARGE, theme.LARGE, theme.MEDIUM)
        whole.addLayout(parts.row(parts.label(title, "title"), theme.LARGE, *tools, None, self.back))
        whole.addWidget(parts.scroll(self.holder))

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Go back on Esc."""
        if event.key() == Qt.Key.Key_Escape:
            self.left.emit()
        else:
            super().keyPressEvent(event)
