"""Outlines over the picture: exact lines for the pieces in view, drawn-once copies when thousands show."""

import time
from collections.abc import Callable, Iterable, Sequence

import numpy as np
from PySide6.QtCore import QByteArray, QDataStream, QPointF, QRectF, Qt, QTimer
from PySide6.QtGui import QColor, QPainter, QPen, QPolygonF
from PySide6.QtWidgets import QGraphicsItem, QStyleOptionGraphicsItem, QWidget
from shiboken6 import isValid

from app.canvas.badge import Badge, paint_dot
from app.canvas.badge_places import badges_shown
from app.canvas.highlight import FEW, Highlight
from app.canvas.outline_levels import OutlineLevels, OutlineSource
from app.canvas.picture_item import zoom_of
from app.canvas.style import LineStyle, cosmetic_pen, screen_ratio
from measure import outlines

_MOST_EXACT = 1000  # pieces in view; beyond, a drawn-once copy is faster than lines
_MOST_CASED_POINTS = 4000  # points in view; beyond, lines are one screen pixel wide, their halo on one side
_AROUND = ((1.1, 1.1), (-1.1, -1.1), (1.1, -1.1), (-1.1, 1.1))  # screen px: where the halo of a line lies
_HALF = 0.35  # screen px
_MOST_BADGES = 250
_MOST_NEW = 60  # lines made ready within a frame; more are made between frames
_SLICE_S, _LEAST_S = 0.003, 0.001  # of that between two frames
_FRAME_S = 0.013  # that a frame and the slice after it should take at most
_AT_REST_MS = 50  # without a frame, after which what was made ready meanwhile is shown
_MANY_CHANGES = 400  # changed pieces; beyond, the copies are drawn anew
_CHOSEN = QColor(122, 38, 102)  # the plum of the window, far from the colours of kinds and of doubt
_CHOSEN_FILL = QColor(255, 255, 255, 60)
_POINTED_FILL = QColor(255, 255, 255, 45)
_LIT, _LIT_FILL = QColor(255, 207, 74), QColor(255, 207, 74, 110)


def polygon(points: np.ndarray) -> QPolygonF:
    """Turn a (P, 2) array into a Qt polygon (through bytes: thousands a frame must not loop over points)."""
    data = len(points).to_bytes(4, "big") + np.ascontiguousarray(points, dtype=">f8").tobytes()
    stream = QDataStream(QByteArray(data))
    shape = QPolygonF()
    stream >> shape
    return shape


