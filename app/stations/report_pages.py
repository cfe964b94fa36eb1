"""The pages of the report, one below the other, as wide as the window allows."""

from collections.abc import Sequence

from PySide6.QtCore import QRectF, QSize, Qt, Signal
from PySide6.QtGui import QImage, QPainter, QPaintEvent, QPen, QResizeEvent
from PySide6.QtWidgets import QAbstractScrollArea, QWidget

from app import theme

_GAP, _WIDEST = 18, 900


class PageView(QAbstractScrollArea):
    """Shows painted pages; Page Up and Page Down turn them.

    Signals
    -------
    page_shown(int)
        The page in view, counted from 1.
    """

    page_shown = Signal(int)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.pages: tuple[QImage, ...] = ()
        self._page = 0
        self.setFrameShape(QAbstractScrollArea.Shape.NoFrame)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setAccessibleName("Pages of the report")
        self.verticalScrollBar().valueChanged.connect(lambda _value: self._moved())

    @property
    def page(self) -> int:
        """The page in view, counted from 1; 0 without pages."""
        return self._page

    def show_pages(self, pages: Sequence[QImage]) -> None:
        """Show other pages, staying where the eye was."""
        self.pages = tuple(pages)
        self._fit()
        self._moved()
        self.viewport().update()

    def turn(self, step: int) -> None:
        """Go to another page."""
        self.go_to(self._page + step)

    def go_to(self, page: int) -> None:
        """Bring a page, counted from 1, to the top."""
        if self.pages:
            place = min(max(page, 1), len(self.pages)) - 1
            self.verticalScrollBar().setValue(round(self._tops()[place]) - _GAP // 2)

    def _scale(self) -> float:
        wide = min(self.viewport().width() - 2 * _GAP, _WIDEST)
        return max(wide, 100) / self.pages[0].width()

    def _tops(self) -> list[float]:
        scale, at, tops = self._scale(), float(_GAP), []
        for page in self.pages:
            tops.append(at)
            at += page.height() * scale + _GAP
        return [*tops, at]

    def _fit(self) -> None:
        bar = self.verticalScrollBar()
        high = self.viewport().height()
        before = bar.value() / max(bar.maximum(), 1)
        bar.setRange(0, max(0, round(self._tops()[-1]) - high) if self.pages else 0)
        bar.setPageStep(high)
        bar.setSingleStep(60)
        bar.setValue(round(before * bar.maximum()))

    def _moved(self) -> None:
        self.viewport().update()
        page = 0
        if self.pages:
            middle = self.verticalScrollBar().value() + self.viewport().height() / 3
            page = max(sum(top <= middle for top in self._tops()[:-1]), 1)
        if page != self._page:
            self._page = page
            self.page_shown.emit(page)

    def sizeHint(self) -> QSize:
        """Qt: a size at which a page can be read."""
        return QSize(720, 640)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Qt: fit the pages to the new width."""
        self._fit()
        self._moved()

    def paintEvent(self, event: QPaintEvent) -> None:
        """Qt: paint the pages in view."""
        palette = theme.current()
        painter = QPainter(self.viewport())
        painter.fillRect(self.viewport().rect(), palette.colour("raised"))
        painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
        if self.pages:
            self._paint_pages(painter, palette)
        if self.hasFocus():
            painter.setPen(QPen(palette.colour("accent"), 2))
            painter.drawRect(self.viewport().rect().adjusted(1, 1, -1, -1))
        painter.end()

    def _paint_pages(self, painter: QPainter, palette: theme.Palette) -> None:
        scale, offset = self._scale(), self.verticalScrollBar().value()
        for page, top in zip(self.pages, self._tops(), strict=False):
            high, wide = page.height() * scale, page.width() * scale
            rect = QRectF((self.viewport().width() - wide) / 2, top - offset, wide, high)
            if rect.bottom() >= 0 and rect.top() <= self.viewport().height():
                painter.drawImage(rect, page)
                painter.setPen(QPen(palette.colour("edge"), 1))
                painter.drawRect(rect)
