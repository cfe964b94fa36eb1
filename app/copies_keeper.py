"""Copies of the open study in the user's data folder, made in the background; and a watch on its file."""

import datetime
from pathlib import Path

from PySide6.QtCore import QObject, QStandardPaths, QTimer, Signal

from app.messages import explain
from app.session import Session
from measure.errors import LostStudy
from measure.progress import Progress
from measure.study.connection import check_place, identity
from measure.study.copies import Copy, copies_of, make_copy

KEY = "copy of the study"
COPY_EVERY_MS = 15 * 60 * 1000
LOOK_EVERY_MS = 20 * 1000


def copies_folder() -> Path:
    """Return the folder the copies of all studies live in."""
    location = QStandardPaths.StandardLocation.AppDataLocation
    return Path(QStandardPaths.writableLocation(location)) / "copies"


class CopiesKeeper(QObject):
    """Makes a copy as a study is opened and every quarter of an hour while it changes.

    Attributes
    ----------
    opened : Copy or None
        The study as it was when opened, once that copy is made.

    Signals
    -------
    made()
        There is one more copy.
    lost(LostStudy)
        The file of the open study is no longer there; told once, until it is there again.
    """

    made = Signal()
    lost = Signal(object)

    def __init__(self, session: Session) -> None:
        super().__init__(session)
        self._session = session
        self.opened: Copy | None = None
        self._identity: tuple[int, int] | None = None
        self._told_lost = False
        self.copy_timer = self._timer(COPY_EVERY_MS, self.copy_now)
        self.look_timer = self._timer(LOOK_EVERY_MS, self.look_now)
        session.opened.connect(self._begin)

    def _timer(self, every_ms: int, does: object) -> QTimer:
        timer = QTimer(self)
        timer.setInterval(every_ms)
        timer.timeout.connect(does)
        return timer

    def _begin(self) -> None:
        self.opened, self._told_lost = None, False
        study = self._session.study
        if study is None or study.read_only:
            self.copy_timer.stop()
            self.look_timer.stop()
            return
        self._identity = identity(Path(study.path))
        self._copy(opened=True)
        self.copy_timer.start()
        self.look_timer.start()

    def copy_now(self) -> None:
        """Make a copy unless nothing has changed since the last one."""
        if self._session.writable and not self._told_lost:
            self._copy(opened=False)

    def _copy(self, *, opened: bool) -> None:
        path, folder = Path(self._session.open_study.path), copies_folder()

        def work(_progress: Progress) -> Copy | None:
            return make_copy(path, folder, opened=opened)

        def done(copy: Copy | None) -> None:
            if copy is not None and self._shows(path):
                self.opened = copy if copy.opened else self.opened
                self.made.emit()

        def failed(error: Exception) -> None:
            if self._shows(path):
                self._session.tell(*explain(error, "Making a copy in the background"))
                self.look_now()  # where the study itself is gone, that is what matters

        self._session.tasks.run(work, done, failed=failed, key=KEY)

    def look_now(self) -> None:
        """Look, on a thread as a lost drive may not answer, whether the file is still there."""
        if not self._session.writable:
            return
        path, known = Path(self._session.open_study.path), self._identity

        def failed(error: Exception) -> None:
            if not isinstance(error, LostStudy):
                self._session.tell_error(error)
            elif self._shows(path) and not self._told_lost:
                self._told_lost = True
                self.lost.emit(error)

        def there(_: object) -> None:
            self._told_lost = False

        self._session.tasks.run(
            lambda _progress: check_place(path, known), there, failed=failed, key="look for the study"
        )

    def copies(self, path: Path) -> list[Copy]:
        """Return the copies of a study, newest first."""
        return copies_of(path, copies_folder())[::-1]

    def _shows(self, path: Path) -> bool:
        return self._session.study is not None and Path(self._session.open_study.path) == path


def when_text(when: datetime.datetime) -> str:
    """Return a time as a list of copies shows it.

    Examples
    --------
    >>> when_text(datetime.datetime(2024, 5, 7, 9, 30))
    '2024-05-07 09:30'
    """
    return f"{when:%Y-%m-%d %H:%M}"
