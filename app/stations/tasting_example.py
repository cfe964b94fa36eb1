"""An invented result of a tasting, shown where there is room before the first session."""

from PySide6.QtCore import QSize
from PySide6.QtWidgets import QFrame, QSizePolicy

from app import parts
from app.stations.compare_chart import DrawnChart
from measure.judge.psychometric import PsychometricFit
from measure.output.charts_panel import PanelChart, lay_out_panel
from measure.sizes.shares import wilson_limits

SIZES_UM = (20.0, 32.0, 50.0, 80.0)
TRIALS = 24  # eight assessors, three rounds
RIGHT = (9, 12, 18, 23)
GUESS, LAPSE = 1 / 3, 0.02
_WORDS = (
    "Eight invented assessors tasted four batches three times each. Half of this panel feels the paste "
    "from x₉₀ = {um:.0f} µm on (95 %: {low:.0f} to {high:.0f} µm), guessing taken out: so a batch is ground "
    "below that, with room to spare. The bars show how little a few answers can tell."
)


def example_fit() -> PsychometricFit:
    """Return the curve through the invented answers, as the fit gives it; a test holds it to that."""
    return PsychometricFit(
        "logistic", 42.01, 4.345, GUESS, LAPSE, 42.01, 32.83, 54.18, -50.29, 0.2417, 0.905, 4 * TRIALS
    )


def example_card() -> QFrame:
    """Return the card; its chart takes what height there is."""
    fit, reach = example_fit(), 1 - GUESS - LAPSE
    levels = []
    for size, right in zip(SIZES_UM, RIGHT, strict=True):
        known = (right / TRIALS, *wilson_limits(right, TRIALS))
        share, low, high = (min(max((value - GUESS) / reach, 0.0), 1.0) for value in known)
        levels.append((size, share, low, high))
    chart = _Chart()
    chart.show_chart(PanelChart(fit, tuple(levels)))
    words = parts.label(
        _WORDS.format(um=fit.threshold, low=fit.threshold_low, high=fit.threshold_high), "soft", wrap=True
    )
    words.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Preferred)
    return parts.card(chart, words, heading="What it gives: an example")


class _Chart(DrawnChart):
    """The chart; it is content with little height and takes more."""

    def __init__(self) -> None:
        super().__init__(lay_out_panel, "Share that feels it, by size: an invented example")
        self.setMinimumHeight(240)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)

    def sizeHint(self) -> QSize:
        """Qt: wide and low."""
        return QSize(640, 240)
