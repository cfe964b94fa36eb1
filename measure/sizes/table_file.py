"""Reading a table of sizes from CSV, XLSX or Parquet, with every fault named by file, row and column."""

import csv
import io
import math
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TextIO

import numpy as np

from measure.cell_text import unquoted
from measure.errors import InvalidInput
from measure.sizes.number_marks import NumberMarks, with_point
from measure.sizes.table_formats import Row, is_parquet, is_study, is_workbook, parquet_rows, workbook_rows

REQUIRED = "area_equivalent_diameter_um"
SHEET = "particles"  # of a workbook
_UNITS = ("µm", "um", "[µm]", "(µm)")  # below the names of a workbook's columns
# column -> smallest value allowed ("above" 0 or "from" 0); blanks allowed?
_NUMBERS: dict[str, tuple[str, bool]] = {
    REQUIRED: ("above", False),
    "count": ("from", False),
    "counted": ("from", False),
    "touches_frame": ("from", True),
    "frame_weight": ("from", True),
    "volume_um3": ("above", True),
    "size_uncertainty_um": ("from", True),
    "smallest_um": ("from", True),
    "scale_relative_uncertainty": ("from", True),
    "um_per_px": ("above", True),
    "centre_x_px": ("from", True),
    "centre_y_px": ("from", True),
}
_WORDS = ("batch", "field", "kind", "set_aside_reason")
# what else a particle table may tell of a piece; sizes do not need it
_MORE_NUMBERS: dict[str, tuple[str, bool]] = {
    **dict.fromkeys(("particle", "parent", "perimeter_um", "solidity", "edge_width_px"), ("from", True)),
    "convexity": ("from", True),
    **dict.fromkeys(("feret_max_um", "feret_min_um", "doubt", "kind_doubt", "kind_by_hand"), ("from", True)),
    **dict.fromkeys(("feret_horizontal_um", "feret_vertical_um", "straightness"), ("from", True)),
    **dict.fromkeys(("mean_red", "mean_green", "mean_blue"), ("from", True)),
    **dict.fromkeys(("lightness_step", "green_red_step", "blue_yellow_step"), ("any", True)),
}
_MORE_WORDS = ("flags", "origin")
# numbers beyond these are slips: a size of ten metres, a volume of its cube, and what no table counts
_LARGEST, _LARGEST_OTHER = {REQUIRED: 1e7, "volume_um3": 1e21}, 1e12
_CHUNK = 5_000  # rows held as text at a time: 45 cells of text take 3 kB a row
_BLOCK = 1 << 20  # letters looked through at a time
_MISSING = ("", "nan", "na", "n/a", "none", "null", "-")


def read_sizes_table(path: Path | str, *, whole: bool = False) -> dict[str, np.ndarray]:
    """Read the columns of a particle table that sizes are made from.

    Parameters
    ----------
    path : path
        CSV, separated by comma, semicolon or tab; decimal point, or decimal comma where the separator is not
        the comma, with or without thousands marks, as `measure.sizes.number_marks` tells from all numbers;
        UTF-8 with or without a byte order mark. Or a workbook (XLSX: its sheet "particles", else its first)
        or a Parquet file, told by their first bytes. Other columns are passed over.
    whole : bool
        Also read what else a particle table tells of each piece: shape, colour, flags.

    Returns
    -------
    dict of str to (N,) ndarray
        Numbers as float, texts as object.

    Raises
    ------
    InvalidInput
        Naming the file, and the row and column where there is one: no such file or column, nothing in it, a
        size that is missing, not a number, not finite or not above 0, or a number that can be read in two
        ways.
    """
    path = Path(path)
    try:
        if is_workbook(path):
            return _read_rows(path, workbook_rows(path, SHEET), whole)
        if is_parquet(path):
            return _read_rows(path, parquet_rows(path), whole)
        with path.open(encoding="utf-8-sig", newline="") as file:
            return _read(path, file, whole)
    except FileNotFoundError:
        raise InvalidInput(f"There is no file '{path}'.") from None
    except IsADirectoryError:
        raise InvalidInput(f"'{path}' is a folder; name the table in it, such as particles.csv.") from None
    except (UnicodeDecodeError, csv.Error):
        if is_study(path):
            raise InvalidInput(
                f"'{path.name}' is a study; write its tables with: gritline export {path.name} --out DIR"
            ) from None
        raise InvalidInput(
            f"'{path.name}' is not a CSV table in UTF-8; export it as CSV and try again."
        ) from None
    except OSError as error:
        raise InvalidInput(f"'{path}' cannot be read: {error.strerror}.") from None


