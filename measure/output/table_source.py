"""Reading a particle table, and the table of fields beside it, to take them into a study."""

import csv
import hashlib
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from measure.cell_text import unquoted
from measure.errors import InvalidInput
from measure.model import FieldQuality
from measure.sizes.number_marks import NumberMarks, with_point
from measure.sizes.table_file import read_sizes_table
from measure.sizes.table_formats import is_workbook, workbook_has, workbook_rows

FIELDS_NAME = "fields.csv"
_FIELDS_SHEET = "fields"  # of a workbook
_LARGEST_PX = 400_000
_NUMBERS: tuple[str, ...] = (
    "width_px",
    "height_px",
    "um_per_px",
    "scale_uncertainty_um_per_px",
    "smallest_um",
)
_NUMBERS += ("found", "cover", "contacts_expected", "noise", "focus_px", "clipped", "unevenness")


@dataclass(frozen=True)
class FieldFacts:
    """What a table of fields tells of one.

    Attributes
    ----------
    width_px, height_px : int
        Size of its picture.
    um_per_px, relative, smallest_um : float or None
        Scale, its relative standard uncertainty, and lower limit, where told.
    empty : bool
        Nothing was found on it.
    quality : FieldQuality or None
    """

    batch: str
    field: str
    width_px: int
    height_px: int
    um_per_px: float | None = None
    relative: float | None = None
    smallest_um: float | None = None
    empty: bool = False
    quality: FieldQuality | None = None


@dataclass(frozen=True)
class TableSource:
    """A table read whole, ready to be taken in.

    Attributes
    ----------
    name, sha256 : str
        Of its file.
    columns : mapping of str to (N,) ndarray
    facts : tuple of FieldFacts
        Of its fields; empty without a table of fields.
    """

    name: str
    sha256: str
    columns: Mapping[str, np.ndarray]
    facts: tuple[FieldFacts, ...] = ()

    @property
    def mark(self) -> str:
        """The sentence by which a field taken in tells its source."""
        return f"Taken from the table {self.name}, SHA-256 {self.sha256}; there is no picture."


def read_table(path: Path | str, fields: Path | str | None = None) -> TableSource:
    """Read a particle table and what is known of its fields.

    Parameters
    ----------
    path : path
        Any table `measure.sizes.table_file.read_sizes_table` reads.
    fields : path, optional
        Table of fields as Gritline writes it. Without it a workbook's own sheet of fields, or a fields.csv in
        the same folder, is used where it tells of every field of the table.

    Raises
    ------
    InvalidInput
        If a table cannot be used; the sentence names the file, and the row where there is one.
    """
    path = Path(path)
    columns = read_sizes_table(path, whole=True)
    sha256 = hashlib.sha256(path.read_bytes()).hexdigest()
    source = TableSource(path.name, sha256, columns)
    beside = path if _tells_of_fields(path) else path.with_name(FIELDS_NAME)
    if fields is not None:
        facts = read_fields_table(fields)
        missing = [name for name in _field_names(columns) if name not in {f.field for f in facts}]
        if missing:
            raise InvalidInput(f"'{Path(fields).name}' does not tell of the field '{missing[0]}'.")
    elif "field" in columns and beside.is_file() and (beside != path or _tells_of_fields(path)):
        facts = read_fields_table(beside)
        if not set(_field_names(columns)) <= {f.field for f in facts}:
            return source
    else:
        return source
    return TableSource(path.name, sha256, columns, facts)


def _tells_of_fields(path: Path) -> bool:
    """Whether a table is a workbook with a sheet of its fields, as Gritline writes it."""
    return is_workbook(path) and workbook_has(path, _FIELDS_SHEET)


def read_fields_table(path: Path | str) -> tuple[FieldFacts, ...]:
    """Read a table of fields: at least the columns field, width_px and height_px.

    Raises
    ------
    InvalidInput
        If it cannot be read, lacks a column, a size is not possible, or a number can be read in two ways.
    """
    path = Path(path)
    if path.is_file() and is_workbook(path):
        return _facts_of_rows(path, _workbook_dicts(path))
    try:
        text = path.read_text(encoding="utf-8-sig")
        head = text.partition("\n")[0]
        delimiter = max(",;\t", key=head.count)
        rows = list(csv.DictReader(text.splitlines(), delimiter=delimiter))
    except OSError as error:
        raise InvalidInput(f"'{path}' cannot be read: {error.strerror}.") from None
    except (UnicodeDecodeError, csv.Error):
        raise InvalidInput(f"'{path.name}' is not a CSV table in UTF-8; export it as CSV.") from None
    return _facts_of_rows(path, list(enumerate(rows, start=2)))


def _workbook_dicts(path: Path) -> list[tuple[int, dict[str, str]]]:
    """Rows of the sheet of fields by column, without the row of units."""
    rows = workbook_rows(path, _FIELDS_SHEET)
    names = next(rows, (1, []))[1]
    found = [(number, dict(zip(names, cells, strict=False))) for number, cells in rows]
    return [(number, row) for number, row in found if row.get("width_px") != "px"]


def _facts_of_rows(path: Path, rows: Sequence[tuple[int, Mapping[str, object]]]) -> tuple[FieldFacts, ...]:
    for name in ("field", "width_px", "height_px"):
        if not rows or name not in rows[0][1]:
            raise InvalidInput(f"'{path.name}' is no table of fields: it has no column '{name}' or no rows.")
    marks = NumberMarks(path.name)
    for place, row in rows:
        for name in _NUMBERS:
            marks.look(place, name, str(row.get(name) or ""))
    decimal = marks.decimal()
    return tuple(_facts(path, place, row, decimal) for place, row in rows)


def _facts(path: Path, place: int, row: Mapping[str, object], decimal: str) -> FieldFacts:
    cells = {name: _number(row.get(name), decimal) for name in _NUMBERS}
    for name in ("width_px", "height_px"):
        if not 1 <= cells[name] <= _LARGEST_PX or cells[name] % 1:
            raise InvalidInput(f"'{path.name}' row {place}, column '{name}': no size in whole px above 0.")
    um_per_px, spread = _above(cells["um_per_px"]), _above(cells["scale_uncertainty_um_per_px"])
    return FieldFacts(
        batch=unquoted(str(row.get("batch") or "").strip()),
        field=unquoted(str(row.get("field") or "").strip()),
        width_px=int(cells["width_px"]),
        height_px=int(cells["height_px"]),
        um_per_px=um_per_px,
        relative=spread / um_per_px if um_per_px and spread else None,
        smallest_um=_above(cells["smallest_um"]),
        empty=cells["found"] == 0,
        quality=_quality(cells),
    )


def _quality(cells: Mapping[str, float]) -> FieldQuality | None:
    names = ("cover", "contacts_expected", "noise", "focus_px", "clipped", "unevenness")
    cover, contacts, noise, focus, clipped, uneven = (cells[name] for name in names)
    if not all(map(math.isfinite, (cover, contacts, noise, clipped, uneven))):
        return None
    # the colour of the oil stands in no table
    return FieldQuality(cover, contacts, noise, (math.nan,) * 3, focus, clipped, uneven)


def _number(cell: object, decimal: str) -> float:
    try:
        return float(with_point(str(cell).strip(), decimal))
    except ValueError:
        return math.nan


def _above(value: float) -> float | None:
    return value if math.isfinite(value) and value > 0 else None


def _field_names(columns: Mapping[str, np.ndarray]) -> Sequence[str]:
    return list(dict.fromkeys(unquoted(str(name)) for name in columns.get("field", ())))
