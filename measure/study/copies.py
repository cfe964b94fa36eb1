"""Copies made in the background: one as the study was when opened, then one now and again, thinned with age.

They lie in a folder of the user's data, one folder a study. Making one needs no right to change the study
and may run in any thread: it uses a connection of its own.
"""

import contextlib
import datetime
import hashlib
import os
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from measure.errors import StudyFileError
from measure.progress import SILENT, Progress
from measure.study.connection import backup, connect, plain_faults, settle
from measure.study.lock import HeldElsewhere, WriterLock
from measure.study.opening import check_is_study
from measure.study.schema import SUFFIX

_NAME = re.compile(r"^(\d{4}-\d\d-\d\d \d{6})( opened)?$")
_FORMAT = "%Y-%m-%d %H%M%S"
# kept: the newest of each span, up to an age
_SPANS = (
    (datetime.timedelta(minutes=15), datetime.timedelta(hours=4)),
    (datetime.timedelta(hours=1), datetime.timedelta(days=1)),
    (datetime.timedelta(days=1), datetime.timedelta(days=14)),
    (datetime.timedelta(days=7), datetime.timedelta(days=90)),
)
_ALWAYS = 2


@dataclass(frozen=True, order=True)
class Copy:
    """A copy of a study: when it was made, and whether that was at opening."""

    when: datetime.datetime
    path: Path
    opened: bool = False
    size_bytes: int = 0


def folder_of(study: Path, data_folder: Path) -> Path:
    """Return the folder that holds the copies of a study."""
    real = os.path.realpath(study)
    return Path(data_folder) / f"{Path(real).stem[:40]}-{hashlib.sha256(real.encode()).hexdigest()[:10]}"


def copies_of(study: Path, data_folder: Path) -> list[Copy]:
    """Return the copies of a study, oldest first."""
    found = []
    for path in folder_of(study, data_folder).glob(f"*{SUFFIX}"):
        match = _NAME.match(path.stem)
        if match:
            when = datetime.datetime.strptime(match[1], _FORMAT)
            found.append(Copy(when, path, bool(match[2]), path.stat().st_size))
    return sorted(found)


def make_copy(
    study: Path, data_folder: Path, *, opened: bool = False, at: datetime.datetime | None = None
) -> Copy | None:
    """Copy a study and thin its older copies; None when nothing has changed since the last copy.

    Parameters
    ----------
    opened : bool
        Whether this is the copy made at opening; it is always made.
    at : datetime, optional
        Local time to name it by; now by default.

    Raises
    ------
    StudyFileError
        If it cannot be read or written.
    """
    before, at = copies_of(study, data_folder), at or datetime.datetime.now()
    changed_ns = _changed_ns(study)
    if not opened and before and before[-1].path.stat().st_mtime_ns >= changed_ns:
        return None
    folder = folder_of(study, data_folder)
    path = folder / f"{at.strftime(_FORMAT)}{' opened' if opened else ''}{SUFFIX}"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        _write(study, path)
        os.utime(path, ns=(changed_ns, changed_ns))
        made = Copy(at.replace(microsecond=0), path, opened, path.stat().st_size)
    except OSError as error:
        raise StudyFileError(f"No copy of {study.name} was made: {error.strerror or error}.") from error
    for old in to_thin([*before, made], at):
        with contextlib.suppress(OSError):
            old.path.unlink()
    return made


def to_thin(copies: Sequence[Copy], at: datetime.datetime, most_bytes: int = 4 << 30) -> list[Copy]:
    """Return the copies to delete.

    Kept are the newest two, the newest made at opening, and the newest of every quarter of an hour for four
    hours, hour for a day, day for two weeks and week for three months; the oldest go first when all of them
    are larger than ``most_bytes``.
    """
    ordered = sorted(copies, reverse=True)
    safe = set(ordered[:_ALWAYS]) | set([c for c in ordered if c.opened][:1])
    keep, taken = set(safe), set()
    for copy in ordered:
        age = at - copy.when
        span = next((s for s, limit in _SPANS if age <= limit), None)
        if span is None:
            continue
        slot = (span, int(copy.when.timestamp() // span.total_seconds()))
        if slot not in taken:
            taken.add(slot)
            keep.add(copy)
    total = sum(copy.size_bytes for copy in keep)
    for copy in sorted(keep - safe):
        if total > most_bytes:
            keep.remove(copy)
            total -= copy.size_bytes
    return [copy for copy in ordered if copy not in keep]


@dataclass(frozen=True)
class Contents:
    """How much a copy holds."""

    fields: int
    particles: int
    actions: int


def contents_of(copy: Path) -> Contents:
    """Count what a copy holds.

    Raises
    ------
    StudyFileError
        If it cannot be read.
    """
    queries = (
        "SELECT count(*) FROM field WHERE role IN ('field', 'table')",
        "SELECT count(*) FROM particle",
        "SELECT count(*) FROM edit WHERE state IN ('done', 'rescued')",
    )
    with plain_faults(copy):
        con = connect(copy, read_only=True)
        try:
            check_is_study(con, copy)
            return Contents(*(con.execute(query).fetchone()[0] for query in queries))
        finally:
            con.close()


def take_out(copy: Path, path: Path, progress: Progress = SILENT) -> None:
    """Write a copy, or a study as it stands, to a new study of its own.

    Raises
    ------
    StudyFileError
        If the name is taken, or it cannot be read or written.
    Cancelled
        If a stop was asked for; nothing is left behind then.
    """
    if path.exists():
        raise StudyFileError(f"{path.name} exists already. Choose another name.")
    try:
        _write(copy, path, progress)
    except OSError as error:
        raise StudyFileError(f"{path.name} could not be written: {error.strerror or error}.") from error


def bring_back(copy: Path, study: Path, data_folder: Path) -> None:
    """Put a copy in place of a study that is closed; the study as it is now becomes a copy first.

    Raises
    ------
    StudyFileError
        If a window has it open, or it cannot be written.
    """
    try:
        lock = WriterLock(study)
    except HeldElsewhere:
        raise StudyFileError(f"{study.name} is open in another window. Close it there first.") from None
    except OSError as error:
        raise StudyFileError(f"{study.name} cannot be written to: {error.strerror or error}.") from error
    temporary = study.with_name(f".{study.name}.{os.getpid()}.new")
    try:
        _write(copy, temporary)  # first, as making a copy may thin this one away
        if study.exists():
            make_copy(study, data_folder)
        settle(temporary, study, overwrite=True)
    except OSError as error:
        raise StudyFileError(f"{study.name} could not be brought back: {error.strerror or error}.") from error
    finally:
        lock.release()
        with contextlib.suppress(OSError):
            temporary.unlink(missing_ok=True)


def _write(source: Path, path: Path, progress: Progress = SILENT) -> None:
    temporary = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        with plain_faults(source):
            con = connect(source, read_only=True)
            try:
                check_is_study(con, source)
                backup(con, temporary, gently=True, progress=progress)
            finally:
                con.close()
        settle(temporary, path, overwrite=True)
    finally:
        with contextlib.suppress(OSError):
            temporary.unlink(missing_ok=True)


def _changed_ns(study: Path) -> int:
    try:
        return study.stat().st_mtime_ns
    except OSError as error:
        raise StudyFileError(f"No copy of {study.name} was made: {error.strerror or error}.") from error
