"""Making, opening and checking the file of a study."""

import contextlib
import os
import sqlite3
import tempfile
from dataclasses import dataclass
from pathlib import Path

from measure.errors import DamagedStudy, StudyFileError
from measure.study import schema
from measure.study.connection import atomic, backup, connect, plain_faults, settle
from measure.study.layout import misfit
from measure.study.lock import HeldElsewhere, WriterLock

OTHER_WINDOW = "it is open in another window"
NOT_WRITABLE = "the file or its folder cannot be written to"
NEWER = "it was made by a newer version of the program"
ASKED = "it was opened only to look at"


@dataclass
class Opened:
    """An open file: its connection, the right to change it (None: read only), and why there is none."""

    con: sqlite3.Connection
    lock: WriterLock | None
    reason: str
    migrated_from: str = ""
    scratch: tempfile.TemporaryDirectory | None = None


def create_file(path: Path) -> None:
    """Make an empty study; nothing is left behind if that fails.

    Raises
    ------
    StudyFileError
        If the name is taken, the folder is missing or cannot be written to, or the disk is full.
    """
    if path.exists():
        raise StudyFileError(f"{path.name} exists already. Choose another name, or open it.")
    if not path.parent.is_dir():
        raise StudyFileError(f"The folder {path.parent} does not exist. Make it first, or choose another.")
    temporary = path.with_name(f".{path.name}.{os.getpid()}.new")
    try:
        with plain_faults(path):
            temporary.unlink(missing_ok=True)
            temporary.touch()
            con = connect(temporary, read_only=False)
            try:
                with atomic(con):
                    schema.lay_out(con)
            finally:
                con.close()
            settle(temporary, path, overwrite=False)
    except FileExistsError:
        raise StudyFileError(f"{path.name} exists already. Choose another name, or open it.") from None
    except OSError as error:
        raise StudyFileError(f"{path.name} cannot be made in {path.parent}: {error.strerror}.") from error
    finally:
        with contextlib.suppress(OSError):
            temporary.unlink(missing_ok=True)


def open_file(path: Path, *, read_only: bool) -> Opened:
    """Open a study for changing where that is possible, else for reading, saying why.

    Raises
    ------
    StudyFileError
        If it is missing, not a study, damaged, or of a newer format.
    """
    _check_is_file(path)
    _finish_interrupted(path)
    lock, reason = (None, ASKED) if read_only else _take_lock(path)
    try:
        with plain_faults(path):
            return _open_checked(path, lock, reason)
    except BaseException:
        if lock is not None:
            lock.release()
        raise


def _check_is_file(path: Path) -> None:
    if path.is_dir():
        raise StudyFileError(f"{path} is a folder, not a study. Name a file ending in {schema.SUFFIX}.")
    try:
        size = path.stat().st_size
    except FileNotFoundError:
        raise StudyFileError(f"There is no study at {path}. Check the name and the drive.") from None
    except (OSError, ValueError) as error:
        raise StudyFileError(f"{path} cannot be reached: {error}.") from error
    if size == 0:
        raise StudyFileError(f"{path.name} is empty, so it is not a study.")


def _finish_interrupted(path: Path) -> None:
    """Take back what a crash left half done, so that a look at the file needs no right to change it."""
    if not path.with_name(path.name + "-journal").exists():
        return
    lock, _ = _take_lock(path)
    if lock is None:
        return
    try:
        with plain_faults(path):
            con = connect(path, read_only=False)
            try:
                con.execute("SELECT count(*) FROM sqlite_schema").fetchone()
            finally:
                con.close()
    finally:
        lock.release()


def _take_lock(path: Path) -> tuple[WriterLock | None, str]:
    if not os.access(path, os.W_OK):
        return None, NOT_WRITABLE
    try:
        return WriterLock(path), ""
    except HeldElsewhere:
        return None, OTHER_WINDOW
    except OSError:
        return None, NOT_WRITABLE


