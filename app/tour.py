"""A guided tour of the window: small cards that point at things; everything else stays usable meanwhile."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from PySide6.QtCore import QPoint, QRect, QRectF, Qt
from PySide6.QtGui import QKeyEvent, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QFrame, QVBoxLayout, QWidget

from app import parts, preferences, theme

if TYPE_CHECKING:
    from app.window import Window

_WIDTH, _GAP = 340, 10
TAKEN = "tour.taken"  # in the preferences


@dataclass(frozen=True)
class Stop:
    """One stop: the station, what to point at in it (attributes joined by points), and what to say."""

    station: str
    points_at: str
    title: str
    text: str


STOPS: tuple[Stop, ...] = (
    Stop(
        "scale",
        "picture",
        "A pixel becomes micrometres",
        "This is a picture of a stage micrometer: a glass ruler with a line every 10 µm. Gritline found its "
        "lines, drawn in colour, and fitted the scale through all of them.",
    ),
    Stop(
        "scale",
        "result",
        "How sure the scale is",
        "The number after ± is the doubt about it. More pieces never make that smaller, so do this with "
        "care, once for each zoom.",
    ),
    Stop(
        "fields",
        "list",
        "Fields, by batch",
        "One heading for each grind, and below it the pictures of its smears. Here a hazelnut spread after "
        "1, 3 and 6 passes. Your own pictures can be dropped here, a folder for each batch.",
    ),
    Stop(
        "fields",
        "picture",
        "What was found",
        "Blue and unbroken is kernel, orange and dashed is skin, green and dotted is salt. Bubbles, drops "
        "and fibres are set aside. Press O to see the picture without the outlines.",
    ),
    Stop(
        "particles",
        "panel",
        "Doubtful pieces first",
        "Press G: the piece most likely wrong is shown, with the reasons. Press Y if it is right, K, N, T or "
        "O to name it kernel, skin, salt or other, or C and pull a line to cut it. Undo is Ctrl+Z.",
    ),
    Stop(
        "sizes",
        "view",
        "How coarse the batch is",
        "Bars are shares of the volume in each size class, the curve adds them up, and the band is how sure "
        "that is. Point at a bar to see its pieces; click it to go to them.",
    ),
    Stop(
        "sizes",
        "figures",
        "Will it be felt?",
        "A verdict with its reasons, then the figures, each with the interval it would lie in for the whole "
        "batch. Rest the pointer on a figure to read what it is.",
    ),
    Stop(
        "compare",
        "said",
        "Did the grind help?",
        "The batches against each other, in sentences. Grind curve, at the top, tells how much longer to "
        "grind for the size you want.",
    ),
    Stop(
        "tasting",
        "sessions",
        "Your own tasters",
        "Published limits come from other foods. A blind tasting of your batches finds the limit of your "
        "panel; the verdict can follow it. Read the cautions before anyone tastes.",
    ),
    Stop(
        "report",
        "choice",
        "Hand it over",
        "Tick what the report shall hold and save it as a PDF, or write tables for other programs. That is "
        "the whole way. Begin a study of your own with Ctrl+N.",
    ),
)


class _Ring(QWidget):
    """A ring around what a card speaks of; the mouse goes through it."""

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        self.hide()

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Paint the ring."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(QPen(theme.current().colour("accent"), 3))
        painter.drawRoundedRect(QRectF(self.rect()).adjusted(2, 2, -2, -2), theme.RADIUS, theme.RADIUS)


class Tour(QFrame):
    """The card. It sits over the window, and Esc in it ends the tour."""

    def __init__(self, window: "Window") -> None:
        super().__init__(window)
        self.setProperty("look", "tour")
        self._window, self._place = window, 0
        self._back: QWidget | None = None
        self._ring = _Ring(window)
        self.heading = parts.label("", "heading", wrap=True)
        self.text = parts.label("", wrap=True)
        self.count = parts.label("", "soft")
        self.previous = parts.button("Back", lambda: self.show_stop(self._place - 1))
        self.next = parts.button("Next", lambda: self.show_stop(self._place + 1), look="primary")
        self.end = parts.button("End the tour", self.stop, look="quiet", tip="Esc does it too")
        self._column = column = QVBoxLayout(self)
        column.setContentsMargins(theme.MEDIUM, theme.MEDIUM, theme.MEDIUM, theme.MEDIUM)
        buttons = parts.row(self.count, None, self.end, self.previous, self.next)
        parts.fill(column, (self.heading, self.text, buttons))
        self.hide()

    def start(self) -> None:
        """Begin at the first stop."""
        self._back = self._window.focusWidget()
        preferences.write(TAKEN, "yes")  # it is not offered again
        self.show_stop(0)
        self.next.setFocus(Qt.FocusReason.OtherFocusReason)

    def stop(self) -> None:
        """End the tour wherever it is."""
        self.hide()
        self._ring.hide()
        if self._back is not None and self._back.isVisible():
            self._back.setFocus(Qt.FocusReason.OtherFocusReason)

    def show_stop(self, place: int) -> None:
        """Show a stop; beyond the last the tour ends."""
        if not 0 <= place < len(STOPS):
            self.stop()
            return
        self._place = place
        stop = STOPS[place]
        self._window.go(stop.station, keep_focus=True)
        self.heading.setText(stop.title)
        self.text.setText(stop.text)
        self.count.setText(f"{place + 1} of {len(STOPS)}")
        self.setAccessibleName(f"Tour: {stop.title}")
        self.setAccessibleDescription(stop.text)
        self.previous.setEnabled(place > 0)
        self.next.setText("Done" if place == len(STOPS) - 1 else "Next")
        self.show()
        self._put()

    def target(self) -> QWidget | None:
        """Return what the present stop points at; None when it is not in view."""
        stop = STOPS[self._place]
        found = self._window.stations.get(stop.station)
        for name in stop.points_at.split("."):
            found = getattr(found, name, None)
        return found if isinstance(found, QWidget) and found.isVisible() else None

    def _put(self) -> None:
        """Lay the ring round the target and the card beside it, inside the window."""
        width = min(_WIDTH * max(1.0, self.fontMetrics().height() / 16), self._window.width() - 2 * _GAP)
        self.setFixedWidth(round(width))
        self.setFixedHeight(max(self._column.totalHeightForWidth(self.width()), 60))
        centre = self._window.centralWidget()
        whole = centre.geometry() if centre is not None else self._window.rect()
        room = whole.adjusted(_GAP, _GAP, -_GAP, -_GAP)
        target = self.target()
        spot = QRect(room.center() - self.rect().center(), self.size())
        self._ring.setVisible(target is not None)
        if target is not None:
            seen = _seen(target, self._window)
            self._ring.setGeometry(seen.adjusted(-3, -3, 3, 3).intersected(self._window.rect()))
            spot = _beside(seen, self.rect(), room)
        self.move(spot.topLeft())
        self._ring.raise_()
        self.raise_()

    def follow(self) -> None:
        """Keep beside what it speaks of as the window changes its size."""
        if self.isVisible():
            self._put()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """End on Esc, go on and back with the arrow keys."""
        steps: dict[int, int] = {Qt.Key.Key_Right: 1, Qt.Key.Key_Left: -1}
        if event.key() == Qt.Key.Key_Escape:
            self.stop()
        elif event.key() in steps and 0 <= self._place + steps[event.key()] < len(STOPS):
            self.show_stop(self._place + steps[event.key()])
        else:
            super().keyPressEvent(event)


def _seen(target: QWidget, window: QWidget) -> QRect:
    """Return the part of a widget that what holds it lets show, in the window's coordinates."""
    seen = QRect(target.mapTo(window, QPoint(0, 0)), target.size())
    holder = target.parentWidget()
    while holder is not None and holder is not window:
        seen = seen.intersected(QRect(holder.mapTo(window, QPoint(0, 0)), holder.size()))
        holder = holder.parentWidget()
    return seen


def _beside(seen: QRect, card: QRect, room: QRect) -> QRect:
    """Return where the card goes: left or right of what it speaks of, else in its lower corner."""
    spot = QRect(QPoint(0, 0), card.size())
    if seen.left() - room.left() >= card.width() + _GAP and seen.width() < room.width() / 2:
        spot.moveTopRight(seen.topLeft() - QPoint(_GAP, 0))
    elif room.right() - seen.right() >= card.width() + _GAP:
        spot.moveTopLeft(seen.topRight() + QPoint(_GAP, 0))
    else:
        spot.moveBottomRight(seen.bottomRight() - QPoint(_GAP, _GAP))
    spot.moveTop(max(room.top(), min(spot.top(), room.bottom() - spot.height())))
    spot.moveLeft(max(room.left(), min(spot.left(), room.right() - spot.width())))
    return spot
