"""Tools that change outlines: a line to cut along, an outline to draw, a brush to add or take away."""

import itertools
from collections.abc import Callable

import numpy as np
from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QColor, QPainter, QPen

from app.canvas.outline_item import polygon
from app.canvas.style import cosmetic_pen
from app.canvas.tool import Modifiers, Tool
from app.canvas.tool_view import ToolView

_EVERY_PX = 2.0  # screen px between two points of a stroke
_SHAKE_PX = 3.0  # screen px a hand may stray from a line that is meant to be straight
_CLOSE_PX = 9.0  # screen px from the first corner that close an outline
_INK, _CASING = QColor("#b0125f"), QColor(255, 255, 255, 200)
_ADD, _TAKE = QColor(47, 195, 176, 90), QColor(176, 18, 95, 90)


class _Stroke:
    """Places gathered while the button is held, thinned to what one can see."""

    def __init__(self) -> None:
        self.points: list[QPointF] = []

    def begin(self, at: QPointF) -> None:
        self.points = [at]

    def follow(self, at: QPointF, zoom: float, *, last: bool = False) -> None:
        way = (at - self.points[-1]).manhattanLength()
        if way * zoom >= _EVERY_PX or (last and way > 0):
            self.points.append(at)

    def end(self, at: QPointF, zoom: float) -> list[QPointF]:
        """Take the last place and hand all over; nothing where nothing was begun."""
        if self.points:
            self.follow(at, zoom, last=True)
        points, self.points = self.points, []
        return points


class LineTool(Tool):
    """Draw a line across something: hold and pull.

    Parameters
    ----------
    done : callable
        ``done(line, exact)`` with a (Q, 2) array of picture px, and whether Shift asked for just that line.
    """

    name = "cut"
    hint = "Pull a line across the neck between two pieces; it snaps to the neck. Shift cuts just there."

    def __init__(self, done: Callable[[np.ndarray, bool], None]) -> None:
        self._done = done
        self._stroke = _Stroke()

    def press(self, view: ToolView, at: QPointF, modifiers: Modifiers) -> None:
        """Begin the line."""
        self._stroke.begin(at)

    def move(self, view: ToolView, at: QPointF, held: bool) -> None:
        """Follow the pointer."""
        if held and self._stroke.points:
            self._stroke.follow(at, view.zoom)

    def release(self, view: ToolView, at: QPointF, modifiers: Modifiers) -> None:
        """Hand the line over."""
        points = self._stroke.end(at, view.zoom)
        if len(points) > 1:
            exact = bool(modifiers & Modifiers.ShiftModifier)
            self._done(_straightened(as_array(points), _SHAKE_PX / view.zoom), exact)

    def cancel(self) -> bool:
        """Drop the line."""
        had, self._stroke.points = bool(self._stroke.points), []
        return had

    def paint(self, painter: QPainter, view: ToolView) -> None:
        """Draw the line."""
        _paint_way(painter, [view.to_view(at) for at in self._stroke.points])


class DrawTool(Tool):
    """Draw an outline: pull freely all the way round, or click corner by corner.

    Parameters
    ----------
    done : callable
        ``done(outline)`` with a (P, 2) array of picture px.
    """

    name = "draw"
    hint = (
        "Pull all the way round, or click corners: Return closes, Backspace takes one back, Escape drops all."
    )

    def __init__(self, done: Callable[[np.ndarray], None]) -> None:
        self._done = done
        self._stroke = _Stroke()
        self._corners: list[QPointF] = []
        self._pointer: QPointF | None = None

    def press(self, view: ToolView, at: QPointF, modifiers: Modifiers) -> None:
        """Begin a stroke or set a corner."""
        self._stroke.begin(at)

    def move(self, view: ToolView, at: QPointF, held: bool) -> None:
        """Follow the pointer."""
        self._pointer = at
        if held and self._stroke.points:
            self._stroke.follow(at, view.zoom)

    def release(self, view: ToolView, at: QPointF, modifiers: Modifiers) -> None:
        """Keep the stroke or the corner; close when it comes round."""
        points = self._stroke.end(at, view.zoom)
        if not points:
            return
        pulled = _length(points) * view.zoom > 2 * _CLOSE_PX
        if pulled and not self._corners:
            self._finish(points)
        elif self._corners and _distance(at, self._corners[0]) * view.zoom <= _CLOSE_PX:
            self._finish(self._corners)
        else:
            self._corners += points if pulled else [at]

    def double(self, view: ToolView, at: QPointF) -> None:
        """Close the outline; the first click of the two has set its last corner."""
        self._finish(self._corners)

    def key(self, view: ToolView, key: int) -> bool:
        """Close by Return from three corners on; Backspace takes a corner back."""
        if key in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and len(self._corners) >= 3 and not view.by_key:
            self._finish(self._corners)
        elif key == Qt.Key.Key_Backspace and self._corners:
            self._corners.pop()
        else:
            return False
        return True

    def cancel(self) -> bool:
        """Drop the outline."""
        had = bool(self._corners or self._stroke.points)
        self._corners, self._stroke.points = [], []
        return had

    def paint(self, painter: QPainter, view: ToolView) -> None:
        """Draw what there is, and where it would go on."""
        way = [view.to_view(at) for at in (*self._corners, *self._stroke.points)]
        if self._corners and not self._stroke.points and self._pointer is not None:
            way.append(view.to_view(self._pointer))
        _paint_way(painter, way)
        for corner in self._corners:
            painter.drawEllipse(view.to_view(corner), 3, 3)

    def _finish(self, points: list[QPointF]) -> None:
        self._corners, self._stroke.points = [], []
        if len(points) >= 3:
            self._done(as_array(points))


