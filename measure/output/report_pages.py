"""Heads and feet of the report's pages."""

from typing import Any

from reportlab.lib.colors import HexColor
from reportlab.lib.pagesizes import A4
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas

from measure import __version__
from measure.output.charts_style import PAPER
from measure.output.fonts import EAST_ASIAN, east_asian_font
from measure.output.report_parts import FONT, WIDTH_PT, register_fonts

_SIZE = 7.0


def numbered(title: str) -> type:
    """Return a canvas class that writes the title and "page n of m" on every page."""

    class Numbered(Canvas):
        def __init__(self, *args: Any, **options: Any) -> None:
            register_fonts()
            super().__init__(*args, **options)
            self._kept: list[dict] = []

        def showPage(self) -> None:  # noqa: N802 - its name in the library
            self._kept.append(dict(self.__dict__))
            self._startPage()

        def save(self) -> None:
            for number, state in enumerate(self._kept, start=1):
                self.__dict__.update(state)
                _head_and_foot(self, title, number, len(self._kept))
                Canvas.showPage(self)
            Canvas.save(self)

    return Numbered


def _head_and_foot(canvas: Canvas, title: str, number: int, count: int) -> None:
    left, right = (A4[0] - WIDTH_PT) / 2, (A4[0] + WIDTH_PT) / 2
    canvas.setFont(FONT, _SIZE)
    canvas.setFillColor(HexColor(PAPER.soft))
    canvas.setStrokeColor(HexColor(PAPER.line))
    canvas.setLineWidth(0.5)
    canvas.line(left, 36, right, 36)
    canvas.drawString(left, 26, f"Gritline {__version__}  ·  no proof that a food is safe to eat")
    canvas.drawRightString(right, 26, f"page {number} of {count}")
    if number > 1:
        font = east_asian_font(title) if EAST_ASIAN.search(title) else FONT
        canvas.setFont(font, _SIZE)
        canvas.drawString(left, A4[1] - 30, _fitting(title, WIDTH_PT, font))


_MOST_LETTERS = 400  # in a line, however narrow; a title may be as long as a recipe


def _fitting(title: str, width: float, font: str) -> str:
    title = "".join(c if c.isprintable() else " " for c in title[:_MOST_LETTERS])
    while title and stringWidth(title, font, _SIZE) > width:
        title = title[:-2] + "…"
    return title
