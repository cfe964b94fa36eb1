"""The page that says how sure a figure is, where the doubt comes from, and how many more pieces it takes."""

import math

from PySide6.QtWidgets import QComboBox, QGridLayout, QProgressBar, QWidget

from app import help_words, number_text, parts
from app.number_boxes import NumberBox
from app.stations.sizes_figures import listed
from app.stations.sizes_work import Answer
from measure.errors import InvalidInput
from measure.sizes.above import pieces_above
from measure.sizes.budget import combined
from measure.sizes.counts import still_needed
from measure.sizes.fits import fit_log_normal, fit_weibull
from measure.sizes.plan import figure_words
from measure.sizes.sample import SizeSample

_SOURCES = 4
_USUAL_UM = 30.0  # from which chocolate is called gritty, the trade's rule of thumb


class SurePage(QWidget):
    """Uncertainty budget, counts needed and fitted curves."""

    def __init__(self) -> None:
        super().__init__()
        self._answer: Answer | None = None
        self._sample: SizeSample | None = None
        self.figure = QComboBox()
        self.figure.setAccessibleName("Figure")
        for name in dict.fromkeys((*listed(3), *listed(0))):
            self.figure.addItem(figure_words(name), name)
        self.figure.setCurrentIndex(self.figure.findData("volume.x90_um"))
        self.figure.currentIndexChanged.connect(lambda _i: self._show())
        self.whole = parts.label("", wrap=True)
        self._names = [parts.label("", "small", wrap=True) for _ in range(_SOURCES)]
        self._bars = [_bar() for _ in range(_SOURCES)]
        self._shares = [parts.label("", "small") for _ in range(_SOURCES)]
        self.wanted = NumberBox()
        self.wanted.setRange(0.5, 50.0)
        self.wanted.setValue(5.0)
        self.wanted.setPrefix("± ")
        self.wanted.setSuffix(" %")
        self.wanted.setAccessibleName("Wanted interval, per cent either way")
        self.wanted.valueChanged.connect(lambda _v: self._show_needed())
        self.needed = parts.label("", wrap=True)
        self.above = NumberBox()
        self.above.setRange(0.5, 5000.0)
        self.above.setDecimals(1)
        self.above.setValue(_USUAL_UM)
        self.above.setSuffix(f"{number_text.THIN}{number_text.MICRO}")
        self.above.setAccessibleName("Count the pieces above this size")
        self.above.valueChanged.connect(lambda _v: self._show_above())
        self.coarse = parts.label("", wrap=True)
        self.fits = parts.label("", "small", wrap=True)
        self._lay_out()

    def _lay_out(self) -> None:
        grid = QGridLayout()
        for place, row in enumerate(zip(self._names, self._bars, self._shares, strict=True)):
            for column, part in enumerate(row):
                grid.addWidget(part, place, column)
        grid.setColumnStretch(0, 3)
        grid.setColumnStretch(1, 2)
        grid.setColumnMinimumWidth(2, 36)
        basis = parts.label(
            "Shares of the variance, worked out as in the guide to the expression of uncertainty (JCGM 100).",
            "small",
            wrap=True,
        )
        budget = parts.card(self.figure, self.whole, grid, basis, heading="Where the doubt comes from")
        budget.setToolTip(help_words.tip("budget"))
        more = parts.card(
            parts.row(parts.label("I want"), self.wanted, None), self.needed, heading="How many more?"
        )
        curves = parts.card(self.fits, heading="Fitted curves")
        above = parts.card(
            parts.row(parts.label("Pieces above"), self.above, None),
            self.coarse,
            heading="How many above a size?",
        )
        self.setLayout(parts.column(budget, more, above, curves, None))

    def show_answer(self, answer: Answer, sample: SizeSample) -> None:
        """Show what an answer says."""
        self._answer, self._sample = answer, sample
        if self.isVisible():
            self._show()

    def showEvent(self, event: object) -> None:
        """Qt: work out what was left while the page was hidden."""
        self._show()

    def look_at(self, name: str) -> None:
        """Choose the figure."""
        place = self.figure.findData(name)
        if place >= 0:
            self.figure.setCurrentIndex(place)

    def _show(self) -> None:
        if self._answer is None:
            return
        name = self.figure.currentData()
        rows = self._answer.summary.budget(name)
        for place in range(_SOURCES):
            known = place < len(rows)
            self._names[place].setText(rows[place].source if known else "")
            self._names[place].setToolTip(f"Smaller with {rows[place].remedy}" if known else "")
            self._bars[place].setValue(round(100 * rows[place].share) if known else 0)
            self._bars[place].setVisible(known)
            self._shares[place].setText(number_text.percent(rows[place].share) if known else "")
        self.whole.setText(_whole_words(self._answer, name))
        self._show_needed()
        self._show_above()
        self._show_fits()

    def _show_needed(self) -> None:
        if self._answer is None or not self._answer.final:
            self.needed.setText("")
            return
        needed = still_needed(self._answer.summary, self.figure.currentData(), self.wanted.value() / 100)
        self.needed.setText(number_text.grouped(needed.words))

    def _show_above(self) -> None:
        """Tell how many pieces are above the size, with the exact limits of such a count."""
        found = pieces_above(self._sample, self.above.value()) if self._sample is not None else None
        self.coarse.setText(number_text.grouped(found.words) if found is not None else "")

    def _show_fits(self) -> None:
        if self._answer is None or not self._answer.final or self._sample is None or not len(self._sample):
            self.fits.setText("")
            return
        try:
            one, other = fit_log_normal(self._sample), fit_weibull(self._sample)
        except InvalidInput as error:
            self.fits.setText(error.text)
            return
        size = number_text.quantity
        self.fits.setText(
            f"Log-normal by number: median {size(one.median_um)}, geometric standard deviation "
            f"{one.sigma_g:.3g}. {one.words}\n\n"
            f"Rosin-Rammler-Weibull by volume: x′ {size(other.size_um)}, n {other.exponent:.3g}. "
            f"{other.words}"
        )


def _whole_words(answer: Answer, name: str) -> str:
    if not answer.final:
        return "Working out the intervals…"
    u = answer.summary.uncertainties.get(name)
    if u is None or not math.isfinite(u.low):
        return "There is no interval yet."
    value = answer.summary.value(name)
    unit = number_text.MICRO if name.endswith("_um") or "_um." in name else ""
    range_ = number_text.interval(value, u.low, u.high, unit)
    return f"{range_}; standard uncertainty {number_text.percent(combined(u))}, {answer.summary.basis}."


def _bar() -> QProgressBar:
    made = QProgressBar()
    made.setRange(0, 100)
    made.setTextVisible(False)
    made.setAccessibleName("Share of the variance")
    return made
