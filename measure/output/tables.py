"""Tables to CSV, XLSX and Parquet, and the particle table back again.

A table is an ordered mapping of column names to equally long sequences. Every file is written whole or
not at all.
"""

import csv
import io
import itertools
import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from xlsxwriter.worksheet import Worksheet

from measure.cell_text import safe_text
from measure.errors import InvalidInput
from measure.progress import SILENT, Progress
from measure.safe_write import written_beside

AnyTable = Mapping[str, Sequence | np.ndarray]

_ROWS_AT_A_TIME = 5000
_MOST_IN_A_SHEET = 2**20 - 2  # rows of a sheet (ECMA-376) less those of names and units


def _cell(value: object, decimal: str) -> str:
    if isinstance(value, (float, np.floating)):
        if not math.isfinite(value):
            return ""
        text = f"{float(value):.7g}"
        return text if decimal == "." else text.replace(".", decimal)
    if isinstance(value, (bool, np.bool_)):
        return "1" if value else "0"
    if value is None:
        return ""
    return safe_text(value) if isinstance(value, str) else str(value)


def write_csv(
    path: Path | str,
    table: AnyTable,
    *,
    delimiter: str = ",",
    decimal: str = ".",
    progress: Progress = SILENT,
) -> None:
    """Write a table as CSV (UTF-8, RFC 4180); not-a-number becomes an empty cell.

    Raises
    ------
    InvalidInput
        If the file cannot be written, or decimal mark and delimiter are the same.
    Cancelled
        If a stop was asked for; no file is left then.
    """
    if delimiter == decimal:
        raise InvalidInput("The decimal mark and the separator of a table cannot be the same sign.")
    columns = []
    for values in table.values():
        progress.check()
        columns.append(_text_column(values, decimal))
    with written_beside(path) as beside, beside.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, delimiter=delimiter)
        writer.writerow(table.keys())
        rows = zip(*columns, strict=True)
        while some := list(itertools.islice(rows, _ROWS_AT_A_TIME)):
            progress.check()
            writer.writerows(some)


def _text_column(values: Sequence | np.ndarray, decimal: str) -> list[str]:
    plain = values.tolist() if isinstance(values, np.ndarray) else values
    return [_cell(v, decimal) for v in plain]


def write_xlsx(
    path: Path | str,
    sheets: Mapping[str, tuple[AnyTable, Mapping[str, str]]],
    progress: Progress = SILENT,
) -> None:
    """Write tables as sheets of one workbook: a names row, a units row, both frozen.

    Parameters
    ----------
    path : path
        File to write.
    sheets : mapping of str to (table, units)
        Sheet name to its table and the unit of each column ("" where none).

    Raises
    ------
    InvalidInput
        If the file cannot be written, or a table has more rows than a sheet.
    """
    import xlsxwriter
    from xlsxwriter.exceptions import FileCreateError

    for name, (table, _) in sheets.items():
        rows = max((len(values) for values in table.values()), default=0)
        if rows > _MOST_IN_A_SHEET:  # the rest would be left out without a word
            raise InvalidInput(
                f"The table of {name} has {rows} rows, more than the {_MOST_IN_A_SHEET} of a sheet; choose "
                "CSV or Parquet."
            )

    with written_beside(path) as beside:
        options = {"nan_inf_to_errors": False, "strings_to_formulas": False, "strings_to_urls": False}
        # packed in memory and written at once: an archive that a full disk stops halfway complains twice
        packed = io.BytesIO()
        book = xlsxwriter.Workbook(packed, options)
        head = book.add_format({"bold": True, "bottom": 1})
        unit = book.add_format({"italic": True, "font_color": "#555555"})
        for name, (table, units) in sheets.items():
            sheet = book.add_worksheet(name[:31])
            sheet.freeze_panes(2, 0)
            for place, (column, values) in enumerate(table.items()):
                progress.check()
                sheet.write_string(0, place, column, head)
                sheet.write_string(1, place, units.get(column, ""), unit)
                sheet.set_column(place, place, max(8, min(28, len(column) + 1)))
                _write_cells(sheet, place, values)
        try:
            book.close()
        except FileCreateError as error:  # no room for its temporary files
            raise OSError(*getattr(error.args[0], "args", (str(error),))) from error
        beside.write_bytes(packed.getbuffer())


def _write_cells(sheet: "Worksheet", place: int, values: Sequence | np.ndarray) -> None:
    plain = values.tolist() if isinstance(values, np.ndarray) else values
    for row, value in enumerate(plain, start=2):
        if isinstance(value, str):
            if value:
                sheet.write_string(row, place, safe_text(value))
        elif value is not None and math.isfinite(value):
            sheet.write_number(row, place, float(value))


def write_parquet(path: Path | str, table: AnyTable) -> None:
    """Write a table as Parquet.

    Raises
    ------
    InvalidInput
        If the package that writes Parquet is not installed, or the file cannot be written.
    """
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError as error:
        raise InvalidInput(
            "Parquet needs one more package: install Gritline with its extra named parquet, "
            "or choose CSV or XLSX."
        ) from error
    with written_beside(path) as beside:
        pq.write_table(pa.table({k: _plain(v) for k, v in table.items()}), beside)


def _plain(values: Sequence | np.ndarray) -> Sequence | np.ndarray:
    return values.tolist() if isinstance(values, np.ndarray) and values.dtype == object else values
