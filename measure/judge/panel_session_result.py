"""What a closed tasting session says: the test of its method, each assessor's own, and a fitted curve."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from measure.errors import InvalidInput
from measure.judge.discrimination import DifferenceResult, difference_test, most_correct_for_similarity
from measure.judge.panel_session import PanelPlan
from measure.judge.psychometric import PsychometricFit, fit_psychometric
from measure.judge.ranking import RankingResult, rank_test
from measure.judge.serving import Serving
from measure.judge.threshold import ThresholdResult, group_threshold

LAPSE = 0.02
# a score above this counts as felt
FELT_SCORE = 0.0


@dataclass(frozen=True)
class SampleScore:
    """Mean grittiness of one sample over assessors, with 95 % limits and the share who felt any."""

    name: str
    mean: float
    low: float
    high: float
    felt: int
    answers: int


@dataclass(frozen=True)
class PanelOutcome:
    """Result of a session; what the method does not give is None or empty.

    Attributes
    ----------
    method : str
    answers, plates : int
        Given and planned.
    difference : DifferenceResult or None
        Triangle and paired.
    similar : bool or None
        Whether the samples count as similar; None where that was not asked.
    ranking : RankingResult or None
    threshold : ThresholdResult or None
        Best-estimate thresholds of a series, um.
    curve : PsychometricFit or None
        Felt against x_{90,3}, um.
    levels : tuple of (float, int, int)
        Size, answers and right (or "felt") answers behind the curve.
    scores : tuple of SampleScore
    assessors : mapping of str to str
        Each assessor's own result in words.
    warnings : tuple of str
    """

    method: str
    answers: int
    plates: int
    difference: DifferenceResult | None = None
    similar: bool | None = None
    ranking: RankingResult | None = None
    threshold: ThresholdResult | None = None
    curve: PsychometricFit | None = None
    levels: tuple[tuple[float, int, int], ...] = ()
    scores: tuple[SampleScore, ...] = ()
    assessors: Mapping[str, str] | None = None
    warnings: tuple[str, ...] = ()


def evaluate(plan: PanelPlan, answers: Mapping[str, object], *, closed: bool) -> PanelOutcome:
    """Evaluate a session.

    Parameters
    ----------
    plan : PanelPlan
    answers : mapping of str to object
        As kept by `measure.judge.panel_session.with_answer`.
    closed : bool
        Results stay blind until the session is closed.

    Raises
    ------
    InvalidInput
        If the session is open, or has no answers.
    """
    if not closed:
        raise InvalidInput("The session is still open; close it to see results. No answer can be added then.")
    given = {int(k): v for k, v in answers.items() if int(k) < len(plan.servings)}
    if not given:
        raise InvalidInput("Nobody has answered yet, so there is no result.")
    warnings = []
    if len(given) < len(plan.servings):
        missing = len(plan.servings) - len(given)
        warnings.append(f"{missing} of {len(plan.servings)} plates have no answer and are left out.")
    parts = _RULES[plan.method](plan, [(plan.servings[i], v) for i, v in sorted(given.items())], warnings)
    return PanelOutcome(plan.method, len(given), len(plan.servings), **parts, warnings=tuple(warnings))


# answers are in the form of `check_answer`: its kind goes with the method of the plan
Answered = list[tuple[Serving, Any]]


def _difference(plan: PanelPlan, given: Answered, warnings: list[str]) -> dict:
    right = sum(value == s.answer for s, value in given)
    found = difference_test(plan.method, len(given), right, alpha=plan.alpha)
    similar = None
    if plan.similarity is not None:
        most = most_correct_for_similarity(plan.method, len(given), plan.similarity, beta=plan.alpha)
        similar = right <= most
    if plan.rounds > 1:
        warnings.append("Answers of one assessor in several rounds are not independent; p is then too small.")
    own = {
        name: f"{sum(v == s.answer for s, v in rows)} of {len(rows)} right"
        for name, rows in _by_assessor(given).items()
    }
    return {"difference": found, "similar": similar, "assessors": own}


def _by_assessor(given: Answered) -> dict[str, Answered]:
    rows: dict[str, Answered] = {}
    for serving, value in given:
        rows.setdefault(serving.assessor, []).append((serving, value))
    return rows


def _ranking(plan: PanelPlan, given: Answered, warnings: list[str]) -> dict:
    names = tuple(s.name for s in plan.samples)
    ranks, own = [], {}
    for serving, order in given:
        name_of = dict(zip(serving.codes, serving.samples, strict=True))
        tasted = [name_of[code] for code in order]
        ranks.append([tasted.index(n) + 1.0 for n in names])
        own[serving.assessor] = " < ".join(tasted)
    sizes = [s.size_um for s in plan.samples]
    known = all(v > 0 for v in sizes) and len(set(sizes)) == len(sizes)
    expected = tuple(names[i] for i in np.argsort(sizes)) if known else None
    if len(ranks) < 2:
        raise InvalidInput("A ranking needs the answers of at least two assessors.")
    if plan.rounds > 1:
        warnings.append(
            "Rankings of one assessor in several rounds are not independent; p is then too small."
        )
    return {"ranking": rank_test(np.array(ranks), names, expected), "assessors": own}


def _series(plan: PanelPlan, given: Answered, warnings: list[str]) -> dict:
    sizes = {s.name: s.size_um for s in plan.samples[1:]}
    levels = list(sizes.values())
    rows: dict[str, list[bool | None]] = {}
    for serving, value in given:
        level = next(n for n in serving.samples if n in sizes)
        key = serving.assessor if plan.rounds == 1 else f"{serving.assessor}, round {serving.round}"
        rows.setdefault(key, [None] * len(levels))[list(sizes).index(level)] = value == serving.answer
    whole = {n: [v for v in row if v is not None] for n, row in rows.items() if None not in row}
    if len(whole) < len(rows):
        warnings.append(
            f"Of {len(rows)} series {len(rows) - len(whole)} lack answers and give no threshold of their own."
        )
    counts = tuple(
        (size, sum(r[i] is not None for r in rows.values()), sum(r[i] is True for r in rows.values()))
        for i, size in enumerate(levels)
    )
    threshold = group_threshold(levels, whole) if whole else None
    if threshold is not None and threshold.beyond:
        beyond = ", ".join(threshold.beyond)
        warnings.append(
            f"Outside the sizes served, so only a guess: {beyond}. Serve finer or coarser levels."
        )
    own = {n: f"threshold {v:.3g} µm" for n, v in threshold.individual.items()} if threshold else {}
    return {
        "threshold": threshold, "levels": counts, "assessors": own, "curve": _curve(counts, 1 / 3, warnings),
    }  # fmt: skip


def _curve(
    counts: tuple[tuple[float, int, int], ...], guess: float, warnings: list[str]
) -> PsychometricFit | None:
    used = [c for c in counts if c[1] > 0]
    if len(used) < 3:
        warnings.append("A curve needs answers at three or more sizes.")
        return None
    sizes, trials, right = zip(*used, strict=True)
    side = one_sided(used, guess)
    if side:
        warnings.append(f"No curve is fitted, because {side}.")
        return None
    fit = fit_psychometric(sizes, trials, right, guess=guess, lapse=LAPSE)
    warnings += fit.warnings
    if fit.deviance_p < 0.05:
        warnings.append("The curve does not fit the answers well; something besides size may have been felt.")
    return fit


def one_sided(levels: Sequence[tuple[float, int, int]], guess: float) -> str:
    """Say so when the half-way point does not lie between the sizes served; empty when it does."""
    felt = [(right / trials - guess) / (1 - guess - LAPSE) for _, trials, right in levels if trials]
    if len(felt) < 3:
        return "too few sizes were answered"
    if min(felt) >= 0.5:
        return "half or more felt every size; serve finer batches"
    if max(felt) < 0.5:
        return "fewer than half felt even the coarsest; serve coarser batches"
    return ""


def _scale(plan: PanelPlan, given: Answered, warnings: list[str]) -> dict:
    marks: dict[str, list[float]] = {s.name: [] for s in plan.samples}
    for serving, scores in given:
        for code, name in zip(serving.codes, serving.samples, strict=True):
            marks[name].append(float(scores[code]))
    found = tuple(_score(name, np.array(values)) for name, values in marks.items())
    sized = sorted(
        (s.size_um, score.answers, score.felt)
        for s, score in zip(plan.samples, found, strict=True)
        if s.size_um > 0
    )
    own = {}
    for name, rows in _by_assessor(given).items():
        values = [float(v) for _, scores in rows for v in scores.values()]
        own[name] = (
            f"mean {np.mean(values):.2g} of 10, {sum(v > FELT_SCORE for v in values)} of {len(values)} felt"
        )
    distinct = len({size for size, _, _ in sized}) == len(sized)
    curve = _curve(tuple(sized), 0.0, warnings) if len(sized) >= 3 and distinct else None
    return {"scores": found, "levels": tuple(sized), "assessors": own, "curve": curve}


def _score(name: str, values: np.ndarray) -> SampleScore:
    from scipy.special import stdtrit

    mean = float(values.mean())
    half = math.nan
    if len(values) > 1:
        half = float(stdtrit(len(values) - 1, 0.975)) * float(values.std(ddof=1)) / math.sqrt(len(values))
    return SampleScore(
        name,
        mean,
        max(mean - half, 0.0),
        min(mean + half, 10.0),
        int((values > FELT_SCORE).sum()),
        len(values),
    )


_RULES = {
    "triangle": _difference, "paired": _difference, "ranking": _ranking, "series": _series, "scale": _scale,
}  # fmt: skip
