"""The form in which a tasting session is planned; cautions stand beside it."""

import secrets
from collections.abc import Callable, Sequence

from PySide6.QtCore import Qt
from PySide6.QtGui import QAction
from PySide6.QtWidgets import (
    QComboBox,
    QLineEdit,
    QListWidget,
    QListWidgetItem,
    QWidget,
)

from app import parts, theme
from app.number_boxes import NumberBox, WholeBox
from app.stations.tasting_work import COUNTED, TastedBatch, in_order, plan_words, size_words
from measure.errors import InvalidInput
from measure.judge.felt import FeltProfile
from measure.judge.panel_session import METHODS, PanelPlan, make_plan
from measure.judge.serving import MOST_SAMPLES

_WIDEST_IN_LINES = 48  # of text; wider a form does not read better
_MOST_LINES = 6  # of batches in view; more are scrolled to
_ID = Qt.ItemDataRole.UserRole
_PURPOSES = (("to find a difference", False), ("to show that two are alike", True))


class PlanForm(QWidget):
    """Asks for the test, the samples and the assessors."""

    def __init__(self, keep: QAction, cancel: Callable[[], None]) -> None:
        super().__init__()
        self._batches: tuple[TastedBatch, ...] = ()
        self._profile = FeltProfile()
        self.method, self.purpose = QComboBox(), QComboBox()
        self.name, self.reference, self.assessors = QLineEdit(), QLineEdit(), QLineEdit()
        self.samples = QListWidget()
        self.rounds, self.seed = WholeBox(), WholeBox()
        self.alpha, self.share = NumberBox(), NumberBox()
        self.about = parts.label("", "small", wrap=True)
        self.power = parts.label("", wrap=True)
        self.fault = parts.label("", "warning", wrap=True)
        self._fill()
        self._lay_out(keep, cancel)

    def _fill(self) -> None:
        for key, method in METHODS.items():
            self.method.addItem(f"{method.title} ({method.standard})", key)
        for words, similar in _PURPOSES:
            self.purpose.addItem(words, similar)
        self.name.setPlaceholderText("for example: autumn panel")
        self.reference.setText("smooth reference")
        self.assessors.setPlaceholderText("a number such as 12, or initials: AB, CD, EF")
        self.rounds.setRange(1, 10)
        self.seed.setRange(1, 999_999)
        for box, value in ((self.alpha, 5.0), (self.share, 50.0)):
            box.setRange(0.1, 99.0)
            box.setDecimals(1)
            box.setSuffix(" %")
            box.setValue(value)
        self.alpha.setMaximum(49.0)

    def _lay_out(self, keep: QAction, cancel: Callable[[], None]) -> None:
        self.rows = parts.form(
            ("Test", self.method, "What each assessor is asked"),
            ("Purpose", self.purpose, "Finding a difference and showing likeness need different counts"),
            ("Name", self.name, "Of the session, for the papers and the report"),
            ("Batches", self.samples, "Tick what is tasted (Space)"),
            ("Reference", self.reference, "A smooth paste nobody feels; it need not be measured"),
            ("Assessors", self.assessors, "A number, or names or initials with commas between"),
            ("Rounds", self.rounds, "How often each assessor repeats it"),
            ("Risk of error", self.alpha, "Of calling a difference (or likeness) that is not there"),
            ("Who can tell", self.share, "Share of people who truly tell the difference, for planning"),
            ("Seed", self.seed, "The same seed draws the same codes and orders"),
        )
        buttons = parts.row(
            parts.action_button(keep, look="primary", text="Keep this plan"),
            parts.button("Do not plan it", cancel, look="quiet"), None,
        )  # fmt: skip
        whole = parts.card(self.about, self.rows, self.power, self.fault, buttons, heading="Plan a session")
        # boxes wider than what is typed into them would only pull label and value apart
        whole.setMaximumWidth(_WIDEST_IN_LINES * self.fontMetrics().lineSpacing())
        across = parts.row(whole, None)
        across.setStretch(0, 1000)
        self.setLayout(parts.column(across, None, margin=theme.SMALL))
        self.method.currentIndexChanged.connect(lambda _i: self._suit())
        for signal in (
            self.purpose.currentIndexChanged, self.assessors.textChanged, self.rounds.valueChanged,
            self.alpha.valueChanged, self.share.valueChanged, self.samples.itemChanged,
        ):  # fmt: skip
            signal.connect(lambda *_: self._refresh())
        self._refresh()

    def begin(self, batches: Sequence[TastedBatch], profile: FeltProfile) -> None:
        """Start anew with the batches of the study."""
        self._batches, self._profile = tuple(batches), profile
        self.seed.setValue(1 + secrets.randbelow(999_999))
        self.name.clear()
        self.samples.blockSignals(True)
        self.samples.clear()
        for batch in batches:
            item = QListWidgetItem(f"{batch.name}   {size_words(batch.as_sample(profile))}")
            item.setData(_ID, batch.batch_id)
            item.setCheckState(Qt.CheckState.Checked)
            self.samples.addItem(item)
        self.samples.blockSignals(False)
        lines = min(len(batches), _MOST_LINES) * self.samples.sizeHintForRow(0)
        self.samples.setFixedHeight(max(lines, 24) + 2 * self.samples.frameWidth() + theme.SMALL)
        self._suit()
        self.method.setFocus()

    def plan(self) -> PanelPlan | None:
        """Return the plan; None, with the reason shown, when it makes no sense."""
        self.fault.setVisible(False)
        similar = self.purpose.currentData() and self.key in COUNTED
        try:
            return make_plan(
                self.key, in_order(self.key, self._ticked(), self.reference.text()), self.people(),
                rounds=self.rounds.value(), seed=self.seed.value(), alpha=self.alpha.value() / 100,
                similarity=self.share.value() / 100 if similar else None,
            )  # fmt: skip
        except InvalidInput as error:
            self.fault.setText(error.text)
            self.fault.setVisible(True)
            return None

    @property
    def key(self) -> str:
        """The method chosen."""
        return str(self.method.currentData())

    def people(self) -> list[str]:
        """Return the assessors named or numbered."""
        text = self.assessors.text().strip()
        if text.isdigit():
            return [f"Assessor {i}" for i in range(1, min(int(text), 500) + 1)]
        return [part.strip() for part in text.split(",")] if text else []

    def _ticked(self) -> list:
        items = [self.samples.item(i) for i in range(self.samples.count())]
        ticked = {i.data(_ID) for i in items if i.checkState() == Qt.CheckState.Checked}
        return [b.as_sample(self._profile) for b in self._batches if b.batch_id in ticked]

    def _suit(self) -> None:
        """Tick as many batches as the test chosen takes, the last ones where it takes fewer."""
        most = MOST_SAMPLES[self.key] - (1 if self.key == "series" else 0)  # beside its reference
        first = max(self.samples.count() - most, 0)
        self.samples.blockSignals(True)
        for i in range(self.samples.count()):
            on = Qt.CheckState.Checked if i >= first else Qt.CheckState.Unchecked
            self.samples.item(i).setCheckState(on)
        self.samples.blockSignals(False)
        self._refresh()

    def _refresh(self) -> None:
        method, counted = METHODS[self.key], self.key in COUNTED
        self.fault.setVisible(False)  # it spoke of what has been changed now
        self.about.setText(f"Needs {method.samples}. {method.task}")
        for widget, there in (
            (self.purpose, counted), (self.share, counted), (self.reference, self.key == "series"),
            (self.alpha, counted),
        ):  # fmt: skip
            self.rows.setRowVisible(widget, there)
        plates = max(len(self._ticked()), 1) if self.key == "series" else 1
        answers = len(self.people()) * self.rounds.value() * plates
        words = plan_words(
            self.key, answers, self.share.value() / 100, self.alpha.value() / 100,
            similar=bool(self.purpose.currentData()),
        )  # fmt: skip
        self.power.setText(words)
        self.power.setVisible(bool(words))
