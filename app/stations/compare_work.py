"""What the Compare station works out on a thread, from batches gathered beforehand."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from measure.errors import InvalidInput
from measure.judge.agreement import slide_repeatability
from measure.judge.agreement_words import repeatability_sentence
from measure.judge.compare import FIGURES, Comparison, compare_batches
from measure.judge.compare_batches import BatchSizes
from measure.judge.felt import FeltProfile
from measure.judge.grind import GrindCurve, GrindPoint, fit_grind
from measure.output.charts_compare import CurvesChart, common_sizes
from measure.progress import SILENT, Progress
from measure.sizes.curve import curve

_CURVE_RESAMPLES = 300
DOSES = ("passes", "minutes")


@dataclass(frozen=True)
class CompareQuestion:
    """Which batches are compared, and how."""

    batches: tuple[BatchSizes, ...]
    figure: str
    pairing: str
    common_range: bool
    profile: FeltProfile
    slides: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class CompareAnswer:
    """What is shown."""

    figure: str
    comparison: Comparison
    curves: CurvesChart
    repeats: tuple[str, ...]


def answer(question: CompareQuestion, progress: Progress = SILENT) -> CompareAnswer:
    """Compare the batches and make their curves.

    Raises
    ------
    InvalidInput
        If they cannot be compared.
    """
    figures = (question.figure, *(f for f in FIGURES if f != question.figure))
    found = compare_batches(
        question.batches, figures=figures, pairing=question.pairing,
        common_range=question.common_range, profile=question.profile,
    )  # fmt: skip
    progress.report(0.7, "curves")
    samples = [b.sample for b in found.batches]
    r = 0 if question.figure.startswith("number") else 3
    sizes = common_sizes(samples)
    curves = tuple(curve(s, sizes, r=r, resamples=_CURVE_RESAMPLES) for s in samples)
    limits = [s.smallest_um for s in samples if math.isfinite(s.smallest_um)]
    middle = question.figure.partition(".x")[2].removesuffix("_um")
    chart = CurvesChart(
        tuple(b.name for b in found.batches), curves, float(middle) if middle else math.nan,
        max(limits) if limits else math.nan,
    )  # fmt: skip
    return CompareAnswer(question.figure, found, chart, _repeats(question))


def _repeats(question: CompareQuestion) -> tuple[str, ...]:
    """Say how far repeat slides of a batch agree, where there are any."""
    found = []
    for batch in question.batches:
        names = {question.slides.get(name) for name in batch.sample.field_names} - {None}
        if len(names) < 2:
            continue
        try:
            words = repeatability_sentence(slide_repeatability(batch.sample, question.slides))
        except InvalidInput:
            continue  # too few fields a slide to tell
        found.append(f"{batch.name}: {words}")
    return tuple(found)


def known_doses(comparison: Comparison) -> tuple[str, ...]:
    """Return along what a grind curve can be drawn: doses known of all, and not all the same."""
    found = []
    for dose in DOSES:
        values = [getattr(b, dose) for b in comparison.batches]
        if None not in values and len(set(values)) > 1:
            found.append(dose)
    return tuple(found)


def grind_curve(shown: CompareAnswer, dose: str, *, felt: bool) -> GrindCurve:
    """Fit the grind curve of the compared figure, or of the felt share.

    Raises
    ------
    InvalidInput
        If the batches carry no curve.
    """
    c = shown.comparison
    points = []
    for batch, summary, verdict in zip(c.batches, c.summaries, c.verdicts, strict=True):
        value, (low, high) = summary.value(shown.figure), summary.interval(shown.figure)
        if felt:
            value, low, high = verdict.share, verdict.low, verdict.high
        points.append(GrindPoint(float(getattr(batch, dose)), value, low, high, batch.name))
    return fit_grind(points, unit=dose, is_share=felt)
