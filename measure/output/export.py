"""Write a study's tables, outlines, label images and charts to a folder."""

import json
import re
from collections.abc import Callable, Iterator
from pathlib import Path

from measure.errors import InvalidInput
from measure.model import Scale
from measure.output.study_tables import field_tables, study_tables
from measure.output.tables import write_csv, write_parquet, write_xlsx
from measure.progress import SILENT, Progress
from measure.safe_write import make_folder, write_text, written_beside
from measure.sizes.particle_table import Table
from measure.study.records import FieldRow
from measure.study.study import Study

FORMATS: dict[str, str] = {
    "csv": "tables with commas, or with semicolons and decimal comma",
    "xlsx": "one workbook with a sheet each for particles, fields, sizes, batches and edits",
    "parquet": "the particle table",
    "json": "figures of each batch with intervals",
    "coco": "outlines as COCO JSON, px",
    "geojson": "outlines as GeoJSON, px, with measures in µm",
    "labels": "label images as TIFF with the pixel size in their tags",
    "svg": "charts as SVG",
    "png": "charts as PNG",
}
_Writer = Callable[[Study, Path, Progress], list[Path]]
_RESERVED = re.compile(r"^(con|prn|aux|nul|com\d|lpt\d)$", re.IGNORECASE)
_LONGEST = 80


def export_study(
    study: Study,
    folder: Path | str,
    formats: tuple[str, ...] = ("csv", "xlsx"),
    *,
    delimiter: str = ",",
    decimal: str = ".",
    progress: Progress = SILENT,
) -> list[Path]:
    """Write what a study holds in the formats asked for.

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
    progress : Progress
        Told what is being written.

    Returns
    -------
    list of Path
        The files written; all lie in the folder, whatever names the study holds.

    Raises
    ------
    InvalidInput
        If a format is not known, nothing is measured yet, or a file cannot be written.
    Cancelled
        If a stop was asked for. Files that were finished stay; none is left half written.
    """
    for name in formats:
        if name not in FORMATS:
            raise InvalidInput(f"The format {name!r} is not known; use {', '.join(FORMATS)}.")
    if not any(row.measured for row in study.fields()):
        raise InvalidInput("No field of this study is measured yet, so there is nothing to write.")
    folder = make_folder(folder)
    progress.report(0.0, "tables")
    written = _tables(study, folder, formats, delimiter, decimal, progress)
    others = [name for name in _WRITERS if name in formats]
    for place, name in enumerate(others, start=1):
        progress.report(place / (len(others) + 1), FORMATS[name])
        written += _WRITERS[name](study, folder, progress)
    return written


def safe_name(name: str, taken: set[str], ending: str = "") -> str:
    """Return a file name without folders made of a name a study holds, none like another.

    A long name is cut, but not the ``ending`` put behind it.

    Examples
    --------
    >>> safe_name("../../pass 1/a.png", set()), safe_name("con", set())
    ('pass 1_a.png', 'con_')
    """
    plain = (
        "".join(c if c.isalnum() or c in " ._-()" else "_" for c in name)
        .strip(" ._")[: _LONGEST - len(ending)]
        .rstrip(" ._")
    )
    plain = (plain or ("batch" if ending else "field")) + ending
    if _RESERVED.match(plain.split(".")[0]):
        plain += "_"
    free, number = plain, 2
    while free.casefold() in taken:
        free, number = f"{plain} ({number})", number + 1
    taken.add(free.casefold())
    return free


