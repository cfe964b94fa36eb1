"""The panel of the grind curve: along what, towards which target, and the forecast in words."""

from PySide6.QtCore import Signal
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QComboBox, QWidget

from app import help_words, parts
from app.number_boxes import NumberBox
from app.roomy import show_where_room
from app.stations.compare_steps import NextSteps
from app.stations.compare_work import CompareAnswer, grind_curve, known_doses
from measure.errors import InvalidInput
from measure.judge.compare_words import in_words
from measure.judge.grind import GrindCurve
from measure.judge.grind_forecast import Forecast, forecast
from measure.output.charts_compare import GrindChart
from measure.output.compare_json import law_words, step_sentence
from measure.sizes.plan import figure_words

_NO_DOSE = (
    "How long each batch was ground is not known, or is the same for all. Enter the passes or minutes of "
    "each batch in Fields; the curve then stands here."
)
_CAUTION = (
    "A forecast holds for this recipe on this mill at this setting. Longer grinding also warms the paste and "
    "wears the mill; keep to what its maker allows."
)


class GrindPanel(QWidget):
    """Asks for the target and says what it takes.

    Signals
    -------
    changed()
        Another curve or forecast is to be drawn; see `chart`.
    wants_fields()
        The user wants to enter passes or minutes.
    """

    changed = Signal()
    wants_fields = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.curve: GrindCurve | None = None
        self.found: Forecast | None = None
        self._shown: CompareAnswer | None = None
        self.along, self.what = QComboBox(), QComboBox()
        self.target = NumberBox()
        self.words = parts.label("", "heading", wrap=True)
        self.step = parts.label("", wrap=True)
        self.laws = parts.label("", "small", wrap=True)
        self.careful = parts.label("", "warning", wrap=True)
        self.missing = parts.label(_NO_DOSE, wrap=True)
        self.go = parts.button("Go to Fields", self.wants_fields.emit, look="primary")
        self._lay_out()

    def _lay_out(self) -> None:
        self.what.addItem("size, µm", False)
        self.what.addItem("felt share, %", True)
        self.target.setRange(0.1, 2000.0)
        self.target.setDecimals(1)
        self.target.setValue(30.0)
        self.target.setKeyboardTracking(False)
        asked = parts.form(
            ("Along", self.along, "What grinding is counted in"),
            ("Target is a", self.what, "A size to reach, or a felt share"),
            ("Target", self.target, "Where you want to get; the forecast follows"),
        )
        self.asked = parts.card(asked, heading="Where do you want to get?")
        self.answered = parts.card(self.words, self.careful, self.step, heading="How much more grinding")
        self.answered.setToolTip(help_words.tip("grind_curve"))
        self.how = parts.card(
            self.laws, parts.label(_CAUTION, "small", wrap=True), heading="What this rests on"
        )
        self.bare = parts.card(self.missing, parts.row(self.go, None), heading="No curve yet")
        self.steps = NextSteps()
        self.further = parts.card(self.steps, heading="What grinding brought, and should bring")
        parts.box_of(self.further).setStretch(1, 1)
        self._more = False
        whole = parts.column(self.bare, self.asked, self.answered, self.how, self.further, None)
        whole.setStretch(whole.indexOf(self.further), 1000)  # all that is left
        self.setLayout(whole)
        self.along.activated.connect(lambda _i: self._refit())
        self.what.activated.connect(lambda _i: self._switch())
        self.target.valueChanged.connect(lambda _v: self._forecast())

    def view_state(self) -> dict:
        """Return what was asked, to be kept with the study."""
        return {
            "along": self.along.currentText(), "felt": self.what.currentData(), "target": self.target.value(),
        }  # fmt: skip

    def restore(self, state: dict) -> None:
        """Ask what was asked before."""
        self.what.setCurrentIndex(1 if state.get("felt") else 0)
        self._along_kept = state.get("along", "")
        value = state.get("target")
        if isinstance(value, int | float):
            self.target.blockSignals(True)
            self.target.setValue(float(value))
            self.target.blockSignals(False)

    _along_kept = ""

    def show_answer(self, shown: CompareAnswer | None) -> None:
        """Take over another comparison."""
        self._shown = shown
        doses = known_doses(shown.comparison) if shown is not None else ()
        kept = self.along.currentText() or self._along_kept
        self.along.clear()
        self.along.addItems(list(doses))
        if kept in doses:
            self.along.setCurrentText(kept)
        self._refit()

    @property
    def chart(self) -> GrindChart | None:
        """The chart of the present curve and forecast."""
        if self.curve is None or self._shown is None:
            return None
        words = "felt share, %" if self.what.currentData() else f"{figure_words(self._shown.figure)}, µm"
        return GrindChart(self.curve, self.found, words)

    def _switch(self) -> None:
        self.target.setValue(5.0 if self.what.currentData() else 30.0)
        self._refit()

    def _refit(self) -> None:
        self.curve = None
        words = _NO_DOSE
        if self._shown is not None and self.along.count():
            try:
                self.curve = grind_curve(
                    self._shown, self.along.currentText(), felt=bool(self.what.currentData())
                )
            except InvalidInput as error:
                words = error.text
        self.missing.setText(words)
        for card, there in (
            (self.bare, self.curve is None), (self.asked, self.along.count() > 0),
            (self.answered, self.curve is not None), (self.how, self.curve is not None),
        ):  # fmt: skip
            card.setVisible(there)
        self._forecast()

    def _forecast(self) -> None:
        self.found = None
        if self.curve is not None:
            scale = 0.01 if self.curve.is_share else 1.0
            try:
                self.found = forecast(self.curve, self.target.value() * scale)
                self.words.setText(in_words(self.found.sentence))
            except InvalidInput as error:
                self.words.setText(error.text)
            self._show_words(self.curve)
        self._show_steps()
        self.changed.emit()

    def _show_steps(self) -> None:
        """List the next steps where there is room for them."""
        words = "felt share"
        if self._shown is not None and not self.what.currentData():
            words = figure_words(self._shown.figure)
        self._more = self.curve is not None and self.steps.show_curve(self.curve, words)
        self._suit()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Qt: the next steps where there is room below all else."""
        super().resizeEvent(event)
        self._suit()

    def _suit(self) -> None:
        if self._more:
            show_where_room(self, self.further, self.steps.least_height() + 60)
        else:
            self.further.hide()

    def _show_words(self, curve: GrindCurve) -> None:
        self.careful.setText("\n".join(curve.warnings))
        self.careful.setVisible(bool(curve.warnings))
        self.step.setText(step_sentence(curve, 1.0) if not curve.is_share else "")
        self.step.setVisible(not curve.is_share)
        self.laws.setText("\n".join(law_words(fit, curve) for fit in curve.fits))
