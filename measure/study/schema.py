"""The tables of a study file, its format number, and the steps from older formats to this one.

The format number is major.minor. A newer major is not opened at all, a newer minor only for reading.
Changing a table means: raise the number, add a named step to `MIGRATIONS`, and keep a sample file of the
format left behind in tests/measure/study/study_files.
"""

import sqlite3
from collections.abc import Callable

from measure.particles import COLUMNS

APPLICATION_ID = 0x47724C6E  # "GrLn"
MAJOR, MINOR = 1, 0
SUFFIX = ".gritline"

_DDL = """
-- pictures exactly as they came; rows are only ever added, so undo needs no second copy
CREATE TABLE picture (
    id INTEGER PRIMARY KEY AUTOINCREMENT, sha256 TEXT NOT NULL UNIQUE, data BLOB NOT NULL) STRICT;
-- outlines of up to 512 particles, see outline_pack.py; rows are only ever added
CREATE TABLE outline_pack (id INTEGER PRIMARY KEY AUTOINCREMENT, data BLOB NOT NULL) STRICT;
CREATE TABLE scale (
    id INTEGER PRIMARY KEY AUTOINCREMENT, um_per_px REAL NOT NULL CHECK (um_per_px > 0),
    standard_uncertainty_um_per_px REAL NOT NULL, zoom TEXT NOT NULL, width_px INTEGER, height_px INTEGER,
    division_um REAL, angle_deg REAL, graduations INTEGER, residual_px REAL, certificate_um REAL,
    coverage_factor REAL, made TEXT NOT NULL, method TEXT NOT NULL, notes TEXT NOT NULL,
    picture_id INTEGER REFERENCES picture (id), picture_name TEXT NOT NULL, fit TEXT) STRICT;
CREATE TABLE batch (
    id INTEGER PRIMARY KEY AUTOINCREMENT, name TEXT NOT NULL, recipe TEXT NOT NULL,
    mill_setting TEXT NOT NULL, passes REAL, minutes REAL, notes TEXT NOT NULL) STRICT;
CREATE TABLE slide (
    id INTEGER PRIMARY KEY AUTOINCREMENT, batch_id INTEGER NOT NULL REFERENCES batch (id),
    name TEXT NOT NULL, dilution REAL, oil TEXT NOT NULL, film_um REAL, notes TEXT NOT NULL) STRICT;
CREATE TABLE field (
    id INTEGER PRIMARY KEY AUTOINCREMENT, name TEXT NOT NULL, role TEXT NOT NULL,
    picture_id INTEGER REFERENCES picture (id),
    batch_id INTEGER REFERENCES batch (id), scale_id INTEGER REFERENCES scale (id),
    slide_id INTEGER REFERENCES slide (id), blank_id INTEGER REFERENCES field (id),
    width_px INTEGER NOT NULL, height_px INTEGER NOT NULL, note TEXT NOT NULL,
    zones TEXT NOT NULL, result TEXT) STRICT;
-- kept outside undo, so that a label or a revision is never used twice
CREATE TABLE field_state (
    field_id INTEGER PRIMARY KEY, revision INTEGER NOT NULL, next_label INTEGER NOT NULL,
    tally TEXT NOT NULL) STRICT;
-- id is field_id * 2**32 + label: the particles of a field lie together
CREATE TABLE particle (
    id INTEGER PRIMARY KEY, field_id INTEGER NOT NULL REFERENCES field (id),
    {particle_columns},
    outline_pack INTEGER NOT NULL REFERENCES outline_pack (id), outline_index INTEGER NOT NULL,
    CHECK (id = field_id * 4294967296 + label)) STRICT;
CREATE INDEX particle_tally ON particle (field_id, kind, set_aside, flags);
CREATE TABLE tasting (
    id INTEGER PRIMARY KEY AUTOINCREMENT, kind TEXT NOT NULL, name TEXT NOT NULL, made TEXT NOT NULL,
    batch_ids TEXT NOT NULL, plan TEXT NOT NULL, results TEXT NOT NULL, closed INTEGER NOT NULL) STRICT;
CREATE TABLE spot_check (
    id INTEGER PRIMARY KEY AUTOINCREMENT, name TEXT NOT NULL, made TEXT NOT NULL,
    batch_ids TEXT NOT NULL, plan TEXT NOT NULL, results TEXT NOT NULL, closed INTEGER NOT NULL) STRICT;
CREATE TABLE setting (
    id INTEGER PRIMARY KEY AUTOINCREMENT, name TEXT NOT NULL UNIQUE, value TEXT NOT NULL) STRICT;
-- where the window was; neither undone nor logged
CREATE TABLE view_state (name TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT;
-- the audit trail: one row an action; state is done, undone, dropped, note or rescued
CREATE TABLE edit (
    id INTEGER PRIMARY KEY AUTOINCREMENT, made TEXT NOT NULL, who TEXT NOT NULL, text TEXT NOT NULL,
    state TEXT NOT NULL, refers_to INTEGER) STRICT;
CREATE INDEX edit_state ON edit (state, id);
-- rows before and after: JSON text where few, packed where many, see row_codec.py
CREATE TABLE edit_row (
    id INTEGER PRIMARY KEY AUTOINCREMENT, edit_id INTEGER NOT NULL REFERENCES edit (id),
    table_name TEXT NOT NULL, operation TEXT NOT NULL, purpose TEXT NOT NULL, field_id INTEGER,
    count INTEGER NOT NULL, old ANY, new ANY) STRICT;
CREATE INDEX edit_row_edit ON edit_row (edit_id);
CREATE INDEX edit_row_field ON edit_row (field_id);
"""

