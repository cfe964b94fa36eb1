"""Every table a study holds: particles, fields, batches, scales and the record of edits."""

from collections.abc import Iterator

import numpy as np

from measure.model import Frame, Scale
from measure.output.field_advice import with_agreement
from measure.output.field_run import FIELD_COLUMNS, field_row
from measure.progress import SILENT, Progress
from measure.sizes.batch import FieldTable
from measure.sizes.particle_table import Column, Table, join_tables, particle_table
from measure.sizes.volume import VolumeModels
from measure.study.records import JOINED, SIZED_ROLES, Batch, FieldRow
from measure.study.study import Study

VOLUME_SETTING = "volume_models"

BATCH_COLUMNS: dict[str, Column] = {
    "batch": Column("s", "", "name of the batch"),
    "recipe": Column("s", "", "what went in"),
    "mill_setting": Column("s", "", "grinder setting"),
    "passes": Column("f", "1", "passes through the mill"),
    "minutes": Column("f", "min", "grinding time"),
    "notes": Column("s", "", "notes"),
}
EDIT_COLUMNS: dict[str, Column] = {
    "when": Column("s", "", "date and time, ISO 8601"),
    "who": Column("s", "", "user name"),
    "what": Column("s", "", "the action"),
    "state": Column("s", "", "done, undone, dropped or note"),
    "from": Column("s", "", "before"),
    "to": Column("s", "", "after"),
    "field": Column("s", "", "fields touched"),
}


def volume_models(study: Study) -> VolumeModels:
    """Return the volume models in force in a study."""
    kept = study.setting(VOLUME_SETTING, None)
    return VolumeModels() if kept is None else VolumeModels.from_json(kept)


def other_size(row: FieldRow, scale: Scale) -> bool:
    """Return whether a picture is not of the size its scale was made at; a joined one may be larger."""
    if row.role == "table" or scale.width_px is None or row.note.startswith(JOINED):
        return False
    return (row.width_px, row.height_px) != (scale.width_px, scale.height_px)


def sized_field(row: FieldRow, scale: Scale, table: Table, na: float | None = None) -> FieldTable:
    """Return a measured field as sizes are made of it; its name is unlike that of any other field.

    ``na`` is the numerical aperture of the objective, where known.
    """
    seen_through = None if row.role == "table" else na
    return FieldTable(f"{row.name} ({row.id})", table, scale, other_size(row, scale), seen_through)


def field_table(
    study: Study, row: FieldRow, scale: Scale, batch: str, models: VolumeModels | None = None
) -> Table:
    """Return the particle table of one field, in micrometres by its scale."""
    return particle_table(
        study.particles(row.id),
        frame=Frame(row.width_px, row.height_px, row.result_zones),
        scale=scale,
        smallest_um=_smallest_um(row, scale),
        models=models or volume_models(study),
        batch=batch,
        field=row.name,
    )


def field_tables(study: Study, progress: Progress = SILENT) -> Iterator[tuple[FieldRow, Scale, Table]]:
    """Yield each measured field with its scale and particle table, in the order of the study.

    Raises
    ------
    Cancelled
        If a stop was asked for.
    """
    scales = {r.id: r.scale for r in study.scales()}
    batches: dict[int | None, str] = {r.id: r.batch.name for r in study.batches()}
    models = volume_models(study)
    for row in study.fields():
        if row.role in SIZED_ROLES and row.measured and row.scale_id in scales:
            progress.check()
            scale = scales[row.scale_id]
            yield row, scale, field_table(study, row, scale, batches.get(row.batch_id, ""), models)


def study_tables(study: Study, progress: Progress = SILENT) -> dict[str, tuple[Table, dict[str, Column]]]:
    """Return the tables of a study by sheet name, each with the description of its columns."""
    from measure.sizes.particle_table import TABLE_COLUMNS

    batches: dict[int | None, str] = {r.id: r.batch.name for r in study.batches()}
    tables, rows = [], []
    for row, scale, table in field_tables(study, progress):
        tables.append(table)
        rows.append((row.role, _field_row(row, scale, table, batches.get(row.batch_id, ""))))
    return {
        "particles": (join_tables(tables), TABLE_COLUMNS),
        "fields": (_columns(_agreeing(rows), FIELD_COLUMNS), FIELD_COLUMNS),
        "batches": (_columns([_batch_row(r.batch) for r in study.batches()], BATCH_COLUMNS), BATCH_COLUMNS),
        "edits": (_columns(_edit_rows(study), EDIT_COLUMNS), EDIT_COLUMNS),
    }


def _smallest_um(row: FieldRow, scale: Scale) -> float:
    # a limit asked for in micrometres stays where it was asked for when the scale is corrected afterwards
    if row.settings is not None and row.settings.smallest_um is not None:
        return float(row.settings.smallest_um)
    return float(row.smallest_px or 0.0) * scale.um_per_px


def _field_row(row: FieldRow, scale: Scale, table: Table, batch: str) -> dict:
    return field_row(
        row.name,
        sha256=row.sha256,
        frame=Frame(row.width_px, row.height_px, row.result_zones),
        scale=scale,
        smallest_um=_smallest_um(row, scale),
        table=table,
        batch=batch,
        quality=row.quality,
        notes=row.result_notes,
    )


def _agreeing(rows: list[tuple[str, dict]]) -> list[dict]:
    """Return the rows with advice for pictures; nobody can take a table again."""
    silent = {"advice": "", "advice_reason": "", "odd_in_batch": ""}
    seen = iter(with_agreement([row for role, row in rows if role == "field"]))
    return [next(seen) if role == "field" else {**row, **silent} for role, row in rows]


def _batch_row(batch: Batch) -> dict:
    names = ("recipe", "mill_setting", "passes", "minutes", "notes")
    return {"batch": batch.name, **{name: getattr(batch, name) for name in names}}


def _edit_rows(study: Study) -> list[dict]:
    names = {row.id: row.name for row in study.fields()}
    return [
        {
            "when": e.made, "who": e.who, "what": e.text, "state": e.state, "from": e.was, "to": e.now,
            "field": ", ".join(names.get(i, f"removed field {i}") for i in e.field_ids),
        }
        for e in study.edit_log()
    ]  # fmt: skip


def _columns(rows: list[dict], described: dict[str, Column]) -> Table:
    return {
        name: np.array(
            [np.nan if column.type == "f" and r[name] is None else r[name] for r in rows],
            dtype={"s": object, "i": np.int64, "f": np.float64}[column.type],
        )
        for name, column in described.items()
    }
