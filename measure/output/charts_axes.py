"""Axes that charts of shares over sizes have in common."""

from collections.abc import Iterator

from measure.output.charts_layout import Drawing, size_ticks
from measure.output.charts_shapes import Line, Shape, Text
from measure.output.charts_style import ChartStyle


def y_of_share(at: Drawing, share: float) -> float:
    """Return the height of a share of 0 to 1, points; a little room is left above 1."""
    _, top, _, bottom = at.plot
    return bottom - share / 1.03 * (bottom - top)


def share_axes(at: Drawing, style: ChartStyle, x_words: str, y_words: str) -> Iterator[Shape]:
    """Yield both axes with marks and words, and a faint line at every quarter."""
    left, top, right, bottom = at.plot
    em = style.size_pt
    yield Line(((left, top), (left, bottom), (right, bottom)), style.soft, 0.8)
    for size in size_ticks(at.low_um, at.high_um):
        x = at.x_of(size)
        yield Line(((x, bottom), (x, bottom + 3)), style.soft, 0.8)
        yield Text(x, bottom + 1.1 * em, f"{size:g}", style.soft, em, "middle")
    for percent in (0, 25, 50, 75, 100):
        y = y_of_share(at, percent / 100)
        yield Line(((left, y), (right, y)), style.line, 0.6)
        yield Text(left - 0.5 * em, y, f"{percent}", style.soft, em, "right")
    yield Text((left + right) / 2, bottom + 2.7 * em, x_words, style.soft, em, "middle")
    yield Text(0.9 * em, (top + bottom) / 2, y_words, style.soft, em, "middle", turned=True)
