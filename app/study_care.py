"""What is done when the file of a study is damaged or lost, and going back to how it was when opened."""

from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from PySide6.QtCore import QObject, QTimer
from PySide6.QtWidgets import QWidget

from app import pickers
from app.copies_keeper import CopiesKeeper, copies_folder, when_text
from app.messages import DONE, NOTE, WARNING
from app.session import CARE, Session
from measure.errors import DamagedStudy, LostStudy, StudyFileError
from measure.progress import Progress
from measure.study.copies import Copy, bring_back, take_out
from measure.study.readable import Unreadable, unreadable_fields, unreadable_words
from measure.study.salvage import Rescue, salvage

_R = TypeVar("_R")
LOOK_AFTER_MS = 1500
_ELSEWHERE = "Keeping everything elsewhere"


class StudyCare(QObject):
    """Offers the way on, in place, when something is wrong with the file of a study.

    Attributes
    ----------
    hurt_path : Path or None
        The study that could not be opened last; its copies can still be looked at.
    """

    def __init__(self, session: Session, keeper: CopiesKeeper, window: QWidget) -> None:
        super().__init__(session)
        self._session, self._keeper, self._window = session, keeper, window
        self.hurt_path: Path | None = None
        self._warned: Path | None = None
        self._asked = ""  # the work that would be stopped by quitting, once the user was told
        session.may_close = self.may_close
        session.hurt.connect(self._hurt)
        session.opened.connect(self._opened)
        keeper.lost.connect(lambda error: session.tell_error(error))

    def study_path(self) -> Path | None:
        """Return the open study, else the one that could not be opened last."""
        study = self._session.study
        return Path(study.path) if study is not None else self.hurt_path

    def _opened(self) -> None:
        self._warned = None
        if self._session.study is not None:
            self.hurt_path = None
            # what is seen first comes first; damage waits that long
            QTimer.singleShot(LOOK_AFTER_MS, self, self.look_through)

    def look_through(self) -> None:
        """Look in the background for fields that cannot be read, before anyone relies on them."""
        study = self._session.study
        if study is None:
            return
        path = Path(study.path)

        def done(found: tuple[Unreadable, ...]) -> None:
            if found and self._session.study is study:
                words = unreadable_words(path, found)
                self._session.offered.emit(words, "Rescue what can be read…", lambda: self.rescue(path))

        def failed(error: Exception) -> None:
            if self._session.study is study:
                self._session.tell_error(error, "Looking through the study", path)

        self._session.tasks.run(
            lambda progress: unreadable_fields(path, progress),
            done,
            failed=failed,
            key="look through the study",
        )

    def _is_open(self, path: Path) -> bool:
        study = self._session.study
        return study is not None and Path(study.path) == path

    def _hurt(self, error: StudyFileError, path: Path) -> None:
        if isinstance(error, DamagedStudy):
            if self._session.study is None:
                self.hurt_path = path
            self._session.offered.emit(error.text, "Rescue what can be read…", lambda: self.rescue(path))
        elif isinstance(error, LostStudy) and self._is_open(path):
            self._session.offered.emit(error.text, "Keep a copy elsewhere…", self.keep_elsewhere)

    # a damaged study ----------------------------------------------------------------------------------------

    def rescue(self, path: Path) -> None:
        """Ask for a new file and write what can be read of a damaged study to it, in the background."""
        out = pickers.copy_of_study(self._window, f"{path.stem} rescued.gritline")
        if out is None:
            return
        if self._is_open(path):
            self._session.close()  # nothing else may hold the file while it is read

        def done(rescue: Rescue) -> None:
            lost = " ".join(rescue.lost[:3])
            text = f"Rescued from {path.name} into {out.name}: {rescue.words()} {lost}".strip()
            self._session.offered.emit(text, "Open it", lambda: self._session.open(out))

        self._run(lambda progress: salvage(path, out, progress), done, f"Rescuing {path.name}")

    # a copy of a sound one ----------------------------------------------------------------------------------

    def keep_copy(self) -> None:
        """Ask for a place and write a copy there in the background; the study that is open stays open."""
        study = self._session.study
        if study is None:
            return
        source = Path(study.path)
        path = pickers.copy_of_study(self._window, f"{source.stem} copy.gritline")
        if path is None:
            return

        def done(_: object) -> None:
            self._session.tell(f"A copy is in {path}.", DONE)

        try:
            study.check_place()
        except LostStudy:  # it lives on only in the connection that is open here
            self._run(lambda progress: study.save_copy(path, progress=progress), done, "Keeping a copy")
            return
        self._run(lambda progress: take_out(source, path, progress), done, "Keeping a copy")

    # a lost one ---------------------------------------------------------------------------------------------

    def keep_elsewhere(self) -> None:
        """Ask for a place, write everything the open study holds there, and go on in it."""
        study = self._session.study
        if study is None:
            return
        path = pickers.copy_of_study(self._window, Path(study.path).name)
        if path is None:
            return

        def done(_: object) -> None:
            if self._session.study is not study:  # another one was opened meanwhile, or none is
                self._session.tell(f"Everything is kept in {path}.", DONE)
                return
            self._warned = study.path  # nothing of it is lost any more
            if self._session.open(path):
                self._session.tell(f"Everything is kept in {path}; you go on there.", DONE)

        self._run(lambda progress: study.save_copy(path, progress=progress), done, _ELSEWHERE)

    def may_close(self) -> bool:
        """Return whether the open study can be closed without a loss; if not, say so once and offer a copy.

        A file deleted or lost while open lives on only as long as it is open.
        """
        if any(task.text == _ELSEWHERE for task in self._session.tasks.tasks):
            text = "Everything is still being kept elsewhere; wait until it is, or stop it."
            self._session.tell(text, WARNING)
            return False
        study = self._session.study
        if study is None or study.read_only or self._warned == study.path:
            return True
        try:
            study.check_place()
        except LostStudy as error:
            self._warned = study.path
            self._session.tell(error.text, WARNING)
            text = f"{error.text} Close once more to go without a copy."
            self._session.offered.emit(text, "Keep a copy elsewhere…", self.keep_elsewhere)
            return False
        return True

    def may_quit(self) -> bool:
        """Return whether nothing is under way that quitting would stop; if not, say so once."""
        task = next((t for t in self._session.tasks.tasks if t.key == CARE), None)
        if task is None or self._asked == task.text:
            return True
        self._asked = task.text
        self._session.tell(f"{task.text} is still under way. Close once more to stop it and go.", WARNING)
        return False

    # back to how it was -------------------------------------------------------------------------------------

    def ask_back(self) -> None:
        """Offer, in place, to go back to how the study was when opened."""
        copy = self._keeper.opened
        if not self._session.writable:
            self._session.attempt(self._session.need_writable)
        elif copy is None:
            self._session.tell("The copy as it was when opened is still being made.", NOTE)
        else:
            self._session.offered.emit(
                f"The study goes back to as it was at {when_text(copy.when)}. As it is now, it stays among "
                "the earlier copies.",
                "Go back to that",
                lambda: self.go_back(copy),
            )

    def go_back(self, copy: Copy) -> None:
        """Close the study, keep it as it is as a copy, put another copy in its place and open it again."""
        study = self._session.study
        if study is None:
            return
        path, folder = Path(study.path), copies_folder()
        self._session.close()

        def done(_: object) -> None:
            if self._session.study is None and self._session.open(path):
                self._session.tell(f"The study is as it was at {when_text(copy.when)}.", DONE)

        def failed(error: Exception) -> None:
            if self._session.study is None:
                self._session.open(path)
            self._session.tell_error(error, "Going back", path)

        self._run(lambda _progress: bring_back(copy.path, path, folder), done, "Going back", failed)

    def take_out(self, copy: Copy) -> None:
        """Ask for a place and write an earlier copy there as a study of its own."""
        origin = self.study_path()
        stem = origin.stem if origin is not None else "study"
        path = pickers.copy_of_study(self._window, f"{stem} {copy.when:%Y-%m-%d %H%M}.gritline")
        if path is None:
            return

        def done(_: object) -> None:
            text = f"The copy of {when_text(copy.when)} is in {path}."
            self._session.offered.emit(text, "Open it", lambda: self._session.open(path))

        self._run(lambda progress: take_out(copy.path, path, progress), done, "Bringing a copy back")

    def _run(
        self,
        work: Callable[[Progress], _R],
        done: Callable[[_R], object],
        text: str,
        failed: Callable[[Exception], None] | None = None,
    ) -> None:
        if self._session.tasks.busy(CARE):
            self._session.tell("Wait until that is done.", WARNING)
            return

        def told(error: Exception) -> None:
            self._session.tell_error(error, text)

        self._session.tasks.run(work, done, failed=failed or told, text=text, key=CARE)
