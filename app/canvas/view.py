"""The picture view every station shares: picture, outlines, marks, proposals, tools, loupe and scale bar.

All coordinates in and out are picture px; the corner of the first pixel is 0, 0.
"""

from collections.abc import Iterable, Sequence

import numpy as np
from PySide6.QtCore import QPointF, QRect, QRectF, Qt
from PySide6.QtGui import QImage, QPainter, QResizeEvent
from PySide6.QtWidgets import QWidget

from app import theme
from app.canvas.badge import paint_badge
from app.canvas.loupe import Loupe
from app.canvas.marks_item import Marks, MarksItem
from app.canvas.outline_item import OutlineItem, polygon
from app.canvas.picture_item import PictureItem
from app.canvas.scale_bar import paint_scale_bar
from app.canvas.style import PREVIEW, cosmetic_pen, doubtful, group_of, group_style
from app.canvas.tool_view import ToolView
from measure.particles import Particles

_SLACK_PX = 4  # screen px beside a small piece that still hit it


class PictureView(ToolView):
    """Shows one picture and what was found on it; signals are those of `ToolView` and `ZoomView`."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAccessibleName("Picture")
        self._picture = PictureItem()
        self._outlines = OutlineItem(group_style)
        self._outlines.set_badge(paint_badge)
        self._proposed = OutlineItem(group_style)
        self._marks = MarksItem()
        for height, item in enumerate((self._picture, self._outlines, self._proposed, self._marks)):
            item.setZValue(height)
            self.scene().addItem(item)
        self._loupe = Loupe(self)
        self._loupe_on = False
        self._um_per_px: float | None = None
        self._empty_text = ""
        self.hovered.connect(self._outlines.set_pointed)
        self.pointed.connect(self._magnify)

    # -- what is shown ------------------------------------------------------------------------

    def set_picture(self, pixels: np.ndarray | None, bit_depth: int = 8) -> None:
        """Show a (M, N, 3) RGB picture of uint8 or uint16, or nothing; outlines and marks are cleared."""
        self._picture.set_pixels(pixels, bit_depth)
        rows, columns = (0, 0) if pixels is None else pixels.shape[:2]
        for item in (self._outlines, self._proposed):
            item.set_size(rows, columns)
        rect = QRectF(0, 0, columns, rows)
        self._marks.set_rect(rect)
        self._marks.set_marks(Marks())
        self._marks.set_zones([])
        self.set_rect(rect)
        self.viewport().update()

    def set_empty_text(self, text: str) -> None:
        """Say what to do, in the middle of the view, while there is no picture."""
        self._empty_text = text
        self.viewport().update()

    @property
    def image(self) -> QImage | None:
        """The picture at full size, as shown."""
        return self._picture.full

    def set_particles(
        self,
        particles: Particles,
        shown: np.ndarray | None = None,
        counted: np.ndarray | None = None,
        beyond: np.ndarray | None = None,
    ) -> None:
        """Show outlines by kind and state; only what changed since the last call is drawn again.

        Parameters
        ----------
        particles : Particles
            All particles of the field.
        shown : (K,) ndarray of bool, optional
            Which to show; all by default.
        counted : (K,) ndarray of bool, optional
            Which are in the size figures; those whose flags allow it by default.
        beyond : (K,) ndarray of bool, optional
            Which cannot be counted whatever they are; no doubt is marked on these.
        """
        group = group_of(particles, counted)
        if shown is not None:
            group = np.where(shown, group, -1)
        self._outlines.set_outlines(
            particles["label"],
            particles.outlines,
            group,
            finger=np.column_stack([particles[n] for n in ("centre_x_px", "centre_y_px", "area_px2")]),
            doubtful=doubtful(particles) if beyond is None else doubtful(particles) & ~beyond,
        )

    def set_outlines_visible(self, visible: bool) -> None:
        """Hide the outlines to see the picture alone, or show them again."""
        self._outlines.setVisible(visible)

    def set_chosen(self, labels: Iterable[int]) -> None:
        """Light up the chosen pieces."""
        self._outlines.set_chosen(labels)

    def set_lit(self, labels: Iterable[int]) -> None:
        """Mark the pieces a chart points at."""
        self._outlines.set_lit(labels)

    def set_pointed(self, label: int) -> None:
        """Light up one piece as if the pointer were on it; 0 for none."""
        self._outlines.set_pointed(label)

    def set_preview(self, outlines: Sequence[np.ndarray]) -> None:
        """Show proposed outlines; an empty sequence clears them."""
        self._proposed.set_outlines(
            np.arange(1, len(outlines) + 1), outlines, np.full(len(outlines), PREVIEW), finger=None
        )

    def set_marks(self, marks: Marks | None) -> None:
        """Show lines, points and words over the picture; None clears them."""
        self._marks.set_marks(marks or Marks())

    def set_zones(self, zones: Sequence[np.ndarray]) -> None:
        """Show excluded zones, polygons of (K, 2) px, shaded."""
        self._marks.set_zones([polygon(np.asarray(zone)) for zone in zones])

    def set_scale(self, um_per_px: float | None) -> None:
        """Show a scale bar; None hides it."""
        self._um_per_px = um_per_px
        self.viewport().update()

    def set_loupe(self, on: bool) -> None:
        """Show a magnifier about the pointer."""
        self._loupe_on = on
        self._loupe.look(None, 0, 0)

    # -- where things are ---------------------------------------------------------------------

    def label_at(self, x_px: float, y_px: float) -> int:
        """Return the number of the piece at a place; 0 for none."""
        return self._outlines.label_at(x_px, y_px, _SLACK_PX / self.zoom)

    def labels_in(self, rect: QRectF) -> list[int]:
        """Return the numbers of the pieces that lie wholly inside a rectangle."""
        return self._outlines.labels_in(rect)

    def labels_crossed(self, line: np.ndarray) -> list[int]:
        """Return the numbers of the pieces a line runs through, longest inside first."""
        return self._outlines.labels_crossed(line)

    def show_piece(self, label: int) -> bool:
        """Bring a piece to the middle at a size one can judge; return whether it is there."""
        box = self._outlines.box_of(label)
        if box is not None:
            self.show_box(box)
        return box is not None

    def reveal(self, label: int) -> None:
        """Bring a piece into view without changing the zoom, if it is not in view already."""
        box = self._outlines.box_of(label)
        if box is None:
            return
        seen = QRectF(self.viewport().rect()).adjusted(20, 20, -20, -20)
        if not seen.contains(self.viewportTransform().mapRect(box).center()):
            self.show_place(box.center().x(), box.center().y())

    def _magnify(self, x_px: float, y_px: float) -> None:
        if not self._loupe_on:
            return
        if x_px != x_px:
            self._loupe.look(None, 0, 0)
            return
        self._loupe.put_away_from(self.to_view(QPointF(x_px, y_px)))
        self._loupe.look(self.image, x_px, y_px)

    # -- drawing ------------------------------------------------------------------------------

    def drawBackground(self, painter: QPainter, rect: QRectF | QRect) -> None:  # noqa: N802 - Qt's name
        """Qt: the room around the picture."""
        painter.fillRect(rect, theme.current().colour("picture"))

    def drawForeground(self, painter: QPainter, rect: QRectF | QRect) -> None:  # noqa: N802 - Qt's name
        """Qt: tool, scale bar and words, in view px."""
        painter.save()
        painter.resetTransform()
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, True)
        view = QRectF(self.viewport().rect())
        if self.image is None:
            painter.setPen(theme.current().colour("soft_ink"))
            painter.setFont(theme.font("heading"))
            words = view.adjusted(40, 40, -40, -40)
            painter.drawText(words, Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap, self._empty_text)
        else:
            self.paint_pointer(painter)
            if self._um_per_px:
                paint_scale_bar(painter, view, self._um_per_px / self.zoom, theme.font("body", bold=True))
        if self.hasFocus():
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.setPen(cosmetic_pen(theme.current().colour("accent"), 1.5))
            painter.drawRect(view.adjusted(0.75, 0.75, -0.75, -0.75))
        painter.restore()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Qt: keep the loupe in its corner."""
        super().resizeEvent(event)
        self._loupe.put_away_from(QPointF(0, 0))
