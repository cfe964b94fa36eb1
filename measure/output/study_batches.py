"""The batches of a study, ready to be compared, and batches from table files."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from measure.errors import InvalidInput
from measure.judge.compare_batches import BatchSizes, batches_from_table, with_own_names
from measure.output.objectives import objectives
from measure.output.study_tables import field_tables, sized_field
from measure.sizes.batch import FieldTable, batch_sample
from measure.sizes.table_file import read_sizes_table
from measure.study.records import FieldRow
from measure.study.study import Study

STUDY_SUFFIX = ".gritline"


def field_key(row: FieldRow) -> str:
    """Return the name of a field in samples: unlike its own name, no two are the same."""
    return f"{row.name} ({row.id})"


def scale_words(scale_ids: set[int]) -> str:
    """Return which scales a batch rests on; batches with the same words share the scale's error."""
    return "scale " + ", ".join(str(i) for i in sorted(scale_ids))


def study_batches(study: Study) -> tuple[BatchSizes, ...]:
    """Return every batch of a study that has counted pieces, least ground first where that is known."""
    tables: dict[int, list[FieldTable]] = {}
    scales: dict[int, set[int]] = {}
    known = objectives(study)
    for row, scale, table in field_tables(study):
        if row.batch_id is not None and row.scale_id is not None:
            tables.setdefault(row.batch_id, []).append(
                sized_field(row, scale, table, known.get(row.scale_id))
            )
            scales.setdefault(row.batch_id, set()).add(row.scale_id)
    batches = []
    for entry in study.batches():
        sample = batch_sample(tables.get(entry.id, ()))
        if len(sample):
            b = entry.batch
            batches.append(BatchSizes(b.name, sample, scale_words(scales[entry.id]), b.passes, b.minutes))
    return with_own_names(by_grinding(batches))


def by_grinding(batches: Sequence[BatchSizes]) -> list[BatchSizes]:
    """Return the batches from the least to the most ground, or as they were where that is not known."""
    for dose in ("passes", "minutes"):
        if batches and all(getattr(b, dose) is not None for b in batches):
            return sorted(batches, key=lambda b: getattr(b, dose))
    return list(batches)


def slide_of_field(study: Study) -> dict[str, str]:
    """Return the slide's name for each field that has one, by `field_key`."""
    slides = {row.id: row.slide.name for row in study.slides()}
    return {field_key(row): slides[row.slide_id] for row in study.fields() if row.slide_id in slides}


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
        hold = "holds" if len(paths) == 1 else "together hold"
        raise InvalidInput(
            f"A comparison needs two or more batches with counted pieces; {named} {hold} {len(found)}."
        )
    return with_own_names(found)
