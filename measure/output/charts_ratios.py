"""The chart of ratios: how many times one batch's figure is another's, with intervals, pair below pair."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from measure.judge.compare_pairs import WEBER_FRACTION, Ratio
from measure.output.charts_layout import Drawing
from measure.output.charts_shapes import Box, Dot, Line, Shape, Text, text_width
from measure.output.charts_style import PAPER, ChartStyle
from measure.sizes.rounding import figure_texts

_MARKS = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0)
_WILD = 6.0  # times the ratio: an interval that goes beyond is cut off rather than flattening the others
_LABELS = 0.45  # of the width at most


@dataclass(frozen=True)
class RatioChart:
    """Ratios of one figure.

    Attributes
    ----------
    ratios : tuple of Ratio
    """

    ratios: tuple[Ratio, ...]

    def in_words(self) -> str:
        """Return what it shows in a sentence."""
        said = []
        for r in self.ratios:
            value, low, high = figure_texts(r.ratio, r.low, r.high)
            said.append(f"{_name(r)}: {value}" + (f" ({low} to {high})" if low else ""))
        return "Ratios. " + "; ".join(said) + "." if said else "No ratios."


def lay_out_ratios(chart: RatioChart, width: float, height: float, style: ChartStyle = PAPER) -> Drawing:
    """Lay the chart out on ``width`` by ``height`` points."""
    em = style.size_pt
    names = max((text_width(_name(r), em) for r in chart.ratios), default=0.0)
    plot = (
        min(names, _LABELS * width) + 1.2 * em,
        1.8 * em,
        max(width - 1.0 * em, 8 * em),
        max(height - 3.4 * em, 4 * em),
    )
    if not chart.ratios:
        return Drawing((), plot)
    page = _Page(chart.ratios, plot, style)
    shapes: list[Shape] = [*page.ground(), *page.axis()]
    for place, ratio in enumerate(chart.ratios):
        shapes += page.row(place, ratio)
    return Drawing(tuple(shapes), plot)


class _Page:
    """The parts of one chart, ratios on a logarithmic axis."""

    def __init__(
        self, ratios: Sequence[Ratio], plot: tuple[float, float, float, float], style: ChartStyle
    ) -> None:
        self._ratios, self._style = ratios, style
        self._left, self._top, self._right, self._bottom = plot
        step = 1 + WEBER_FRACTION
        ends = [step * 1.05, 1 / step / 1.05]
        for r in ratios:
            ends += [v for v in (r.ratio, max(r.low, r.ratio / _WILD), min(r.high, r.ratio * _WILD)) if v > 0]
        self._low, self._high = min(ends) / 1.04, max(ends) * 1.04

    def _x(self, ratio: float) -> float:
        part = math.log(ratio / self._low) / math.log(self._high / self._low)
        return self._left + min(max(part, 0.0), 1.0) * (self._right - self._left)

    def _y(self, place: int) -> float:
        return self._top + (place + 0.5) / len(self._ratios) * (self._bottom - self._top)

    def ground(self) -> Iterator[Shape]:
        """Shade the steps no taster can notice, about the line of no difference."""
        step, style = 1 + WEBER_FRACTION, self._style
        left, right = self._x(1 / step), self._x(step)
        yield Box(left, self._top, right - left, self._bottom - self._top, fill=style.soft, alpha=0.14)
        yield Line(((self._x(1), self._top), (self._x(1), self._bottom)), style.soft, 1.0, (4.0, 2.0))

    def axis(self) -> Iterator[Shape]:
        """Draw the axis with marks and words."""
        style, em = self._style, self._style.size_pt
        yield Line(((self._left, self._bottom), (self._right, self._bottom)), style.soft, 0.8)
        for mark in _MARKS:
            if self._low <= mark <= self._high:
                x = self._x(mark)
                yield Line(((x, self._bottom), (x, self._bottom + 3)), style.soft, 0.8)
                yield Text(x, self._bottom + 1.1 * em, f"{mark:g}", style.soft, em, "middle")
        words = "ratio; shaded: too little to notice"
        yield Text(self._right, self._bottom + 2.5 * em, words, style.soft, em, "right")

    def row(self, place: int, ratio: Ratio) -> Iterator[Shape]:
        """Draw one ratio: filled where a difference is shown, hollow where none is."""
        style, em, y = self._style, self._style.size_pt, self._y(place)
        yield Text(self._left - 0.6 * em, y, _name(ratio), style.ink, em, "right")
        colour = style.accent if ratio.shown else style.soft
        if math.isfinite(ratio.low) and math.isfinite(ratio.high):
            ends = (self._x(max(ratio.low, self._low)), self._x(ratio.high))
            yield Line(((ends[0], y), (ends[1], y)), colour, 1.6)
            for end, cut in zip(ends, (ratio.low < self._low, ratio.high > self._high), strict=True):
                if not cut:  # an interval that goes on beyond the frame has no end to be seen
                    yield Line(((end, y - 3), (end, y + 3)), colour, 1.6)
        yield Dot(self._x(ratio.ratio), y, 0.36 * em, colour if ratio.shown else style.surface, colour)


def _name(ratio: Ratio) -> str:
    return f"{ratio.first} / {ratio.second}"
