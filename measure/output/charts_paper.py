"""Charts as pictures for paper: the shapes of a layout drawn with matplotlib, no screen needed."""

import io
from typing import Any

from measure.output.charts_layout import Drawing, lay_out
from measure.output.charts_shapes import Area, Box, Dot, Line, Shape, Text
from measure.output.charts_sizes import SizeChart
from measure.output.charts_style import PAPER, ChartStyle

_POINTS_PER_INCH = 72.0


def chart_png(
    chart: SizeChart,
    style: ChartStyle = PAPER,
    *,
    width_pt: float = 460.0,
    height_pt: float = 270.0,
    dpi: int = 300,
) -> bytes:
    """Return a size chart as the bytes of a PNG picture."""
    return drawing_png(lay_out(chart, width_pt, height_pt, style), width_pt, height_pt, dpi=dpi)


def chart_svg(
    chart: SizeChart, style: ChartStyle = PAPER, *, width_pt: float = 460.0, height_pt: float = 270.0
) -> bytes:
    """Return a size chart as the bytes of an SVG picture; the letters stay letters."""
    import matplotlib as mpl

    drawing = lay_out(chart, width_pt, height_pt, style)
    # fixed names inside, so that the same chart gives the same bytes
    with mpl.rc_context({"svg.hashsalt": "gritline", "svg.fonttype": "none"}):
        return _saved(drawing, width_pt, height_pt, 72, "svg", {"Date": None, "Creator": None})


def drawing_png(drawing: Drawing, width_pt: float, height_pt: float, *, dpi: int = 300) -> bytes:
    """Return any laid-out chart as the bytes of a PNG picture."""
    return _saved(drawing, width_pt, height_pt, dpi, "png", {"Software": None})


def _saved(
    drawing: Drawing, width_pt: float, height_pt: float, dpi: int, kind: str, metadata: dict[str, None]
) -> bytes:
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width_pt / _POINTS_PER_INCH, height_pt / _POINTS_PER_INCH), dpi=dpi)
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set_xlim(0, width_pt)
    axes.set_ylim(height_pt, 0)
    axes.set_axis_off()
    for order, shape in enumerate(drawing.shapes):
        _DRAW[type(shape)](axes, shape, order)
    file = io.BytesIO()
    figure.savefig(file, format=kind, dpi=dpi, metadata=metadata)
    return file.getvalue()


def _box(axes: Any, box: Box, order: int) -> None:
    from matplotlib.colors import to_rgba
    from matplotlib.patches import Rectangle

    edge = to_rgba(box.edge, box.alpha) if box.edge else "none"
    axes.add_patch(
        Rectangle(
            (box.x, box.y),
            box.width,
            box.height,
            facecolor=to_rgba(box.fill, box.alpha) if box.fill else "none",
            edgecolor=edge,
            hatch=box.hatch or None,
            linewidth=0.6 if box.fill and box.edge else 0.0,
            zorder=order,
        )
    )


def _line(axes: Any, line: Line, order: int) -> None:
    xs, ys = zip(*line.points, strict=True) if line.points else ((), ())
    dashes = (0, tuple(d / line.width for d in line.dashes)) if line.dashes else "-"
    axes.plot(xs, ys, color=line.colour, lw=line.width, ls=dashes, zorder=order, solid_joinstyle="round")


def _area(axes: Any, area: Area, order: int) -> None:
    from matplotlib.patches import Polygon

    axes.add_patch(
        Polygon(area.points, closed=True, facecolor=area.fill, alpha=area.alpha, lw=0, zorder=order)
    )


def _dot(axes: Any, dot: Dot, order: int) -> None:
    from matplotlib.patches import Circle

    edge = dot.edge or "none"
    axes.add_patch(
        Circle((dot.x, dot.y), dot.radius, facecolor=dot.fill, edgecolor=edge, lw=0.8, zorder=order)
    )


def _text(axes: Any, text: Text, order: int) -> None:
    across = {"left": "left", "middle": "center", "right": "right"}[text.across]
    # turned text starts below and reads upwards, so its beginning is its lower end
    upright = {"left": "bottom", "center": "center", "right": "top"}[across]
    ground = (
        {"facecolor": text.ground, "edgecolor": "none", "pad": 0.8, "alpha": 0.85} if text.ground else None
    )
    axes.text(
        text.x,
        text.y,
        text.text,
        color=text.colour,
        fontsize=text.size,
        fontweight="bold" if text.bold else "normal",
        ha="center" if text.turned else across,
        va=upright if text.turned else "center_baseline",
        rotation=90 if text.turned else 0,
        rotation_mode="default",
        bbox=ground,
        zorder=order,
    )


_DRAW: dict[type[Shape], Any] = {Box: _box, Line: _line, Area: _area, Dot: _dot, Text: _text}
