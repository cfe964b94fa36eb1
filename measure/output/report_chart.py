"""Charts on a PDF page: the shapes of a layout drawn as lines and letters."""

from collections.abc import Iterable
from typing import Any

from reportlab.lib.colors import HexColor
from reportlab.pdfbase.pdfmetrics import stringWidth

from measure.output.charts_shapes import Area, Box, Dot, Line, Shape, Text
from measure.output.fonts import EAST_ASIAN, east_asian_font

_STEP = 4.0  # points between the lines of a hatch


def draw_shapes(canvas: Any, shapes: Iterable[Shape], height: float, font: str, bold: str) -> None:
    """Draw shapes, whose y runs down from the top, onto a canvas, whose y runs up."""
    for shape in shapes:
        canvas.saveState()
        if isinstance(shape, Text):
            _text(canvas, shape, height, font, bold)
        else:
            _DRAW[type(shape)](canvas, shape, height)
        canvas.restoreState()


def _box(canvas: Any, box: Box, height: float) -> None:
    x, y = box.x, height - box.y - box.height
    if box.fill:
        canvas.setFillColor(HexColor(box.fill))
        canvas.setFillAlpha(box.alpha)
        canvas.rect(x, y, box.width, box.height, stroke=0, fill=1)
    if box.hatch and box.edge and box.width > 0 and box.height > 0:
        _hatch(canvas, box, x, y)
    if box.fill and box.edge:
        canvas.setStrokeColor(HexColor(box.edge))
        canvas.setLineWidth(0.6)
        canvas.rect(x, y, box.width, box.height, stroke=1, fill=0)


def _hatch(canvas: Any, box: Box, x: float, y: float) -> None:
    canvas.saveState()
    path = canvas.beginPath()
    path.rect(x, y, box.width, box.height)
    canvas.clipPath(path, stroke=0, fill=0)
    canvas.setStrokeColor(HexColor(box.edge))
    canvas.setStrokeAlpha(box.alpha)
    canvas.setLineWidth(0.5)
    if box.hatch == "....":
        canvas.setFillColor(HexColor(box.edge))
        for i in range(int(box.width / _STEP) + 1):
            for j in range(int(box.height / _STEP) + 1):
                canvas.circle(x + (i + 0.5) * _STEP, y + (j + 0.5) * _STEP, 0.6, stroke=0, fill=1)
    reach = box.width + box.height
    for k in range(int(reach / _STEP) + 1):
        at = k * _STEP
        if box.hatch in ("////", "xxx"):
            canvas.line(x + at - box.height, y, x + at, y + box.height)
        if box.hatch in ("\\\\", "xxx"):
            canvas.line(x + at - box.height, y + box.height, x + at, y)
    canvas.restoreState()


def _line(canvas: Any, line: Line, height: float) -> None:
    if len(line.points) < 2:
        return
    canvas.setStrokeColor(HexColor(line.colour))
    canvas.setLineWidth(line.width)
    canvas.setLineJoin(1)
    if line.dashes:
        canvas.setDash(list(line.dashes))
    canvas.drawPath(_path(canvas, line.points, height), stroke=1, fill=0)


def _area(canvas: Any, area: Area, height: float) -> None:
    canvas.setFillColor(HexColor(area.fill))
    canvas.setFillAlpha(area.alpha)
    path = _path(canvas, area.points, height)
    path.close()
    canvas.drawPath(path, stroke=0, fill=1)


def _dot(canvas: Any, dot: Dot, height: float) -> None:
    canvas.setFillColor(HexColor(dot.fill))
    if dot.edge:
        canvas.setStrokeColor(HexColor(dot.edge))
        canvas.setLineWidth(0.8)
    canvas.circle(dot.x, height - dot.y, dot.radius, stroke=1 if dot.edge else 0, fill=1)


def _text(canvas: Any, text: Text, height: float, font: str, bold: str) -> None:
    name = bold if text.bold else font
    if EAST_ASIAN.search(text.text):
        name = east_asian_font(text.text)
    wide = stringWidth(text.text, name, text.size)
    start = {"left": 0.0, "middle": -wide / 2, "right": -wide}[text.across]
    canvas.translate(text.x, height - text.y)
    if text.turned:
        canvas.rotate(90)
    if text.ground:
        canvas.setFillColor(HexColor(text.ground))
        canvas.setFillAlpha(0.85)
        canvas.rect(start - 1, -0.6 * text.size, wide + 2, 1.2 * text.size, stroke=0, fill=1)
        canvas.setFillAlpha(1.0)
    canvas.setFillColor(HexColor(text.colour))
    canvas.setFont(name, text.size)
    canvas.drawString(start, -0.36 * text.size, text.text)


def _path(canvas: Any, points: Iterable[tuple[float, float]], height: float) -> Any:
    path = canvas.beginPath()
    for place, (x, y) in enumerate(points):
        (path.lineTo if place else path.moveTo)(float(x), height - float(y))
    return path


_DRAW: dict[type[Shape], Any] = {Box: _box, Line: _line, Area: _area, Dot: _dot}
