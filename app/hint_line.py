"""The line below a picture: what the tool in hand wants, wrapped where it must be, and what is pointed at."""

from PySide6.QtCore import QEvent, Qt
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QLabel, QWidget

from app import parts, theme


class HintLine(QWidget):
    """Words that wrap, and at the right what is under the pointer.

    The height follows from the hint alone, so that the picture above does not jump as the pointer moves.
    Where both have no room side by side, what is pointed at takes the hint's place.

    Parameters
    ----------
    under : QLabel, optional
        Says what is under the pointer.
    """

    def __init__(self, under: QLabel | None = None) -> None:
        super().__init__()
        self.hint = parts.label("", "soft", wrap=True)
        self.hint.setAlignment(Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignLeft)
        self._under = under
        for words in (self.hint, under):
            if words is not None:
                words.setParent(self)

    def setText(self, text: str) -> None:  # noqa: N802 - as a label's
        """Show what the tool wants."""
        self.hint.setText(text)
        self._suit()

    def text(self) -> str:
        """Return what is shown of the tool."""
        return self.hint.text()

    def event(self, event: QEvent) -> bool:
        """Qt: what is pointed at has become longer or shorter."""
        if event.type() == QEvent.Type.LayoutRequest:
            self._suit()
        return super().event(event)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Qt: wrap anew."""
        super().resizeEvent(event)
        self._suit()

    def changeEvent(self, event: QEvent) -> None:
        """Qt: larger text needs more lines."""
        super().changeEvent(event)
        if event.type() in {QEvent.Type.FontChange, QEvent.Type.StyleChange}:
            self._suit()

    def _suit(self) -> None:
        whole = self.width() - 2 * theme.SMALL
        height = max(self.hint.heightForWidth(whole), self.fontMetrics().height())
        if self.minimumHeight() != height + 2 * theme.TIGHT:
            self.setFixedHeight(height + 2 * theme.TIGHT)
        taken = 0
        if self._under is not None:
            pointed = min(self._under.sizeHint().width(), whole) if self._under.text() else 0
            self._under.setGeometry(self.width() - theme.SMALL - pointed, theme.TIGHT, pointed, height)
            taken = pointed + theme.SMALL if pointed else 0
        rest = max(whole - taken, 1)
        self.hint.setGeometry(theme.SMALL, theme.TIGHT, rest, height)
        self.hint.setVisible(self.hint.heightForWidth(rest) <= height)
