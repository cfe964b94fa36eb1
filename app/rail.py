"""The rail: the stations from left to right of the work, each with its state in words."""

from PySide6.QtCore import QRectF, QSize, Qt, Signal
from PySide6.QtGui import QFontMetrics, QPainter, QPaintEvent
from PySide6.QtWidgets import QAbstractButton, QButtonGroup, QSizePolicy, QVBoxLayout, QWidget

from app import icons, theme

MARK = 18
ICON = 22


class StationButton(QAbstractButton):
    """One station in the rail: icon, word, state in words, and a mark when it is done."""

    def __init__(self, name: str, title: str, tip: str, key: str) -> None:
        super().__init__()
        self.name = name
        self.setText(title)
        self.setCheckable(True)
        self.setToolTip(f"{tip}  ({key})" if key else tip)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setAttribute(Qt.WidgetAttribute.WA_Hover)
        self.done, self.words = False, ""
        self.show_state(False, "")

    def show_state(self, done: bool, words: str) -> None:
        """Show whether the step is done and its state in words."""
        self.done, self.words = done, words
        state = f"{'done' if done else 'not done'}{', ' + words if words else ''}"
        self.setAccessibleName(f"{self.text()}, {state}")
        self.updateGeometry()
        self.update()

    def sizeHint(self) -> QSize:
        """Return room for the word and two lines of state."""
        small = QFontMetrics(theme.font("small"))
        head = QFontMetrics(theme.font("body", bold=True))
        height = head.height() + 2 * small.lineSpacing() + 2 * theme.SMALL + 2
        words = max(18 * head.averageCharWidth(), head.horizontalAdvance(self.text()) + MARK + theme.MEDIUM)
        return QSize(words + ICON + 2 * theme.MEDIUM + theme.SMALL, height)

    def minimumSizeHint(self) -> QSize:  # noqa: N802 - Qt's name
        """Return the same: the words are the point of the rail."""
        return self.sizeHint()

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Paint it by hand: two type sizes and a mark do not fit into a usual button."""
        palette = theme.current()
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        self._paint_ground(painter, palette)
        left, top = theme.MEDIUM, theme.SMALL
        ink = palette.colour("accent" if self.isChecked() else "ink")
        icons.paint(painter, self.name, QRectF(left, top, ICON, ICON), ink)
        text_left = left + ICON + theme.SMALL
        width = self.width() - text_left - theme.SMALL
        painter.setFont(theme.font("body", bold=True))
        head = painter.fontMetrics().height()
        painter.setPen(palette.colour("ink"))
        painter.drawText(QRectF(text_left, top, width, head), Qt.AlignmentFlag.AlignVCenter, self.text())
        if self.done:
            mark = QRectF(self.width() - MARK - theme.SMALL, top + (head - MARK) / 2, MARK, MARK)
            icons.paint(painter, "done", mark, palette.colour("done"))
        painter.setFont(theme.font("small"))
        painter.setPen(palette.colour("soft_ink"))
        rest = QRectF(text_left, top + head + 1, width, self.height() - top - head)
        painter.drawText(rest, Qt.TextFlag.TextWordWrap, self.words)

    def _paint_ground(self, painter: QPainter, palette: theme.Palette) -> None:
        box = QRectF(self.rect()).adjusted(4, 2, -4, -2)
        painter.setPen(Qt.PenStyle.NoPen)
        if self.isChecked():
            painter.setBrush(palette.colour("accent_soft"))
            painter.drawRoundedRect(box, theme.RADIUS, theme.RADIUS)
            painter.setBrush(palette.colour("accent"))
            painter.drawRoundedRect(QRectF(4, box.top() + 6, 3, box.height() - 12), 1.5, 1.5)
        elif self.underMouse():
            painter.setBrush(palette.colour("raised"))
            painter.drawRoundedRect(box, theme.RADIUS, theme.RADIUS)
        if self.hasFocus():
            pen = painter.pen()
            pen.setStyle(Qt.PenStyle.SolidLine)
            pen.setColor(palette.colour("accent"))
            pen.setWidthF(2.0)
            painter.setPen(pen)
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRoundedRect(box.adjusted(1, 1, -1, -1), theme.RADIUS, theme.RADIUS)


class Rail(QWidget):
    """The column of stations.

    Signals
    -------
    chosen(str)
        The user chose the station of that name.
    """

    chosen = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setProperty("look", "rail")
        self.setAttribute(Qt.WidgetAttribute.WA_StyledBackground)
        self.setAccessibleName("Stations")
        self._group = QButtonGroup(self)
        self._group.setExclusive(True)
        self.buttons: dict[str, StationButton] = {}
        self._column = QVBoxLayout(self)
        self._column.setContentsMargins(0, theme.SMALL, 0, theme.SMALL)
        self._column.setSpacing(2)
        self._column.addStretch(1)

    def add_station(self, name: str, title: str, tip: str, key: str = "") -> StationButton:
        """Add a station below the ones that are there."""
        button = StationButton(name, title, tip, key)
        button.clicked.connect(lambda: self.chosen.emit(name))
        self.buttons[name] = button
        self._group.addButton(button)
        self._column.insertWidget(len(self.buttons) - 1, button)
        return button

    def add_foot(self, widget: QWidget) -> None:
        """Put a widget at the foot."""
        self._column.addWidget(widget)

    def show_current(self, name: str) -> None:
        """Mark the station in view."""
        self.buttons[name].setChecked(True)
