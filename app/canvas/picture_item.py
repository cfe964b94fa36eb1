"""The picture as a scene item that paints from whichever reduced copy suits the zoom."""

import numpy as np
from PySide6.QtCore import QRectF
from PySide6.QtGui import QImage, QPainter
from PySide6.QtWidgets import QGraphicsItem, QStyleOptionGraphicsItem, QWidget

from measure import outlines

_SHARP_ABOVE = 3.0  # screen pixels a picture pixel: from here on pixels are shown as squares


def wrapped(image: np.ndarray, *, opaque: bool) -> QImage:
    """Return a QImage over the memory of a (M, N, 4) uint8 array; the array must outlive it."""
    rows, columns = image.shape[:2]
    layout = QImage.Format.Format_RGB32 if opaque else QImage.Format.Format_ARGB32_Premultiplied
    return QImage(image.data, columns, rows, image.strides[0], layout)


def zoom_of(painter: QPainter) -> float:
    """Screen pixels a picture pixel, the screen's own pixel ratio included."""
    return abs(painter.worldTransform().m11()) * painter.device().devicePixelRatioF()


class PictureItem(QGraphicsItem):
    """A picture with its reduced copies; scene coordinates are picture px, first corner 0, 0."""

    def __init__(self) -> None:
        super().__init__()
        self._levels: list[np.ndarray] = []
        self._images: list[QImage] = []
        self._rect = QRectF()
        self.setFlag(QGraphicsItem.GraphicsItemFlag.ItemUsesExtendedStyleOption)  # for the part in view

    def set_pixels(self, pixels: np.ndarray | None, bit_depth: int = 8) -> None:
        """Show a (M, N, 3) RGB picture of 8 or 16 bit, or nothing."""
        self.prepareGeometryChange()
        self._levels = [] if pixels is None else outlines.levels(outlines.shown_pixels(pixels, bit_depth))
        self._images = [wrapped(level, opaque=True) for level in self._levels]
        rows, columns = (0, 0) if pixels is None else pixels.shape[:2]
        self._rect = QRectF(0, 0, columns, rows)
        self.update()

    @property
    def full(self) -> QImage | None:
        """The picture at full size, for the loupe and for crops."""
        return self._images[0] if self._images else None

    def boundingRect(self) -> QRectF:
        """Qt: the picture's own rectangle."""
        return self._rect

    def paint(
        self, painter: QPainter, option: QStyleOptionGraphicsItem, widget: QWidget | None = None
    ) -> None:
        """Qt: draw the part in view from the smallest copy that still holds the detail."""
        if not self._images:
            return
        zoom = zoom_of(painter)
        level = int(np.clip(np.floor(np.log2(1.0 / max(zoom, 1e-6)) + 0.2), 0, len(self._images) - 1))
        seen = self._rect.intersected(option.exposedRect)
        # whole pixels of the copy, so that panning does not make the picture swim
        image = self._images[level]
        fx, fy = image.width() / self._rect.width(), image.height() / self._rect.height()
        left, top = int(seen.left() * fx), int(seen.top() * fy)
        right = min(image.width(), int(seen.right() * fx) + 2)
        bottom = min(image.height(), int(seen.bottom() * fy) + 2)
        if right <= left or bottom <= top:
            return
        painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform, zoom < _SHARP_ABOVE)
        source = QRectF(left, top, right - left, bottom - top)
        target = QRectF(left / fx, top / fy, source.width() / fx, source.height() / fy)
        painter.drawImage(target, image, source)
