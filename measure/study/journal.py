"""The only three ways to change rows of a study (insert, update, delete), each logged so it can be undone.

Old and new values go into the same transaction as their effect. Undo and redo read them back; nothing is
held in memory, so both survive closing the file.
"""

import datetime
import getpass
import sqlite3
from collections.abc import Iterator, Sequence

from measure.study import schema
from measure.study.connection import new_row
from measure.study.row_codec import Rows, decode, encode
from measure.study.values import clean_text

LABEL_BITS = 32


def particle_id(field_id: int, label: int) -> int:
    """Return the row id of a particle.

    Examples
    --------
    >>> particle_id(2, 5)
    8589934597
    """
    return field_id << LABEL_BITS | label


def now() -> str:
    """Return the present time, ISO 8601 with the offset from UTC, to the second."""
    return datetime.datetime.now().astimezone().isoformat(timespec="seconds")


def user_name() -> str:
    """Return the name of the person at the computer."""
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):
        return "unknown"


class Journal:
    """Changes rows inside the open transaction and keeps their old and new values.

    Attributes
    ----------
    touched : dict of str to set of int
        Row ids changed in this action, by table. For fields, see also ``moved``.
    moved : set of int
        Fields whose particles, scale, blank or zones changed: results computed before are stale.
    setting_names : set of str
        Names of settings added or removed.
    """

    def __init__(self, con: sqlite3.Connection) -> None:
        self._con = con
        self.who = user_name()
        self.touched: dict[str, set[int]] = {}
        self.moved: set[int] = set()
        self.setting_names: set[str] = set()
        self._text = ""
        self._edit: int | None = None

    def begin(self, text: str) -> None:
        """Start an action; its log entry is written with its first change."""
        self.touched, self.moved, self.setting_names = {}, set(), set()
        self._text, self._edit = clean_text(text), None

    def insert(
        self,
        table: str,
        columns: Sequence[str],
        values: list[tuple],
        *,
        field_id: int | None = None,
        purpose: str = "",
    ) -> list[int]:
        """Add rows and return their ids: those in a first column "id", or else new ones never used before."""
        if not values and not purpose:
            return []
        if columns[0] != "id":
            values = [(self._new_row(table, columns, row), *row) for row in values]
            columns = ("id", *columns)
        else:
            self._write(table, columns, values)
        self._log(table, "insert", field_id, purpose, None, Rows(tuple(columns), values))
        return [row[0] for row in values]

    def update(
        self,
        table: str,
        ids: Sequence[int],
        columns: Sequence[str],
        values: list[tuple],
        *,
        field_id: int | None = None,
    ) -> None:
        """Set columns of rows, one tuple a row; what holds these values already is left alone."""
        before = self._read(table, ids, columns)
        new = {i: (i, *row) for i, row in zip(ids, values, strict=True)}
        old = [row for row in before.values if row != new[row[0]]]
        if not old:
            return
        names = before.columns
        keep = [i for i in range(len(names)) if i == 0 or any(row[i] != new[row[0]][i] for row in old)]
        names = tuple(names[i] for i in keep)
        rows = Rows(names, [tuple(new[row[0]][i] for i in keep) for row in old])
        self._set(table, rows)
        self._log(
            table, "update", field_id, "", Rows(names, [tuple(row[i] for i in keep) for row in old]), rows
        )

    def delete(self, table: str, ids: Sequence[int], *, field_id: int | None = None) -> None:
        """Remove rows; the log keeps them whole."""
        if not ids:
            return
        columns = [name for name in schema.columns_of(self._con, table) if name != "id"]
        before = self._read(table, ids, columns)
        self._con.executemany(f"DELETE FROM {table} WHERE id = ?", [(i,) for i in ids])
        self._log(table, "delete", field_id, "", before, None)

    def undo(self) -> str | None:
        """Take the last action back and return its text; None if there is none."""
        return self._turn("done", "DESC", "undone", "Undo")

    def redo(self) -> str | None:
        """Do the action undone last again and return its text; None if there is none."""
        return self._turn("undone", "ASC", "done", "Redo")

    def next_text(self, state: str) -> str | None:
        """Return the text of the next action to undo (state "done") or redo ("undone")."""
        found = self._next(state, "DESC" if state == "done" else "ASC")
        return found[1] if found else None

    def _next(self, state: str, order: str) -> tuple[int, str] | None:
        query = f"SELECT id, text FROM edit WHERE state = ? ORDER BY id {order} LIMIT 1"
        return self._con.execute(query, (state,)).fetchone()

    def _turn(self, state: str, order: str, new_state: str, word: str) -> str | None:
        found = self._next(state, order)
        if found is None:
            return None
        edit_id, text = found
        self.begin(text)
        rows = self._con.execute(
            "SELECT table_name, operation, field_id, old, new FROM edit_row "
            f"WHERE edit_id = ? ORDER BY id {order}",
            (edit_id,),
        ).fetchall()
        for table, operation, field_id, old, new in rows:
            before, after = decode(old), decode(new)
            wanted, present = (before, after) if word == "Undo" else (after, before)
            self._apply(table, operation, wanted, present)
            self._note(table, field_id, _there(wanted, present))
        self._con.execute("UPDATE edit SET state = ? WHERE id = ?", (new_state, edit_id))
        self._enter(f"{word}: {text}", "note", edit_id)
        return text

    def _apply(self, table: str, operation: str, wanted: Rows | None, present: Rows | None) -> None:
        self.check_log(table, *(rows for rows in (wanted, present) if rows is not None))
        if operation == "update":
            self._set(table, _there(wanted))
        elif wanted is not None:
            self._write(table, wanted.columns, wanted.values)
        else:
            present = _there(present)
            self._con.executemany(f"DELETE FROM {table} WHERE id = ?", [(row[0],) for row in present.values])

    def check_log(self, table: str, *sets: Rows) -> None:
        """Refuse names that are not of this file: a log made by a stranger must not write statements."""
        if table not in schema.LOGGED or not sets:
            raise ValueError("the log names a table that is not there")
        there = set(schema.columns_of(self._con, table))
        if any(rows.columns[0] != "id" or not set(rows.columns) <= there for rows in sets):
            raise ValueError("the log names a column that is not there")

    def _new_row(self, table: str, columns: Sequence[str], row: tuple) -> int:
        marks = ", ".join("?" * len(columns))
        query = f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({marks})"
        return new_row(self._con, query, row)

    def _write(self, table: str, columns: Sequence[str], values: list[tuple]) -> None:
        marks = ", ".join("?" * len(columns))
        self._con.executemany(f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({marks})", values)

    def _set(self, table: str, rows: Rows) -> None:
        assignments = ", ".join(f"{name} = ?" for name in rows.columns[1:])
        values = [(*row[1:], row[0]) for row in rows.values]
        self._con.executemany(f"UPDATE {table} SET {assignments} WHERE id = ?", values)

    def _read(self, table: str, ids: Sequence[int], columns: Sequence[str]) -> Rows:
        names = ("id", *columns)
        listed = ", ".join(f'"{name}"' for name in names)
        query = f"SELECT {listed} FROM {table}"
        if len(ids) > 500:  # one walk over a span is quicker than many look-ups
            wanted = set(ids)
            span = self._con.execute(f"{query} WHERE id BETWEEN ? AND ?", (min(ids), max(ids)))
            return Rows(names, [row for row in span if row[0] in wanted])
        marks = ", ".join("?" * len(ids))
        return Rows(names, self._con.execute(f"{query} WHERE id IN ({marks})", list(ids)).fetchall())

    def _log(
        self,
        table: str,
        operation: str,
        field_id: int | None,
        purpose: str,
        old: Rows | None,
        new: Rows | None,
    ) -> None:
        if self._edit is None:
            self._con.execute("UPDATE edit SET state = 'dropped' WHERE state = 'undone'")
            self._edit = self._enter(self._text, "done", None)
        for own, before, after in _by_field(table, field_id, old, new):
            self._con.execute(
                "INSERT INTO edit_row (edit_id, table_name, operation, purpose, field_id, count, old, new) "
                "VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                (
                    self._edit,
                    table,
                    operation,
                    purpose,
                    own,
                    len(_there(after, before).values),
                    encode(before),
                    encode(after),
                ),
            )
        self._note(table, field_id, _there(new, old))

    def _enter(self, text: str, state: str, refers_to: int | None) -> int:
        query = "INSERT INTO edit (made, who, text, state, refers_to) VALUES (?, ?, ?, ?, ?)"
        return new_row(self._con, query, (now(), self.who, text, state, refers_to))

    def _note(self, table: str, field_id: int | None, rows: Rows) -> None:
        self.touched.setdefault(table, set()).update(row[0] for row in rows.values)
        if table == "particle":
            if field_id is None:
                raise ValueError("the log names no field of the particles")
            self.moved.add(field_id)
        elif table == "field" and {"scale_id", "blank_id", "zones", "result"} & set(rows.columns):
            self.moved.update(row[0] for row in rows.values)
        elif table == "setting" and "name" in rows.columns:
            self.setting_names.update(row[rows.columns.index("name")] for row in rows.values)


def _there(*sets: Rows | None) -> Rows:
    """Return the first rows there are; a log made by a stranger may hold none."""
    for rows in sets:
        if rows is not None:
            return rows
    raise ValueError("the log holds no rows")


def _by_field(
    table: str, field_id: int | None, old: Rows | None, new: Rows | None
) -> Iterator[tuple[int | None, Rows | None, Rows | None]]:
    """Take rows of the field table apart, so that the log can be read field by field."""
    if table != "field":
        yield field_id, old, new
        return
    for place, row in enumerate(_there(new, old).values):
        yield (
            row[0],
            old and Rows(old.columns, [old.values[place]]),
            new and Rows(new.columns, [new.values[place]]),
        )
