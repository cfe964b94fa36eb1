"""The table of ratios: every pair, every figure, with intervals and a reading in words."""

import math

from PySide6.QtCore import Qt
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QAbstractItemView, QHeaderView, QTableWidget, QTableWidgetItem

from app import help_words
from app.stations.compare_work import CompareAnswer
from measure.judge.compare_pairs import Ratio, ShareDifference
from measure.judge.compare_words import ratio_text
from measure.sizes.plan import figure_words
from measure.sizes.rounding import signed_number

_HEADS = ("Batches", "Figure", "Ratio", "Interval", "Reading")
_NAMES = 0.35  # of the width, at most, for the names of batches


class RatioTable(QTableWidget):
    """Rows of the compared figure first, then the felt shares, the kinds, and the other figures."""

    def __init__(self) -> None:
        super().__init__(0, len(_HEADS))
        self.setHorizontalHeaderLabels(list(_HEADS))
        self.setAccessibleName("Ratios with intervals")
        for column, figure in ((2, "ratio"), (3, "interval")):
            item = self.horizontalHeaderItem(column)
            if item is not None:
                item.setToolTip(help_words.tip(figure))
        self.verticalHeader().setVisible(False)
        self.verticalHeader().setDefaultSectionSize(24)
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.setTabKeyNavigation(False)
        self.setShowGrid(False)
        head = self.horizontalHeader()
        head.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        head.setSectionResizeMode(0, QHeaderView.ResizeMode.Interactive)
        self.setTextElideMode(Qt.TextElideMode.ElideMiddle)  # names of batches differ at their ends
        head.setStretchLastSection(True)  # the head reaches across, however wide the window is
        last = self.horizontalHeaderItem(len(_HEADS) - 1)
        if last is not None:
            last.setTextAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)

    def show_answer(self, shown: CompareAnswer | None) -> None:
        """Fill the table anew."""
        rows = _rows(shown) if shown is not None else []
        self.setRowCount(len(rows))
        for place, cells in enumerate(rows):
            for column, text in enumerate(cells):
                item = QTableWidgetItem(text)
                item.setToolTip(text)
                if column in (2, 3):
                    item.setTextAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
                self.setItem(place, column, item)
        self._suit()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Qt: the head across the whole width where that is enough."""
        super().resizeEvent(event)
        self._suit()

    def _suit(self) -> None:
        """Stretch the last column only where that makes it no narrower than its words."""
        head, last = self.horizontalHeader(), len(_HEADS) - 1
        names = max(self.sizeHintForColumn(0), head.sectionSizeHint(0))
        head.resizeSection(0, min(names, int(_NAMES * self.viewport().width())))  # long names leave room
        others = sum(head.sectionSize(column) for column in range(last))
        head.setStretchLastSection(others + self.sizeHintForColumn(last) <= self.viewport().width())

    def text(self) -> str:
        """Return the table as tab-separated text."""
        cells = [
            [str(self.model().index(row, column).data()) for column in range(self.columnCount())]
            for row in range(self.rowCount())
        ]
        return "".join("\t".join(line) + "\n" for line in (_HEADS, *cells))


def _rows(shown: CompareAnswer) -> list[tuple[str, ...]]:
    ratios = shown.comparison.ratios
    first = [r for r in ratios if r.figure == shown.figure and not r.kind]
    kinds = [r for r in ratios if r.kind]
    rest = [r for r in ratios if r.figure != shown.figure and not r.kind]
    head = [_ratio_row(r) for r in first] + [_share_row(r) for r in shown.comparison.shares]
    return head + [_ratio_row(r) for r in (*kinds, *rest)]


def _ratio_row(row: Ratio) -> tuple[str, ...]:
    figure = figure_words(row.figure) + (f", {row.kind} only" if row.kind else "")
    range_ = f"{ratio_text(row.low)} to {ratio_text(row.high)}" if math.isfinite(row.low) else "none possible"
    return f"{row.first} / {row.second}", figure, ratio_text(row.ratio), range_, reading(row)


def reading(row: Ratio) -> str:
    """Return what a ratio says in a few words."""
    if not math.isfinite(row.low):
        return "no interval to judge it"
    if not row.shown:
        return "alike to a tongue" if row.noticeable is False else "no difference shown"
    finer = row.second if row.ratio > 1 else row.first
    much = {True: "enough to notice", False: "too little to notice", None: "perhaps enough to notice"}
    return f"{finer} is finer, {much[row.noticeable]}"


def _share_row(row: ShareDifference) -> tuple[str, ...]:
    words = "no difference shown"
    if not math.isfinite(row.low):
        words = "no interval to judge it"
    elif row.shown:
        words = f"{row.second if row.difference > 0 else row.first} is felt less"
    range_ = _points(row.low, row.high) if math.isfinite(row.low) else "none possible"
    return f"{row.first} − {row.second}", "felt share, points", _points(row.difference), range_, words


def _points(*shares: float) -> str:
    if max(abs(v) for v in shares) < 5e-5:  # a signed nothing reads as something
        return "0"
    return " to ".join(signed_number(100 * v) for v in shares)
