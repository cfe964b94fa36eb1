"""Everything a report says, gathered once from a study."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from measure.errors import InvalidInput
from measure.judge.compare import Comparison, compare_batches
from measure.judge.compare_batches import BatchSizes, with_own_names
from measure.judge.felt import FeltProfile
from measure.judge.grind import GrindCurve, GrindPoint, fit_grind
from measure.judge.verdict import Verdict, judged
from measure.model import Scale
from measure.output.charts_sizes import SizeChart, curve_sizes, size_chart
from measure.output.objectives import objectives
from measure.output.overlapping import kept_links
from measure.output.paste_seen import grams_seen
from measure.output.run_sizes import felt_profile
from measure.output.study_batches import by_grinding, scale_words
from measure.output.study_tables import field_table, sized_field, volume_models
from measure.output.table_import import NO_FRAME_PX
from measure.progress import SILENT, Progress
from measure.sizes.batch import batch_sample
from measure.sizes.curve import curve
from measure.sizes.particle_table import Table
from measure.sizes.sample import SizeSample
from measure.sizes.summary import SizeSummary
from measure.sizes.volume import VolumeModels
from measure.study.records import TABLE_METHOD, Batch, EditEntry, FieldRow, Slide
from measure.study.study import Study

BAND_RESAMPLES = 300
COMPARED = "volume.x90_um"
_WITHOUT_FIELDS = ("answer", "record", "tasting", "edits", "cautions")  # sections that need no measured field


def scale_unstated(scale: Scale) -> bool:
    """Whether a table taken in told no µm per px: 1 without an uncertainty then stands for it."""
    return scale.method == TABLE_METHOD and scale.um_per_px == 1.0 and not scale.relative_uncertainty


@dataclass(frozen=True)
class FieldFacts:
    """A measured field with its table; outlines and picture are read when they are drawn."""

    row: FieldRow
    scale_id: int
    scale: Scale
    table: Table
    origins: np.ndarray  # (5,) particles by how they came to be
    kinds_by_hand: int

    @property
    def counted(self) -> np.ndarray:
        """Mask of the rows in the size figures."""
        return self.table["counted"] == 1

    @property
    def from_table(self) -> bool:
        """Whether its pieces were taken from a table, so that no picture was measured here."""
        return self.row.role == "table"

    @property
    def frame_unknown(self) -> bool:
        """Whether the table it was taken from told no picture size."""
        return self.from_table and self.row.width_px == self.row.height_px == NO_FRAME_PX


@dataclass(frozen=True)
class BatchFacts:
    """A batch with its fields; where pieces are counted it is a `SizedBatch`."""

    id: int | None
    batch: Batch
    slides: tuple[Slide, ...]
    fields: tuple[FieldFacts, ...]


@dataclass(frozen=True)
class SizedBatch(BatchFacts):
    """A batch with counted pieces: its sizes and verdict too."""

    sample: SizeSample
    summary: SizeSummary
    verdict: Verdict
    charts: tuple[SizeChart, ...] = ()
    grams: float | None = None  # paste looked at, where known


@dataclass(frozen=True)
class ReportFacts:
    """What a report is made from."""

    study: Study
    title: str
    batches: tuple[BatchFacts, ...]
    scales: tuple
    blanks: tuple[FieldRow, ...]
    profile: FeltProfile
    models: VolumeModels
    edits: tuple[EditEntry, ...]
    comparison: Comparison | None = None
    why_not_compared: str = ""
    sections: tuple[str, ...] = ()
    left_out: tuple[str, ...] = field(default=())  # names of batches not chosen

    @cached_property
    def sized(self) -> tuple[SizedBatch, ...]:
        """Batches with sizes."""
        return tuple(b for b in self.batches if isinstance(b, SizedBatch))

    @property
    def fields(self) -> tuple[FieldFacts, ...]:
        """Every field of the report."""
        return tuple(f for b in self.batches for f in b.fields)

    @property
    def as_of(self) -> str:
        """Date and time of the last entry of the audit trail: the study as it stood then."""
        return self.edits[0].made if self.edits else ""


def gather(
    study: Study,
    *,
    batches: Sequence[str] = (),
    sections: Sequence[str] = (),
    title: str = "",
    progress: Progress = SILENT,
) -> ReportFacts:
    """Gather what a report says.

    Parameters
    ----------
    study : Study
        Open study.
    batches : sequence of str
        Names of batches to report; all without any.
    sections : sequence of str
        Sections that will be written; a comparison is worked out only when it is among them.
    title : str
        Heading; made from the batches' recipe when empty.

    Raises
    ------
    InvalidInput
        If a batch is not there, or nothing is measured.
    """
    profile, models = felt_profile(study), volume_models(study)
    chosen, left_out = _chosen(study, batches)
    found = []
    for place, (batch_id, batch) in enumerate(chosen):
        progress.report(0.6 * place / max(len(chosen), 1), batch.name)
        found.append(_batch(study, batch_id, batch, profile, models))
    if not any(b.fields for b in found):
        # a panel may have tasted before anything was photographed
        sections = [s for s in sections if s in _WITHOUT_FIELDS] if study.tastings() else []
        if "tasting" not in sections:
            raise InvalidInput("No field of this study is measured yet, so there is nothing to report.")
        title = title or "Tasting"
    found = [b for b in found if b.fields or b.id is not None]
    used = {f.scale_id for b in found for f in b.fields}
    blanks = {f.row.blank_id for b in found for f in b.fields}
    comparison, why = None, ""
    if "compare" in sections:
        progress.report(0.65, "comparing")
        comparison, why = _compared(found, profile)
    return ReportFacts(
        study=study,
        title=title or default_title(found),
        batches=tuple(found),
        scales=tuple(r for r in study.scales() if r.id in used),
        blanks=tuple(r for r in study.fields() if r.id in blanks),
        profile=profile,
        models=models,
        edits=tuple(study.edit_log()),
        comparison=comparison,
        why_not_compared=why,
        sections=tuple(sections),
        left_out=left_out,
    )


def _chosen(study: Study, names: Sequence[str]) -> tuple[list[tuple[int | None, Batch]], tuple[str, ...]]:
    rows = [(r.id, r.batch) for r in study.batches()]
    if not names:
        return [*rows, (None, Batch("Fields without a batch"))], ()
    there = {batch.name for _, batch in rows}
    for name in names:
        if name not in there:
            known = ", ".join(sorted(there)) or "none"
            raise InvalidInput(f"There is no batch '{name}' in this study; it holds {known}.")
    return (
        [r for r in rows if r[1].name in names],
        tuple(b.name for _, b in rows if b.name not in names),
    )


def default_title(batches: Sequence[BatchFacts]) -> str:
    """Return the heading of a report nobody gave one."""
    recipes = {b.batch.recipe for b in batches if b.batch.recipe}
    return f"Particle sizes: {recipes.pop()}" if len(recipes) == 1 else "Particle sizes"


def _batch(
    study: Study, batch_id: int | None, batch: Batch, profile: FeltProfile, models: VolumeModels
) -> BatchFacts:
    scales = {r.id: r.scale for r in study.scales()}
    fields = tuple(
        _field(study, row, row.scale_id, scales[row.scale_id], batch.name, models)
        for row in study.fields()
        if row.batch_id == batch_id and row.measured and row.role in ("field", "table")
        and row.scale_id is not None and row.scale_id in scales
    )  # fmt: skip
    known = {r.id: r.slide for r in study.slides()}
    slides = tuple(s for s in known.values() if s.batch_id == batch_id)
    seen = objectives(study)
    sample = batch_sample([sized_field(f.row, f.scale, f.table, seen.get(f.scale_id)) for f in fields])
    if not fields or not len(sample):
        return BatchFacts(batch_id, batch, slides, fields)
    cover = max((f.row.quality.cover for f in fields if f.row.quality is not None), default=None)
    grams = grams_seen([f.row for f in fields], scales, known, kept_links(study))
    summary, verdict = judged(sample, profile, cover=cover, grams=grams)
    return SizedBatch(
        batch_id, batch, slides, fields, sample, summary, verdict, _charts(sample, summary, profile), grams
    )


def _field(
    study: Study, row: FieldRow, scale_id: int, scale: Scale, batch: str, models: VolumeModels
) -> FieldFacts:
    particles = study.particles(row.id)
    origins = np.bincount(particles["origin"].astype(int), minlength=5)
    by_hand = int(particles["kind_by_hand"].sum())
    return FieldFacts(row, scale_id, scale, field_table(study, row, scale, batch, models), origins, by_hand)


def _charts(sample: SizeSample, summary: SizeSummary, profile: FeltProfile) -> tuple[SizeChart, ...]:
    found = []
    for r in (3, 0):
        band = curve(sample, curve_sizes(sample), r=r, resamples=BAND_RESAMPLES)
        found.append(size_chart(sample, profile, r=r, summary=summary, band=band))
    return tuple(found)


def _compared(batches: Sequence[BatchFacts], profile: FeltProfile) -> tuple[Comparison | None, str]:
    sized = [b for b in batches if isinstance(b, SizedBatch) and b.id is not None]
    if len(sized) < 2:
        return None, "A comparison needs two batches with counted pieces."
    ready = [
        BatchSizes(
            b.batch.name, b.sample, scale_words({f.scale_id for f in b.fields}),
            b.batch.passes, b.batch.minutes,
        )
        for b in sized
    ]  # fmt: skip
    try:
        return compare_batches(with_own_names(by_grinding(ready)), profile=profile, common_range=True), ""
    except InvalidInput as error:
        return None, error.text


def grind_of(comparison: Comparison) -> tuple[GrindCurve | None, str]:
    """Return the grind curve through compared batches, or why there is none."""
    for dose in ("passes", "minutes"):
        doses = [getattr(b, dose) for b in comparison.batches]
        if None in doses or len(set(doses)) < 2:
            continue
        points = [
            GrindPoint(float(d), s.value(COMPARED), *s.interval(COMPARED), b.name)
            for d, s, b in zip(doses, comparison.summaries, comparison.batches, strict=True)
        ]
        try:
            return fit_grind(points, unit=dose), ""
        except InvalidInput as error:
            return None, error.text
    return None, "The passes or minutes of every batch are needed for a grind curve."


def finite(value: float | None, form: str = ".3g") -> str:
    """Return a number as text, empty when there is none."""
    return "" if value is None or not math.isfinite(value) else format(value, form)
