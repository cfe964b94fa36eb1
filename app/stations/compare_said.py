"""The panel of a comparison: what it says in words, which batches are in it, and what to be careful about."""

from collections.abc import Sequence

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtGui import QAction, QResizeEvent
from PySide6.QtWidgets import QListWidget, QListWidgetItem, QSizePolicy, QWidget

from app import number_text, parts, theme
from app.roomy import show_where_room, suit_words
from app.stations.compare_chart import DrawnChart
from app.stations.compare_work import CompareAnswer
from measure.judge.compare_batches import BatchSizes
from measure.judge.compare_words import in_words, noticed_sentence, pair_sentence, share_sentence
from measure.output.charts_ratios import RatioChart, lay_out_ratios

_NAME = Qt.ItemDataRole.UserRole
_MENDED = "Only pieces above the largest lower limit are compared now."


class SaidPanel(QWidget):
    """Sentences, ticks for the batches, cautions.

    Signals
    -------
    ticked()
        Another set of batches is to be compared; see `left_out`.
    """

    ticked = Signal()

    def __init__(self, common: QAction) -> None:
        super().__init__()
        self.left_out: set[str] = set()
        self.chosen = QListWidget()
        self.chosen.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.words = parts.label("", wrap=True)
        self.felt = parts.label("", wrap=True)
        self.notes = parts.label("", "small", wrap=True)
        self.careful = parts.label("", "small", wrap=True)
        self.limits = parts.label("", "warning", wrap=True)
        self.chosen.setAccessibleName("Batches compared")
        self.chosen.setToolTip("Untick a batch to leave it out (Space)")
        self.chosen.itemChanged.connect(lambda _item: self._tick())
        button = parts.action_button(common, text="Compare the common range")
        self.limits_card = parts.card(self.limits, parts.row(button, None), heading="Lower limits differ")
        self._careful = parts.card(self.careful, heading="Be careful")
        said = parts.card(self.words, self.felt, self.notes, heading="In words")
        batches = parts.card(self.chosen, heading="Batches")
        self.chart = RatioView()
        self.glance = parts.card(self.chart, heading="At a glance")
        parts.box_of(self.glance).setStretch(1, 1)
        self._rows = 0
        whole = parts.column(self.limits_card, said, batches, self._careful, self.glance, None)
        whole.setStretch(whole.indexOf(self.glance), 1000)  # all that is left
        self.setLayout(whole)

    def list_batches(self, batches: Sequence[BatchSizes]) -> None:
        """Show the batches with their ticks."""
        self.chosen.blockSignals(True)
        self.chosen.clear()
        for batch in batches:
            ground = []
            if batch.passes is not None:
                ground.append(number_text.count_value(batch.passes, "pass", "passes"))
            if batch.minutes is not None:
                ground.append(f"{batch.minutes:g} min")
            item = QListWidgetItem(f"{batch.name}   {', '.join(ground)}".rstrip())
            item.setData(_NAME, batch.name)
            item.setToolTip(batch.name)
            on = batch.name not in self.left_out
            item.setCheckState(Qt.CheckState.Checked if on else Qt.CheckState.Unchecked)
            self.chosen.addItem(item)
        row = max(self.chosen.sizeHintForRow(0), self.fontMetrics().lineSpacing())
        self.chosen.setMaximumHeight(2 * self.chosen.frameWidth() + row * max(len(batches), 1) + theme.SMALL)
        self.chosen.blockSignals(False)

    def show_refusal(self, text: str) -> None:
        """Say why nothing is compared."""
        self.words.setText(text)
        parts.set_look(self.words, "warning")
        self.felt.setText("")
        self.notes.setText("")
        self._careful.setVisible(False)
        self._rows = 0
        self._suit()

    def show_answer(self, found: CompareAnswer) -> None:
        """Say what a comparison found."""
        c = found.comparison
        rows = [r for r in c.ratios if r.figure == found.figure and not r.kind]
        parts.set_look(self.words, "")
        said = [*(pair_sentence(r) for r in rows), noticed_sentence()]
        self.words.setText(in_words(_told_apart(said)))
        self.felt.setText(_told_apart([share_sentence(r) for r in c.shares]))
        self.notes.setText("\n".join((*c.notes, *map(in_words, found.repeats))))
        limits = [w for w in c.warnings if w.startswith("The lower limits differ")]
        self.limits.setText("\n".join(limits) or _MENDED)
        careful = [w for w in c.warnings if w not in limits]
        self.careful.setText("\n\n".join(careful))
        self._careful.setVisible(bool(careful))
        self._rows = len(rows)
        self.chart.show_chart(RatioChart(tuple(rows)))
        self._suit()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Qt: words of the size there is room for, and the ratios at a glance where more is left."""
        super().resizeEvent(event)
        self._suit()

    def _suit(self) -> None:
        self.glance.hide()
        suit_words(self, (self.notes, self.careful))
        if self._rows:
            line = self.fontMetrics().lineSpacing()
            show_where_room(self, self.glance, (5 + 3 * self._rows // 2) * line)

    def _tick(self) -> None:
        items = [self.chosen.item(i) for i in range(self.chosen.count())]
        self.left_out = {i.data(_NAME) for i in items if i.checkState() != Qt.CheckState.Checked}
        self.ticked.emit()


class RatioView(DrawnChart):
    """The ratios of the figure compared, pair below pair."""

    def __init__(self) -> None:
        super().__init__(lay_out_ratios, "Ratios with their intervals")
        self.setMinimumSize(200, 80)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)

    def sizeHint(self) -> QSize:
        """Qt: low; it takes more."""
        return QSize(320, 120)


def _told_apart(sentences: list[str]) -> str:
    """Return sentences one below the other, with a dot before each where there are several."""
    dot = "• " if len(sentences) > 1 else ""
    return "\n".join(f"{dot}{sentence}" for sentence in sentences)