class BrushTool(Tool):
    """Sweep a round brush over the edge of a piece to add to it or take from it.

    Parameters
    ----------
    done : callable
        ``done(stroke, radius_px, add)`` with a (Q, 2) array of picture px.
    add : bool
        Add, or take away.
    radius_px : float
        Radius of the brush, picture px.
    """

    cursor = Qt.CursorShape.BlankCursor

    def __init__(
        self, done: Callable[[np.ndarray, float, bool], None], *, add: bool, radius_px: float = 6.0
    ) -> None:
        self._done, self._add, self.radius_px = done, add, radius_px
        self.name = "add" if add else "take"
        verb = "add to" if add else "take from"
        self.hint = f"Sweep over the edge to {verb} the chosen piece. Comma and full stop change the brush."
        self._stroke = _Stroke()
        self._pointer: QPointF | None = None

    def press(self, view: ToolView, at: QPointF, modifiers: Modifiers) -> None:
        """Begin to sweep."""
        self._stroke.begin(at)
        self._pointer = at

    def move(self, view: ToolView, at: QPointF, held: bool) -> None:
        """Sweep, or only show the brush."""
        self._pointer = at
        if held and self._stroke.points:
            self._stroke.follow(at, view.zoom)

    def release(self, view: ToolView, at: QPointF, modifiers: Modifiers) -> None:
        """Hand the sweep over."""
        points = self._stroke.end(at, view.zoom)
        if not points:
            return
        self._done(as_array(points), self.radius_px, self._add)

    def key(self, view: ToolView, key: int) -> bool:
        """Comma makes the brush smaller, full stop larger."""
        if key == Qt.Key.Key_Comma:
            self.radius_px = max(0.5, self.radius_px / 1.25)
        elif key == Qt.Key.Key_Period:
            self.radius_px = min(400.0, self.radius_px * 1.25)
        else:
            return False
        return True

    def cancel(self) -> bool:
        """Drop the sweep."""
        had, self._stroke.points = bool(self._stroke.points), []
        return had

    def paint(self, painter: QPainter, view: ToolView) -> None:
        """Draw the sweep and the brush."""
        colour, radius = (_ADD if self._add else _TAKE), self.radius_px * view.zoom
        way = [view.to_view(at) for at in self._stroke.points]
        if way:
            pen = QPen(colour, 2 * radius, Qt.PenStyle.SolidLine, Qt.PenCapStyle.RoundCap)
            pen.setJoinStyle(Qt.PenJoinStyle.RoundJoin)
            painter.setPen(pen)
            painter.drawPolyline(way if len(way) > 1 else [way[0], way[0] + QPointF(0.1, 0)])
        if self._pointer is not None:
            for pen in (cosmetic_pen(_CASING, 3.5), cosmetic_pen(_INK, 1.5)):
                painter.setPen(pen)
                painter.drawEllipse(view.to_view(self._pointer), radius, radius)


def as_array(points: list[QPointF]) -> np.ndarray:
    """Return places as a (Q, 2) array."""
    return np.array([(at.x(), at.y()) for at in points], dtype=float)


def _straightened(line: np.ndarray, shake_px: float) -> np.ndarray:
    """Return only the ends of a line meant to be straight, so that a cut along it can snap to the neck."""
    along = line[-1] - line[0]
    length = float(np.hypot(*along))
    if length == 0.0:
        return line
    rest = line - line[0]
    off = np.abs(rest[:, 0] * along[1] - rest[:, 1] * along[0]) / length
    return line[[0, -1]] if off.max() <= shake_px else line


def _length(points: list[QPointF]) -> float:
    return sum(_distance(a, b) for a, b in itertools.pairwise(points))


def _distance(a: QPointF, b: QPointF) -> float:
    return float(np.hypot(a.x() - b.x(), a.y() - b.y()))


def _paint_way(painter: QPainter, way: list[QPointF]) -> None:
    if len(way) < 2:
        return
    shape = polygon(as_array(way))
    for pen in (cosmetic_pen(_CASING, 4), cosmetic_pen(_INK, 1.8)):
        painter.setPen(pen)
        painter.drawPolyline(shape)