def _read_rows(path: Path, rows: Iterator[Row], whole: bool) -> dict[str, np.ndarray]:
    """Read a workbook or a Parquet file: the row of names, then, in our own workbooks, one of units."""
    names = next((cells for _, cells in rows if any(cells)), [])
    if not names:
        raise InvalidInput(f"'{path.name}' is empty; a table needs a heading row with '{REQUIRED}'.")
    names = [name.strip() for name in names]
    places = _places(path, names, whole)
    units = places[REQUIRED]
    filled = ((number, cells + [""] * (len(names) - len(cells))) for number, cells in rows)
    sized = ((number, cells) for number, cells in filled if cells[units] not in _UNITS)
    return _table(path, places, _chunks(sized, path, max(places.values()), len(names)))


def _read(path: Path, file: TextIO, whole: bool) -> dict[str, np.ndarray]:
    above, head = 1, file.readline()
    while head and not head.strip():  # blank lines above the heading
        above, head = above + 1, file.readline()
    if not head:
        raise InvalidInput(f"'{path.name}' is empty; a table needs a heading row with '{REQUIRED}'.")
    delimiter = _delimiter(head)
    if head.lstrip()[0] in "{[":
        raise InvalidInput(f"'{path.name}' is no table; name a CSV table such as particles.csv.")
    names = [name.strip() for name in next(csv.reader([head], delimiter=delimiter))]
    places = _places(path, names, whole)
    body, decimal = (file, None) if delimiter == "," else _with_decimal(path, file, delimiter, names, above)
    reader = csv.reader(body, delimiter=delimiter)
    rows = ((reader.line_num + above, row) for row in reader)
    chunks = _chunks(rows, path, max(places.values()), len(names))
    return _table(path, places, chunks, decimal)


def _with_decimal(
    path: Path, file: TextIO, delimiter: str, names: list[str], above: int
) -> tuple[TextIO, str]:
    """Return what is left of a file, ready to be read, and the decimal mark of its numbers."""
    body = file if file.seekable() else io.StringIO(file.read(), newline="")
    start = body.tell()
    if not any("," in block for block in iter(lambda: body.read(_BLOCK), "")):
        body.seek(start)
        return body, "."  # soon told of a long table
    body.seek(start)
    known = {**_NUMBERS, **_MORE_NUMBERS}
    words = (*_WORDS, *_MORE_WORDS)
    columns = [(name, place, name in known) for place, name in enumerate(names) if name not in words]
    marks = NumberMarks(path.name)
    reader = csv.reader(body, delimiter=delimiter)
    for row in reader:
        for name, place, read in columns:
            if place < len(row):
                marks.look(reader.line_num + above, name, row[place], read=read)
    body.seek(start)
    return body, marks.decimal()


def _places(path: Path, names: list[str], whole: bool) -> dict[str, int]:
    """Return where the columns wanted stand in a heading."""
    if REQUIRED not in names:
        shown = ", ".join(n for n in names[:8] if n) + (", ..." if len(names) > 8 else "")
        raise InvalidInput(f"'{path.name}' has no column '{REQUIRED}'; its columns are {shown or 'unnamed'}.")
    known = (*_NUMBERS, *_WORDS, *((*_MORE_NUMBERS, *_MORE_WORDS) if whole else ()))
    wanted = [name for name in known if name in names]
    for name in wanted:
        if names.count(name) > 1:
            raise InvalidInput(f"'{path.name}' has the column '{name}' twice; keep one.")
    return {name: names.index(name) for name in wanted}


def _table(
    path: Path,
    places: dict[str, int],
    chunks: Iterator[tuple[list[int], list[list[str]]]],
    decimal: str | None = None,
) -> dict[str, np.ndarray]:
    parts: dict[str, list[np.ndarray]] = {name: [] for name in places}
    for lines, rows in chunks:
        for name, place in places.items():
            texts = [row[place] for row in rows]
            parts[name].append(_column(path, name, texts, lines, decimal))
    table = {name: np.concatenate(values) for name, values in parts.items() if values}
    if not table:
        raise InvalidInput(f"'{path.name}' has a heading but no rows, so there are no sizes.")
    return table


