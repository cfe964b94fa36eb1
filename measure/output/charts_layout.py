"""The layout of a size chart: what `measure.output.charts_sizes` says, turned into shapes."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from measure.model import KINDS
from measure.output.charts_shapes import Area, Box, Dot, Line, Shape, Text, shortened, text_width
from measure.output.charts_sizes import MarkedPercentile, SizeChart
from measure.output.charts_style import PAPER, ChartStyle
from measure.sizes.plan import lowered
from measure.sizes.rounding import short_number

_BETWEEN = "  ·  "  # parts of a caption
_CLOSE, _STEPS = (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 7.0), (1.0, 2.0, 3.0, 5.0)
_FELT_STEPS = 48


@dataclass(frozen=True)
class Drawing:
    """A chart laid out.

    Attributes
    ----------
    shapes : tuple of Shape
        From back to front.
    plot : (float, float, float, float)
        Left, top, right and bottom of the plotting area.
    low_um, high_um : float
        Sizes at its left and right; nan without an axis.
    """

    shapes: tuple[Shape, ...]
    plot: tuple[float, float, float, float]
    low_um: float = math.nan
    high_um: float = math.nan

    def x_of(self, size_um: float) -> float:
        """Return the place of a size."""
        left, _, right, _ = self.plot
        part = math.log(size_um / self.low_um) / math.log(self.high_um / self.low_um)
        return left + part * (right - left)

    def size_at(self, x: float) -> float:
        """Return the size at a place; nan without an axis."""
        left, _, right, _ = self.plot
        if not math.isfinite(self.low_um):
            return math.nan
        return self.low_um * (self.high_um / self.low_um) ** ((x - left) / (right - left))


def lay_out(
    chart: SizeChart,
    width: float,
    height: float,
    style: ChartStyle = PAPER,
    *,
    pointed: int = -1,
    marked_um: tuple[float, ...] = (),
) -> Drawing:
    """Lay a size chart out on ``width`` by ``height`` points.

    Parameters
    ----------
    chart : SizeChart
    style : ChartStyle
    pointed : int
        Class that is pointed at, -1 for none.
    marked_um : tuple of float
        Sizes of chosen pieces, marked below the axis.
    """
    em = style.size_pt
    strips = len(chart.ramps)
    lines = _caption_lines(chart, width, em)
    top = em * (2.9 + 1.4 * (len(lines) - 1) + (1.6 if chart.title else 0.0)) + strips * 0.9 * em + 0.4 * em
    plot = (4.6 * em, top, max(width - 4.4 * em, 6 * em), max(height - 3.9 * em, top + em))
    ground = Box(0, 0, width, height, fill=style.surface)
    if not chart.pieces:
        middle = Text(width / 2, height / 2, "No piece is counted.", style.soft, em, "middle")
        return Drawing((ground, middle), plot)
    low, high = _reach(chart)
    bare = Drawing((), plot, low, high)
    page = _Page(chart, bare, style)
    shapes: list[Shape] = [ground, *page.limit(), *page.pointed(pointed), *page.bars(), *page.felt()]
    shapes += [*page.axes(), *page.curve(), *page.percentiles(), *page.marks(marked_um)]
    shapes += [*page.limit_words(), *page.head(lines)]
    return Drawing(tuple(shapes), plot, low, high)


def _reach(chart: SizeChart) -> tuple[float, float]:
    low, high = float(chart.edges_um[0]), float(chart.edges_um[-1])
    ratio = high / low
    if math.isfinite(chart.smallest_um):
        low = min(low, chart.smallest_um / ratio**0.08)
    return low, high * ratio**0.03


def size_ticks(low_um: float, high_um: float) -> list[float]:
    """Return sizes for the marks of a logarithmic axis: 1, 2, 3, 5 in each decade, more or fewer as it needs.

    Examples
    --------
    >>> size_ticks(4, 60)
    [5.0, 10.0, 20.0, 30.0, 50.0]
    """
    decades = math.log10(high_um / low_um)
    steps = _CLOSE if decades < 1.0 else _STEPS if decades < 1.8 else (1.0, 3.0) if decades < 3.2 else (1.0,)
    first, last = math.floor(math.log10(low_um)), math.ceil(math.log10(high_um))
    marks = [s * 10.0**e for e in range(first, last + 1) for s in steps]
    return [m for m in marks if low_um <= m <= high_um]


def share_ticks(top: float) -> list[float]:
    """Return rounded marks from 0 up to ``top`` per cent.

    Examples
    --------
    >>> share_ticks(17.3)
    [0.0, 5.0, 10.0, 15.0]
    """
    step = 10.0 ** math.floor(math.log10(top))
    step = next(step * f for f in (0.2, 0.5, 1.0, 2.0, 5.0) if top / (step * f) <= 5)
    return [step * i for i in range(int(top / step + 1e-9) + 1)]


def _caption_lines(chart: SizeChart, width: float, em: float) -> list[str]:
    """Return the caption in as many lines as the width asks for, broken between its parts."""
    lines: list[str] = []
    for part in chart.caption.split(_BETWEEN):
        longer = f"{lines[-1]}{_BETWEEN}{part}" if lines else part
        if lines and text_width(longer, 0.88 * em) <= width - em:
            lines[-1] = longer
        else:
            lines.append(part)
    return lines


class _Page:
    """The parts of one chart on one page."""

    def __init__(self, chart: SizeChart, drawing: Drawing, style: ChartStyle) -> None:
        self._chart, self._at, self._style = chart, drawing, style
        self._left, self._top, self._right, self._bottom = drawing.plot
        self._most = float(100 * chart.shares.sum(axis=0).max()) * 1.06 or 1.0

    def _y(self, percent: float) -> float:
        return self._bottom - percent / self._most * (self._bottom - self._top)

    def _y_finer(self, share: float) -> float:
        return self._bottom - share / 1.04 * (self._bottom - self._top)

    def limit(self) -> Iterator[Shape]:
        """Hatch what lies below the lower limit."""
        limit, style = self._chart.smallest_um, self._style
        if not math.isfinite(limit):
            return
        x, high = self._at.x_of(limit), self._bottom - self._top
        yield Box(self._left, self._top, x - self._left, high, edge=style.warning, hatch="\\\\", alpha=0.5)
        yield Line(((x, self._top), (x, self._bottom)), style.warning, 1.2, (4.0, 2.0))

    def limit_words(self) -> Iterator[Shape]:
        """Say what the hatching means, in front of everything."""
        limit, style = self._chart.smallest_um, self._style
        if not math.isfinite(limit):
            return
        x = self._at.x_of(limit)
        yield Text(
            max(x - 0.8 * style.size_pt, self._left + 0.6 * style.size_pt),
            self._top + 0.4 * style.size_pt,  # at the foot x10 and its words may stand
            f"not counted below {short_number(limit)} µm",
            style.warning,
            style.size_pt * 0.88,
            across="right",
            turned=True,
            ground=style.surface,
        )

    def pointed(self, place: int) -> Iterator[Shape]:
        """Light the class that is pointed at."""
        edges = self._chart.edges_um
        if 0 <= place < len(edges) - 1:
            x0, x1 = self._at.x_of(edges[place]), self._at.x_of(edges[place + 1])
            yield Box(x0, self._top, x1 - x0, self._bottom - self._top, fill=self._style.accent, alpha=0.18)

    def bars(self) -> Iterator[Shape]:
        """Stack the kinds in each class."""
        edges = [self._at.x_of(e) for e in self._chart.edges_um]
        base = np.zeros(len(edges) - 1)
        for code in self._chart.kinds:
            look = self._style.kinds[KINDS[code]]
            upper = base + 100 * self._chart.shares[code]
            for i in np.flatnonzero(upper > base).tolist():
                y1, y0 = self._y(float(upper[i])), self._y(float(base[i]))
                wide = edges[i + 1] - edges[i]
                yield Box(edges[i], y1, wide, y0 - y1, look.colour, self._style.surface, look.hatch)
            base = upper

    def felt(self) -> Iterator[Shape]:
        """Shade, in one strip a kind above the plot, how likely its pieces are felt."""
        em, style = self._style.size_pt, self._style
        wide = (self._right - self._left) / _FELT_STEPS
        for place, (kind, none_um, all_um) in enumerate(self._chart.ramps):
            y = self._top - (len(self._chart.ramps) - place) * 0.9 * em - 0.2 * em
            for i in range(_FELT_STEPS):
                size = self._at.size_at(self._left + (i + 0.5) * wide)
                felt = min(max(math.log(size / none_um) / math.log(all_um / none_um), 0.0), 1.0)
                if felt > 0:
                    yield Box(self._left + i * wide, y, wide, 0.7 * em, fill=style.accent, alpha=0.85 * felt)
            yield Line(((self._left, y + 0.7 * em), (self._right, y + 0.7 * em)), style.line, 0.5)
            words = f"{style.kinds[kind].letter} felt"
            yield Text(self._right + 0.4 * em, y + 0.35 * em, words, style.soft, em * 0.82)

    def axes(self) -> Iterator[Shape]:
        """Draw the three axes with their marks and words."""
        em, style = self._style.size_pt, self._style
        left, right, bottom = self._left, self._right, self._bottom
        corners = ((left, self._top), (left, bottom), (right, bottom), (right, self._top))
        yield Line(corners, style.soft, 0.8)
        for size in size_ticks(self._at.low_um, self._at.high_um):
            x = self._at.x_of(size)
            yield Line(((x, bottom), (x, bottom + 3)), style.soft, 0.8)
            yield Text(x, bottom + 1.1 * em, f"{size:g}", style.soft, em, "middle")
        for percent in share_ticks(self._most):
            y = self._y(percent)
            yield Line(((left - 3, y), (left, y)), style.soft, 0.8)
            yield Text(left - 0.5 * em, y, f"{percent:g}", style.soft, em, "right")
        for percent in (0, 25, 50, 75, 100):
            y = self._y_finer(percent / 100)
            yield Line(((right, y), (right + 3, y)), style.soft, 0.8)
            yield Text(right + 0.5 * em, y, f"{percent}", style.soft, em)
        middle = (self._top + bottom) / 2
        words = "area-equivalent diameter, µm"
        yield Text((left + right) / 2, bottom + 2.7 * em, words, style.soft, em, "middle")
        yield Text(0.9 * em, middle, self._chart.y_label, style.soft, em, "middle", turned=True)
        finer = f"{self._chart.quantity} finer than this, %"
        yield Text(right + 3.4 * em, middle, finer, style.soft, em, "middle", turned=True)

    def curve(self) -> Iterator[Shape]:
        """Draw the cumulative curve and its band."""
        found, style = self._chart.curve, self._style
        if found is None:
            return
        inside = (found.size_um >= self._at.low_um) & (found.size_um <= self._at.high_um)
        xs = [self._at.x_of(s) for s in found.size_um[inside]]
        if np.isfinite(found.low).any():
            upper = [self._y_finer(v) for v in found.high[inside]]
            lower = [self._y_finer(v) for v in found.low[inside]]
            around = (*zip(xs, upper, strict=True), *zip(xs[::-1], lower[::-1], strict=True))
            yield Area(around, style.ink, 0.17)
        points = tuple(zip(xs, [self._y_finer(v) for v in found.share[inside]], strict=True))
        yield Line(points, style.surface, 3.2)
        yield Line(points, style.ink, 1.7)

    def percentiles(self) -> Iterator[Shape]:
        """Mark the percentiles on the curve, with their intervals."""
        for mark in self._chart.percentiles:
            if self._at.low_um <= mark.size_um <= self._at.high_um:
                yield from self._percentile(mark)

    def _percentile(self, mark: MarkedPercentile) -> Iterator[Shape]:
        style, em = self._style, self._style.size_pt
        x, y = self._at.x_of(mark.size_um), self._y_finer(mark.percent / 100)
        yield Line(((x, y), (x, self._bottom)), style.ink, 0.9, (1.0, 2.0))
        if math.isfinite(mark.low_um) and mark.low_um > 0:
            yield from self._interval(self._at.x_of(mark.low_um), self._at.x_of(mark.high_um), y)
        yield Dot(x, y, 3.0, style.ink, style.surface)
        words = f"x{lowered(format(mark.percent, 'g'))}  {mark.size_text} µm"
        limit = self._chart.smallest_um  # in the hatching below it stand words of its own
        edge = self._at.x_of(limit) if math.isfinite(limit) else self._left
        fits = x - 8 - text_width(words, em) > edge
        across, place = ("right", x - 8) if fits else ("left", x + 8)
        yield Text(place, y - 0.9 * em, words, style.ink, em, across, bold=True, ground=style.surface)

    def _interval(self, low: float, high: float, y: float) -> Iterator[Shape]:
        """Draw an interval; an arrow, and no end, stands where it goes on beyond the plot."""
        ink = self._style.ink
        x0, x1 = max(low, self._left), min(high, self._right)
        yield Line(((x0, y), (x1, y)), ink, 1.2)
        for end, beyond, way in ((x0, low < self._left, 1), (x1, high > self._right, -1)):
            if beyond:
                yield Area(((end, y), (end + way * 7, y - 3.5), (end + way * 7, y + 3.5)), ink)
            else:
                yield Line(((end, y - 3), (end, y + 3)), ink, 1.2)

    def marks(self, sizes: tuple[float, ...]) -> Iterator[Shape]:
        """Mark the sizes of chosen pieces below the axis."""
        for size in sizes[:60]:
            if self._at.low_um <= size <= self._at.high_um:
                x, y = self._at.x_of(size), self._bottom
                yield Area(((x, y), (x - 4, y + 8), (x + 4, y + 8)), self._style.accent)

    def head(self, caption: list[str]) -> Iterator[Shape]:
        """Write the title, the caption and the key to the kinds."""
        em, style, x = self._style.size_pt, self._style, self._left
        y = 0.9 * em
        if self._chart.title:
            title = shortened(self._chart.title, em * 1.3, self._right + 3 * em)  # bold
            yield Text(0.4 * em, y, title, style.ink, em * 1.1, bold=True)
            y += 1.6 * em
        for line in caption:
            yield Text(0.4 * em, y, line, style.soft, em * 0.95)
            y += 1.4 * em
        x = 0.4 * em
        for code in self._chart.kinds:
            look = style.kinds[KINDS[code]]
            yield Box(x, y - 0.35 * em, 1.5 * em, 0.75 * em, look.colour, style.surface, look.hatch)
            words = f"{look.letter}  {KINDS[code].value}"
            yield Text(x + 1.9 * em, y, words, style.ink, em * 0.92)
            x += 1.9 * em + text_width(words, em) + 1.2 * em
