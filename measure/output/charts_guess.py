"""The chart of a test that ends with a count of right answers: what guessing gives, and how many decide."""

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

from measure.judge.discrimination import fewest_correct
from measure.judge.thurstone import GUESS
from measure.output.charts_layout import Drawing
from measure.output.charts_shapes import Box, Line, Shape, Text, text_width
from measure.output.charts_style import PAPER, ChartStyle


@dataclass(frozen=True)
class GuessChart:
    """How many of so many answers are right when all guess.

    Attributes
    ----------
    chance : tuple of float
        Probability of 0, 1, 2... right answers.
    fewest : int
        Right answers from which a difference is called.
    alpha : float
        Risk at which it is called.
    """

    chance: tuple[float, ...]
    fewest: int
    alpha: float

    @property
    def answers(self) -> int:
        """Answers in all."""
        return len(self.chance) - 1

    @property
    def beyond(self) -> float:
        """Chance that guessing alone gives as many as decide."""
        return sum(self.chance[self.fewest :])

    def in_words(self) -> str:
        """Return what it shows in a sentence."""
        if self.fewest > self.answers:
            return f"{self.answers} answers are too few: all right by guessing would be no surprise."
        return (
            f"From {self.fewest} right of {self.answers} on a difference is called; guessing alone gets so "
            f"far in {100 * self.beyond:.2g} % of cases."
        )


def guess_chart(method: str, answers: int, alpha: float) -> GuessChart:
    """Return the chart of a triangle test or a paired comparison with an expected direction.

    Parameters
    ----------
    method : str
        A key of `measure.judge.thurstone.GUESS`.
    answers : int
        At least 1.
    alpha : float
        Risk.
    """
    from scipy.special import bdtr

    sums = [0.0, *(float(bdtr(k, answers, GUESS[method])) for k in range(answers + 1))]
    chance = tuple(high - low for low, high in itertools.pairwise(sums))
    return GuessChart(chance, fewest_correct(method, answers, alpha=alpha), alpha)


def lay_out_guess(chart: GuessChart, width: float, height: float, style: ChartStyle = PAPER) -> Drawing:
    """Lay the chart out on ``width`` by ``height`` points."""
    em = style.size_pt
    plot = (4.4 * em, 1.6 * em, max(width - 1.5 * em, 6 * em), max(height - 3.9 * em, 4 * em))
    shapes = [
        Box(0, 0, width, height, fill=style.surface),
        *_bars(chart, plot, style),
        *_axes(chart, plot, style),
        *_border(chart, plot, style),
    ]
    return Drawing(tuple(shapes), plot)


def _place(chart: GuessChart, plot: tuple[float, float, float, float], right: float) -> float:
    """Return where a number of right answers stands."""
    return plot[0] + (right + 0.5) / (chart.answers + 1) * (plot[2] - plot[0])


def _top(chart: GuessChart) -> float:
    """Return the probability at the top of the axis, a step of it."""
    step = _step(max(chart.chance))
    return step * (int(max(chart.chance) / step) + 1)


def _step(highest: float) -> float:
    return next(s for s in (0.01, 0.02, 0.05, 0.1, 0.2) if highest / s <= 5 or s == 0.2)


def _bars(chart: GuessChart, plot: tuple[float, float, float, float], style: ChartStyle) -> Iterator[Shape]:
    _, top, _, bottom = plot
    wide = 0.72 * (plot[2] - plot[0]) / (chart.answers + 1)
    for right, chance in enumerate(chart.chance):
        decides = right >= chart.fewest
        high = chance / _top(chart) * (bottom - top)
        x = _place(chart, plot, right) - wide / 2
        fill, hatch = (style.accent, "") if decides else (style.line, "////")
        yield Box(x, bottom - high, wide, high, fill=fill, edge=style.soft, hatch=hatch)


def _axes(chart: GuessChart, plot: tuple[float, float, float, float], style: ChartStyle) -> Iterator[Shape]:
    left, top, right, bottom = plot
    em, step = style.size_pt, _step(max(chart.chance))
    yield Line(((left, top), (left, bottom), (right, bottom)), style.soft, 0.8)
    for k in range(round(_top(chart) / step) + 1):
        y = bottom - k * step / _top(chart) * (bottom - top)
        yield Line(((left, y), (right, y)), style.line, 0.6)
        yield Text(left - 0.5 * em, y, f"{100 * k * step:.0f}", style.soft, em, "right")
    room = (right - left) / (chart.answers + 1)
    every = next(n for n in (1, 2, 5, 10, 20, 50, 100) if n * room > 1.3 * text_width(str(chart.answers), em))
    for number in range(0, chart.answers + 1, every):
        yield Text(_place(chart, plot, number), bottom + 1.1 * em, str(number), style.soft, em, "middle")
    words = f"right answers of {chart.answers}, when all guess"
    yield Text((left + right) / 2, bottom + 2.7 * em, words, style.soft, em, "middle")
    yield Text(0.9 * em, (top + bottom) / 2, "chance, %", style.soft, em, "middle", turned=True)


def _border(chart: GuessChart, plot: tuple[float, float, float, float], style: ChartStyle) -> Iterator[Shape]:
    if chart.fewest > chart.answers:
        return
    _, top, right, bottom = plot
    em = style.size_pt
    x = (_place(chart, plot, chart.fewest - 1) + _place(chart, plot, chart.fewest)) / 2
    yield Line(((x, top), (x, bottom)), style.warning, 1.4, (4.0, 2.0))
    words = f"a difference from {chart.fewest} on"
    fits = x + 0.5 * em + text_width(words, em) < right
    place, across = (x + 0.5 * em, "left") if fits else (x - 0.5 * em, "right")
    yield Text(place, top + 0.4 * em, words, style.warning, em, across, bold=True, ground=style.surface)
