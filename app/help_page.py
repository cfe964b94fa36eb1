"""Figures in plain words: every figure of the window explained, by station."""

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QGridLayout, QLineEdit, QWidget

from app import parts, theme
from app.help_words import HELP, Words
from app.sheet import Sheet

COLUMNS = 2


class HelpPage(Sheet):
    """The sheet of figures, with a line to look one up."""

    def __init__(self) -> None:
        self.line = QLineEdit()
        self.line.setPlaceholderText("Look a figure up")
        self.line.setAccessibleName("Look a figure up")
        self.line.setMaximumWidth(320)
        super().__init__("Figures in plain words", self.line)
        self.line.textChanged.connect(self._show_those_with)
        self._cards: list[tuple[str, QWidget]] = []
        self._grid = QGridLayout(self.holder)
        self._grid.setSpacing(theme.MEDIUM)
        for column in range(COLUMNS):
            self._grid.setColumnStretch(column, 1)
        for words in HELP.values():
            text = " ".join((words.place, words.title, words.what, words.why)).lower()
            self._cards.append((text, _card(words)))
        self._show_those_with("")

    def shown(self) -> int:
        """Return how many figures are in view."""
        return self._grid.count()

    def _show_those_with(self, typed: str) -> None:
        for _, card in self._cards:
            self._grid.removeWidget(card)
            card.hide()
        asked = typed.lower().split()
        fitting = [card for text, card in self._cards if all(word in text for word in asked)]
        for row in range(self._grid.rowCount()):
            self._grid.setRowStretch(row, 0)
        self._grid.setRowStretch(len(fitting), 1)  # what is left of the height lies below the last
        for place, card in enumerate(fitting):
            self._grid.addWidget(card, *divmod(place, COLUMNS), Qt.AlignmentFlag.AlignTop)
            card.show()


def _card(words: Words) -> QWidget:
    grid = QGridLayout()
    grid.setColumnStretch(1, 1)
    grid.setVerticalSpacing(theme.TIGHT)
    lines = (("Why", words.why), ("How", words.how), ("Source", words.source))
    for row, (name, text) in enumerate(lines):
        grid.addWidget(parts.label(name, "small"), row, 0, Qt.AlignmentFlag.AlignTop)
        grid.addWidget(parts.label(text, "small" if name == "Source" else "", wrap=True), row, 1)
    what = parts.label(words.what, wrap=True)
    return parts.card(what, grid, heading=f"{words.title}  ·  {words.place.capitalize()}")
