"""Tasting statistics from counts, from tables, and from a filled-in session."""

import math
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np

from measure.errors import InvalidInput
from measure.judge.compare_words import in_words
from measure.judge.discrimination import DifferenceResult, difference_test, most_correct_for_similarity
from measure.judge.panel_session import PanelPlan
from measure.judge.panel_session_result import evaluate, one_sided
from measure.judge.panel_session_words import outcome_sentences
from measure.judge.psychometric import NO_RISE, fit_psychometric
from measure.judge.ranking import rank_test
from measure.judge.threshold import group_threshold
from measure.output.panel_files import read_answers, read_rows


@dataclass(frozen=True)
class PanelReport:
    """Plain values for programs, lines for people, and what to be careful about."""

    values: dict
    lines: tuple[str, ...]
    warnings: tuple[str, ...] = ()


def of_counts(
    test: str, trials: int, correct: int, *, alpha: float, two_sided: bool, similarity: float | None
) -> PanelReport:
    """Return the result of a difference test from its counts.

    Raises
    ------
    InvalidInput
        If the counts make no sense, or two sides are asked of a test that has one.
    """
    if two_sided and test != "paired":
        raise InvalidInput(
            f"--two-sided belongs to the paired comparison; right answers of the test {test} point one way."
        )
    d = difference_test(test, trials, correct, alpha=alpha, two_sided=two_sided)
    values = {**asdict(d), "significant": d.significant}
    verdict = (
        "A difference is shown" if d.significant else "No difference is shown (which is no proof of none)"
    )
    counted = f"{correct} of {trials} right, {d.needed} needed"
    if two_sided:
        counted = f"{correct} for one and {trials - correct} for the other, {d.needed} for either needed"
    lines = [
        f"{verdict}: {counted} at {100 * alpha:g} %, p {_p(d.p_value)}.",
        f"Discriminators {100 * d.discriminators:.1f} % ({100 * d.discriminators_low:.1f} to "
        f"{100 * d.discriminators_high:.1f} %); {_sensitivity(d)}.",
    ]
    if similarity is not None:
        most = most_correct_for_similarity(test, trials, similarity, beta=alpha)
        values["similar"] = correct <= most
        word = "Similar" if correct <= most else "Similarity is not shown"
        lines.append(f"{word}: at most {most} right count as similar within {100 * similarity:g} %.")
    return PanelReport(values, tuple(lines))


def _p(value: float) -> str:
    return "< 0.0001" if value < 0.0001 else f"= {value:.4g}"


def _sensitivity(d: DifferenceResult) -> str:
    if not math.isfinite(d.d_prime):
        return "d' cannot be told where all are right"
    if not math.isfinite(d.d_prime_standard_error):
        return "d' = 0, no more right than by guessing"
    return f"d' = {d.d_prime:.3g} (s.e. {d.d_prime_standard_error:.2g})"


def of_ranking(path: Path | str) -> PanelReport:
    """Return Friedman's test of a table: assessor, then one column of ranks a sample."""
    names, _, ranks = _matrix(path)
    if len(names) < 3:
        raise InvalidInput(
            f"'{Path(path).name}' ranks {len(names)} samples ({', '.join(names)}), for its first column "
            "names the assessors; a ranking needs three or more."
        )
    r = rank_test(ranks, names)
    sums = ", ".join(f"{n} {s:g}" for n, s in zip(names, r.rank_sums, strict=True))
    lines = (
        f"Rank sums of {r.assessors} assessors: {sums}.",
        f"Friedman {r.friedman:.4g}, p {_p(r.friedman_p)}; rank sums more than "
        f"{r.least_difference:.1f} apart differ at 5 % (single pairs).",
    )
    return PanelReport(asdict(r), lines)


