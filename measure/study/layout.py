"""Whether the tables of a file are those of a study: damage and strangers may have changed them."""

import functools
import sqlite3

from measure.study import schema

# what a column is: type, not null, default, place in the primary key, hidden
_Column = tuple[str, int, object, int, int]
_NEEDED = {"id", "field_id", "label", "kind", "set_aside", "flags", "outline_pack", "outline_index"}


def misfit(con: sqlite3.Connection) -> str:
    """Return what of a study of the present format is not as it should be; empty text when all is."""
    for table, wanted in _expected().items():
        found = _described(con, table)
        if not found["columns"]:
            return f"it lacks {table}"
        good = _same_particle_columns if table == "particle" else dict.__eq__
        if not good(found["columns"], wanted["columns"]) or found["rest"] != wanted["rest"]:
            return f"its {table.replace('_', ' ')} table is not one of a study"
        if not _rules_hold(con, table):
            return f"the rules of its {table.replace('_', ' ')} table cannot be read"
    return ""


def _rules_hold(con: sqlite3.Connection, table: str) -> bool:
    """Whether adding and removing a row can be prepared: that reads every check and reference."""
    try:
        con.execute(f"EXPLAIN INSERT INTO {table} DEFAULT VALUES").close()
        con.execute(f"EXPLAIN DELETE FROM {table}").close()
    except sqlite3.OperationalError as error:
        if getattr(error, "sqlite_errorcode", None) == sqlite3.SQLITE_ERROR:
            return False
        raise
    return True


def _same_particle_columns(found: dict[str, _Column], wanted: dict[str, _Column]) -> bool:
    """Columns measured for a while may be more or fewer than today's; they are plain and may be blank."""
    plain = all(
        name.isidentifier()
        and name == name.lower()
        and column[0] in ("REAL", "INTEGER", "TEXT")
        and column[1:] == (0, None, 0, 0)
        for name, column in found.items()
        if name not in wanted
    )
    return (
        plain and found.keys() >= _NEEDED and all(found[n] == wanted[n] for n in found.keys() & wanted.keys())
    )


@functools.cache
def _expected() -> dict[str, dict]:
    con = sqlite3.connect(":memory:", isolation_level=None)
    try:
        schema.lay_out(con)
        return {table: _described(con, table) for table in schema.TABLES}
    finally:
        con.close()


def _described(con: sqlite3.Connection, table: str) -> dict:
    columns = {row[1]: tuple(row[2:7]) for row in con.execute(f"PRAGMA table_xinfo({table})")}
    indexes = sorted(tuple(row[1:5]) for row in con.execute(f"PRAGMA index_list({table})"))
    kinds = [row[2:6] for row in con.execute(f"PRAGMA table_list({table})") if row[0] == "main"]
    strict = [(kind, without_rowid, strict) for kind, _, without_rowid, strict in kinds]
    return {"columns": columns, "rest": (indexes, strict)}
