"""A row of tools with short words under their icons where the width allows it, with icons alone where not."""

from collections.abc import Sequence

from PySide6.QtCore import QEvent, Qt
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QFrame, QToolButton, QWidget

from app import theme
from app.flow import Flow

_WORDS, _ICONS = Qt.ToolButtonStyle.ToolButtonTextUnderIcon, Qt.ToolButtonStyle.ToolButtonIconOnly


class WordyRow(QFrame):
    """Tools in one line, worded when all of them fit."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._buttons: tuple[QToolButton, ...] = ()
        self._needed = 0  # width with words, px; 0 until known

    def hold(self, line: Flow, buttons: Sequence[QToolButton]) -> None:
        """Take the line of tools and the buttons among them that can carry words."""
        self._buttons = tuple(buttons)
        self.setLayout(line)
        for button in self._buttons:
            button.setFont(theme.font("small"))
            button.setProperty("look", "tool")

    @property
    def worded(self) -> bool:
        """Whether the tools carry their words now."""
        return bool(self._buttons) and self._buttons[0].toolButtonStyle() == _WORDS

    def suit_again(self) -> None:
        """Put words under the icons or take them away, after something else in the line changed its width."""
        self._needed = 0
        self._suit(self.width())

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Qt: put words under the icons, or take them away."""
        super().resizeEvent(event)
        self._suit(event.size().width())

    def changeEvent(self, event: QEvent) -> None:
        """Qt: another font or style needs another width."""
        super().changeEvent(event)
        if event.type() in {QEvent.Type.FontChange, QEvent.Type.StyleChange}:
            self._needed = 0

    def _suit(self, width: int) -> None:
        line = self.layout()
        if line is None:
            return
        if not self._needed:
            self._switch(_WORDS)
            self._needed = line.sizeHint().width()
        self._switch(_WORDS if width >= self._needed else _ICONS)

    def _switch(self, style: Qt.ToolButtonStyle) -> None:
        for button in self._buttons:
            button.setToolButtonStyle(style)