def of_series(path: Path | str) -> PanelReport:
    """Return best-estimate thresholds of a table: assessor, then a column of 0 and 1 for each level."""
    names, people, marks = _matrix(path)
    try:
        levels = [float(n) for n in names]
    except ValueError:
        raise InvalidInput(f"'{Path(path).name}': the level columns must be headed by their sizes.") from None
    if not np.isin(marks, (0, 1)).all():
        raise InvalidInput(f"'{Path(path).name}': answers are 1 (right) or 0 (wrong).")
    if len(set(people)) < len(people):
        raise InvalidInput(f"'{Path(path).name}': each assessor has one row.")
    t = group_threshold(levels, {p: row.astype(bool).tolist() for p, row in zip(people, marks, strict=True)})
    lines = [f"{p}: {v:.4g}" for p, v in t.individual.items()]
    spread = "of one assessor, so without an interval"
    if math.isfinite(t.group_low):
        spread = f"({t.group_low:.4g} to {t.group_high:.4g}), s.d. of log10 {t.log10_sd:.3g}"
    lines.append(f"Group: {t.group:.4g} {spread}.")
    warnings = (f"Outside the levels, so a guess: {', '.join(t.beyond)}.",) if t.beyond else ()
    return PanelReport(asdict(t), tuple(lines), warnings)


def of_curve(path: Path | str, guess: float) -> PanelReport:
    """Return the fitted curve of a table with the columns size_um, trials, correct."""
    rows = read_rows(path)
    for name in ("size_um", "trials", "correct"):
        if name not in rows[0]:
            raise InvalidInput(f"'{Path(path).name}' has no column '{name}'.")
    x, n, k = (_numbers(path, [r[c] for r in rows]) for c in ("size_um", "trials", "correct"))
    fit = fit_psychometric(x, n, k, guess=guess)
    # a curve that runs beyond the sizes tasted, or nowhere, has a limit only of its own making
    side = one_sided([(size, int(of), int(right)) for size, of, right in zip(x, n, k, strict=True)], guess)
    if not side and fit.slope <= NO_RISE:
        side = "they do not rise with size; look whether sizes or answers were mixed up"
    if side:
        raise InvalidInput(f"'{Path(path).name}': the answers give no limit, because {side}.")
    line = (
        f"Half feel it at {fit.threshold:.4g} µm ({fit.threshold_low:.4g} to {fit.threshold_high:.4g}); "
        f"slope {fit.slope:.3g}, deviance {fit.deviance:.3g} (p {_p(fit.deviance_p)})."
    )
    return PanelReport(asdict(fit), (line,), fit.warnings)


def of_plan(plain: dict, path: Path | str) -> PanelReport:
    """Return the result of a session from its plan and its filled-in answer table."""
    plan = PanelPlan.from_json(plain)
    outcome = evaluate(plan, read_answers(path, plan), closed=True)
    lines = list(outcome_sentences(plan, outcome))
    lines += [f"{name}: {words}" for name, words in (outcome.assessors or {}).items()]
    return PanelReport(asdict(outcome), tuple(in_words(line) for line in lines), outcome.warnings)


def _matrix(path: Path | str) -> tuple[tuple[str, ...], list[str], np.ndarray]:
    """Return column names, row names and numbers of a table whose first column names the rows."""
    rows = read_rows(path)
    heads = list(rows[0])
    if _is_number(heads[0]) or (len(rows) > 1 and all(row[heads[0]] in ("0", "1") for row in rows)):
        raise InvalidInput(
            f"'{Path(path).name}': the first column must name the assessors, but it is headed '{heads[0]}' "
            "and holds answers; put a column of names or numbers before it."
        )
    people = [r[heads[0]] for r in rows]
    numbers = np.array([_numbers(path, [r[h] for h in heads[1:]]) for r in rows])
    return tuple(heads[1:]), people, numbers


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def _numbers(path: Path | str, cells: list[str]) -> list[float]:
    try:
        values = [float(c) for c in cells]
    except ValueError:
        values = [math.nan]
    if not all(map(math.isfinite, values)):
        raise InvalidInput(f"'{Path(path).name}': '{', '.join(cells)}' holds something that is no number.")
    return values
