"""The chart of a plan: how well a figure is known with how many fields."""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from measure.output.charts_layout import Drawing
from measure.output.charts_shapes import Area, Dot, Line, Shape, Text, text_width
from measure.output.charts_style import PAPER, ChartStyle
from measure.sizes.plan import MeasurementPlan, PlanRequest, figure_words, plan_measurement
from measure.sizes.plan_range import error_with, spread_range

_FEWEST, _POINTS = 3, 60
_MOST_ERROR = 1.0  # an interval wider than the figure says nothing
_STEPS = (0.01, 0.02, 0.05, 0.1, 0.2)


@dataclass(frozen=True)
class PlanChart:
    """Half-widths of the 95 % interval, as shares of the figure, over fields.

    Attributes
    ----------
    figure : str
        In words.
    fields, error : tuple of float
    low, high : tuple of float
        Of the error, within the limits of what is expected; empty where these are not known.
    planned : int
        Fields of the plan.
    given : float
        Error they give.
    """

    figure: str
    fields: tuple[float, ...]
    error: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    planned: int
    given: float

    def in_words(self) -> str:
        """Return what it shows in a sentence."""
        few, most = round(self.fields[0]), round(self.fields[-1])
        return (
            f"With {few} fields {self.figure} is known to ±{100 * self.error[0]:.0f} %, with "
            f"{self.planned:,} to ±{100 * self.given:.2g} %, with {most:,} to ±{100 * self.error[-1]:.2g} %."
        )


def plan_chart(
    request: PlanRequest,
    plan: MeasurementPlan,
    median_um: tuple[float, float] | None = None,
    sigma_g: tuple[float, float] | None = None,
) -> PlanChart:
    """Return the chart of a plan, with a band where the 95 % limits of what is expected are known."""
    most = max(2 * plan.fields, 60)
    fields = tuple(_FEWEST * (most / _FEWEST) ** (k / (_POINTS - 1)) for k in range(_POINTS))
    bands: list[tuple[float, ...]] = []
    if median_um is not None and sigma_g is not None:
        for median in median_um:
            for spread in spread_range(sigma_g):
                asked = replace(request, median_um=median, sigma_g=spread)
                other = plan_measurement(asked)
                bands.append(tuple(error_with(asked, other, n) for n in fields))
    return PlanChart(
        figure_words(request.figure),
        fields,
        tuple(error_with(request, plan, n) for n in fields),
        tuple(map(min, zip(*bands, strict=True))) if bands else (),
        tuple(map(max, zip(*bands, strict=True))) if bands else (),
        plan.fields,
        error_with(request, plan, plan.fields),
    )


def lay_out_plan(chart: PlanChart, width: float, height: float, style: ChartStyle = PAPER) -> Drawing:
    """Lay the chart out on ``width`` by ``height`` points."""
    em = style.size_pt
    plot = (4.4 * em, 1.6 * em, max(width - 1.5 * em, 6 * em), max(height - 3.9 * em, 4 * em))
    page = _Page(chart, plot, style)
    shapes: list[Shape] = [*page.axes(), *page.band(), *page.curve(), *page.mark()]
    return Drawing(tuple(shapes), plot)


@dataclass(frozen=True)
class _Page:
    chart: PlanChart
    plot: tuple[float, float, float, float]
    style: ChartStyle

    @property
    def top(self) -> float:
        """The error at the top of the axis, a step of it."""
        step = self.step
        return step * math.ceil(min(max(self.chart.error), _MOST_ERROR) / step - 1e-9)

    @property
    def step(self) -> float:
        highest = min(max(self.chart.error), _MOST_ERROR)
        return next(s for s in _STEPS if highest / s <= 5 or s == _STEPS[-1])

    def x(self, fields: float) -> float:
        left, _, right, _ = self.plot
        first, last = self.chart.fields[0], self.chart.fields[-1]
        return left + math.log(fields / first) / math.log(last / first) * (right - left)

    def y(self, error: float) -> float:
        _, top, _, bottom = self.plot
        return bottom - min(error / self.top, 1.0) * (bottom - top)

    def axes(self) -> Iterator[Shape]:
        left, top, right, bottom = self.plot
        style, em = self.style, self.style.size_pt
        for k in range(round(self.top / self.step) + 1):
            y = self.y(k * self.step)
            yield Line(((left, y), (right, y)), style.line, 0.6)
            yield Text(left - 0.5 * em, y, f"{100 * k * self.step:.0f}", style.soft, em, "right")
        after = -math.inf
        for number in self._ticks():
            wide, x = text_width(f"{number}", em), self.x(number)
            yield Line(((x, bottom), (x, bottom + 3)), style.soft, 0.8)
            if x - wide / 2 > after:
                yield Text(x, bottom + 1.1 * em, f"{number}", style.soft, em, "middle")
                after = x + wide / 2 + 0.6 * em
        yield Line(((left, top), (left, bottom), (right, bottom)), style.soft, 0.8)
        yield Text((left + right) / 2, bottom + 2.7 * em, "fields", style.soft, em, "middle")
        yield Text(0.9 * em, (top + bottom) / 2, "known to ±, %", style.soft, em, "middle", turned=True)

    def _ticks(self) -> list[int]:
        first, last = self.chart.fields[0], self.chart.fields[-1]
        decades = range(math.floor(math.log10(last)) + 1)
        return [n for k in decades for n in (10**k, 2 * 10**k, 5 * 10**k) if first <= n <= last]

    def band(self) -> Iterator[Shape]:
        chart = self.chart
        if chart.low:
            there = [(self.x(n), self.y(e)) for n, e in zip(chart.fields, chart.high, strict=True)]
            back = [(self.x(n), self.y(e)) for n, e in zip(chart.fields, chart.low, strict=True)]
            yield Area((*there, *reversed(back)), self.style.soft, 0.18)

    def curve(self) -> Iterator[Shape]:
        points = [
            (self.x(n), self.y(e))
            for n, e in zip(self.chart.fields, self.chart.error, strict=True)
            if e <= self.top * (1 + 1e-9)
        ]
        if len(points) > 1:
            yield Line(tuple(points), self.style.ink, 1.6)

    def mark(self) -> Iterator[Shape]:
        """The plan: how many fields, and what they give."""
        style, em = self.style, self.style.size_pt
        left, _, right, bottom = self.plot
        x, y = self.x(self.chart.planned), self.y(self.chart.given)
        yield Line(((left, y), (x, y), (x, bottom)), style.accent, 1.2, (4.0, 2.0))
        yield Dot(x, y, 0.35 * em, style.accent)
        words = f"{self.chart.planned} fields, ±{100 * self.chart.given:.2g} %"
        fits = x + 0.8 * em + text_width(words, em) < right
        place, across = (x + 0.8 * em, "left") if fits else (x - 0.8 * em, "right")
        yield Text(place, y - 1.1 * em, words, style.accent, em, across, bold=True, ground=style.surface)
