"""A particle table taken into a study as batches without pictures: sizes as the table states them."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from measure.errors import InvalidInput
from measure.model import FieldResult, FieldSettings, Frame, Scale
from measure.output.table_pieces import pieces_of, plain_names, rows_of_count
from measure.output.table_source import FieldFacts, TableSource
from measure.particles import make_particles
from measure.sizes.volume import VolumeModels
from measure.study.records import TABLE_METHOD, Batch, NewField
from measure.study.study import Study

# a frame of one pixel stands for "size not known"; a table states its frame corrections itself
NO_FRAME_PX = 1
_ALIKE = 2e-6  # tables are written with seven digits


@dataclass(frozen=True)
class TakenIn:
    """What taking a table in has made.

    Attributes
    ----------
    field_ids : tuple of int
    batches : tuple of str
        Names of the batches made.
    pieces : int
    notes : tuple of str
        What the reader should know.
    """

    field_ids: tuple[int, ...]
    batches: tuple[str, ...]
    pieces: int
    notes: tuple[str, ...] = ()

    @property
    def words(self) -> str:
        """What was done, as a sentence."""
        fields = "1 field" if len(self.field_ids) == 1 else f"{len(self.field_ids)} fields"
        pieces = "1 piece" if self.pieces == 1 else f"{self.pieces} pieces"
        named = ", ".join(f"'{name}'" for name in self.batches[:5])
        named += ", ..." if len(self.batches) > 5 else ""
        return f"Took in {pieces} on {fields} as {named}, without pictures."


def table_twin(study: Study, sha256: str) -> str | None:
    """Return the name of the batch a table of this SHA-256 was taken in as; None if it was not."""
    mark = f"SHA-256 {sha256}"
    batches: dict[int | None, str] = {row.id: row.batch.name for row in study.batches()}
    for row in study.fields():
        if row.role == "table" and any(mark in note for note in row.result_notes):
            return batches.get(row.batch_id, row.name)
    return None


def take_in(study: Study, source: TableSource, batch: str = "") -> TakenIn:
    """Take a table into a study as one undo step; each of its batches becomes a new one.

    Parameters
    ----------
    study : Study
        Open for writing.
    source : TableSource
        Made by `measure.output.table_source.read_table`.
    batch : str
        Put every row into one new batch of this name; by default the table's own batches.

    Raises
    ------
    InvalidInput
        If the same table is there already, or a batch of the name asked for.
    """
    twin = table_twin(study, source.sha256)
    if twin is not None:
        raise InvalidInput(f"'{source.name}' is in this study already, as the batch '{twin}'.")
    from measure.output.study_tables import volume_models

    columns, notes = rows_of_count(source.columns, source.name)
    homes, names = plain_names(columns, Path(source.name).stem, batch)
    taken = {row.batch.name for row in study.batches()}
    if batch and batch in taken:
        raise InvalidInput(f"There is a batch '{batch}' in this study already; give another name.")
    volumes, volume_notes = stated_volumes(columns, volume_models(study))
    notes = (*_joined_note(columns, batch), *notes, *volume_notes, *_weight_notes(columns))
    columns = {**columns, "volume_um3": volumes}
    made: list[int] = []
    with study.one_step(f"Take in {source.name}"):
        store = _Store(study, source, columns, notes)
        new_names = []
        for home in dict.fromkeys(
            [*homes.tolist(), *(batch or f.batch for f in _empty(source.facts) if f.batch)]
        ):
            name = _free_name(home, taken, source.name)
            taken.add(name)
            new_names.append(name)
            batch_id = study.add_batch(Batch(name, notes=f"Taken in from the table {source.name}."))
            mine = homes == home
            made += [
                store.field(field, np.flatnonzero(mine & (names == field)), batch_id)
                for field in sorted(set(names[mine].tolist()))
            ]
            nothing = np.zeros(0, dtype=int)
            empty = _empty(source.facts, "" if batch else home)
            made += [store.field(facts.field, nothing, batch_id, facts) for facts in empty]
    return TakenIn(tuple(made), tuple(new_names), len(homes), notes)


def _joined_note(columns: Mapping[str, np.ndarray], batch: str) -> tuple[str, ...]:
    """Say which batches of the table were put together under one name; nobody may have meant that."""
    known = list(dict.fromkeys(name for name in columns.get("batch", np.zeros(0)).tolist() if name))
    if not batch or len(known) < 2:
        return ()
    shown = ", ".join(known[:5]) + (", ..." if len(known) > 5 else "")
    return (
        f"The table holds {len(known)} batches ({shown}), now one; without a name given they stay apart.",
    )


def stated_volumes(
    columns: Mapping[str, np.ndarray], models: VolumeModels
) -> tuple[np.ndarray, tuple[str, ...]]:
    """Return the volumes that do not follow from a study's volume models, nan where they do.

    Parameters
    ----------
    columns : mapping of str to (N,) ndarray
        A table of sizes.
    models : VolumeModels
        Of the study.

    Returns
    -------
    (N,) ndarray of float
        um^3.
    tuple of str
        A sentence where some do not follow.
    """
    from measure.sizes.sample_parts import kind_codes

    d = columns["area_equivalent_diameter_um"]
    codes, _ = kind_codes(columns, np.ones(len(d), dtype=bool))
    area = np.pi / 4 * d * d
    # what the sizes of the table itself rest on where it names no volume
    volume = np.pi / 6 * d**3 if codes is None else VolumeModels().volume_um3(codes, area)
    if "volume_um3" in columns:
        volume = np.where(np.isfinite(columns["volume_um3"]), columns["volume_um3"], volume)
    usual = models.volume_um3(np.zeros(len(d), dtype=int) if codes is None else codes, area)
    stated = np.where(np.isclose(volume, usual, rtol=_ALIKE, atol=0.0), np.nan, volume)
    other = int(np.isfinite(stated).sum())
    note = f"{other} pieces keep the volume of the table, which differs from this study's volume models."
    return stated, (note,) if other else ()


def _weight_notes(columns: Mapping[str, np.ndarray]) -> tuple[str, ...]:
    if "frame_weight" in columns and np.isfinite(columns["frame_weight"]).all():
        return ()
    return ("The table has no frame correction for some pieces; each of them stands for one.",)


@dataclass(frozen=True)
class _Store:
    study: Study
    source: TableSource
    columns: Mapping[str, np.ndarray]
    notes: tuple[str, ...]

    def field(self, name: str, rows: np.ndarray, batch_id: int, facts: FieldFacts | None = None) -> int:
        """Store the rows of one field; return its id."""
        picked = {column: values[rows] for column, values in self.columns.items()}
        facts = facts or self._facts(picked)
        um_per_px = _first(picked, "um_per_px") or (facts.um_per_px if facts else None) or 1.0
        limit = _largest(picked, "smallest_um") or (facts.smallest_um if facts and not len(rows) else None)
        size = (facts.width_px, facts.height_px) if facts else (NO_FRAME_PX, NO_FRAME_PX)
        particles = pieces_of(picked, um_per_px, limit) if len(rows) else make_particles([])
        relative = _largest(picked, "scale_relative_uncertainty") or 0.0
        if facts and not len(rows):
            relative = facts.relative or 0.0
        scale = self._scale(um_per_px, relative)
        new = NewField(name, b"", batch_id, scale, None, *size, "table")
        field_id = self.study.add_fields([new])[0]
        result = FieldResult(
            particles=particles,
            frame=Frame(*size),
            quality=facts.quality if facts else None,
            settings=FieldSettings(smallest_um=limit),
            um_per_px=um_per_px,
            smallest_px=(limit or 0.0) / um_per_px,
            notes=(self.source.mark, *self.notes),
        )
        self.study.store_result(field_id, result)
        return field_id

    def _facts(self, picked: Mapping[str, np.ndarray]) -> FieldFacts | None:
        field = str(picked["field"][0]) if "field" in picked else ""
        batch = str(picked["batch"][0]) if "batch" in picked else ""
        named = [facts for facts in self.source.facts if facts.field == field]
        exact = [facts for facts in named if facts.batch == batch]
        found = exact or named
        return found[0] if len(found) == 1 else None

    def _scale(self, um_per_px: float, relative: float) -> int:
        uncertainty = um_per_px * relative
        for row in self.study.scales():
            alike = math.isclose(row.scale.standard_uncertainty_um_per_px, uncertainty, rel_tol=1e-9)
            if row.scale.zoom == self._zoom and row.scale.um_per_px == um_per_px and alike:
                return row.id
        return self.study.add_scale(Scale(um_per_px, uncertainty, self._zoom, method=TABLE_METHOD))

    @property
    def _zoom(self) -> str:
        return f"{self.source.name} {self.source.sha256[:8]}"


def _first(picked: Mapping[str, np.ndarray], name: str) -> float | None:
    values = picked.get(name, np.zeros(0))
    values = values[np.isfinite(values)]
    return float(values[0]) if len(values) else None


def _largest(picked: Mapping[str, np.ndarray], name: str) -> float | None:
    values = picked.get(name, np.zeros(0))
    values = values[np.isfinite(values)]
    return float(values.max()) or None if len(values) else None


def _free_name(name: str, taken: set[str], table: str) -> str:
    if name not in taken:
        return name
    name = f"{name} ({table})"
    return next(n for n in (name, *(f"{name} {i}" for i in range(2, len(taken) + 3))) if n not in taken)


def _empty(facts: Sequence[FieldFacts], home: str = "") -> list[FieldFacts]:
    """Return the fields without pieces, of one batch of the table where it is named."""
    return [found for found in facts if found.empty and (not home or found.batch == home)]
