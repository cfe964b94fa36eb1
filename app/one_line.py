"""A label of one line, shortened where it does not fit: a long name asks for no wide window."""

from PySide6.QtCore import QSize, Qt
from PySide6.QtGui import QPainter, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import QSizePolicy

from app import number_text
from app.parts import Words

_LEAST = 12  # letters that stay in any case


class OneLine(Words):
    """Words in one line; their middle gives way to an ellipsis where there is too little room.

    The whole text stays in the accessible name, and in the tip where it is shortened.
    """

    def __init__(self, text: str = "", look: str = "") -> None:
        super().__init__(text)
        if look:
            self.setProperty("look", look)
        self.setTextFormat(Qt.TextFormat.PlainText)
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Fixed)

    def setText(self, text: str) -> None:  # noqa: N802 - Qt's name
        """Qt: show these words."""
        super().setText(text)
        self.setAccessibleName(text)
        self._suit_tip()

    def minimumSizeHint(self) -> QSize:  # noqa: N802
        """Qt: room for a few letters."""
        whole = super().sizeHint()
        return QSize(min(whole.width(), self.fontMetrics().averageCharWidth() * _LEAST), whole.height())

    @property
    def shown(self) -> str:
        """What there is room for."""
        room = self.contentsRect().width()
        words = number_text.unbroken(self.text())
        return self.fontMetrics().elidedText(words, Qt.TextElideMode.ElideMiddle, room)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Qt: draw what there is room for."""
        painter = QPainter(self)
        self.style().drawItemText(
            painter, self.contentsRect(), self.alignment(), self.palette(), self.isEnabled(), self.shown,
            self.foregroundRole(),
        )  # fmt: skip

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Qt: tell the whole text in the tip where it is shortened."""
        super().resizeEvent(event)
        self._suit_tip()

    def _suit_tip(self) -> None:
        whole = self.shown == number_text.unbroken(self.text())
        self.setToolTip("" if whole else self.text())