def _tables(
    study: Study, folder: Path, formats: tuple[str, ...], delimiter: str, decimal: str, progress: Progress
) -> list[Path]:
    if not {"csv", "xlsx", "parquet"} & set(formats):
        return []
    tables = study_tables(study, progress)
    if {"csv", "xlsx"} & set(formats):
        tables = _with_sizes(study, tables)
    written: list[Path] = []
    if "csv" in formats:
        for name, (table, _) in tables.items():
            write_csv(folder / f"{name}.csv", table, delimiter=delimiter, decimal=decimal, progress=progress)
            written.append(folder / f"{name}.csv")
    if "xlsx" in formats:
        sheets = {
            name: (table, {k: c.unit for k, c in columns.items()})
            for name, (table, columns) in tables.items()
        }
        write_xlsx(folder / "study.xlsx", sheets, progress)
        written.append(folder / "study.xlsx")
    if "parquet" in formats:
        progress.check()
        write_parquet(folder / "particles.parquet", tables["particles"][0])
        written.append(folder / "particles.parquet")
    return written


def _with_sizes(study: Study, tables: dict) -> dict:
    from measure.output.export_sizes import SIZES_COLUMNS, sizes_table
    from measure.output.run_sizes import batch_sizes

    sizes = (sizes_table(batch_sizes(study)), SIZES_COLUMNS)
    order = ("particles", "fields", "sizes", "batches", "edits")
    return {name: {**tables, "sizes": sizes}[name] for name in order}


def _json(study: Study, folder: Path, progress: Progress) -> list[Path]:
    from measure.output.run_sizes import batch_sizes

    values = {batch: found.as_json for batch, found in batch_sizes(study).items()}
    write_text(folder / "sizes.json", json.dumps(values, ensure_ascii=False, indent=1, default=float) + "\n")
    return [folder / "sizes.json"]


def _pictured(study: Study, progress: Progress) -> Iterator[tuple[FieldRow, Scale, Table]]:
    """Yield the fields with outlines that were seen; an imported table has only stand-ins."""
    return (found for found in field_tables(study, progress) if found[0].role == "field")


def _coco(study: Study, folder: Path, progress: Progress) -> list[Path]:
    from measure.output.shapes_export import coco, write_json

    pictures = [
        {
            "name": row.name, "width_px": row.width_px, "height_px": row.height_px,
            "um_per_px": scale.um_per_px, "table": table, "outlines": study.particles(row.id).outlines,
        }
        for row, scale, table in _pictured(study, progress)
    ]  # fmt: skip
    write_json(folder / "outlines-coco.json", coco(pictures))
    return [folder / "outlines-coco.json"]


def _geojson(study: Study, folder: Path, progress: Progress) -> list[Path]:
    from measure.output.shapes_export import geojson, write_json

    written: list[Path] = []
    taken: set[str] = set()
    for row, _, table in _pictured(study, progress):
        path = make_folder(folder / "outlines") / f"{safe_name(row.name, taken)}.geojson"
        write_json(path, geojson(table, study.particles(row.id).outlines))
        written.append(path)
    return written


def _labels(study: Study, folder: Path, progress: Progress) -> list[Path]:
    from measure.output.shapes_export import label_image, write_labels

    written: list[Path] = []
    taken: set[str] = set()
    for row, scale, _ in _pictured(study, progress):
        path = make_folder(folder / "labels") / f"{safe_name(row.name, taken)}.tif"
        write_labels(path, label_image(study.particles(row.id), row.width_px, row.height_px), scale.um_per_px)
        written.append(path)
    return written


def _charts(kind: str) -> _Writer:
    def write(study: Study, folder: Path, progress: Progress) -> list[Path]:
        from measure.output.charts_paper import chart_png, chart_svg
        from measure.output.report_facts import gather

        draw = {"png": chart_png, "svg": chart_svg}[kind]
        written: list[Path] = []
        taken: set[str] = set()
        for batch in gather(study).sized:
            for chart in batch.charts:
                progress.check()
                name = safe_name(batch.batch.name, taken, f" by {chart.quantity}")
                path = make_folder(folder / "charts") / f"{name}.{kind}"
                with written_beside(path) as beside:
                    beside.write_bytes(draw(chart))
                written.append(path)
        return written

    return write


_WRITERS: dict[str, _Writer] = {
    "json": _json,
    "coco": _coco,
    "geojson": _geojson,
    "labels": _labels,
    "svg": _charts("svg"),
    "png": _charts("png"),
}
