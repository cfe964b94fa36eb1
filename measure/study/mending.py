"""Making rescued rows fit together again: nothing may refer to what was lost."""

import hashlib
import sqlite3

from measure.study.journal import now, user_name
from measure.study.outline_pack import unpack_outlines
from measure.study.row_codec import decode
from measure.study.tally import tally
from measure.study.values import to_json


def mend(con: sqlite3.Connection, name: str, damaged: bool) -> list[str]:
    """Mend a rescued study in its open transaction; return what was lost, in sentences.

    Parameters
    ----------
    name : str
        Name of the damaged file, for the log.
    damaged : bool
        Whether reading lost rows already.
    """
    lost = [*_particles(con), *_pictures(con), *_batches(con), *_links(con), *_log(con)]
    _states(con)
    if damaged or lost:
        con.execute("UPDATE edit SET state = 'dropped' WHERE state = 'undone'")
        con.execute("UPDATE edit SET state = 'rescued' WHERE state = 'done'")
    con.execute(
        "INSERT INTO edit (made, who, text, state) VALUES (?, ?, ?, 'note')",
        (now(), user_name(), f"Rescued from the damaged {name}"),
    )
    return lost


def _particles(con: sqlite3.Connection) -> list[str]:
    counts = []
    for pack_id, data in con.execute("SELECT id, data FROM outline_pack"):
        try:
            counts.append((pack_id, len(unpack_outlines(data))))
        except ValueError:
            counts.append((pack_id, 0))
    con.execute("CREATE TEMP TABLE whole (id INTEGER PRIMARY KEY, count INTEGER)")
    con.executemany("INSERT INTO whole VALUES (?, ?)", counts)
    gone = con.execute(
        "DELETE FROM particle WHERE field_id NOT IN (SELECT id FROM field) "
        "OR outline_index < 0 "
        "OR outline_index >= coalesce((SELECT count FROM whole WHERE id = outline_pack), 0)"
    ).rowcount
    con.execute("DELETE FROM outline_pack WHERE id IN (SELECT id FROM whole WHERE count = 0)")
    con.execute("DROP TABLE whole")
    return [f"{gone} pieces lost their outlines or their field."] if gone else []


def _pictures(con: sqlite3.Connection) -> list[str]:
    where = "WHERE picture_id IS NOT NULL AND picture_id NOT IN (SELECT id FROM picture)"
    gone = con.execute(f"SELECT name FROM field {where}").fetchall()
    for table in ("field", "scale"):
        con.execute(f"UPDATE {table} SET picture_id = NULL {where}")
    return [f"The picture of {name} was lost." for (name,) in gone] + _changed_pictures(con)


def _changed_pictures(con: sqlite3.Connection) -> list[str]:
    """Keep pictures the damage changed as they are now, or the study would be called damaged for ever."""
    told = []
    for picture_id, digest, data in con.execute("SELECT id, sha256, data FROM picture").fetchall():
        now_is = hashlib.sha256(data).hexdigest()
        if now_is == digest:
            continue
        con.execute("UPDATE OR IGNORE picture SET sha256 = ? WHERE id = ?", (now_is, picture_id))
        users = con.execute("SELECT name FROM field WHERE picture_id = ?", (picture_id,)).fetchall()
        users += con.execute("SELECT picture_name FROM scale WHERE picture_id = ?", (picture_id,)).fetchall()
        words = "was changed by the damage; it is kept as it is"
        told += [f"The picture of {name} {words}." for (name,) in users]
    return told


def _batches(con: sqlite3.Connection) -> list[str]:
    gone = con.execute(
        "SELECT batch_id FROM field WHERE batch_id IS NOT NULL UNION SELECT batch_id FROM slide "
        "EXCEPT SELECT id FROM batch"
    ).fetchall()
    for (batch_id,) in gone:
        con.execute(
            "INSERT INTO batch (id, name, recipe, mill_setting, notes) VALUES (?, ?, '', '', ?)",
            (
                batch_id,
                f"Batch {batch_id}",
                "What was known of this batch was lost when the file was damaged.",
            ),
        )
    return [f"What was known of batch {batch_id} was lost." for (batch_id,) in gone]


def _links(con: sqlite3.Connection) -> list[str]:
    lost = []
    for column, parent in (("scale_id", "scale"), ("slide_id", "slide"), ("blank_id", "field")):
        where = f"WHERE {column} IS NOT NULL AND {column} NOT IN (SELECT id FROM {parent})"
        names = con.execute(f"SELECT name FROM field {where}").fetchall()
        con.execute(f"UPDATE field SET {column} = NULL {where}")
        word = "blank" if column == "blank_id" else parent
        lost += [f"The {word} of {name} was lost." for (name,) in names]
    return lost


def _log(con: sqlite3.Connection) -> list[str]:
    gone = con.execute("DELETE FROM edit_row WHERE edit_id NOT IN (SELECT id FROM edit)").rowcount
    unreadable = [row_id for row_id, *rows in con.execute("SELECT id, old, new FROM edit_row") if _torn(rows)]
    con.executemany("DELETE FROM edit_row WHERE id = ?", [(row_id,) for row_id in unreadable])
    gone += len(unreadable)
    return [f"{gone} entries of the log were lost."] if gone else []


def _torn(rows: list[str | bytes | None]) -> bool:
    try:
        for stored in rows:
            decode(stored)
    except (ValueError, KeyError, TypeError):
        return True
    return False


def _states(con: sqlite3.Connection) -> None:
    """Count again, and keep every label ever used out of further use."""
    for (field_id,) in con.execute("SELECT id FROM field").fetchall():
        highest = con.execute("SELECT max(label) FROM particle WHERE field_id = ?", (field_id,)).fetchone()[0]
        con.execute(
            "INSERT INTO field_state (field_id, revision, next_label, tally) VALUES (?, 1, ?, ?) "
            "ON CONFLICT (field_id) DO UPDATE SET revision = revision + 1, tally = excluded.tally, "
            "next_label = max(next_label, excluded.next_label)",
            (field_id, (highest or 0) + 1, to_json(tally(con, field_id))),
        )