_SQL_TYPES = {"f": "REAL", "i": "INTEGER", "?": "INTEGER", "O": "TEXT"}
# a column new since the file was made is added with the next particles stored; until then it reads as blank
PARTICLE_COLUMNS = {name: _SQL_TYPES[dtype[0]] for name, (dtype, _) in COLUMNS.items()}

# the tables undo may touch
LOGGED = ("scale", "batch", "slide", "field", "particle", "tasting", "spot_check", "setting")
TABLES = (
    "picture",
    "outline_pack",
    "scale",
    "batch",
    "slide",
    "field",
    "field_state",
    "particle",
    "tasting",
    "spot_check",
    "setting",
    "view_state",
    "edit",
    "edit_row",
)

# from (major, minor) -> (name of the step, function that takes the connection to the next number)
Migration = tuple[str, tuple[int, int], Callable[[sqlite3.Connection], None]]
MIGRATIONS: dict[tuple[int, int], Migration] = {}


def user_version(major: int, minor: int) -> int:
    """Return the one number both parts are kept in.

    Examples
    --------
    >>> user_version(1, 2)
    65538
    """
    return major << 16 | minor


def split_version(number: int) -> tuple[int, int]:
    """Return (major, minor) of a stored number.

    Examples
    --------
    >>> split_version(65538)
    (1, 2)
    """
    return number >> 16, number & 0xFFFF


def statements() -> list[str]:
    """Return the statements that make an empty study, in order."""
    columns = ", ".join(f"{name} {kind}" for name, kind in PARTICLE_COLUMNS.items())
    text = _DDL.replace("{particle_columns}", columns)
    lines = [line for line in text.splitlines() if not line.startswith("--")]
    return [part.strip() for part in "\n".join(lines).split(";") if part.strip()]


def columns_of(con: sqlite3.Connection, table: str) -> tuple[str, ...]:
    """Return the columns a table of this file has."""
    return tuple(row[1] for row in con.execute(f"PRAGMA table_info({table})"))


def add_particle_columns(con: sqlite3.Connection) -> None:
    """Add the columns of particles this file lacks, in the open transaction."""
    there = columns_of(con, "particle")
    for name, kind in PARTICLE_COLUMNS.items():
        if name not in there:
            con.execute(f"ALTER TABLE particle ADD COLUMN {name} {kind}")


def lay_out(con: sqlite3.Connection) -> None:
    """Make the tables of an empty study in the open transaction of ``con``."""
    for statement in statements():
        con.execute(statement)
    con.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    con.execute(f"PRAGMA user_version = {user_version(MAJOR, MINOR)}")


def migrate(con: sqlite3.Connection, version: tuple[int, int]) -> list[str]:
    """Take a study through every step to the present format, each in one transaction.

    Returns
    -------
    list of str
        Names of the steps taken.
    """
    taken = []
    while version != (MAJOR, MINOR):
        name, version, step = MIGRATIONS[version]
        con.execute("BEGIN IMMEDIATE")
        try:
            step(con)
            con.execute(f"PRAGMA user_version = {user_version(*version)}")
            con.execute("COMMIT")
        except BaseException:
            if con.in_transaction:
                con.execute("ROLLBACK")
            raise
        taken.append(name)
    return taken
