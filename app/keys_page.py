"""Keys at a glance: every action with its key, by place."""

from collections.abc import Iterable

from PySide6.QtWidgets import QGridLayout, QVBoxLayout, QWidget

from app import parts, theme
from app.actions import ActionRow, keys_text
from app.sheet import Sheet

COLUMNS = 3


class KeysPage(Sheet):
    """The sheet."""

    def __init__(self) -> None:
        super().__init__("Keys at a glance")

    def show_places(self, places: Iterable[tuple[str, list[ActionRow]]]) -> None:
        """Show the actions of these places, each a title and its rows."""
        before = self.holder.layout()
        if before is not None:
            QWidget().setLayout(before)
        grid = QGridLayout(self.holder)
        grid.setSpacing(theme.MEDIUM)
        sides = [QVBoxLayout() for _ in range(COLUMNS)]
        filled = [0] * COLUMNS
        for title, rows in places:
            if rows:
                side = filled.index(min(filled))
                filled[side] += len(rows) + 2
                sides[side].addWidget(_card(title, rows))
        for side, column in enumerate(sides):
            column.setSpacing(theme.MEDIUM)
            column.addStretch(1)
            grid.addLayout(column, 0, side)
            grid.setColumnStretch(side, 1)


def _card(title: str, rows: list[ActionRow]) -> QWidget:
    grid = QGridLayout()
    grid.setColumnStretch(0, 1)
    grid.setVerticalSpacing(theme.TIGHT)
    for line, row in enumerate(rows):
        words = parts.label(row.text.rstrip("…"))
        words.setToolTip(row.tip)
        grid.addWidget(words, line, 0)
        grid.addWidget(parts.label(keys_text(row) or "by menu", "" if row.keys else "soft"), line, 1)
    return parts.card(grid, heading=title)
