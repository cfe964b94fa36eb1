"""What a station is working out, how far it is, and a button that stops it, where the outcome will show."""

import time

from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QProgressBar, QWidget

from app import parts, theme
from app.flow import flow
from app.one_line import OneLine
from app.strip import SHOW_AFTER_S
from app.tasks import Task, TaskRunner


class WorkLine(QWidget):
    """Follows the work of some keys; out of view while there is none.

    Parameters
    ----------
    *keys : str
        Keys of the work, see `app.tasks`.
    """

    def __init__(self, tasks: TaskRunner, *keys: str) -> None:
        super().__init__()
        self._tasks, self._keys = tasks, keys
        self.words = OneLine("", "soft")
        self.bar = QProgressBar()
        self.bar.setTextVisible(False)
        self.bar.setFixedWidth(120)
        self.stop = parts.button("Stop", self._stop, tip="Stop this work; nothing is lost")
        line = flow(self.words, self.bar, self.stop)
        line.setContentsMargins(theme.TIGHT, theme.TIGHT, theme.TIGHT, theme.TIGHT)
        self.setLayout(line)
        self._late = QTimer(self)
        self._late.setSingleShot(True)
        self._late.setInterval(int(SHOW_AFTER_S * 1000) + 20)
        self._late.timeout.connect(self.follow)
        tasks.changed.connect(self.follow)
        self.hide()

    def _task(self) -> Task | None:
        return next((t for t in self._tasks.tasks if t.key in self._keys and t.text), None)

    def follow(self) -> None:
        """Show how far the work is."""
        task = self._task()
        early = task is not None and time.monotonic() - task.started < SHOW_AFTER_S
        if early:
            self._late.start()
        self.setVisible(task is not None and not early)
        if task is None:
            return
        self.words.setText(f"{task.text}: {task.stage}" if task.stage else f"{task.text}…")
        self.bar.setRange(0, 0 if task.fraction <= 0 else 1000)
        self.bar.setValue(round(task.fraction * 1000))
        self.bar.setAccessibleName(task.text)

    def _stop(self) -> None:
        task = self._task()
        if task is not None:
            task.cancel()
