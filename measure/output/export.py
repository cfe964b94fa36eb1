"""Write a study's tables to a folder."""

from pathlib import Path

from measure.errors import InvalidInput
from measure.output.study_tables import study_tables
from measure.output.tables import write_csv, write_parquet, write_xlsx
from measure.safe_write import make_folder
from measure.study.study import Study

FORMATS = ("csv", "xlsx", "parquet")


def export_study(
    study: Study,
    folder: Path | str,
    formats: tuple[str, ...] = ("csv", "xlsx"),
    *,
    delimiter: str = ",",
    decimal: str = ".",
) -> list[Path]:
    """Write the particle, field, batch and edit tables of a study.

    Parameters
    ----------
    study : Study
        Open study.
    folder : path
        Made when it is not there.
    formats : tuple of str
        Any of `FORMATS`.
    delimiter, decimal : str
        Signs used in CSV.

    Returns
    -------
    list of Path
        The files written.

    Raises
    ------
    InvalidInput
        If a format is not known, nothing is measured yet, or a file cannot be written.
    """
    for name in formats:
        if name not in FORMATS:
            raise InvalidInput(f"The format {name!r} is not known; use {', '.join(FORMATS)}.")
    tables = study_tables(study)
    if not len(tables["fields"][0]["field"]):
        raise InvalidInput("No field of this study is measured yet, so there is nothing to write.")
    folder = make_folder(folder)
    written: list[Path] = []
    if "csv" in formats:
        for name, (table, _) in tables.items():
            write_csv(folder / f"{name}.csv", table, delimiter=delimiter, decimal=decimal)
            written.append(folder / f"{name}.csv")
    if "xlsx" in formats:
        sheets = {
            name: (table, {k: c.unit for k, c in columns.items()})
            for name, (table, columns) in tables.items()
        }
        write_xlsx(folder / "study.xlsx", sheets)
        written.append(folder / "study.xlsx")
    if "parquet" in formats:
        write_parquet(folder / "particles.parquet", tables["particles"][0])
        written.append(folder / "particles.parquet")
    return written
