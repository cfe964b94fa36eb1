"""The strip at the foot: messages in place, work under way with a way to stop it."""

import time
from collections.abc import Callable

from PySide6.QtCore import QTimer
from PySide6.QtGui import QAccessible, QAccessibleEvent
from PySide6.QtWidgets import QFrame, QHBoxLayout, QLabel, QProgressBar, QWidget

from app import icons, parts, theme
from app.messages import DONE, ERROR, NOTE, WARNING
from app.one_line import OneLine
from app.tasks import Task, TaskRunner

# work shorter than this shows nothing, so that the strip does not flicker
SHOW_AFTER_S = 0.4
# good news and notes fade; warnings stay until read
FADE_MS = 8000

_ICONS = {
    NOTE: ("note", "soft_ink"),
    DONE: ("done", "done"),
    WARNING: ("warning", "warning"),
    ERROR: ("error", "error"),
}


class Strip(QFrame):
    """Messages left, progress right."""

    def __init__(self, tasks: TaskRunner, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setProperty("look", "strip")
        self._tasks = tasks
        self._level = NOTE
        self._resting = ""
        self._own: tuple[str, ...] = ()  # keys of the work of the station in view
        self._in_page = False
        self._offer: Callable[[], None] | None = None
        self._mark = QLabel()
        self.text = parts.label(wrap=True)
        self.text.setAccessibleName("Message")
        self.offer = parts.button("", self._take_offer)
        self.hide_button = parts.button("", self.rest, look="quiet", icon="close", tip="Hide this message")
        self.hide_button.setAccessibleName("Hide this message")
        self._work = OneLine("", "soft")
        self._bar = QProgressBar()
        self._bar.setTextVisible(False)
        self._bar.setFixedWidth(140)
        self.stop = parts.button("Stop", self._stop, tip="Stop this work; what is finished is kept")
        self._lay_out()
        self._fade = QTimer(self)
        self._fade.setSingleShot(True)
        self._fade.timeout.connect(self.rest)
        self._late = QTimer(self)
        self._late.setSingleShot(True)
        self._late.setInterval(int(SHOW_AFTER_S * 1000) + 20)
        self._late.timeout.connect(self._show_work)
        tasks.changed.connect(self._show_work)
        self.rest()
        self._show_work()

    def _lay_out(self) -> None:
        line = QHBoxLayout(self)
        line.setContentsMargins(theme.MEDIUM, theme.TIGHT, theme.SMALL, theme.TIGHT)
        line.setSpacing(theme.SMALL)
        parts.fill(line, (self._mark, self.text))
        line.setStretch(1, 1)
        parts.fill(line, (self.offer, self.hide_button, self._work, self._bar, self.stop))
        # room for a button at all times: the page above must not jump as a message comes
        self.setMinimumHeight(self.stop.sizeHint().height() + 2 * theme.TIGHT)

    def set_resting(self, text: str) -> None:
        """Set the hint shown while there is no message."""
        self._resting = text
        if not self._fade.isActive() and self._level == NOTE and not self.hide_button.isVisibleTo(self):
            self.rest()

    def follow(self, keys: tuple[str, ...], *, in_page: bool) -> None:
        """Show work of these keys first, or not at all where the station in view shows it itself."""
        self._own, self._in_page = keys, in_page
        self._show_work()

    def show_message(self, text: str, level: str) -> None:
        """Show a sentence in place."""
        self._show(text, level, "", None)

    def show_offer(self, text: str, button_text: str, does: Callable[[], None]) -> None:
        """Show a sentence with a button that goes on from there."""
        # an offer that goes with the message in view stays as grave as it
        level = self._level if self._offer is None and text.startswith(self.text.text() or "\0") else NOTE
        self._show(text, level, button_text, does)

    def leave_place(self) -> None:
        """Hide a warning: it was about the station that is left. Faults stay until read."""
        if self._level == WARNING:
            self.rest()

    def rest(self) -> None:
        """Hide the message and show the resting hint."""
        self._fade.stop()
        self._show(self._resting, NOTE, "", None, resting=True)

    def _show(
        self,
        text: str,
        level: str,
        button_text: str,
        does: Callable[[], None] | None,
        *,
        resting: bool = False,
    ) -> None:
        self._level, self._offer = level, does
        name, role = _ICONS[level]
        self._mark.setPixmap(icons.pixmap(name, 18, role))
        self._mark.setVisible(not resting)
        self._show_or_hide(text)
        self.text.setText(text)
        parts.set_look(self.text, "soft" if resting else "")
        parts.set_look(self, level, "level")
        self.offer.setText(button_text)
        self.offer.setAccessibleName(button_text or "Go on from the message")
        self.offer.setVisible(does is not None)
        self.hide_button.setVisible(not resting)
        self._fade.stop()
        if not resting:
            QAccessible.updateAccessibility(QAccessibleEvent(self.text, QAccessible.Event.NameChanged))
            if level in {NOTE, DONE} and does is None:
                self._fade.start(FADE_MS)

    def _show_or_hide(self, text: str) -> None:
        self.setVisible(bool(text) or self._shown_task() is not None)

    def _take_offer(self) -> None:
        does = self._offer
        self.rest()
        if does is not None:
            does()

    def _shown_task(self) -> Task | None:
        named = [t for t in self._tasks.tasks if t.text and not (self._in_page and t.key in self._own)]
        return min(named, key=lambda task: task.key not in self._own, default=None)

    def _show_work(self) -> None:
        task = self._shown_task()
        early = task is not None and time.monotonic() - task.started < SHOW_AFTER_S
        if early:
            self._late.start()
        for widget in (self._work, self._bar, self.stop):
            widget.setVisible(task is not None and not early)
        self._show_or_hide(self.text.text())
        if task is None or early:
            return
        stage = f" – {task.stage}" if task.stage else ""
        self._work.setText(f"{task.text}{stage}")
        self._bar.setRange(0, 0 if task.fraction <= 0 else 1000)
        self._bar.setValue(round(task.fraction * 1000))
        self._bar.setAccessibleName(task.text)

    def _stop(self) -> None:
        task = self._shown_task()
        if task is not None:
            task.cancel()
