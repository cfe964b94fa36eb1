"""The study: one file with everything, and the only door to it."""

import contextlib
import os
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from measure.errors import StudyFileError
from measure.progress import Progress
from measure.study.check import faults_of, refuse_damaged
from measure.study.connection import atomic, backup, identity, plain_faults, settle
from measure.study.log_text import entries
from measure.study.opening import create_file, open_file
from measure.study.particle_door import ParticleDoor
from measure.study.record_door import RecordDoor
from measure.study.records import Changes, EditEntry
from measure.study.schema import SUFFIX
from measure.study.values import clean_text, from_json, to_json

_VIEW = "view."


class Study(RecordDoor, ParticleDoor):
    """An open study. Every public method that changes something is one transaction and one undo step.

    What a method changed is returned as `Changes`, or, where it returns new ids, kept in ``last_changes``.
    After an exception nothing has changed. To be used from the thread that opened it, but for `save_copy`.
    """

    @classmethod
    def create(cls, path: Path | str) -> Self:
        """Make a new, empty study and open it; an existing file is never written over.

        Raises
        ------
        StudyFileError
            If the name is taken, or the file cannot be made.
        """
        create_file(Path(path))
        return cls.open(path)

    @classmethod
    def open(cls, path: Path | str, read_only: bool = False) -> Self:
        """Open a study. Where it cannot be changed it is open for reading; `read_only_reason` says why.

        Raises
        ------
        StudyFileError
            If it is missing, not a study, damaged, or made by a newer version; the file is untouched.
        """
        path = Path(os.path.realpath(path))
        return cls(path, open_file(path, read_only=read_only))

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    # --- undo

    def undo(self) -> Changes | None:
        """Take the last action back, also one from an earlier session; None if there is none."""
        return self._turn("done", "Undo")

    def redo(self) -> Changes | None:
        """Do again what was undone last; None if there is nothing, or another action came after it."""
        return self._turn("undone", "Redo")

    def undo_text(self) -> str | None:
        """Return what `undo` would take back ("Cut particle 12"), or None."""
        return self._next_text("done")

    def redo_text(self) -> str | None:
        """Return what `redo` would do again, or None."""
        return self._next_text("undone")

    def _next_text(self, state: str) -> str | None:
        self._check_open()
        with plain_faults(self.path):
            return self._journal.next_text(state)

    def _turn(self, state: str, word: str) -> Changes | None:
        if self._depth:
            raise RuntimeError("undo and redo are actions of their own")
        text = self._next_text(state)
        if text is None:
            return None
        with self._transaction(f"{word}: {text}"), self._readable("its log"):
            self._journal.undo() if word == "Undo" else self._journal.redo()
        return self.last_changes

    def edit_log(self, field_id: int | None = None, limit: int | None = None) -> list[EditEntry]:
        """Return the audit trail, newest first: when, who, what, from what, to what."""
        return entries(self._rows, field_id, limit)

    # --- settings

    def setting(self, name: str, default: Any = None) -> Any:
        """Return a setting of the study as plain JSON values."""
        table = "view_state" if name.startswith(_VIEW) else "setting"
        found = self._row(f"SELECT value FROM {table} WHERE name = ?", (name,))
        with self._readable(f"the setting {name}"):
            return default if found is None else from_json(found[0])

    def set_setting(self, name: str, value: object, text: str = "") -> Changes:
        """Keep a setting. Names that begin with "view." are where the window was: not undone, not logged."""
        name, body = clean_text(name), to_json(value)
        if name.startswith(_VIEW):
            return self._set_view(name, body)
        found = self._row("SELECT id FROM setting WHERE name = ?", (name,))
        with self._action(text or f"Change {name.replace('_', ' ').replace('.', ': ')}"):
            if found is None:
                self._journal.insert("setting", ("name", "value"), [(name, body)])
            else:
                self._journal.update("setting", [found[0]], ("value",), [(body,)])
        return self.last_changes

    def _set_view(self, name: str, body: str) -> Changes:
        if not self.read_only:
            self._check_can_change()
            with plain_faults(self.path), contextlib.ExitStack() as stack:
                if not self._depth:
                    stack.enter_context(atomic(self._con))
                self._con.execute("INSERT OR REPLACE INTO view_state VALUES (?, ?)", (name, body))
        return Changes()

    # --- the file as a whole

    def save_copy(self, path: Path | str, overwrite: bool = False, progress: Progress | None = None) -> None:
        """Write the whole study to another file: beside first, then given its name in one step.

        Works also when the open file was moved or deleted meanwhile, and from another thread.

        Parameters
        ----------
        progress : Progress, optional
            Told how far it is; with one, others can use the study in between.

        Raises
        ------
        Cancelled
            If a stop was asked for; nothing is left behind then.
        StudyFileError
            If it cannot be written there, or a file is there and ``overwrite`` is false.
        """
        self._check_open()
        path = Path(path).absolute()
        if path.suffix != SUFFIX:
            path = path.with_name(path.name + SUFFIX)
        if path.exists() and (not overwrite or identity(path) == self._identity):
            raise StudyFileError(f"{path.name} exists already. Choose another name.")
        temporary = path.with_name(f".{path.name}.{os.getpid()}.new")
        try:
            with plain_faults(path):
                if progress is None:
                    backup(self._con, temporary)
                else:
                    backup(self._for_copies, temporary, gently=True, progress=progress)
            settle(temporary, path, overwrite=overwrite)
        except OSError as error:
            raise StudyFileError(
                f"The copy {path} could not be written: {error.strerror or error}."
            ) from error
        finally:
            with contextlib.suppress(OSError):
                temporary.unlink(missing_ok=True)

    def integrity_check(self) -> list[str]:
        """Read the whole file and return what is wrong with it, in sentences; empty when it is sound."""
        self._check_open()
        return faults_of(self._con)

    def refuse_damaged(self) -> None:
        """Check that the study is whole before a long run adds to it.

        Raises
        ------
        DamagedStudy
            If something in it cannot be read; the sentence names what, and what to do.
        """
        self._check_open()
        refuse_damaged(self._con, self.path)
