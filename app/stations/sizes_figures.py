"""The page of figures: verdict in a sentence, percentiles and means with intervals, and cautions."""

import math

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QAbstractItemView, QHeaderView, QTableWidget, QTableWidgetItem, QWidget

from app import help_words, number_text, parts
from app.roomy import ROOMY, suit_words
from app.stations.sizes_work import Answer
from measure.sizes.plan import figure_words

_LISTED = {
    0: ("number.x10_um", "number.x50_um", "number.x90_um", "number.mean_um", "number.geometric_mean_um"),
    3: ("volume.x10_um", "volume.x50_um", "volume.x90_um", "volume.mean_um"),
}
_MEANS = ("means_um.D[1,0]", "means_um.D[2,0]", "means_um.D[3,0]", "means_um.D[3,2]", "means_um.D[4,3]")
_LAST = {0: ("number.geometric_sd",), 3: ("span",)}
_UNITLESS = ("span", "number.geometric_sd")
_LOOKS = {"not felt": "done", "felt": "warning", "borderline": "warning", "undecided": "soft"}


def listed(r: int) -> tuple[str, ...]:
    """Return the figures shown for a weighting."""
    return (*_LISTED[r], *_LAST[r], *_MEANS)


def _more(r: int) -> tuple[str, ...]:
    """Return the figures of the other weighting, listed below where there is room."""
    return (*_LISTED[3 - r], *_LAST[3 - r])


