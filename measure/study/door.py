"""What every part of a study stands on: reading, and one action = one transaction = one undo step."""

import contextlib
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

from measure.errors import DamagedStudy, InvalidInput, KnownError, StudyFileError
from measure.study.connection import atomic, check_place, connect, identity, plain_faults
from measure.study.journal import LABEL_BITS, Journal
from measure.study.opening import Opened
from measure.study.records import Changes
from measure.study.tally import tally
from measure.study.values import to_json

_WORDS = {
    "scale": "scales",
    "batch": "batches",
    "slide": "slides",
    "field": "fields",
    "particle": "particles",
    "tasting": "tastings",
    "spot_check": "spot_checks",
    "setting": "settings",
}
_LABEL_MASK = (1 << LABEL_BITS) - 1


class Door:
    """An open study file: reads, and changes through `_action` only."""

    def __init__(self, path: Path, opened: Opened) -> None:
        self.path = path
        self.read_only_reason = opened.reason
        self.migrated_from = opened.migrated_from
        self.last_changes = Changes()
        self._opened = opened
        self._con = opened.con
        # of a file deleted while open only what is open already can be read: this one is for copies of it,
        # made in another thread
        self._for_copies = connect(_file_of(opened.con), read_only=True, any_thread=True)
        self._journal = Journal(opened.con)
        self._identity = identity(path)
        self._depth = 0
        self._doomed = False
        self._closed = False

    @property
    def read_only(self) -> bool:
        """Whether nothing can be changed; `read_only_reason` says why."""
        return self._opened.lock is None

    @property
    def who(self) -> str:
        """Name written into the audit trail; the name of the computer's user at first."""
        return self._journal.who

    @who.setter
    def who(self, name: str) -> None:
        self._journal.who = str(name)

    def close(self) -> None:
        """Close the file and let another window change it; harmless when closed already."""
        if self._closed:
            return
        self._closed = True
        self._con.close()
        self._for_copies.close()
        if self._opened.lock is not None:
            self._opened.lock.release()
        if self._opened.scratch is not None:
            self._opened.scratch.cleanup()

    @contextlib.contextmanager
    def one_step(self, text: str) -> Iterator[None]:
        """Make several actions one transaction and one undo step; `last_changes` then tells of them all."""
        with self._action(text):
            yield

    @contextlib.contextmanager
    def _action(self, text: str) -> Iterator[None]:
        if self._depth:  # inside another: its transaction, its step
            try:
                yield
            except BaseException:
                self._doomed = True
                raise
            return
        with self._transaction(text):
            yield
            if self._doomed:
                raise StudyFileError("A part of this could not be done, so none of it was.")

    @contextlib.contextmanager
    def _transaction(self, text: str) -> Iterator[None]:
        self._check_can_change()
        self._depth, self._doomed, self.last_changes = 1, False, Changes()
        try:
            with plain_faults(self.path), atomic(self._con):
                self._journal.begin(text)
                yield
                self._keep_states()
                changes = self._changes(text)
        finally:
            self._depth = 0
        self.last_changes = changes
        self._after_change(changes)

    def _check_can_change(self) -> None:
        self._check_open()
        if self.read_only:
            raise StudyFileError(f"{self.path.name} cannot be changed, because {self.read_only_reason}.")
        check_place(self.path, self._identity)

    def check_place(self) -> None:
        """Check that the file is still where it was opened.

        Raises
        ------
        LostStudy
            If it was moved, deleted or replaced, or its drive is gone.
        """
        check_place(self.path, self._identity)

    def _check_open(self) -> None:
        if self._closed:
            raise StudyFileError(f"{self.path.name} has been closed.")

    def _changes(self, text: str) -> Changes:
        ids: dict[str, frozenset[int]] = {}
        labels: dict[int, set[int]] = {}
        for table, touched in self._journal.touched.items():
            if table == "particle":
                for row_id in touched:
                    labels.setdefault(row_id >> LABEL_BITS, set()).add(row_id & _LABEL_MASK)
                ids["particles"] = frozenset(labels)
            else:
                ids[_WORDS[table]] = frozenset(touched)
        named = {i: frozenset(v) for i, v in labels.items()}
        return Changes(frozenset(ids), ids, named, self._setting_names(ids.get("settings", ())), text)

    def _setting_names(self, ids: Iterable[int]) -> frozenset[str]:
        marks = ", ".join(str(i) for i in ids)
        if not marks:
            return frozenset()
        rows = self._con.execute(f"SELECT name FROM setting WHERE id IN ({marks})")
        return frozenset(self._journal.setting_names.union(row[0] for row in rows))

    def _after_change(self, changes: Changes) -> None:
        raise NotImplementedError

    def _keep_states(self) -> None:
        """Raise revisions, keep the highest label ever used, and count again; part of each transaction."""
        highest: dict[int, int] = {}
        for row_id in self._journal.touched.get("particle", ()):
            field_id = row_id >> LABEL_BITS
            highest[field_id] = max(highest.get(field_id, 0), row_id & _LABEL_MASK)
        for field_id in self._journal.moved:
            self._con.execute(
                "INSERT INTO field_state (field_id, revision, next_label, tally) VALUES (?, 1, ?, ?) "
                "ON CONFLICT (field_id) DO UPDATE SET revision = revision + 1, tally = excluded.tally, "
                "next_label = max(next_label, excluded.next_label)",
                (field_id, highest.get(field_id, 0) + 1, to_json(tally(self._con, field_id))),
            )

    def _rows(self, query: str, values: Sequence = ()) -> list[tuple]:
        self._check_open()
        with plain_faults(self.path):
            return self._con.execute(query, values).fetchall()

    def _row(self, query: str, values: Sequence = ()) -> tuple | None:
        found = self._rows(query, values)
        return found[0] if found else None

    def _the_row(self, query: str, values: Sequence = ()) -> tuple:
        """Return the row of a query that always finds one."""
        return self._rows(query, values)[0]

    @contextlib.contextmanager
    def _readable(self, what: str = "a value in it") -> Iterator[None]:
        """Tell values that damage or a stranger put there; everything this program writes can be read."""
        try:
            yield
        except KnownError:
            raise
        except (ValueError, KeyError, TypeError, IndexError, OverflowError, AttributeError) as error:
            raise DamagedStudy(
                f"{self.path.name} is damaged: {what} cannot be read. Check it, or open one of its copies."
            ) from error

    def _refuse_missing(self, table: str, row_id: int | None) -> None:
        if row_id is not None and self._row(f"SELECT 1 FROM {table} WHERE id = ?", (int(row_id),)) is None:
            raise InvalidInput(
                f"There is no {table.replace('_', ' ')} {int(row_id)} in {self.path.name} any more."
            )

    def _refuse_used(self, query: str, row_id: int, name: str) -> None:
        """Refuse to remove what others stand on; ``query`` gives the names of those."""
        users = [row[0] for row in self._rows(query, (int(row_id),))]
        if users:
            shown = ", ".join(users[:3]) + (f" and {len(users) - 3} more" if len(users) > 3 else "")
            raise InvalidInput(f"{name} is used by {shown}. Change or remove those first.")


def _file_of(con: sqlite3.Connection) -> Path:
    """Return the file a connection is of; of a study of an older format that is a changed copy."""
    return Path(con.execute("PRAGMA database_list").fetchone()[2])
