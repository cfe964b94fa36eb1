"""Which fields of a study can no longer be read: looked for beside the window, a little at a time."""

import hashlib
import sqlite3
from dataclasses import dataclass
from pathlib import Path

from measure.progress import SILENT, Progress
from measure.study.connection import connect, plain_faults
from measure.study.journal import LABEL_BITS
from measure.study.particle_rows import NAMES, from_rows
from measure.study.schema import columns_of

_NAMED = 3
_IN_USE = (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)


@dataclass(frozen=True)
class Unreadable:
    """A field of which something cannot be read: its pieces, its picture, or both."""

    name: str
    pieces: bool
    picture: bool

    @property
    def words(self) -> str:
        """The field and what of it is lost."""
        lost = [what for what, hurt in (("pieces", self.pieces), ("picture", self.picture)) if hurt]
        return f"{self.name} ({' and '.join(lost)})"


def unreadable_fields(path: Path, progress: Progress = SILENT) -> tuple[Unreadable, ...]:
    """Read what every field holds and return those that cannot be read whole; the file is only read.

    Each look is short, so that a window which has the study open can write in between.

    Raises
    ------
    StudyFileError
        If not even the list of fields can be read.
    Cancelled
        If a stop was asked for.
    """
    found = []
    with plain_faults(path):
        con = connect(path, read_only=True)
        try:
            fields = con.execute("SELECT id, name, picture_id FROM field ORDER BY id").fetchall()
            for table in ("field", "field_state"):  # without them there is no list of fields
                con.execute(f"SELECT * FROM {table}").fetchall()
            there = columns_of(con, "particle")
            columns = ", ".join(name if name in there else f"NULL AS {name}" for name in NAMES)
            query = f"SELECT {columns}, outline_pack, outline_index FROM particle WHERE id BETWEEN ? AND ?"
            for place, (field_id, name, picture_id) in enumerate(fields):
                progress.report(place / len(fields), str(name))
                pieces = not _pieces_read(con, query, field_id)
                picture = picture_id is not None and not _picture_read(con, picture_id)
                if pieces or picture:
                    found.append(Unreadable(str(name), pieces, picture))
        finally:
            con.close()
    return tuple(found)


def lost_words(found: tuple[Unreadable, ...]) -> str:
    """Return how many fields cannot be read whole, and the first of them by name."""
    named = ", ".join(one.words for one in found[:_NAMED])
    more = f" and {len(found) - _NAMED} more" if len(found) > _NAMED else ""
    count = "1 field" if len(found) == 1 else f"{len(found)} fields"
    return f"{count} cannot be read whole, {named}{more}"


def unreadable_words(path: Path, found: tuple[Unreadable, ...]) -> str:
    """Return the sentence about fields that cannot be read, with what to do."""
    return (
        f"{path.name} is damaged: {lost_words(found)}. Rescue what can be read into "
        "a new study, or open an earlier copy; this file was not changed."
    )


def _pieces_read(con: sqlite3.Connection, query: str, field_id: int) -> bool:
    def pack(pack_id: int) -> bytes:
        row = con.execute("SELECT data FROM outline_pack WHERE id = ?", (pack_id,)).fetchone()
        if row is None:
            raise ValueError("an outline pack is missing")
        return row[0]

    try:
        rows = con.execute(query, (field_id << LABEL_BITS, (field_id + 1 << LABEL_BITS) - 1)).fetchall()
        from_rows(rows, pack)
    except sqlite3.DatabaseError as error:
        return _in_use(error)
    except (ValueError, TypeError, OverflowError):
        return False
    return True


def _picture_read(con: sqlite3.Connection, picture_id: int) -> bool:
    try:
        row = con.execute("SELECT sha256, data FROM picture WHERE id = ?", (picture_id,)).fetchone()
    except sqlite3.DatabaseError as error:
        return _in_use(error)
    except (ValueError, TypeError, OverflowError):
        return False
    return row is not None and isinstance(row[1], bytes) and hashlib.sha256(row[1]).hexdigest() == row[0]


def _in_use(error: sqlite3.DatabaseError) -> bool:
    """Whether the file was only being written to: no sign of damage, and looked at the next time."""
    return getattr(error, "sqlite_errorcode", 0) & 0xFF in _IN_USE
