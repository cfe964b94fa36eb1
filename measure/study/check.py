"""Whether a study is sound: the database's own check, and whether what it holds can still be read."""

import hashlib
import sqlite3
from collections.abc import Iterator
from pathlib import Path

from measure.errors import DamagedStudy, StudyFileError
from measure.study.outline_pack import unpack_outlines
from measure.study.readable import lost_words, unreadable_fields
from measure.study.row_codec import decode

_MOST = 100


def faults_of(con: sqlite3.Connection, *, log: bool = True) -> list[str]:
    """Read a whole study and return what is wrong, in sentences; empty when it is sound.

    Parameters
    ----------
    log : bool
        Whether each entry of the log is read too, which takes as long as all else together.
    """
    found: list[str] = []
    for part in (_pages, _references, _pictures, _outlines, *([_log] if log else [])):
        try:
            found += part(con)
        except sqlite3.DatabaseError as error:
            found.append(f"The {part.__name__.strip('_')} cannot be read: {error}.")
    return found[:_MOST]


def refuse_damaged(con: sqlite3.Connection, path: Path) -> None:
    """Refuse a study that is not whole before anything is added to it.

    What is written into a file whose pages are confused may go where pieces are kept, and a run that
    ended well would hide that others are lost.

    Raises
    ------
    DamagedStudy
        If something in it cannot be read; the sentence names the fields where it is theirs.
    """
    faults = faults_of(con, log=False)
    if not faults:
        return
    try:
        lost = unreadable_fields(path)
    except StudyFileError:
        lost = ()
    what = lost_words(lost) if lost else faults[0].rstrip(".").removeprefix("The file is damaged: ")
    raise DamagedStudy(
        f"{path.name} is damaged: {what}. Nothing was added and the file was not changed. Rescue what can be "
        "read into a new study, and give that one instead."
    )


def _pages(con: sqlite3.Connection) -> Iterator[str]:
    rows = [text for (text,) in con.execute("PRAGMA integrity_check").fetchall() if text != "ok"]
    lines = [line for text in rows for line in text.splitlines() if not line.startswith("***")]
    if lines:  # a hundred lines of page numbers tell nobody more than the first
        more = f", and {len(lines) - 1} faults like it" if len(lines) > 1 else ""
        yield f"The file is damaged: {lines[0][:1].lower()}{lines[0][1:]}{more}."


def _references(con: sqlite3.Connection) -> Iterator[str]:
    for table, row, parent, _ in con.execute("PRAGMA foreign_key_check").fetchall():
        name = parent.replace("_", " ")
        article = "an" if name[0] in "aeiou" else "a"
        yield f"The {table.replace('_', ' ')} {row} refers to {article} {name} that is not there."


def _pictures(con: sqlite3.Connection) -> Iterator[str]:
    for picture_id, digest, data in con.execute("SELECT id, sha256, data FROM picture"):
        if not isinstance(data, bytes) or hashlib.sha256(data).hexdigest() != digest:
            yield f"The picture {picture_id} is not what it was when it was added."


def _outlines(con: sqlite3.Connection) -> Iterator[str]:
    needed = dict(con.execute("SELECT outline_pack, max(outline_index) FROM particle GROUP BY 1").fetchall())
    for pack_id, data in con.execute("SELECT id, data FROM outline_pack"):
        try:
            count = len(unpack_outlines(data))
        except ValueError as error:
            yield f"In the pack {pack_id}, {error}."
            continue
        if needed.get(pack_id, -1) >= count:
            yield f"The pack {pack_id} lacks outlines."


def _log(con: sqlite3.Connection) -> Iterator[str]:
    for row_id, old, new in con.execute("SELECT id, old, new FROM edit_row"):
        try:
            decode(old)
            decode(new)
        except (ValueError, KeyError, TypeError):
            yield f"The entry {row_id} of the log cannot be read."
