"""The card of the spot check: begin, how far it is, and how hand and tool agree."""

from typing import Any

from PySide6.QtWidgets import QComboBox, QWidget

from app import parts, theme
from app.agreement_plot import AgreementData, AgreementPlot
from app.number_boxes import WholeBox
from app.session import Session
from app.stations.particles_check import BlindCheck, sizes_of
from measure.judge.spot_check import FEWEST, agreement

_ABOUT = (
    "Outline some pieces of this batch by hand without seeing those of Gritline. The difference shows "
    "whether Gritline draws too wide or too narrow, and how far a single size may be off."
)
_AT_FIRST = 12


class CheckCard(QWidget):
    """Controls and results of spot checks."""

    def __init__(self, session: Session, check: BlindCheck) -> None:
        super().__init__()
        self._session, self._check = session, check
        self.count = WholeBox()
        self.count.setRange(FEWEST, 200)
        self.count.setValue(_AT_FIRST)
        self.count.setAccessibleName("Number of pieces to outline")
        self.begin = parts.button("Begin", self._begin)
        self.skip = parts.button(
            "Leave it out", check.skip, tip="When a piece cannot be told from its neighbour"
        )
        self.stop = parts.button("Stop for now", check.stop, tip="What you outlined is kept; go on later")
        self.going = parts.label("", wrap=True)
        self.past = QComboBox()
        self.past.setAccessibleName("Spot checks of this study")
        self.past.currentIndexChanged.connect(lambda _i: self._show_result())
        self.resume = parts.button("Go on with it", self._resume)
        self.result = parts.label("", wrap=True)
        self.plot = AgreementPlot()
        self._asking = parts.row(self.skip, self.stop, None)
        begin = parts.row(self.count, parts.label("pieces"), self.begin, None)
        self.about = parts.label(_ABOUT, "soft", wrap=True)
        past = parts.row(self.past, self.resume)
        past.setStretch(0, 1)
        self.setLayout(
            parts.column(
                self.about, begin, self.going, self._asking, past, self.result, self.plot, spacing=theme.SMALL
            )
        )
        check.changed.connect(self.refresh)

    def refresh(self) -> None:
        """Show the checks of the study and the state of the one under way."""
        asking = self._check.under_way
        for widget in (self.count, self.begin):
            widget.setEnabled(not asking and self._session.writable)
        for shown in (self.skip, self.stop, self.going):
            shown.setVisible(asking)
        at, number = self._check.now()
        self.going.setText(f"Piece {at + 1} of {number}: outline the piece under the mark.")
        self._list_past()
        self.about.setVisible(not asking and not self.past.count())
        self._show_result()

    def _list_past(self) -> None:
        kept = self.past.currentData()
        rows = self._session.open_study.spot_checks() if self._session.study is not None else []
        batches = {row.id: row.batch.name for row in self._session.open_study.batches()} if rows else {}
        self.past.blockSignals(True)
        self.past.clear()
        for row in reversed(rows):
            names = ", ".join(batches.get(i, "?") for i in row.check.batch_ids) or "no batch"
            self.past.addItem(f"{names}: {row.check.name}, {row.check.made[:16].replace('T', ' ')}", row.id)
        place = self.past.findData(kept)
        self.past.setCurrentIndex(max(0, place) if rows else -1)
        self.past.blockSignals(False)
        self.past.setVisible(bool(rows))

    def _chosen(self) -> Any | None:
        wanted = self.past.currentData()
        rows = self._session.open_study.spot_checks() if self._session.study is not None else []
        return next((row for row in rows if row.id == wanted), None)

    def _show_result(self) -> None:
        row = self._chosen()
        self.resume.setVisible(row is not None and not row.check.closed and not self._check.under_way)
        self.plot.show_data(None)
        self.result.setVisible(row is not None)
        if row is None:
            return
        hand, tool = sizes_of(row.check)
        if len(hand) < FEWEST or self._check.under_way:
            done, number = len(row.check.results.get("hand", ())), len(row.check.plan["pieces"])
            self.result.setText(f"{done} of {number} pieces looked at, {len(hand)} outlined.")
            return
        found = agreement(hand, tool, relative=True)
        self.result.setText(found.text)
        limits = (100 * value for value in (found.bias, found.lower, found.upper))
        self.plot.show_data(AgreementData(found.mean, 100 * found.difference, *limits))

    def _begin(self) -> None:
        self._check.begin(self.count.value())
        self.past.setCurrentIndex(0)

    def _resume(self) -> None:
        row = self._chosen()
        if row is not None:
            self._check.resume(row.id)
