"""The one way to SQLite: safe settings, transactions that are all or nothing, and faults in plain words."""

import contextlib
import os
import sqlite3
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from urllib.parse import quote

from measure.errors import DamagedStudy, LostStudy, StudyFileError
from measure.progress import SILENT, Progress

# tests put a class that fails on purpose here
connection_class = sqlite3.Connection
# EXTRA is FULL and makes the end of a transaction itself durable; tests of other things do not wait for it
synchronous = "EXTRA"

# 4 MB at a time, and room between for a window that wants to write
_GENTLE_PAGES, _GENTLE_PAUSE_S, _MOST_RESTARTS = 1024, 0.02, 3

_WORDS = {
    sqlite3.SQLITE_FULL: "The disk is full, so nothing was changed in {name}. Free some space and try again.",
    sqlite3.SQLITE_NOTADB: "{name} is not a study, or its beginning is damaged.",
    sqlite3.SQLITE_CORRUPT: "{name} is damaged. Rescue what can be read into a new study, "
    "or open one of its copies.",
    sqlite3.SQLITE_READONLY: "{name} cannot be written to, so nothing was changed. "
    "Save a copy somewhere else.",
    sqlite3.SQLITE_BUSY: "Another program is using {name}, so nothing was changed. Try again in a moment.",
    sqlite3.SQLITE_LOCKED: "Another program is using {name}, so nothing was changed. Try again in a moment.",
    sqlite3.SQLITE_IOERR: "{name} could not be read or written: the disk or network drive did not answer. "
    "Nothing was changed; check the drive and try again.",
    sqlite3.SQLITE_CANTOPEN: "{name} cannot be opened: the file, its folder or its drive cannot be reached.",
    sqlite3.SQLITE_PERM: "You have no right to open {name}.",
    sqlite3.SQLITE_AUTH: "You have no right to open {name}.",
    sqlite3.SQLITE_NOMEM: "There is not enough memory for this, so nothing was changed in {name}.",
    sqlite3.SQLITE_CONSTRAINT: "What {name} holds does not fit together, so nothing was changed. "
    "It may be damaged: check it, or open one of its copies.",
    sqlite3.SQLITE_TOOBIG: "This is too large to keep in a study, so nothing was changed in {name}.",
}

_KINDS: dict[int, type[StudyFileError]] = {
    sqlite3.SQLITE_NOTADB: DamagedStudy,
    sqlite3.SQLITE_CORRUPT: DamagedStudy,
    sqlite3.SQLITE_CONSTRAINT: DamagedStudy,
    sqlite3.SQLITE_READONLY: LostStudy,
    sqlite3.SQLITE_IOERR: LostStudy,
}


def explain(error: sqlite3.Error, path: Path) -> StudyFileError | None:
    """Return the sentence for a fault of the file or the disk; None for a fault of the program."""
    code = getattr(error, "sqlite_errorcode", None)
    if str(error).startswith(("Could not decode", "unsupported file format")):  # these come without a code
        code = sqlite3.SQLITE_CORRUPT
    if code is None:
        return None
    code &= 0xFF
    words = _WORDS.get(code)
    return _KINDS.get(code, StudyFileError)(words.format(name=path.name)) if words else None


def new_row(con: sqlite3.Connection, query: str, values: Sequence) -> int:
    """Insert one row and return its id."""
    row_id = con.execute(query, values).lastrowid
    if row_id is None:  # SQLite knows none only before the first insertion
        raise ValueError(f"no row was inserted by {query}")
    return row_id


@contextlib.contextmanager
def plain_faults(path: Path) -> Iterator[None]:
    """Turn faults of the file or the disk into `StudyFileError`; let the program's own faults through."""
    try:
        yield
    except sqlite3.Error as error:
        known = explain(error, path)
        if known is None:
            raise
        raise known from error
    except (UnicodeDecodeError, OverflowError) as error:  # damage reached a name or an id
        raise DamagedStudy(_WORDS[sqlite3.SQLITE_CORRUPT].format(name=path.name)) from error


