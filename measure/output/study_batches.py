"""The batches of a study, ready to be compared, and batches from table files."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from measure.errors import InvalidInput
from measure.judge.compare_batches import BatchSizes, batches_from_table, with_own_names
from measure.output.study_tables import field_tables
from measure.sizes.particle_table import Table, join_tables
from measure.sizes.sample import sample_from_table
from measure.sizes.table_file import read_sizes_table
from measure.study.study import Study

STUDY_SUFFIX = ".gritline"


def study_batches(study: Study) -> tuple[BatchSizes, ...]:
    """Return every batch of a study that has counted pieces, least ground first where that is known."""
    tables: dict[int, list[Table]] = {}
    names: dict[int, list[str]] = {}
    scales: dict[int, dict[int, float]] = {}
    for row, scale, table in field_tables(study):
        if row.batch_id is None:
            continue
        tables.setdefault(row.batch_id, []).append(table)
        names.setdefault(row.batch_id, []).append(row.name)
        scales.setdefault(row.batch_id, {})[row.scale_id] = scale.relative_uncertainty
    batches = []
    for entry in study.batches():
        if entry.id not in tables:
            continue
        used = scales[entry.id]
        sample = sample_from_table(
            join_tables(tables[entry.id]),
            field_names=names[entry.id],
            scale_relative_uncertainty=max(used.values()),
        )
        if len(sample):
            key = "scale " + ", ".join(str(i) for i in sorted(used))
            batch = entry.batch
            batches.append(BatchSizes(batch.name, sample, key, batch.passes, batch.minutes))
    return with_own_names(_by_grinding(batches))


def _by_grinding(batches: list[BatchSizes]) -> list[BatchSizes]:
    for dose in ("passes", "minutes"):
        if batches and all(getattr(b, dose) is not None for b in batches):
            return sorted(batches, key=lambda b: getattr(b, dose))
    return batches


def slide_of_field(study: Study) -> dict[str, str]:
    """Return the slide's name for each field that has one."""
    slides = {row.id: row.slide.name for row in study.slides()}
    return {row.name: slides[row.slide_id] for row in study.fields() if row.slide_id in slides}


def read_batches(paths: Sequence[Path | str]) -> tuple[BatchSizes, ...]:
    """Return the batches of particle tables and studies, in the order given.

    Raises
    ------
    InvalidInput
        If a file cannot be used, or all of them together hold fewer than two batches.
    """
    found: list[BatchSizes] = []
    for path in map(Path, paths):
        if path.suffix.lower() == STUDY_SUFFIX:
            with Study.open(path, read_only=True) as study:
                found += study_batches(study)
            continue
        batches = batches_from_table(read_sizes_table(path), path.stem)
        # tables are often all called particles.csv, each in a folder of its batch
        taken = {b.name for b in found}
        found += [
            replace(b, name=f"{path.parent.name}/{b.name}") if b.name in taken and path.parent.name else b
            for b in batches
        ]
    if len(found) < 2:
        named = ", ".join(f"'{Path(p).name}'" for p in paths)
        raise InvalidInput(f"A comparison needs two or more batches; {named} holds {len(found)}.")
    return with_own_names(found)
