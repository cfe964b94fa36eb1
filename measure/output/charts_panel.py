"""The chart of a panel's limit: answers at each size, the fitted curve and the threshold."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from measure.judge.panel_session_result import PanelOutcome
from measure.judge.psychometric import PsychometricFit
from measure.output.charts_axes import share_axes, y_of_share
from measure.output.charts_layout import Drawing
from measure.output.charts_shapes import Area, Box, Dot, Line, Shape, Text
from measure.output.charts_style import PAPER, ChartStyle
from measure.sizes.rounding import short_number
from measure.sizes.shares import wilson_limits


@dataclass(frozen=True)
class PanelChart:
    """A fitted curve with the answers behind it.

    Attributes
    ----------
    fit : PsychometricFit
    levels : tuple of (float, float, float, float)
        Size, and the share that feels it with 95 % limits (Wilson), guessing and slips taken out.
    """

    fit: PsychometricFit
    levels: tuple[tuple[float, float, float, float], ...]

    def in_words(self) -> str:
        """Return the chart as a sentence, for those who do not see it."""
        points = ", ".join(
            f"{100 * share:.0f} % at {short_number(size)} µm" for size, share, _, _ in self.levels
        )
        return f"Share that feels it: {points}. Half at {short_number(self.fit.threshold)} µm."


def panel_chart(outcome: PanelOutcome) -> PanelChart | None:
    """Return the chart of an outcome, None where no curve was fitted."""
    fit = outcome.curve
    if fit is None:
        return None
    reach = 1 - fit.guess - fit.lapse
    levels = []
    for size, trials, right in outcome.levels:
        if trials:
            known = (right / trials, *wilson_limits(right, trials))
            share, low, high = (min(max((v - fit.guess) / reach, 0), 1) for v in known)
            levels.append((size, share, low, high))
    return PanelChart(fit, tuple(levels))


def lay_out_panel(chart: PanelChart, width: float, height: float, style: ChartStyle = PAPER) -> Drawing:
    """Lay the chart out on ``width`` by ``height`` points."""
    em = style.size_pt
    plot = (4.4 * em, 1.2 * em, max(width - 1.5 * em, 6 * em), max(height - 3.9 * em, 4 * em))
    sizes = [level[0] for level in chart.levels]
    bare = Drawing((), plot, min(sizes) / 1.25, max(sizes) * 1.25)
    shapes = [
        Box(0, 0, width, height, fill=style.surface),
        *share_axes(bare, style, "x₉₀ by volume of the batch, µm", "feel it, %"),
        *_threshold(chart, bare, style),
        *_answers(chart, bare, style),
    ]
    return Drawing(tuple(shapes), plot, bare.low_um, bare.high_um)


def _threshold(chart: PanelChart, at: Drawing, style: ChartStyle) -> Iterator[Shape]:
    fit, em = chart.fit, style.size_pt
    _, top, _, bottom = at.plot
    low, high = (at.x_of(min(max(v, at.low_um), at.high_um)) for v in (fit.threshold_low, fit.threshold_high))
    yield Box(low, top, high - low, bottom - top, fill=style.warning, alpha=0.14)
    sizes = np.geomspace(at.low_um, at.high_um, 100)
    points = tuple(
        (at.x_of(float(s)), y_of_share(at, float(f))) for s, f in zip(sizes, fit.felt(sizes), strict=True)
    )
    yield Line(points, style.accent, 2.0)
    if at.low_um <= fit.threshold <= at.high_um:
        x = at.x_of(fit.threshold)
        yield Line(((x, y_of_share(at, 0.5)), (x, bottom)), style.warning, 1.4, (4.0, 2.0))
        words = f"limit {short_number(fit.threshold)} µm"
        yield Text(x + 0.5 * em, bottom - 0.9 * em, words, style.warning, em, bold=True, ground=style.surface)


def _answers(chart: PanelChart, at: Drawing, style: ChartStyle) -> Iterator[Shape]:
    for size, share, low, high in chart.levels:
        x = at.x_of(size)
        yield Line(((x, y_of_share(at, low)), (x, y_of_share(at, high))), style.ink, 1.2)
        for end in (low, high):
            yield Line(((x - 3, y_of_share(at, end)), (x + 3, y_of_share(at, end))), style.ink, 1.2)
        yield Area(_diamond(x, y_of_share(at, share), 5.0), style.ink)
        yield Dot(x, y_of_share(at, share), 1.5, style.surface)


def _diamond(x: float, y: float, r: float) -> tuple[tuple[float, float], ...]:
    return ((x, y - r), (x + r, y), (x, y + r), (x - r, y))
