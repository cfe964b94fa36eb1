"""Rescuing what can still be read of a damaged study into a new one."""

import contextlib
import os
import shutil
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from measure.errors import StudyFileError
from measure.progress import SILENT, Progress
from measure.study import schema
from measure.study.connection import atomic, connect, plain_faults, settle
from measure.study.mending import mend
from measure.study.opening import check_is_study

_LAST_ID = 1 << 62
_MOST_FAILURES = 4000
_DAMAGE = (sqlite3.DatabaseError, OverflowError)


@dataclass(frozen=True)
class Rescue:
    """What came over, by table, and what was lost, in sentences."""

    kept: dict[str, int] = field(default_factory=dict)
    lost: tuple[str, ...] = ()

    def words(self) -> str:
        """Return what came over and whether anything was lost, as a sentence or two."""
        shown = (
            ("field", "picture", "pictures"),
            ("particle", "piece", "pieces"),
            ("batch", "batch", "batches"),
            ("edit", "log entry", "log entries"),
        )
        counts = [(self.kept.get(table, 0), one, many) for table, one, many in shown]
        kept = ", ".join(f"{count} {one if count == 1 else many}" for count, one, many in counts)
        return f"{kept}. {'Not all of it could be read.' if self.lost else 'Nothing was lost.'}"


def salvage(damaged: Path | str, out: Path | str, progress: Progress = SILENT) -> Rescue:
    """Write what can be read of a damaged study to a new file; the damaged one is not touched.

    The new study opens with every picture, particle and log entry that could be read. If anything was
    lost, actions from before can no longer be undone, because the log may no longer fit.

    Parameters
    ----------
    damaged : Path
        A study not open in this program.
    out : Path
        A name not taken.

    Raises
    ------
    StudyFileError
        If nothing can be read, or the new file cannot be written.
    """
    damaged, out = Path(damaged), Path(out)
    if out.exists():
        raise StudyFileError(f"{out.name} exists already. Choose another name.")
    temporary = out.with_name(f".{out.name}.{os.getpid()}.new")
    try:
        with tempfile.TemporaryDirectory(prefix="gritline-") as folder:
            source = _readable_copy(damaged, Path(folder))
            try:
                with plain_faults(out):
                    rescue = _fill(source, temporary, damaged.name, progress)
            finally:
                source.close()
        settle(temporary, out, overwrite=False)
    except OSError as error:
        raise StudyFileError(f"{damaged.name} could not be rescued: {error.strerror or error}.") from error
    finally:
        with contextlib.suppress(OSError):
            temporary.unlink(missing_ok=True)
    return rescue


def _readable_copy(damaged: Path, folder: Path) -> sqlite3.Connection:
    copy = folder / "damaged"
    shutil.copyfile(damaged, copy)
    journal = damaged.with_name(damaged.name + "-journal")
    if journal.exists():
        shutil.copyfile(journal, copy.with_name("damaged-journal"))
    _pad(copy)
    for repair in (lambda _: None, _new_beginning):
        with contextlib.suppress(*_DAMAGE, StudyFileError, OSError):
            repair(copy)
            return _opened(copy, damaged)
    raise StudyFileError(f"Nothing in {damaged.name} can be read. Open one of its copies instead.")


def _opened(copy: Path, damaged: Path) -> sqlite3.Connection:
    con = connect(copy, read_only=False)
    try:
        check_is_study(con, damaged)
    except BaseException:
        con.close()
        raise
    return con


def _pad(copy: Path) -> None:
    """Fill a file cut short to the length its beginning states, so that the rest of it can be read."""
    with copy.open("r+b") as file:
        head = file.read(100)
        if len(head) < 100 or not head.startswith(b"SQLite format 3\0"):
            return
        page, count = int.from_bytes(head[16:18], "big"), int.from_bytes(head[28:32], "big")
        size = file.seek(0, os.SEEK_END)
        page = 65536 if page == 1 else page
        if size < page * count <= 4 * size + (1 << 20):
            file.truncate(page * count)


def _new_beginning(copy: Path) -> None:
    """Put the table of tables of an empty study in place of a lost one: tables lie where they always do."""
    with tempfile.TemporaryDirectory(prefix="gritline-") as folder:
        fresh = Path(folder) / "fresh"
        con = sqlite3.connect(fresh, isolation_level=None)
        try:
            with atomic(con):
                schema.lay_out(con)
            size = con.execute("PRAGMA page_size").fetchone()[0]
            own = {row[0] for row in con.execute("SELECT rootpage FROM sqlite_schema")}
        finally:
            con.close()
        pages = fresh.read_bytes()
    with copy.open("r+b") as file:
        count = file.seek(0, os.SEEK_END) // size
        for number in range(1, len(pages) // size + 1):
            if number in own:
                continue
            page = bytearray(pages[(number - 1) * size : number * size])
            if number == 1:
                page[28:32] = count.to_bytes(4, "big")
                page[92:96] = page[24:28]  # the page count holds for this state of the file
            file.seek((number - 1) * size)
            file.write(page)


def _fill(source: sqlite3.Connection, target: Path, name: str, progress: Progress) -> Rescue:
    target.unlink(missing_ok=True)
    target.touch()
    con = connect(target, read_only=False)
    try:
        con.execute("PRAGMA foreign_keys = OFF")
        kept, lost = {}, []
        with atomic(con):
            schema.lay_out(con)
            for place, table in enumerate(schema.TABLES):
                progress.report(place / len(schema.TABLES), f"Reading {table.replace('_', ' ')}s")
                kept[table], gaps = _copy_table(source, con, table)
                if gaps:
                    lost.append(f"Some of the {table.replace('_', ' ')}s could not be read.")
            lost += mend(con, name, bool(lost))
        return Rescue(kept, tuple(lost))
    finally:
        con.close()


def _copy_table(source: sqlite3.Connection, con: sqlite3.Connection, table: str) -> tuple[int, bool]:
    there = schema.columns_of(source, table)
    names = [name for name in schema.columns_of(con, table) if name in there]
    insert = f"INSERT INTO {table} ({', '.join(names)}) VALUES ({', '.join('?' * len(names))})"
    kept, refused = 0, 0

    def keep(row: tuple) -> None:
        nonlocal kept, refused
        try:
            con.execute(insert, row)
            kept += 1
        except sqlite3.IntegrityError:
            refused += 1

    gaps = _read_around_damage(source, table, names, keep)
    return kept, bool(gaps or refused)


def _read_around_damage(
    source: sqlite3.Connection, table: str, names: list[str], keep: Callable[[tuple], None]
) -> int:
    """Give every readable row of a table to ``keep``; return how many stretches could not be read.

    A stretch is read upward to the first fault, then downward to the last, then halved, so that what lies
    between two damaged pages is found too.
    """
    failures, waiting = 0, [(0, _LAST_ID)]
    query = f"SELECT rowid, {', '.join(names)} FROM {table} WHERE rowid BETWEEN ? AND ? ORDER BY rowid "
    while waiting and failures < _MOST_FAILURES:
        low, high = waiting.pop()
        try:
            for row in _rows(source, query + "ASC", low, high):
                keep(row[1:])
                low = row[0] + 1
            continue
        except _DAMAGE:
            failures += 1
        try:
            for row in _rows(source, query + "DESC", low, high):
                keep(row[1:])
                high = row[0] - 1
        except _DAMAGE:
            failures += 1
        if low < high:
            middle = (low + high) // 2
            waiting += [(low, middle), (middle + 1, high)]
    return failures


def _rows(source: sqlite3.Connection, query: str, low: int, high: int) -> Iterator[tuple]:
    yield from source.execute(query, (low, high))
