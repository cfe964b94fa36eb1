"""Rows of a table kept as XLSX or Parquet, as the texts a CSV file would hold.

What is read so goes through the same checks as a CSV table. XLSX is a zip archive of XML (ISO/IEC 29500-1);
only what a table needs of it is read: the names of its sheets, shared texts, and cells.
"""

import struct
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import IO, TYPE_CHECKING

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

from measure.errors import InvalidInput

Row = tuple[int, list[str]]  # its number in the file, from 1, and its cells

_MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
_LINKED = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"
_LARGEST_BYTES = 4 * 2**30  # unpacked; more is no table but a trap
_MOST_COLUMNS = 2000
# what reading a damaged archive may raise; RuntimeError where it is locked by a password
_DAMAGE = (zipfile.BadZipFile, zlib.error, struct.error, EOFError, RuntimeError)


def is_workbook(path: Path) -> bool:
    """Tell an XLSX file by its first bytes."""
    return _begins(path, b"PK\x03\x04")


def is_parquet(path: Path) -> bool:
    """Tell a Parquet file by its first bytes."""
    return _begins(path, b"PAR1")


def is_study(path: Path) -> bool:
    """Tell a study, which is an SQLite file, by its first bytes."""
    return _begins(path, b"SQLite format 3\0")


def _begins(path: Path, mark: bytes) -> bool:
    with path.open("rb") as file:
        return file.read(len(mark)) == mark


def workbook_rows(path: Path, sheet: str) -> Iterator[Row]:
    """Yield the rows of a sheet of a workbook, of its first sheet where none has the name.

    Parameters
    ----------
    path : path
    sheet : str
        Name of the sheet wanted.

    Yields
    ------
    int, list of str
        Row number and cells; numbers as a computer writes them.

    Raises
    ------
    InvalidInput
        If the file is no workbook, or damaged.
    """
    from xml.etree.ElementTree import ParseError

    try:
        with zipfile.ZipFile(path) as book:
            if sum(part.file_size for part in book.infolist()) > _LARGEST_BYTES:
                raise InvalidInput(f"'{path.name}' unpacks to more than 4 GB; export the table as CSV.")
            texts = _shared_texts(book)
            with book.open(_sheet_part(book, sheet)) as part:
                yield from _rows(part, texts, path)
    except (*_DAMAGE, ParseError, KeyError, ValueError, IndexError):
        raise InvalidInput(
            f"'{path.name}' is not a whole XLSX workbook; export the table as CSV and try again."
        ) from None


def workbook_has(path: Path, sheet: str) -> bool:
    """Whether a workbook has a sheet of this name."""
    try:
        with zipfile.ZipFile(path) as book:
            return sheet in _sheet_names(book)
    except (*_DAMAGE, KeyError, SyntaxError, ValueError):
        return False


def parquet_rows(path: Path) -> Iterator[Row]:
    """Yield the rows of a Parquet file, its column names first.

    Raises
    ------
    InvalidInput
        If the package that reads Parquet is not installed, or the file is damaged.
    """
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError as error:
        raise InvalidInput(
            f"'{path.name}' is a Parquet table, which needs one more package: install Gritline with its "
            "extra named parquet, or export the table as CSV."
        ) from error
    try:
        with pq.ParquetFile(path) as file:
            yield 1, list(file.schema_arrow.names)
            number = 1
            for batch in file.iter_batches(5000):
                columns = [[_text(value) for value in column.to_pylist()] for column in batch.columns]
                for cells in zip(*columns, strict=True):
                    number += 1
                    yield number, list(cells)
    except (pa.ArrowException, OSError, ValueError):
        raise InvalidInput(
            f"'{path.name}' is not a whole Parquet table; export the table as CSV and try again."
        ) from None


def _text(value: object) -> str:
    if value is None or value != value:  # not a number
        return ""
    return str(int(value)) if isinstance(value, bool) else str(value)


def _sheet_names(book: zipfile.ZipFile) -> dict[str, str]:
    """Names of the sheets in their order, with the id of the part each is kept in."""
    from xml.etree.ElementTree import fromstring

    found = fromstring(book.read("xl/workbook.xml")).iter(f"{_MAIN}sheet")
    return {str(one.get("name")): str(one.get(_LINKED)) for one in found}


def _sheet_part(book: zipfile.ZipFile, sheet: str) -> str:
    from xml.etree.ElementTree import fromstring

    names = _sheet_names(book)
    wanted = names.get(sheet) or next(iter(names.values()))
    for link in fromstring(book.read("xl/_rels/workbook.xml.rels")):
        if link.get("Id") == wanted:
            target = str(link.get("Target"))
            return target.lstrip("/") if target.startswith("/") else f"xl/{target}"
    raise KeyError(wanted)


def _shared_texts(book: zipfile.ZipFile) -> list[str]:
    from xml.etree.ElementTree import iterparse

    if "xl/sharedStrings.xml" not in book.namelist():
        return []
    texts = []
    with book.open("xl/sharedStrings.xml") as part:
        for _, one in iterparse(part):
            if one.tag == f"{_MAIN}si":
                texts.append("".join(t.text or "" for t in one.iter(f"{_MAIN}t")))
                one.clear()
    return texts


def _rows(part: IO[bytes], texts: list[str], path: Path) -> Iterator[Row]:
    from xml.etree.ElementTree import iterparse

    number = 0
    for _, row in iterparse(part):
        if row.tag != f"{_MAIN}row":
            continue
        number = int(row.get("r") or number + 1)
        cells: list[str] = []
        for cell in row.iter(f"{_MAIN}c"):
            place = _column(cell.get("r") or "", len(cells))
            if place >= _MOST_COLUMNS:
                raise InvalidInput(f"'{path.name}' row {number} has more than {_MOST_COLUMNS} columns.")
            cells += [""] * (place - len(cells))
            cells.append(_cell(cell.get("t") or "n", cell, texts))
        yield number, cells
        row.clear()


def _column(name: str, following: int) -> int:
    """Place of a cell named as in ``AB12``, from 0; the next one where it has no name."""
    letters = [ord(sign) - 64 for sign in name if "A" <= sign <= "Z"]
    place = 0
    for letter in letters:
        place = 26 * place + letter
    return place - 1 if letters else following


def _cell(kind: str, cell: "Element", texts: list[str]) -> str:
    if kind == "inlineStr":
        return "".join(t.text or "" for t in cell.iter(f"{_MAIN}t"))
    value = cell.findtext(f"{_MAIN}v") or ""
    return texts[int(value)] if kind == "s" and value else value