def _delimiter(head: str) -> str:
    counts = {mark: head.count(mark) for mark in (";", "\t", ",")}
    best = max(counts, key=lambda mark: counts[mark])
    return best if counts[best] else ","


def _chunks(
    numbered: Iterable[Row], path: Path, last: int, columns: int
) -> Iterator[tuple[list[int], list[list[str]]]]:
    """Yield line numbers and rows, some thousands at a time; rows without a filled cell are passed over."""
    lines: list[int] = []
    rows: list[list[str]] = []
    for number, row in numbered:
        # spreadsheets end a table with rows of separators alone; most rows are known by their first cells
        if not any(cell and not cell.isspace() for cell in row):
            continue
        if len(row) <= last:
            raise InvalidInput(
                f"'{path.name}' row {number}: "
                f"too few cells, {len(row)} where the heading asks for at least {last + 1}."
            )
        if len(row) > columns and any(cell.strip() for cell in row[columns:]):
            # each cell after the surplus one would be read as that of another column
            raise InvalidInput(
                f"'{path.name}' row {number}: too many cells, {len(row)} where the heading "
                f"names {columns}. Numbers with a decimal comma need semicolons between the columns."
            )
        rows.append(row)
        lines.append(number)
        if len(rows) == _CHUNK:
            yield lines, rows
            lines, rows = [], []
    if rows:
        yield lines, rows


def _column(path: Path, name: str, texts: list[str], lines: list[int], decimal: str | None) -> np.ndarray:
    """Numbers or words of a column; without a decimal mark only plain numbers are any."""
    if name in _WORDS or name in _MORE_WORDS:
        column = np.empty(len(texts), dtype=object)
        same: dict[str, str] = {}  # a table repeats its few words in every row: one copy of each will do
        column[:] = [same.setdefault(word, word) for word in (unquoted(text.strip()) for text in texts)]
        return column
    if decimal == "." and not any("," in text for text in texts):
        decimal = None
    if decimal is not None:
        texts = [with_point(text, decimal) for text in texts]
    try:
        values = np.array(texts, dtype=float)
    except ValueError:
        values = _slow_column(path, name, texts, lines)
    _check_values(path, name, values, lines)
    return values


def _slow_column(path: Path, name: str, texts: list[str], lines: list[int]) -> np.ndarray:
    _, blank_allowed = _rule(name)
    values = np.empty(len(texts))
    for i, text in enumerate(texts):
        cell = text.strip()
        if cell.lower() in _MISSING:
            if not blank_allowed and cell == "":
                raise InvalidInput(f"'{path.name}' row {lines[i]}, column '{name}': no value.")
            values[i] = math.nan
            continue
        try:
            values[i] = float({"true": "1", "false": "0", "yes": "1", "no": "0"}.get(cell.lower(), cell))
        except ValueError:
            shown = " ".join(cell.split())[:30]
            raise InvalidInput(
                f"'{path.name}' row {lines[i]}, column '{name}': '{shown}' is not a number."
            ) from None
    return values


def _check_values(path: Path, name: str, values: np.ndarray, lines: list[int]) -> None:
    bound, blank_allowed = _rule(name)
    low = values <= 0 if bound == "above" else (values < 0) & (bound == "from")
    bad = low | np.isinf(values) | (np.isnan(values) & (not blank_allowed))
    if bad.any():
        i = int(np.flatnonzero(bad)[0])
        raise InvalidInput(
            f"'{path.name}' row {lines[i]}, column '{name}': {values[i]:g} is not possible; "
            f"{_NEEDED[bound]} is needed."
        )
    huge = np.abs(values) > _LARGEST.get(name, _LARGEST_OTHER)
    if huge.any():
        i = int(np.flatnonzero(huge)[0])
        raise InvalidInput(
            f"'{path.name}' row {lines[i]}, column '{name}': {values[i]:g} is too large to be true; check "
            "the number and its unit."
        )


def _rule(name: str) -> tuple[str, bool]:
    return _NUMBERS[name] if name in _NUMBERS else _MORE_NUMBERS[name]


_NEEDED = {"above": "a number above 0", "from": "a number of 0 or above", "any": "a finite number"}
