"""What fields look like that measure well: the same place of a field after passes 1, 3 and 6."""

from PySide6.QtCore import QRect, Qt
from PySide6.QtGui import QImage, QImageReader, QPixmap
from PySide6.QtWidgets import QLabel, QWidget

from app import parts, theme
from app.samples import sample_pictures

WIDTH_PX, HEIGHT_PX = 920, 520  # of the picture; 600 µm by 340 µm at the scale of the samples
_PASSES = (1, 3, 6)
_WHY = (
    "Coarse: few pieces in a field, so take many fields.",
    "Pieces lie apart, their edges are sharp, the light is even.",
    "Fine: a field holds many pieces; a few fields will do.",
)


class SampleStrip(QWidget):
    """Three pieces of drawn sample fields with words; empty where the sample pictures are missing."""

    def __init__(self) -> None:
        super().__init__()
        self._shown = False
        made = self._line = parts.row(spacing=theme.MEDIUM)
        self.pictures = tuple(QLabel() for _ in _PASSES)
        for at, (picture, number, why) in enumerate(zip(self.pictures, _PASSES, _WHY, strict=True)):
            picture.setAccessibleName(f"Drawn field after pass {number}")
            words = parts.label(f"{why} Drawn, 600 µm wide.", "soft", wrap=True)
            made.addWidget(parts.card(picture, words, heading=f"After pass {number}"))
            made.setStretch(at, 1)
        self.setLayout(made)

    def fill(self) -> bool:
        """Read the pictures, once; False where one is missing."""
        if not self._shown:
            self._shown = True
            for picture, number in zip(self.pictures, _PASSES, strict=True):
                picture.setPixmap(_middle(number))
        return not any(picture.pixmap().isNull() for picture in self.pictures)

    def room_px(self) -> int:
        """Return the height it takes."""
        return self._line.totalHeightForWidth(1040)


def _middle(number: int) -> QPixmap:
    """Return the middle of a sample field, as wide as a card."""
    reader = QImageReader(str(sample_pictures() / f"pass-{number}" / "field-1.jpg"))
    size = reader.size()
    left, top = (size.width() - WIDTH_PX) // 2, (size.height() - HEIGHT_PX) // 2
    reader.setClipRect(QRect(left, top, WIDTH_PX, HEIGHT_PX))
    image = reader.read()
    if image.isNull():
        return QPixmap()
    return QPixmap.fromImage(_small(image))


def _small(image: QImage) -> QImage:
    return image.scaledToWidth(312, Qt.TransformationMode.SmoothTransformation)
