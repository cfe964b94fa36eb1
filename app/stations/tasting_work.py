"""What the Tasting station needs besides widgets: samples from batches, and what a limit would change."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from measure.errors import InvalidInput
from measure.judge.discrimination import most_correct_for_similarity, power, trials_needed
from measure.judge.felt import FeltProfile
from measure.judge.panel_session import PanelPlan, PanelSample, missing_plates, sample_of_batch
from measure.judge.verdict import judged
from measure.model import Kind
from measure.progress import SILENT, Progress
from measure.sizes.sample import SizeSample
from measure.study.records import Tasting

# salt dissolves, so a panel that felt the grit of the rest says nothing about it
LIMIT_KINDS = (Kind.KERNEL, Kind.SKIN, Kind.OTHER)
_RESAMPLES = 400
# tests that end with a count of right answers
COUNTED = ("triangle", "paired")


@dataclass(frozen=True)
class TastedBatch:
    """A batch that can be tasted, with its pieces."""

    batch_id: int
    name: str
    sample: SizeSample

    def as_sample(self, profile: FeltProfile) -> PanelSample:
        """Return it with its size and felt share, as the plan keeps them."""
        return sample_of_batch(self.name, self.batch_id, self.sample, profile)


@dataclass(frozen=True)
class VerdictChange:
    """The verdict on one batch before and after."""

    name: str
    before: str
    after: str
    after_sentence: str


def verdict_changes(
    batches: Sequence[TastedBatch], before: FeltProfile, after: FeltProfile, progress: Progress = SILENT
) -> tuple[VerdictChange, ...]:
    """Return the verdicts on batches under two profiles."""
    found = []
    for place, batch in enumerate(batches):
        progress.report(place / len(batches), batch.name)
        if len(batch.sample):
            old, new = (judged(batch.sample, p, resamples=_RESAMPLES)[1] for p in (before, after))
            found.append(VerdictChange(batch.name, old.word, new.word, new.sentence))
    return tuple(found)


def in_order(method: str, samples: Sequence[PanelSample], reference: str) -> list[PanelSample]:
    """Return samples in the order a method expects: reference first, or the coarser first."""
    sized = list(samples)
    if method == "series":
        return [PanelSample(reference.strip() or "smooth reference"), *sized]
    if method in COUNTED:
        sized.sort(key=lambda s: -s.size_um if s.size_um > 0 else 0.0)
    return sized


def plan_words(
    method: str, answers: int, discriminators: float, alpha: float, *, similar: bool = False
) -> str:
    """Say what so many answers can show, before anyone tastes."""
    if answers < 1:
        return ""
    if method in COUNTED:
        return _counted_words(method, answers, discriminators, alpha, similar)
    if method == "series":
        return f"{answers} rows of samples are served; ASTM E679 has 50 to 100 in mind."
    if method == "ranking":
        few = " Ten or more tell more." if answers < 10 else ""
        return f"{answers} rankings.{few}"
    return f"{answers} plates."


def _counted_words(method: str, answers: int, share: float, alpha: float, similar: bool) -> str:
    percent = f"{100 * share:g} %"
    if similar:
        most = most_correct_for_similarity(method, answers, share, beta=alpha)
        if most < 0:
            return f"{answers} answers cannot show that fewer than {percent} tell the difference; plan more."
        return f"Alike within {percent} when at most {most} of {answers} are right."
    found = power(method, answers, share, alpha=alpha)
    text = (
        f"With {answers} answers a difference that {percent} of people perceive is found "
        f"{100 * found:.0f} times in 100 (the power of the test)."
    )
    if found >= 0.8:
        return text
    try:
        return f"{text} For 80 in 100 plan {trials_needed(method, share, alpha=alpha)} answers."
    except InvalidInput as error:
        return f"{text} {error.text}"


def session_words(tasting: Tasting) -> str:
    """Return the state of a session in a few words."""
    plan = PanelPlan.from_json(tasting.plan)
    answers = answers_of(tasting)
    total = len(plan.servings)
    given = total - len(missing_plates(plan, answers))
    if tasting.closed:
        return f"closed, {given} of {total} answers"
    return f"open, {given} of {total} answers"


def answers_of(tasting: Tasting) -> dict[str, object]:
    """Return the answers kept with a session."""
    kept = tasting.results.get("answers", {}) if tasting.results else {}
    return dict(kept) if isinstance(kept, dict) else {}


def size_words(sample: PanelSample) -> str:
    """Return the size of a sample for a list."""
    return f"x₉₀ {sample.size_um:.3g} µm" if math.isfinite(sample.size_um) else "not measured"
