"""Sizes of a finished run, of a table file, or of each batch of a study."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from measure.judge.felt import FeltProfile
from measure.judge.sizes_json import sizes_json, sizes_lines
from measure.judge.verdict import Verdict, judged
from measure.output.objectives import objectives
from measure.output.study_tables import field_tables, sized_field
from measure.scale.optics import smallest_resolved_um
from measure.sizes.batch import FieldTable, batch_sample
from measure.sizes.particle_table import Table, join_tables
from measure.sizes.rounding import figure_texts
from measure.sizes.sample import sample_from_table
from measure.sizes.summary import SizeSummary
from measure.sizes.table_file import read_sizes_table
from measure.study.study import Study

FELT_SETTING = "felt_profile"


@dataclass(frozen=True)
class Sizes:
    """Sizes of one batch or run, with how many rows they rest on."""

    summary: SizeSummary
    verdict: Verdict
    rows: int

    @property
    def as_json(self) -> dict:
        """The object other programs read."""
        return sizes_json(self.summary, self.verdict)

    @property
    def lines(self) -> list[str]:
        """The same for reading."""
        return sizes_lines(self.summary, self.verdict)

    @property
    def short_lines(self) -> list[str]:
        """A few lines for an overview of several batches."""
        s = self.summary
        lines = [f"{s.pieces:.0f} pieces counted on {s.fields} fields, {s.limit_words}"]
        for name, words in (("number.x50_um", "by number"), ("volume.x50_um", "by volume")):
            lines.append(f"middle size {words}: {_with_interval(s, name)}")
        lines.append(f"90 % of the volume is below {_with_interval(s, 'volume.x90_um')}")
        return [*lines, self.verdict.sentence]


def sizes_of_columns(
    columns: Table,
    field_names: Sequence[str] | None = None,
    profile: FeltProfile | None = None,
    na: float | None = None,
) -> Sizes:
    """Return the sizes of a particle table; fields without pieces count as fields when they are named.

    ``na`` is the numerical aperture the pictures were taken with, where known.
    """
    sample = sample_from_table(columns, field_names=field_names)
    if na is not None:
        sample = replace(sample, resolved_um=smallest_resolved_um(na))
    summary, verdict = judged(sample, profile)
    return Sizes(summary, verdict, len(columns["area_equivalent_diameter_um"]))


def sizes_of_table(path: Path, field_names: Sequence[str] | None = None, *, na: float | None = None) -> Sizes:
    """Return the sizes of a particle table file; a table without rows gives sizes without values.

    ``na`` is the numerical aperture the pictures were taken with, where known.

    Raises
    ------
    InvalidInput
        If the table cannot be used.
    """
    with path.open("rb") as file:
        empty = sum(1 for _ in zip(range(2), file, strict=False)) < 2
    return sizes_of_columns(join_tables([]) if empty else read_sizes_table(path), field_names, na=na)


def felt_profile(study: Study) -> FeltProfile:
    """Return the felt profile in force in a study."""
    kept = study.setting(FELT_SETTING, None)
    return FeltProfile() if kept is None else FeltProfile.from_json(kept)


def batch_sizes(study: Study) -> dict[str, Sizes]:
    """Return the sizes of every batch of a study that has a measured field."""
    fields: dict[str, list[FieldTable]] = {}
    covers: dict[str, list[float]] = {}
    batches: dict[int | None, str] = {row.id: row.batch.name for row in study.batches()}
    known = objectives(study)
    for row, scale, table in field_tables(study):
        batch = batches.get(row.batch_id, "")
        fields.setdefault(batch, []).append(sized_field(row, scale, table, known.get(row.scale_id or 0)))
        covers.setdefault(batch, []).append(row.quality.cover if row.quality is not None else 0.0)
    profile = felt_profile(study)
    return {batch: _judged(parts, profile, max(covers[batch])) for batch, parts in fields.items()}


def _judged(fields: Sequence[FieldTable], profile: FeltProfile, cover: float) -> Sizes:
    summary, verdict = judged(batch_sample(fields), profile, cover=cover)
    return Sizes(summary, verdict, sum(len(f.table["particle"]) for f in fields))


def _with_interval(summary: SizeSummary, name: str) -> str:
    value, low, high = figure_texts(summary.value(name), *summary.interval(name))
    return f"{value} µm ({low} to {high})" if low else f"{value} µm"
