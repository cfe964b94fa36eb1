"""What the Sizes station works out: at once without intervals, then with them on a thread."""

from dataclasses import dataclass

from measure.judge.felt import FeltProfile
from measure.judge.specification import ClauseResult, Specification, check
from measure.judge.verdict import Verdict, judged
from measure.output.charts_sizes import SizeChart, curve_sizes, size_chart
from measure.progress import SILENT, Progress
from measure.sizes.curve import Curve, curve
from measure.sizes.sample import SizeSample
from measure.sizes.summary import RESAMPLES, SizeSummary

_CURVE_RESAMPLES = 400


@dataclass(frozen=True)
class Question:
    """What is asked: which pieces, and how they are judged and shown."""

    sample: SizeSample
    profile: FeltProfile
    specification: Specification
    title: str
    cover: float | None = None
    grams: float | None = None


@dataclass(frozen=True)
class Answer:
    """What is shown. ``final`` is False as long as the intervals are being worked out."""

    summary: SizeSummary
    verdict: Verdict
    charts: dict[int, SizeChart]
    outcome: str
    clauses: tuple[ClauseResult, ...]
    final: bool


def answer(question: Question, *, resamples: int = RESAMPLES, progress: Progress = SILENT) -> Answer:
    """Work the sizes out; with ``resamples`` 0 without any interval, which is fast."""
    sample = question.sample
    summary, verdict = judged(
        sample, question.profile, resamples=resamples, cover=question.cover, grams=question.grams
    )
    progress.report(0.6, "intervals")
    charts = {}
    for r in (0, 3):
        band: Curve | None = None
        if resamples and len(sample):
            band = curve(sample, curve_sizes(sample), r=r, resamples=_CURVE_RESAMPLES)
            progress.report(0.8, "curves")
        charts[r] = size_chart(
            sample, question.profile, r=r, summary=summary, band=band, title=question.title
        )
    outcome, clauses = check(question.specification, sample, summary, grams=question.grams)
    return Answer(summary, verdict, charts, outcome, clauses, final=resamples > 0)
