"""The rail: the stations from left to right of the work, each with its state in words."""

import re

from PySide6.QtCore import QRectF, QSize, Qt, Signal
from PySide6.QtGui import QColor, QFontMetrics, QPainter, QPaintEvent
from PySide6.QtWidgets import QAbstractButton, QButtonGroup, QSizePolicy, QVBoxLayout, QWidget

from app import icons, theme

MARK = 18
ICON = 22
WIDEST_SHARE = 0.16  # of the window's width; a rail that needs more is narrow, its states in short
_NARROW_CHARACTERS = 12  # of a state in a line of the narrow rail
_STATE_LINES = 2


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
        self._tip, self.compact = self.toolTip(), False
        self.show_state(False, "")

    def show_state(self, done: bool, words: str) -> None:
        """Show whether the step is done and its state in words."""
        self.done, self.words = done, words
        state = f"{'done' if done else 'not done'}{', ' + words if words else ''}"
        self.setAccessibleName(f"{self.text()}, {state}")
        self._show_tip()
        self.updateGeometry()
        self.update()

    def set_compact(self, compact: bool) -> None:
        """Show the icon over the name and the state in short, or all of it beside the icon."""
        if compact != self.compact:
            self.compact = compact
            # the state gives way where the window is low
            policy = QSizePolicy.Policy.Maximum if compact else QSizePolicy.Policy.Fixed
            self.setSizePolicy(QSizePolicy.Policy.Expanding, policy)
            self._show_tip()
            self.updateGeometry()

    def _show_tip(self) -> None:
        state = f"{self.words}\n" if self.compact and self.words else ""
        self.setToolTip(f"{state}{self._tip}")

    def sizeHint(self) -> QSize:
        """Return the room that is wanted as it is shown now."""
        return self._compact_size(_STATE_LINES) if self.compact else self.full_size()

    def _compact_size(self, lines: int) -> QSize:
        name, state = QFontMetrics(theme.font("small", bold=True)), QFontMetrics(theme.font("small"))
        words = max(name.horizontalAdvance(self.text()), _NARROW_CHARACTERS * state.averageCharWidth())
        height = _compact_head(name) + lines * state.height() + theme.SMALL
        return QSize(max(words, ICON + 2 * MARK) + 2 * theme.SMALL, height)

    def full_size(self) -> QSize:
        """Return room for the word and two lines of state."""
        small = QFontMetrics(theme.font("small"))
        head = QFontMetrics(theme.font("body", bold=True))
        height = head.height() + 2 * small.lineSpacing() + 2 * theme.SMALL + 2
        words = max(18 * head.averageCharWidth(), head.horizontalAdvance(self.text()) + MARK + theme.MEDIUM)
        return QSize(words + ICON + 2 * theme.MEDIUM + theme.SMALL, height)

    def minimumSizeHint(self) -> QSize:  # noqa: N802 - Qt's name
        """Return the same: the words are the point of the rail; a narrow one can do without its states."""
        return self._compact_size(0) if self.compact else self.full_size()

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Paint it by hand: two type sizes and a mark do not fit into a usual button."""
        palette = theme.current()
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        self._paint_ground(painter, palette)
        left, top = theme.MEDIUM, theme.SMALL
        ink = palette.colour("accent" if self.isChecked() else "ink")
        if self.compact:
            self._paint_compact(painter, palette, ink)
            return
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

    def _paint_compact(self, painter: QPainter, palette: theme.Palette, ink: QColor) -> None:
        middle, top = self.width() / 2, theme.TIGHT
        icons.paint(painter, self.name, QRectF(middle - ICON / 2, top, ICON, ICON), ink)
        if self.done:
            mark = QRectF(middle + ICON / 2 + 2, top, MARK, MARK)
            icons.paint(painter, "done", mark, palette.colour("done"))
        painter.setFont(theme.font("small", bold=True))
        painter.setPen(palette.colour("ink"))
        words = QRectF(0, top + ICON, self.width(), painter.fontMetrics().height())
        painter.drawText(words, Qt.AlignmentFlag.AlignCenter, self.text())
        self._paint_short_state(painter, palette, _compact_head(painter.fontMetrics()))

    def _paint_short_state(self, painter: QPainter, palette: theme.Palette, top: int) -> None:
        painter.setFont(theme.font("small"))
        painter.setPen(palette.colour("soft_ink"))
        metrics = painter.fontMetrics()
        room = min((self.height() - top) // metrics.height(), _STATE_LINES)
        for place, line in enumerate(lines_of(short_words(self.words), metrics, self.width() - 4, room)):
            box = QRectF(2, top + place * metrics.height(), self.width() - 4, metrics.height())
            painter.drawText(box, Qt.AlignmentFlag.AlignCenter, line)

    def _paint_ground(self, painter: QPainter, palette: theme.Palette) -> None:
        box = QRectF(self.rect()).adjusted(4, 2, -4, -2)
        painter.setPen(Qt.PenStyle.NoPen)
        if self.isChecked():
            painter.setBrush(palette.colour("accent_soft"))
            painter.drawRoundedRect(box, theme.RADIUS, theme.RADIUS)
            painter.setBrush(palette.colour("accent"))
            if not self.compact:  # there its words need the width
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


def short_words(words: str) -> str:
    """Return a state without what stands in brackets, "yet" and "here"; the tip tells all of it.

    Examples
    --------
    >>> short_words("x₅₀ 59 (47 to 109) µm, felt")
    'x₅₀ 59 µm, felt'
    """
    return re.sub(r"\s*\([^)]*\)| yet$| here$", "", words)


def lines_of(words: str, metrics: QFontMetrics, width: int, most: int) -> list[str]:
    """Return words in lines of a width; the last ends in dots where not all fits."""
    lines: list[str] = []
    rest = words.split(" ")  # not at the thin spaces within a number
    while words and rest and len(lines) < most:
        taken = 1
        while taken < len(rest) and metrics.horizontalAdvance(" ".join(rest[: taken + 1])) <= width:
            taken += 1
        last = len(lines) == most - 1
        lines.append(" ".join(rest if last else rest[:taken]))
        rest = [] if last else rest[taken:]
    return [metrics.elidedText(line, Qt.TextElideMode.ElideRight, width) for line in lines]


def _compact_head(name: QFontMetrics) -> int:
    return theme.TIGHT + ICON + name.height()


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

    def suit(self, window_width: int) -> None:
        """Leave the work the width it needs in a window of that width."""
        full = max((button.full_size().width() for button in self.buttons.values()), default=0)
        for button in self.buttons.values():
            button.set_compact(full > WIDEST_SHARE * window_width)

    def add_foot(self, widget: QWidget) -> None:
        """Put a widget at the foot."""
        self._column.addWidget(widget)

    def show_current(self, name: str) -> None:
        """Mark the station in view."""
        self.buttons[name].setChecked(True)
