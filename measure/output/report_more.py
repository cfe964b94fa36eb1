"""What follows from the sizes: comparison, grind curve, tasting, spot check."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from measure.errors import InvalidInput, KnownError
from measure.judge.compare import Comparison
from measure.judge.compare_words import figure_words, ratio_text, sentences, share_sentence
from measure.judge.panel_session import METHODS, PanelPlan
from measure.output.charts_compare import (
    CurvesChart,
    GrindChart,
    common_sizes,
    lay_out_curves,
    lay_out_grind,
)
from measure.output.compare_json import SYMBOLS, law_numbers, step_sentence
from measure.output.report_facts import BAND_RESAMPLES, COMPARED, ReportFacts, grind_of
from measure.output.report_parts import WIDTH_PT, ChartBlock, bullets, table, text, together
from measure.sizes.curve import curve
from measure.study.records import Tasting


def compare(report: ReportFacts) -> list:
    """Return the comparison of the batches and the grind curve."""
    found = report.comparison
    parts: list = [text("Comparison", "heading")]
    if found is None:
        return [*parts, text(report.why_not_compared)]
    samples = [b.sample for b in found.batches]
    at = common_sizes(samples)
    curves = tuple(curve(s, at, r=3, resamples=BAND_RESAMPLES) for s in samples)
    limits = [s.smallest_um for s in samples if np.isfinite(s.smallest_um)]
    chart = CurvesChart(tuple(b.name for b in found.batches), curves, 90.0, max(limits, default=float("nan")))
    parts.append(ChartBlock(lay_out_curves(chart, WIDTH_PT, 225), WIDTH_PT, 225))
    parts += bullets([*sentences(found, COMPARED), *map(share_sentence, found.shares)])
    rows = [
        [
            f"{r.first} / {r.second}", figure_words(r.figure) + (f", {r.kind}" if r.kind else ""),
            ratio_text(r.ratio),
            f"{ratio_text(r.low)} to {ratio_text(r.high)}" if np.isfinite(r.low) else "none",
            "yes" if r.shown else "no",
        ]
        for r in found.ratios
    ]  # fmt: skip
    parts.append(
        table(("pair", "figure", "ratio", "interval", "shown"), rows, (4, 3, 1, 2.4, 1), right_from=2)
    )
    parts += bullets([*found.warnings, *found.notes], "small")
    return [*parts, *_grind(found)]


def _grind(found: Comparison) -> list:
    made, why = grind_of(found)
    if made is None:
        return [text("Grind curve", "part"), text(why)]
    chart = GrindChart(made, None, "x₉₀,₃, µm")
    rows = [[f.law.words, _parameters(law_numbers(f, made)), f"{f.weight:.2f}"] for f in made.fits]
    return [
        together(text("Grind curve", "part"), ChartBlock(lay_out_grind(chart, WIDTH_PT, 200), WIDTH_PT, 200)),
        table(("law", "parameters", "weight"), rows, (4, 5, 1), right_from=2),
        text(step_sentence(made, 1.0)),
        *bullets(made.warnings, "small"),
    ]


def tasting(report: ReportFacts) -> list:
    """Return the result of each tasting session; assessors stay unnamed."""
    parts: list = [text("Tasting", "heading")]
    ids = {b.id for b in report.batches}
    rows = [r for r in report.study.tastings() if not r.tasting.batch_ids or ids & {*r.tasting.batch_ids}]
    if not rows:
        return [*parts, text("No tasting is on record for these batches.")]
    for row in rows:
        try:
            parts += _session(row.tasting)
        except InvalidInput as error:  # too few answers, for one
            parts.append(text(f"{row.tasting.name or f'Session {row.id}'}: {error.text}", "body"))
        except (KnownError, KeyError, TypeError, ValueError):
            parts.append(text(f"The session {row.tasting.name or row.id} cannot be read.", "body"))
    return parts


def _parameters(numbers: Mapping[str, str]) -> str:
    return ", ".join(f"{SYMBOLS.get(name, name)} {words}" for name, words in numbers.items())


def _session(tasted: Tasting) -> list:
    from measure.judge.panel_session_result import evaluate
    from measure.judge.panel_session_words import outcome_sentences
    from measure.output.charts_panel import lay_out_panel, panel_chart

    plan = unnamed(PanelPlan.from_json(tasted.plan))
    method = METHODS[plan.method]
    answers = tasted.results.get("answers", {}) if tasted.results else {}
    about = (
        f"{method.title}, {method.standard}; {tasted.made[:10]}; {len(plan.assessors)} assessors, "
        f"{len(answers)} of {len(plan.servings)} plates answered"
        f"{'' if tasted.closed else '; the session is still open'}."
    )
    parts = [together(text(tasted.name or method.title, "part"), text(about, "small"))]
    if not tasted.closed:
        return [*parts, *bullets(("The result is shown once it is closed.",))]
    if not answers:
        return [*parts, *bullets(("Nobody answered, so there is no result.",))]
    outcome = evaluate(plan, answers, closed=True)
    parts += bullets(outcome_sentences(plan, outcome))
    chart = panel_chart(outcome)
    if chart is not None:
        parts.append(ChartBlock(lay_out_panel(chart, 360, 200), 360, 200))
    return [*parts, *bullets(outcome.warnings, "small")]


def unnamed(plan: PanelPlan) -> PanelPlan:
    """Return a plan with numbers in place of the assessors' names: a report goes to others."""
    names = {name: f"assessor {place}" for place, name in enumerate(plan.assessors, start=1)}
    servings = tuple(replace(s, assessor=names[s.assessor]) for s in plan.servings)
    return replace(plan, assessors=tuple(names.values()), servings=servings)


def spot_check(report: ReportFacts) -> list:
    """Return how far blind hand outlines agree with those of the tool."""
    parts: list = [text("Spot check", "heading")]
    ids = {b.id for b in report.batches}
    rows = [
        r.check for r in report.study.spot_checks() if not r.check.batch_ids or ids & {*r.check.batch_ids}
    ]
    if not rows:
        return [*parts, text("No spot check by hand is on record for these batches.")]
    for check in rows:
        asked = len(check.plan.get("pieces", ()))
        done = sum(a is not None for a in check.results.get("hand", ()))
        about = (
            f"{check.made[:10]}: {done} of {asked} pieces, chosen at random, outlined by hand without sight"
        )
        parts.append(text(f"{check.name or 'Spot check'}", "part"))
        parts.append(text(f"{about} of the tool's outlines{'' if check.closed else '; not finished'}."))
        words = check.results.get("text")
        if isinstance(words, str):
            parts.append(text(words))
    return parts