class OutlineItem(QGraphicsItem):
    """Outlines in groups of one style each, with chosen and pointed-at pieces on top.

    Parameters
    ----------
    style : callable
        ``style(group) -> LineStyle``.
    """

    def __init__(self, style: Callable[[int], LineStyle]) -> None:
        super().__init__()
        self.setFlag(QGraphicsItem.GraphicsItemFlag.ItemUsesExtendedStyleOption)  # for the part in view
        self._style = style
        self._labels = np.zeros(0, dtype=int)
        self._finger = np.zeros((0, 3))
        self._levels = OutlineLevels((0, 0))
        self._zoom, self._waiting = 1.0, np.zeros(0, dtype=int)
        self._slice_s = _SLICE_S
        self._ahead = QTimer()  # goes off when nothing else is to be done
        self._ahead.setSingleShot(True)
        self._ahead.timeout.connect(self._draw_ahead)
        self._fresh = QTimer()  # a frame of its own beside those of zooming would hold them up
        self._fresh.setSingleShot(True)
        self._fresh.setInterval(_AT_REST_MS)
        self._fresh.timeout.connect(self._show_fresh)
        self._source = OutlineSource((), np.zeros((0, 4)), np.zeros(0, dtype=int), style)
        self._doubtful = np.zeros(0, dtype=bool)
        self._polygons: dict[tuple[int, int], QPolygonF] = {}
        self._rows: dict[int, int] = {}
        self._chosen = Highlight(_CHOSEN, _CHOSEN_FILL, wide=True)
        self._lit = Highlight(_LIT, _LIT_FILL, wide=False)
        self._pointed = 0
        self._badge: Badge | None = None
        self._dot = paint_dot

    def set_badge(self, draw: Badge | None) -> None:
        """Give the function that draws a letter: ``draw(painter, at (device px), group, doubtful)``."""
        self._badge = draw

    def set_size(self, rows: int, columns: int) -> None:
        """Take the size of the picture; everything drawn is forgotten."""
        self.prepareGeometryChange()
        self._levels = OutlineLevels((rows, columns))
        for marked in (self._chosen, self._lit):
            marked.set_size((rows, columns))
        self.set_outlines(np.zeros(0, dtype=int), (), np.zeros(0, dtype=int))

    def set_outlines(
        self,
        labels: np.ndarray,
        shapes: Sequence[np.ndarray],
        group: np.ndarray,
        *,
        finger: np.ndarray | None = None,
        doubtful: np.ndarray | None = None,
    ) -> None:
        """Show these outlines; pieces that did not change are not drawn again.

        Parameters
        ----------
        labels : (K,) ndarray of int
            Numbers of the pieces.
        shapes : sequence of (P, 2) ndarray
            Outlines in picture px.
        group : (K,) ndarray of int
            What decides the style; -1 hides.
        finger : (K, 3) ndarray, optional
            Figures that change when an outline does (centre, area). Without them all is drawn anew.
        doubtful : (K,) ndarray of bool, optional
            Pieces to mark as doubtful.
        """
        old, old_labels, old_finger = self._source, self._labels, self._finger
        finger = np.full((len(labels), 3), np.nan) if finger is None else finger
        here, there = _same(labels, finger, old_labels, old_finger)
        box = np.empty((len(labels), 4))
        box[here] = old.box[there]
        new = np.setdiff1d(np.arange(len(labels)), here, assume_unique=True)
        box[new] = outlines.bounds([shapes[i] for i in new])
        self._source = OutlineSource(shapes, box, np.asarray(group), self._style)
        self._labels, self._finger = np.asarray(labels), finger
        self._waiting = np.zeros(0, dtype=int)  # rows of before; the next frame tells what it lacks
        self._doubtful = np.zeros(len(labels), dtype=bool) if doubtful is None else doubtful
        self._rows = dict(zip(self._labels.tolist(), range(len(labels)), strict=True))
        gone = np.setdiff1d(np.arange(len(old_labels)), there, assume_unique=True)
        restyled = here[old.group[there] != self._source.group[here]]
        self._forget(old_labels[gone])
        self._redraw(np.vstack([box[new], old.box[gone], box[restyled]]))
        for marked in (self._chosen, self._lit):
            marked.set_labels(self._present(marked.labels.tolist()))

    def set_chosen(self, labels: Iterable[int]) -> None:
        """Light up the chosen pieces."""
        self._chosen.set_labels(self._present(labels))
        self.update()

    def set_lit(self, labels: Iterable[int]) -> None:
        """Mark pieces a chart points at."""
        self._lit.set_labels(self._present(labels))
        self.update()

    def _present(self, labels: Iterable[int]) -> np.ndarray:
        return np.array([label for label in labels if label in self._rows], dtype=int)

    def set_pointed(self, label: int) -> None:
        """Light up the piece under the pointer; 0 for none."""
        if label != self._pointed:
            self._pointed = label
            self.update()

    def label_at(self, x_px: float, y_px: float, slack_px: float = 0.0) -> int:
        """Return the number of the piece a point meets, hidden ones left out; 0 for none."""
        shown = np.where(self._source.group[:, None] >= 0, self._source.box, np.nan)
        row = outlines.at_point(self._source.outlines, shown, x_px, y_px, slack_px)
        return 0 if row < 0 else int(self._labels[row])

    def labels_in(self, rect: QRectF) -> list[int]:
        """Return the numbers of the shown pieces whose box lies inside a rectangle."""
        box = self._source.box
        inside = (box[:, 0] >= rect.left()) & (box[:, 1] >= rect.top())
        inside &= (box[:, 2] <= rect.right()) & (box[:, 3] <= rect.bottom()) & (self._source.group >= 0)
        return self._labels[inside].tolist()

    def labels_crossed(self, line: np.ndarray) -> list[int]:
        """Return the numbers of the shown pieces a line runs through, longest inside first."""
        rows = outlines.crossed(self._source.outlines, self._source.box, line)
        return [int(self._labels[r]) for r in rows if self._source.group[r] >= 0]

    def box_of(self, label: int) -> QRectF | None:
        """Return the bounding box of a piece in picture px."""
        row = self._rows.get(label)
        if row is None:
            return None
        left, top, right, bottom = self._source.box[row]
        return QRectF(left, top, right - left, bottom - top)

    def boundingRect(self) -> QRectF:
        """Qt: the picture's rectangle, a little larger for pieces that meet its edge."""
        rows, columns = self._levels.shape
        return QRectF(-8, -8, columns + 16, rows + 16)

    def paint(
        self, painter: QPainter, option: QStyleOptionGraphicsItem, widget: QWidget | None = None
    ) -> None:
        """Qt: draw outlines, chosen ones on top, letters last."""
        if not len(self._labels):
            return
        zoom, seen, began = zoom_of(painter), option.exposedRect, time.perf_counter()
        self._fresh.stop()
        rows = outlines.meeting(self._source.box, (seen.left(), seen.top(), seen.right(), seen.bottom()))
        rows = rows[self._source.group[rows] >= 0]
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, True)
        many = len(rows) > _MOST_EXACT
        self._zoom, self._waiting = zoom, rows[:0] if many else self._not_ready(rows, zoom)
        if many or (self._levels.any and self._without_lines(self._waiting, zoom) > _MOST_NEW):
            self._levels.paint(painter, zoom, self._source)
        else:
            self._paint_lines(painter, rows, zoom)
        if many or len(self._waiting):
            self._ahead.start(0)
        self._paint_marked(painter, rows, zoom)
        if self._badge is not None and len(rows) <= _MOST_BADGES:
            self._paint_badges(painter, rows, zoom, self._badge)
        left_s = _FRAME_S - (time.perf_counter() - began)
        self._slice_s = min(_SLICE_S, max(_LEAST_S, left_s))

    def _not_ready(self, rows: np.ndarray, zoom: float) -> np.ndarray:
        """Return the rows whose lines are not made for this zoom."""
        octave, made = _octave(zoom), self._polygons
        labels = self._labels[rows].tolist()
        return rows[[(label, octave) not in made for label in labels]] if labels else rows

    def _without_lines(self, rows: np.ndarray, zoom: float) -> int:
        return sum(self._at_hand(row, zoom) is None for row in rows.tolist())

    def _draw_ahead(self) -> None:
        """Make ready a part of what the next frames need: lines of pieces in view, then the copies."""
        if not isValid(self):  # the view was closed meanwhile
            return
        end = time.perf_counter() + self._slice_s
        rough = len(self._waiting) > 0, self._levels.drawn(self._zoom)
        while len(self._waiting) and time.perf_counter() < end:
            self._polygon(int(self._waiting[0]), self._zoom)
            self._waiting = self._waiting[1:]
        more = len(self._waiting) > 0
        if self._levels.any and time.perf_counter() < end:
            more = self._levels.draw_ahead(self._zoom, self._source, end) or more
        elif self._levels.any:
            more = True
        if more:
            self._ahead.start(0)
        if rough != (len(self._waiting) > 0, self._levels.drawn(self._zoom)):
            self._fresh.start()

    def _show_fresh(self) -> None:
        if isValid(self):
            self.update()

    def _paint_lines(self, painter: QPainter, rows: np.ndarray, zoom: float) -> None:
        shapes = [self._at_hand(row, zoom) or self._polygon(row, zoom) for row in rows.tolist()]
        ratio = screen_ratio()
        # a line wider than one pixel of the screen, as fine screens need, takes five times as long
        cased = sum(shape.count() for shape in shapes) * ratio**2 <= _MOST_CASED_POINTS
        pixel, width = ratio / zoom, 1.0 if cased else 1.0 / ratio
        group = self._source.group[rows]
        for value in np.unique(group):
            style = self._style(int(value))
            members = [shapes[i] for i in np.flatnonzero(group == value)]
            # fine lines side by side look like a cased wide one and cost a fifth of it
            casing = cosmetic_pen(style.casing, width)
            for dx, dy in _AROUND if cased else _AROUND[:1]:
                _draw_beside(painter, members, casing, dx * pixel, dy * pixel)
            for shift_px in (-_HALF, _HALF) if cased else (0.0,):
                _draw_beside(painter, members, style.pen(width), shift_px * pixel, shift_px * pixel)

    def _paint_marked(self, painter: QPainter, rows: np.ndarray, zoom: float) -> None:
        for marked in (self._lit, self._chosen):
            marked.paint(painter, zoom, self._source, self._labels, rows, self._polygon)
        chosen = self._chosen.rows_among(rows, self._labels)
        if 0 < len(chosen) <= FEW:
            self._paint_lines(painter, chosen, zoom)
        row = self._rows.get(self._pointed)
        if row is not None and self._source.group[row] >= 0:
            painter.setBrush(_POINTED_FILL)
            painter.setPen(cosmetic_pen(_CHOSEN, 1.4))
            painter.drawPolygon(self._polygon(row, zoom))
        painter.setBrush(Qt.BrushStyle.NoBrush)

    def _paint_badges(self, painter: QPainter, rows: np.ndarray, zoom: float, badge: Badge) -> None:
        transform = painter.worldTransform()
        row = self._rows.get(self._pointed, -1)
        chosen = self._chosen.rows_among(rows, self._labels)
        first = np.append(chosen if len(chosen) <= FEW else chosen[:0], row)
        box = self._source.box[rows] * zoom
        whole, dots = badges_shown(box, self._doubtful[rows], np.isin(rows, first))
        painter.save()
        painter.resetTransform()
        for shown, draw in ((dots, self._dot), (whole, badge)):
            for row in rows[shown]:
                left, top, right, _ = self._source.box[row]
                at = transform.map(QPointF((left + right) / 2, top))
                draw(painter, at, int(self._source.group[row]), bool(self._doubtful[row]))
        painter.restore()

    def _polygon(self, row: int, zoom: float) -> QPolygonF:
        octave = _octave(zoom)
        key = (int(self._labels[row]), octave)
        shape = self._polygons.get(key)
        if shape is None:
            shape = polygon(outlines.simplified(self._source.outlines[row], 0.3 * 0.5**octave))
            self._polygons[key] = shape
        return shape

    def _at_hand(self, row: int, zoom: float) -> QPolygonF | None:
        """Return the lines of a piece, or those made for a zoom of up to twice or half as much."""
        label, octave = int(self._labels[row]), _octave(zoom)
        for near in (octave, octave + 1, octave - 1):
            shape = self._polygons.get((label, near))
            if shape is not None:
                return shape
        return None

    def _forget(self, labels: np.ndarray) -> None:
        if len(labels) > _MANY_CHANGES:
            self._polygons.clear()
            return
        for label in labels.tolist():
            for octave in range(-4, 4):
                self._polygons.pop((label, octave), None)

    def _redraw(self, boxes: np.ndarray) -> None:
        if len(boxes) > _MANY_CHANGES:
            self._levels.clear()
        else:
            self._levels.redraw(boxes, self._source)
        self.update()


def _octave(zoom: float) -> int:
    return int(np.clip(np.floor(np.log2(max(zoom, 1e-3))), -4, 3))


def _draw_beside(
    painter: QPainter, shapes: list[QPolygonF], pen: QPen, right_px: float, down_px: float
) -> None:
    painter.setPen(pen)
    painter.translate(right_px, down_px)
    for shape in shapes:
        painter.drawPolygon(shape)
    painter.translate(-right_px, -down_px)


def _same(
    labels: np.ndarray, finger: np.ndarray, old_labels: np.ndarray, old_finger: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Return the rows, new and old, of the pieces whose outline is as it was."""
    _, here, there = np.intersect1d(labels, old_labels, assume_unique=True, return_indices=True)
    kept = (finger[here] == old_finger[there]).all(axis=1)
    return here[kept], there[kept]