class FiguresPage(QWidget):
    """Verdict, table and cautions.

    Signals
    -------
    figure_chosen(str)
        A figure of the table is looked at.
    """

    figure_chosen = Signal(str)

    def __init__(self) -> None:
        super().__init__()
        self.word = parts.label("", "figure")
        self.sentence = parts.label("", wrap=True)
        self.reasons = parts.label("", "small", wrap=True)
        self.decides = parts.label("", "warning", wrap=True)
        self.careful = parts.label("", "small", wrap=True)
        self.table = _table()
        self.table.itemSelectionChanged.connect(self._choose)
        self._names: tuple[str, ...] = ()
        self._beyond = 0
        verdict = parts.card(self.word, self.sentence, self.decides, self.reasons, heading="Will it be felt?")
        verdict.setToolTip(f"{help_words.tip('felt_share')}\n\n{help_words.tip('strays')}")
        self.sizes = parts.card(self.table, heading="Sizes, with 95 % intervals")
        self.sizes.setToolTip(help_words.tip("interval"))
        self.cautions = parts.card(self.careful, heading="Be careful")
        self.setLayout(parts.column(verdict, self.sizes, self.cautions, None))

    def show_answer(self, answer: Answer, r: int, unmeasured: int = 0) -> None:
        """Show figures of quantity ``r``; ``unmeasured`` fields of the batch are left out of them."""
        verdict = answer.verdict
        if answer.final or not answer.summary.pieces:
            self.word.setText(verdict.word.capitalize())
            parts.set_look(self.sentence, _LOOKS[verdict.word])
            said = verdict.sentence.partition(": ")[2]
            self.sentence.setText(f"{said[:1].upper()}{said[1:]}")
            decides = number_text.grouped(verdict.decides)
            self.decides.setText(f"What would decide: {decides}" if decides else "")
        else:
            share = number_text.percent(verdict.share)
            self.word.setText("…")
            parts.set_look(self.sentence, "soft")
            self.sentence.setText(
                f"{share} of the volume is of a size that is felt; working out how sure that is…"
            )
            self.decides.setText("")
        self.decides.setVisible(bool(self.decides.text()))
        self.reasons.setText(number_text.grouped("\n".join(verdict.reasons)) if answer.final else "")
        self._fill(answer, r)
        self.sizes.setVisible(answer.summary.pieces > 0)  # a table of dashes tells nothing
        warnings = [*answer.summary.warnings, *answer.summary.notes]
        if unmeasured:
            fields = number_text.count(unmeasured, "field")
            warnings.insert(0, f"{fields} of this batch: not measured yet, so not in these figures.")
        self.careful.setText(number_text.grouped("\n\n".join(warnings)))
        self.cautions.setVisible(bool(warnings))
        self._suit()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Qt: words of the size there is room for."""
        super().resizeEvent(event)
        self._suit()

    def _suit(self) -> None:
        """Show the figures of both weightings where there is room beside words of the usual size."""
        own = len(self._names) - self._beyond
        for shown in (True, False):
            for place in range(own, len(self._names)):
                self.table.setRowHidden(place, not shown)
            _fit_height(self.table)
            fits = suit_words(self, (self.reasons, self.careful))
            if fits and self.careful.property("look") == ROOMY:
                return

    def text(self, answer: Answer) -> str:
        """Return all figures as text, tab-separated, for a spreadsheet or an e-mail."""
        lines = ["figure\tvalue\tlow\thigh\tunit"]
        for name in dict.fromkeys((*listed(0), *listed(3))):
            low, high = answer.summary.interval(name)
            cells = [f"{v:.6g}" if math.isfinite(v) else "" for v in (answer.summary.value(name), low, high)]
            lines.append("\t".join((figure_words(name), *cells, "" if name in _UNITLESS else "µm")))
        verdict = answer.verdict
        felt = [f"{v:.6g}" if math.isfinite(v) else "" for v in (verdict.share, verdict.low, verdict.high)]
        lines.append("\t".join(("felt share", *felt, verdict.word)))
        lines.append(f"pieces\t{answer.summary.pieces:g}\t\t\t{answer.summary.limit_words}")
        return "\n".join(lines) + "\n"

    def _fill(self, answer: Answer, r: int) -> None:
        names = (*listed(r), *_more(r))
        self._beyond = len(_more(r))
        if names != self._names:
            self._names = names
            self.table.setRowCount(len(names))
            for place, name in enumerate(names):
                self.table.setItem(place, 0, _item(figure_words(name), help_words.tip(name)))
        for place, name in enumerate(names):
            low, high = answer.summary.interval(name)
            value, unit = answer.summary.value(name), "" if name in _UNITLESS else number_text.MICRO
            shown, range_ = number_text.quantity(value, unit), "" if answer.final else "…"
            if answer.final and not math.isfinite(low):
                range_ = answer.summary.no_interval_words(name)
            if math.isfinite(low) and high > low:
                text = number_text.interval(value, low, high, "")
                number, _, range_ = text.rstrip(")").partition(" (")
                shown = f"{number}{number_text.THIN}{unit}" if unit else number
            self.table.setItem(place, 1, _item(shown, right=True))
            self.table.setItem(place, 2, _item(range_, right=True))

    def _choose(self) -> None:
        rows = {index.row() for index in self.table.selectedIndexes()}
        if len(rows) == 1:
            self.figure_chosen.emit(self._names[rows.pop()])


def _table() -> QTableWidget:
    made = QTableWidget(0, 3)
    made.setHorizontalHeaderLabels(["Figure", "Value", "95 % interval"])
    made.verticalHeader().setVisible(False)
    made.verticalHeader().setDefaultSectionSize(made.fontMetrics().height() + 6)
    made.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
    made.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
    made.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
    made.setTabKeyNavigation(False)
    made.setShowGrid(False)
    made.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
    made.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
    made.setAccessibleName("Sizes with intervals")
    header = made.horizontalHeader()
    header.setSectionResizeMode(0, QHeaderView.ResizeMode.Stretch)
    for column in (1, 2):
        header.setSectionResizeMode(column, QHeaderView.ResizeMode.ResizeToContents)
    return made


def _item(text: str, tip: str = "", *, right: bool = False) -> QTableWidgetItem:
    made = QTableWidgetItem(text)
    across = Qt.AlignmentFlag.AlignRight if right else Qt.AlignmentFlag.AlignLeft
    made.setTextAlignment(across | Qt.AlignmentFlag.AlignVCenter)
    if tip:
        made.setToolTip(tip)
    return made


def _fit_height(table: QTableWidget) -> None:
    rows = sum(table.rowHeight(i) for i in range(table.rowCount()))
    header = table.horizontalHeader()
    columns = range(table.columnCount())
    width = sum(max(table.sizeHintForColumn(i), header.sectionSizeHint(i)) for i in columns)
    table.setMinimumWidth(width + 2 * table.frameWidth() + 8)
    table.setFixedHeight(rows + table.horizontalHeader().sizeHint().height() + 2 * table.frameWidth() + 2)
