"""What every station has in common."""

import contextlib
from collections.abc import Callable, Mapping

from PySide6.QtCore import QTimer, Signal
from PySide6.QtGui import QAction
from PySide6.QtWidgets import QWidget

from app.actions import ACTIONS, make_action
from app.session import Session
from app.tasks import Task
from measure.errors import KnownError
from measure.study.records import Changes


class BaseStation(QWidget):
    """One step of the work. A module ``app/stations/<name>.py`` calls its own ``Station``.

    Attributes
    ----------
    name, title, tip : str
        Key of the station, its word in the rail, and a sentence on what it is for.
    work_keys : tuple of str
        Keys of the work (see `app.tasks`) that this station waits for.
    shows_work : bool
        It shows that work itself, so the strip at the foot need not.

    Signals
    -------
    state_changed()
        `state_text` may answer differently now.
    wants_station(str)
        The user chose to go on with another station.
    """

    name = ""
    title = ""
    tip = ""
    work_keys: tuple[str, ...] = ()
    shows_work = False

    state_changed = Signal()
    wants_station = Signal(str)

    def __init__(self, session: Session, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.session = session
        self.setAccessibleName(self.title)
        self._actions: dict[str, QAction] = {}
        for row in ACTIONS:
            if row.station == self.name:
                self._actions[row.id] = make_action(row, self, self._perform)
        session.changed.connect(self.study_changed)

    def state_text(self) -> tuple[bool, str]:
        """Return whether the step is done, and its state in a few words for the rail."""
        return False, ""

    def commands(self) -> Mapping[str, Callable[[], object]]:
        """Return what each action of this station (see `app.actions`) does."""
        return {}

    def entered(self) -> None:
        """Do what is needed each time the station comes into view; heavy building belongs here."""

    def left(self) -> None:
        """Do what is needed when the station goes out of view."""

    def study_opened(self) -> None:
        """Show another study from scratch, or none when ``session.study`` is None."""

    def study_changed(self, changes: Changes, initiator: object) -> None:
        """Reload what ``changes`` touches; skip it when ``initiator is self``."""

    def offer_again(self, task: Task, words: str, again: Callable[[], object]) -> None:
        """Where a person stops this work, say so and offer to take it up; not where newer work begins."""

        def look() -> None:
            if self.session.study is not None and self.isVisible() and not self.session.tasks.busy(task.key):
                self.stopped()
                self.session.offered.emit(words, "Do it now", again)

        # newer work that takes its place is only then under way
        task.on_cancel = lambda: QTimer.singleShot(0, self, look)

    def stopped(self) -> None:
        """Show that what was under way will not come."""

    def resting_place(self) -> QWidget:
        """Return the widget the keyboard goes to when the one that had it is switched off or hidden."""
        return self

    def keep_view(self, name: str, state: object) -> None:
        """Remember in the study what is looked at; where that cannot be, nothing is lost and nothing said."""
        if self.session.writable:
            with contextlib.suppress(KnownError):
                self.session.open_study.set_setting(name, state)

    def action(self, action_id: str) -> QAction:
        """Return the action of that id; it can be given to buttons and menus."""
        return self._actions[action_id]

    def all_actions(self) -> tuple[QAction, ...]:
        """Return the actions of this station, in the order of the table."""
        return tuple(self._actions.values())

    def _perform(self, action_id: str) -> None:
        self.commands()[action_id]()