def connect(path: Path, *, read_only: bool, any_thread: bool = False) -> sqlite3.Connection:
    """Open a connection with the settings every study uses.

    With ``any_thread`` it may be used from another thread, by one at a time.
    Rollback journal rather than a write-ahead log: one writer, small writes, one file, and network drives.
    """
    mode = "ro" if read_only else "rw"
    uri = f"file:{quote(str(path.absolute()))}?mode={mode}"
    con = sqlite3.connect(
        uri,
        uri=True,
        isolation_level=None,
        timeout=5.0,
        check_same_thread=not any_thread,
        factory=connection_class,
    )
    try:
        con.execute("PRAGMA trusted_schema = OFF")
        con.execute("PRAGMA cell_size_check = ON")
        con.execute("PRAGMA foreign_keys = ON")
        con.execute("PRAGMA cache_size = -65536")
        con.execute(f"PRAGMA synchronous = {synchronous}")
        if not read_only:
            con.execute("PRAGMA journal_mode = DELETE")
    except BaseException:
        con.close()
        raise
    return con


@contextlib.contextmanager
def atomic(con: sqlite3.Connection) -> Iterator[None]:
    """Run one transaction: all of it is on disk afterwards, or, after any exception, none of it."""
    con.execute("BEGIN IMMEDIATE")
    try:
        yield
        con.execute("COMMIT")
    except BaseException:
        # a full disk or a lost drive may have rolled it back already
        if con.in_transaction:
            with contextlib.suppress(sqlite3.Error):
                con.rollback()
        raise


def identity(path: Path) -> tuple[int, int] | None:
    """Return what tells this file from another of the same name; None if there is none."""
    try:
        found = os.stat(path)
    except OSError:
        return None
    return found.st_dev, found.st_ino


def check_place(path: Path, known: tuple[int, int] | None) -> None:
    """Check that a file is still the one that was opened.

    Raises
    ------
    LostStudy
        If it is gone, or another took its name.
    """
    if identity(path) != known:
        raise LostStudy(
            f"{path.name} is no longer where it was opened ({path.parent}): it was moved, "
            "deleted or replaced, or its drive is gone. Nothing more can be kept in it; save a copy."
        )


class _TooBusy(Exception):  # noqa: N818 - a fact, not an error
    """The source was changed again and again while it was copied."""


def backup(
    source: sqlite3.Connection, target: Path, *, gently: bool = False, progress: Progress = SILENT
) -> None:
    """Write a consistent copy of an open study to a new file.

    Parameters
    ----------
    gently : bool
        Let others change the source in between. A change begins the copy anew; after a few of those it is
        made in one step.
    progress : Progress
        Told how far a gentle copy is; one that is stopped leaves the target unfinished.

    Raises
    ------
    Cancelled
        If a stop was asked for.
    """
    out = sqlite3.connect(target, isolation_level=None)
    try:
        out.execute("PRAGMA synchronous = OFF")  # it is made durable below, when nobody waits
        try:
            if gently:
                source.backup(out, pages=_GENTLE_PAGES, progress=_patience(progress), sleep=_GENTLE_PAUSE_S)
        except _TooBusy:
            gently = False
        if not gently:
            source.backup(out)
    finally:
        out.close()
    handle = os.open(target, os.O_RDWR)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _patience(progress: Progress) -> Callable[[int, int, int], None]:
    """Return a listener that tells how far it is, and gives up once more is left than before a few times."""
    left: int | None = None
    restarts = 0

    def listen(_status: int, remaining: int, total: int) -> None:
        nonlocal left, restarts
        progress.report(1.0 - remaining / max(total, 1))
        restarts += left is not None and remaining > left
        left = remaining
        if restarts > _MOST_RESTARTS:
            raise _TooBusy

    return listen


def settle(temporary: Path, path: Path, *, overwrite: bool) -> None:
    """Give a finished file its name in one step.

    Raises
    ------
    FileExistsError
        If the name is taken and ``overwrite`` is false; the temporary file is left.
    """
    if overwrite:
        os.replace(temporary, path)
    else:
        try:
            os.link(temporary, path)
        except FileExistsError:
            raise
        except OSError:  # a drive without links
            if path.exists():
                raise FileExistsError(path) from None
            os.rename(temporary, path)
        else:
            os.unlink(temporary)
    _sync_folder(path.parent)


def _sync_folder(folder: Path) -> None:
    if os.name != "posix":
        return
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