def _open_checked(path: Path, lock: WriterLock | None, reason: str) -> Opened:
    con = connect(path, read_only=lock is None)
    try:
        version = check_is_study(con, path)
        if version < (schema.MAJOR, schema.MINOR):
            con.close()
            return _open_older(path, lock, reason, version)
        if version > (schema.MAJOR, schema.MINOR) and lock is not None:
            con.close()
            lock.release()
            return Opened(connect(path, read_only=True), None, NEWER)
        if lock is not None and not _can_write(con):
            con.close()
            lock.release()
            return Opened(connect(path, read_only=True), None, NOT_WRITABLE)
    except BaseException:
        con.close()
        raise
    return Opened(con, lock, reason)


def _can_write(con: sqlite3.Connection) -> bool:
    try:
        con.execute("BEGIN IMMEDIATE")
        con.execute("ROLLBACK")
    except sqlite3.Error as error:
        if getattr(error, "sqlite_errorcode", 0) & 0xFF == sqlite3.SQLITE_READONLY:
            return False
        raise
    return True


def check_is_study(con: sqlite3.Connection, path: Path) -> tuple[int, int]:
    """Return the format number of a study after checking that it is one.

    Raises
    ------
    StudyFileError
        If it is something else, has parts that could run, lacks tables, or is of a newer major format.
    """
    found = con.execute("SELECT type, name FROM sqlite_schema").fetchall()
    if con.execute("PRAGMA application_id").fetchone()[0] != schema.APPLICATION_ID:
        raise StudyFileError(f"{path.name} is a database of something else, not a study.")
    version = schema.split_version(con.execute("PRAGMA user_version").fetchone()[0])
    if version[0] > schema.MAJOR:
        raise StudyFileError(
            f"{path.name} was made by a newer version of the program (format {version[0]}.{version[1]}; "
            f"this one reads up to {schema.MAJOR}). Open it with the newer version. The file was not touched."
        )
    if any(kind not in ("table", "index") for kind, _ in found):
        raise StudyFileError(
            f"{path.name} holds parts no study has (a trigger or a view), so it is not opened."
        )
    if version >= (schema.MAJOR, schema.MINOR):
        odd = misfit(con) if version == (schema.MAJOR, schema.MINOR) else ""
        if odd:
            raise DamagedStudy(f"{path.name} is damaged: {odd}. Open one of its copies, or rescue it.")
    return version


def _open_older(path: Path, lock: WriterLock | None, reason: str, version: tuple[int, int]) -> Opened:
    """Migrate a copy; it takes the name only when it is whole, and the old file is kept beside it."""
    if version not in schema.MIGRATIONS:
        raise StudyFileError(f"{path.name} says it is of format {version[0]}.{version[1]}, which never was.")
    old = f"{version[0]}.{version[1]}"
    if lock is None:
        scratch = tempfile.TemporaryDirectory(prefix="gritline-")
        copy = Path(scratch.name) / path.name
        _migrated_copy(path, copy, version)
        return Opened(connect(copy, read_only=True), None, reason, old, scratch)
    copy = path.with_name(f".{path.name}.{os.getpid()}.new")
    try:
        _migrated_copy(path, copy, version)
        kept = path.with_name(f"{path.stem} (format {old}){path.suffix}")
        if not kept.exists():
            source = connect(path, read_only=True)
            try:
                beside = path.with_name(f".{path.name}.{os.getpid()}.old")
                backup(source, beside)
            finally:
                source.close()
            settle(beside, kept, overwrite=False)
        settle(copy, path, overwrite=True)
    finally:
        with contextlib.suppress(OSError):
            copy.unlink(missing_ok=True)
    return Opened(connect(path, read_only=False), lock, "", old)


def _migrated_copy(path: Path, copy: Path, version: tuple[int, int]) -> None:
    copy.unlink(missing_ok=True)
    source = connect(path, read_only=True)
    try:
        backup(source, copy)
    finally:
        source.close()
    con = connect(copy, read_only=False)
    try:
        schema.migrate(con, version)
        verdict = con.execute("PRAGMA integrity_check").fetchone()[0]
        if verdict != "ok" or con.execute("PRAGMA foreign_key_check").fetchone() is not None:
            raise DamagedStudy(f"{path.name} is damaged and could not be brought to the present format.")
    finally:
        con.close()
