"""The picture side of the Scale station: the ruling, the lines found or marked, the distances below."""

from collections.abc import Callable

import numpy as np
from PySide6.QtCore import QPointF, QRectF
from PySide6.QtGui import QAction
from PySide6.QtWidgets import QVBoxLayout, QWidget

from app import number_text, parts, theme
from app.canvas.marks_item import Marks
from app.canvas.view import PictureView
from app.flow import flow
from app.hint_line import HintLine
from app.one_line import OneLine
from app.stations.scale_draft import REACH_SCREEN_PX
from app.stations.scale_residuals import ResidualChart, line_places_um
from app.stations.scale_tools import ClickLines, DragLines
from app.tool_words import WordyRow
from measure.model import Picture
from measure.scale import RulingFit

EMPTY = (
    "Drop a picture of a stage micrometer here, or choose Open a ruling.\n\n"
    "A stage micrometer is a glass slide with a fine ruling, most often 1 mm in 100 parts of 10 µm. "
    "Take its picture with the zoom and picture size you use for your smears: "
    "its lines tell how many micrometres a pixel is.\n\n"
    "No stage micrometer? Any ruler with fine even lines will do at low zoom, such as millimetre paper "
    "(division 1000 µm).\n\n"
    "Only a bar drawn into your pictures? Open one of them and click both ends of the bar."
)
# action, icon, and the short words beneath where there is room
_TOOLS = (
    ("click", "pick", "Click lines"),
    ("drag", "length", "Drag across"),
    ("loupe", "loupe", "Lens"),
    ("lines", "eye", "Lines"),
    ("fit", "fit", "Whole"),
    ("drop", "close", "Put away"),
)


class RulingPicture(QWidget):
    """Shows a picture of a ruling with its lines.

    Parameters
    ----------
    action : callable
        Gives the station's action of an id.
    mark_point, mark_stroke : callable
        ``mark_point(x, y, reach_px)`` and ``mark_stroke((x0, y0), (x1, y1), width_px)``.
    """

    def __init__(
        self,
        action: Callable[[str], QAction],
        mark_point: Callable[[float, float, float], None],
        mark_stroke: Callable[[tuple, tuple, float], None],
    ) -> None:
        super().__init__()
        self.view = PictureView()
        self.view.setAccessibleName("Picture of the ruling")
        self.view.set_empty_text(EMPTY)
        self.chart = ResidualChart()
        self.chart.set_fit(None)
        self.name, self.hint = OneLine(), HintLine()
        self.hint.hide()
        self._fit: RulingFit | None = None
        self._points = np.zeros((0, 2))
        self._lines_shown = True
        self.click = ClickLines(lambda x, y, zoom: mark_point(x, y, REACH_SCREEN_PX / max(zoom, 0.25)))
        self.drag = DragLines(
            lambda a, b, zoom: mark_stroke(_xy(a), _xy(b), REACH_SCREEN_PX / max(zoom, 0.25))
        )
        self._lay_out(action)
        self.chart.chosen.connect(self._show_line)

    def _lay_out(self, action: Callable[[str], QAction]) -> None:
        buttons = [
            parts.tool_button(action(f"scale.{name}"), icon, words=words) for name, icon, words in _TOOLS
        ]
        line = flow(self.name, None, *buttons)
        line.setContentsMargins(theme.SMALL, theme.TIGHT, theme.SMALL, theme.TIGHT)
        self.tools = WordyRow()
        self.tools.hold(line, buttons)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        parts.fill(column, (self.tools, self.view, self.hint, self.chart))
        column.setStretch(1, 1)

    def show_picture(self, picture: Picture | None, name: str = "") -> None:
        """Show a picture without any lines, or nothing."""
        self.name.setText(name)
        self.tools.suit_again()
        self.view.set_picture(*((None,) if picture is None else (picture.pixels, picture.bit_depth)))
        self.show_lines(None)

    def show_lines(self, fit: RulingFit | None, points: np.ndarray | None = None) -> None:
        """Show the lines of a fit and the points marked by hand."""
        self._fit = fit
        self._points = np.zeros((0, 2)) if points is None else points
        self.view.set_scale(fit.scale.um_per_px if fit is not None else None)
        self.chart.set_fit(fit if fit is not None and len(fit.index) > 2 else None)
        self._draw()

    def switch_lines(self, shown: bool) -> None:
        """Hide the lines to see the picture alone, or show them again."""
        self._lines_shown = shown
        self._draw()

    def take(self, which: str) -> None:
        """Take a tool in hand: "click", "drag", or "" for none."""
        tool = {"click": self.click, "drag": self.drag}.get(which)
        self.view.set_tool(tool)
        self.hint.setText(tool.hint if tool is not None else "")
        self.hint.setVisible(tool is not None)

    def _draw(self) -> None:
        if not self._lines_shown:
            self.view.set_marks(None)
            return
        fit, labels = self._fit, []
        lines = np.zeros((0, 4))
        if fit is not None and not len(self._points):
            lines = fit.lines
            labels = [(*line[:2], "not used") for line in fit.left_out[:6]]
        if fit is not None:
            labels += self._end_words(fit)
        self.view.set_marks(Marks(lines=lines, points=self._points, labels=tuple(labels)))

    def _end_words(self, fit: RulingFit) -> list[tuple[float, float, str]]:
        """Name the first and the last line by their place on the ruling."""
        words = []
        for k in (0, len(fit.index) - 1):
            place = line_places_um(fit)[k]
            x, y = (fit.lines[k, :2] + fit.lines[k, 2:]) / 2 if len(self._points) else fit.lines[k, 2:]
            words.append((float(x), float(y), f"{number_text.number(float(place), 4)} µm"))
        return words

    def _show_line(self, at: int) -> None:
        if self._fit is not None:
            x0, y0, x1, y1 = self._fit.lines[at]
            box = QRectF(QPointF(x0, y0), QPointF(x1, y1)).normalized()
            self.view.show_place(box.center().x(), box.center().y(), max(self.view.zoom, 2.0))


def _xy(at: QPointF) -> tuple[float, float]:
    return at.x(), at.y()
