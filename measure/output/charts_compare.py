"""Charts of a comparison: cumulative curves over one another, and the grind curve with its forecast."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from measure.judge.grind import GrindCurve
from measure.judge.grind_forecast import Forecast
from measure.output.charts_axes import share_axes, y_of_share
from measure.output.charts_layout import Drawing, share_ticks, size_ticks
from measure.output.charts_shapes import Area, Box, Dot, Line, Shape, Text, shortened, text_width
from measure.output.charts_style import PAPER, ChartStyle
from measure.sizes.curve import Curve
from measure.sizes.rounding import short_number
from measure.sizes.sample import SizeSample

# the least ground batch is dotted, the most ground one drawn through
_DASHES = ((), (7.0, 3.0), (2.0, 2.5), (9.0, 2.5, 2.0, 2.5), (4.0, 4.0), (12.0, 4.0))
_GRID = 80


@dataclass(frozen=True)
class CurvesChart:
    """Cumulative curves of several batches.

    Attributes
    ----------
    names : tuple of str
    curves : tuple of Curve
        One a batch, all at the same sizes.
    percent : float
        Percentile that is compared, marked by a line across; nan for none.
    smallest_um : float
        Largest lower limit of all; nan when unknown.
    """

    names: tuple[str, ...]
    curves: tuple[Curve, ...]
    percent: float = math.nan
    smallest_um: float = math.nan

    def in_words(self) -> str:
        """Return the chart as a sentence, for those who do not see it."""
        middles = [
            f"{name} {short_number(np.interp(0.5, c.share, c.size_um))} µm"
            for name, c in zip(self.names, self.curves, strict=True)
        ]
        what = "number" if self.curves and self.curves[0].r == 0 else "volume"
        return f"Cumulative curves by {what}; half lies below: {', '.join(middles)}."


def batch_colour(place: int, count: int, style: ChartStyle) -> str:
    """Return the colour of a batch: from the soft ink to the accent with the grinding."""
    part = 1.0 if count < 2 else place / (count - 1)
    start, end = (np.array([int(c[i : i + 2], 16) for i in (1, 3, 5)]) for c in (style.soft, style.accent))
    mixed = np.rint(start + part * (end - start)).astype(int)
    return "#" + "".join(f"{v:02x}" for v in mixed)


def lay_out_curves(chart: CurvesChart, width: float, height: float, style: ChartStyle = PAPER) -> Drawing:
    """Lay overlaid cumulative curves out on ``width`` by ``height`` points."""
    em = style.size_pt
    plot = (4.4 * em, 2.6 * em, max(width - 1.5 * em, 6 * em), max(height - 3.9 * em, 4 * em))
    ground = Box(0, 0, width, height, fill=style.surface)
    if not chart.curves:
        middle = Text(width / 2, height / 2, "Nothing to compare yet.", style.soft, em, "middle")
        return Drawing((ground, middle), plot)
    sizes = chart.curves[0].size_um
    bare = Drawing((), plot, float(sizes[0]), float(sizes[-1]))
    shapes = [
        ground,
        *_curve_axes(chart, bare, style),
        *_limit(chart, bare, style),
        *_curves(chart, bare, style),
    ]
    return Drawing(tuple(shapes), plot, bare.low_um, bare.high_um)


def _curve_axes(chart: CurvesChart, at: Drawing, style: ChartStyle) -> Iterator[Shape]:
    word = "number" if chart.curves[0].r == 0 else "volume"
    yield from share_axes(at, style, "area-equivalent diameter, µm", f"{word} finer than this, %")
    caption = f"by {word}"
    if math.isfinite(chart.smallest_um):
        caption += f"  ·  pieces of at least {short_number(chart.smallest_um)} µm"
    if any(np.isfinite(c.low).any() for c in chart.curves):
        caption += "  ·  bands: 95 % between fields"
    yield Text(at.plot[0], style.size_pt, caption, style.soft, style.size_pt * 0.95)


def _limit(chart: CurvesChart, at: Drawing, style: ChartStyle) -> Iterator[Shape]:
    left, top, right, bottom = at.plot
    if math.isfinite(chart.smallest_um) and at.low_um < chart.smallest_um < at.high_um:
        x = at.x_of(chart.smallest_um)
        yield Box(left, top, x - left, bottom - top, edge=style.warning, hatch="\\\\", alpha=0.4)
        yield Line(((x, top), (x, bottom)), style.warning, 1.2, (4.0, 2.0))
    if math.isfinite(chart.percent):
        y = y_of_share(at, chart.percent / 100)
        yield Line(((left, y), (right, y)), style.ink, 0.9, (1.0, 2.0))


def _curves(chart: CurvesChart, at: Drawing, style: ChartStyle) -> Iterator[Shape]:
    count, em = len(chart.curves), style.size_pt
    for place, found in enumerate(chart.curves):
        colour = batch_colour(place, count, style)
        xs = [at.x_of(s) for s in found.size_um]
        if np.isfinite(found.low).any():
            upper = zip(xs, [y_of_share(at, v) for v in found.high], strict=True)
            lower = zip(xs[::-1], [y_of_share(at, v) for v in found.low[::-1]], strict=True)
            yield Area((*upper, *lower), colour, 0.14)
    for place, found in enumerate(chart.curves):
        colour, dashes = batch_colour(place, count, style), _DASHES[(count - 1 - place) % len(_DASHES)]
        points = tuple(
            (at.x_of(s), y_of_share(at, v)) for s, v in zip(found.size_um, found.share, strict=True)
        )
        yield Line(points, colour, 2.0, dashes)
        if math.isfinite(chart.percent):
            x = at.x_of(float(np.interp(chart.percent / 100, found.share, found.size_um)))
            yield Dot(x, y_of_share(at, chart.percent / 100), 3.5, colour, style.surface)
    yield from _names(chart, at, style, em)


def _names(chart: CurvesChart, at: Drawing, style: ChartStyle, em: float) -> Iterator[Shape]:
    """Write the key at the upper left, the finest first, where cumulative curves leave room."""
    left, top, right, _ = at.plot
    count = len(chart.names)
    for row, place in enumerate(reversed(range(count))):
        y = top + (1.0 + 1.5 * row) * em
        colour, dashes = batch_colour(place, count, style), _DASHES[(count - 1 - place) % len(_DASHES)]
        name = shortened(chart.names[place], em, right - left - 5.2 * em)
        wide = text_width(name, em)
        yield Box(left + 0.5 * em, y - 0.7 * em, 4.6 * em + wide, 1.4 * em, fill=style.surface, alpha=0.8)
        yield Line(((left + 1.0 * em, y), (left + 4.0 * em, y)), colour, 2.2, dashes)
        yield Text(left + 4.6 * em, y, name, style.ink, em)


@dataclass(frozen=True)
class GrindChart:
    """A grind curve to draw; ``y_words`` names the figure, with its unit."""

    curve: GrindCurve
    forecast: Forecast | None
    y_words: str

    @property
    def last_dose(self) -> float:
        """Right end of the dose axis: room for the forecast, but not for one far away."""
        end = self.curve.last_dose
        if self.forecast is not None and math.isfinite(self.forecast.dose):
            end = max(end, min(1.15 * self.forecast.dose, 4 * end))
        return max(1.35 * self.curve.last_dose, end)

    def in_words(self) -> str:
        """Return the chart as a sentence, for those who do not see it."""
        scale, unit = (100, "%") if self.curve.is_share else (1, "µm")
        points = ", ".join(f"{p.dose:g}: {scale * p.value:.3g} {unit}" for p in self.curve.points)
        words = f" {self.forecast.sentence}" if self.forecast is not None else ""
        return f"Grind curve over {self.curve.unit}: {points}.{words}"


def lay_out_grind(chart: GrindChart, width: float, height: float, style: ChartStyle = PAPER) -> Drawing:
    """Lay a grind curve out on ``width`` by ``height`` points."""
    em = style.size_pt
    plot = (5.0 * em, 2.6 * em, max(width - 2.0 * em, 7 * em), max(height - 3.9 * em, 4 * em))
    page = _GrindPage(chart, plot, style)
    shapes = [
        Box(0, 0, width, height, fill=style.surface),
        *page.axes(),
        *page.lines(),
        *page.points(),
        *page.goal(),
    ]
    return Drawing(tuple(shapes), plot)


class _GrindPage:
    """The parts of one grind chart; sizes on a logarithmic axis, shares on a straight one."""

    def __init__(self, chart: GrindChart, plot: tuple[float, float, float, float], style: ChartStyle) -> None:
        self._chart, self._curve, self._style = chart, chart.curve, style
        self._left, self._top, self._right, self._bottom = plot
        self._share = chart.curve.is_share
        self._dose = np.linspace(min(p.dose for p in chart.curve.points) * 0.5, chart.last_dose, _GRID)
        self._value = self._curve.values(self._dose)
        self._low, self._high = self._curve.band(self._dose)
        self._floor, self._ceiling = self._limits()

    def _limits(self) -> tuple[float, float]:
        ends = [v for p in self._curve.points for v in (p.value, p.low, p.high) if math.isfinite(v) and v > 0]
        ends += self._value.tolist()
        if self._chart.forecast is not None:
            ends.append(self._chart.forecast.target)
        if self._share:
            return 0.0, min(1.1 * max(ends), 1.0)
        middle = [p.value for p in self._curve.points]
        # a wild interval is cut off by the frame rather than flattening the curve
        return max(0.85 * min(ends), min(middle) / 6), min(1.18 * max(ends), 4 * max(middle))

    def _x(self, dose: float) -> float:
        first, last = float(self._dose[0]), float(self._dose[-1])
        return self._left + (dose - first) / (last - first) * (self._right - self._left)

    def _y(self, value: float) -> float:
        value = min(max(value, self._floor), self._ceiling)
        if self._share:
            part = value / self._ceiling
        else:
            part = math.log(value / self._floor) / math.log(self._ceiling / self._floor)
        return self._bottom - part * (self._bottom - self._top)

    def axes(self) -> Iterator[Shape]:
        """Draw both axes with marks and words."""
        style, em = self._style, self._style.size_pt
        yield Line(
            ((self._left, self._top), (self._left, self._bottom), (self._right, self._bottom)),
            style.soft,
            0.8,
        )
        for dose in share_ticks(float(self._dose[-1])):
            if dose >= self._dose[0]:
                x = self._x(dose)
                yield Line(((x, self._bottom), (x, self._bottom + 3)), style.soft, 0.8)
                yield Text(x, self._bottom + 1.1 * em, f"{dose:g}", style.soft, em, "middle")
        for value, words in self._y_ticks():
            y = self._y(value)
            yield Line(((self._left, y), (self._right, y)), style.line, 0.6)
            yield Text(self._left - 0.5 * em, y, words, style.soft, em, "right")
        middle = (self._left + self._right) / 2
        yield Text(middle, self._bottom + 2.7 * em, self._curve.unit, style.soft, em, "middle")
        up = (self._top + self._bottom) / 2
        yield Text(0.9 * em, up, self._chart.y_words, style.soft, em, "middle", turned=True)
        band = "  ·  band: 95 %, all laws by their weight" if self._curve.promises else "  ·  a line, no law"
        yield Text(self._left, 1.0 * em, f"{self._curve.best.law.words}{band}", style.soft, em * 0.95)

    def _y_ticks(self) -> list[tuple[float, str]]:
        if self._share:
            return [(v / 100, f"{v:g}") for v in share_ticks(100 * self._ceiling)]
        marks = size_ticks(self._floor, self._ceiling)
        if len(marks) < 3:
            low, high = self._floor, self._ceiling
            marks = [low + v for v in share_ticks(high - low)][1:]
            marks = [float(f"{m:.2g}") for m in marks]
        return [(m, f"{m:g}") for m in marks]

    def lines(self) -> Iterator[Shape]:
        """Draw the band and the best law, dashed beyond what was ground."""
        style = self._style
        xs = [self._x(d) for d in self._dose]
        if np.isfinite(self._low).any():
            upper = zip(xs, [self._y(v) for v in self._high], strict=True)
            lower = zip(xs[::-1], [self._y(v) for v in self._low[::-1]], strict=True)
            yield Area((*upper, *lower), style.accent, 0.16)
        points = [(x, self._y(v)) for x, v in zip(xs, self._value, strict=True)]
        known = int(np.searchsorted(self._dose, self._curve.last_dose))
        yield Line(tuple(points[: known + 1]), style.accent, 2.0)
        yield Line(tuple(points[known:]), style.accent, 2.0, (5.0, 4.0))

    def points(self) -> Iterator[Shape]:
        """Draw the batches with their intervals and names."""
        style, em = self._style, self._style.size_pt
        for p in self._curve.points:
            x, y = self._x(p.dose), self._y(p.value)
            if math.isfinite(p.low):
                ends = (self._y(p.low), self._y(p.high))
                yield Line(((x, ends[0]), (x, ends[1])), style.ink, 1.2)
                yield from (Line(((x - 3, e), (x + 3, e)), style.ink, 1.2) for e in ends)
            yield Dot(x, y, 4.0, style.ink, style.surface)
            yield Text(x + 0.6 * em, y - 0.8 * em, p.name, style.ink, em * 0.95, ground=style.surface)

    def goal(self) -> Iterator[Shape]:
        """Draw the target and where it is reached."""
        found, style, em = self._chart.forecast, self._style, self._style.size_pt
        if found is None:
            return
        y = self._y(found.target)
        words = (
            f"target {100 * found.target:.2g} %" if self._share else f"target {short_number(found.target)} µm"
        )
        yield Line(((self._left, y), (self._right, y)), style.warning, 1.4, (6.0, 3.0))
        yield Text(self._left + 0.5 * em, y + 0.8 * em, words, style.warning, em, ground=style.surface)
        last = float(self._dose[-1])
        if math.isfinite(found.low):
            ends = [self._x(min(max(v, float(self._dose[0])), last)) for v in (found.low, found.high)]
            yield Line(((ends[0], y), (ends[1], y)), style.ink, 3.0)
        if math.isfinite(found.dose) and self._dose[0] <= found.dose <= last:
            yield Dot(self._x(found.dose), y, 5.0, style.warning, style.surface)


def common_sizes(samples: Sequence[SizeSample], points: int = 140) -> np.ndarray:
    """Return sizes at which all curves are drawn, from the smallest to the largest piece of all."""
    low = min(float(s.diameter_um.min()) for s in samples)
    high = max(float(s.diameter_um.max()) for s in samples)
    return np.geomspace(low * 0.97, high * 1.03, points)
