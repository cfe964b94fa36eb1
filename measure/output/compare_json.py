"""A comparison and a grind curve as plain values for other programs, and as lines for reading."""

import math
from collections.abc import Iterator

from measure.judge.compare import Comparison
from measure.judge.compare_words import figure_words, in_words, ratio_text, sentences, share_sentence
from measure.judge.felt import FELT_SHARE
from measure.judge.grind import GrindCurve, LawFit, step_no_longer_noticed
from measure.judge.grind_forecast import Forecast
from measure.sizes.rounding import short_number


def comparison_json(found: Comparison, figure: str) -> dict:
    """Return a comparison as plain values; sentences are about ``figure``."""
    return {
        "batches": [
            {
                "name": b.name,
                "pieces": s.pieces,
                "fields": s.fields,
                "smallest_um": s.smallest_um,
                "values": {k: v for k, v in s.values.items() if k != FELT_SHARE},
                "felt": {"share": v.share, "low": v.low, "high": v.high, "verdict": v.word},
            }
            for b, s, v in zip(found.batches, found.summaries, found.verdicts, strict=True)
        ],
        "ratios": [
            {
                "first": r.first, "second": r.second, "figure": r.figure, "kind": r.kind or None,
                "ratio": r.ratio, "low": r.low, "high": r.high, "shown": r.shown, "noticeable": r.noticeable,
            }
            for r in found.ratios
        ],
        "felt_differences": [
            {
                "first": r.first, "second": r.second, "difference": r.difference,
                "low": r.low, "high": r.high, "shown": r.shown,
            }
            for r in found.shares
        ],
        "pairs": found.pairs,
        "confidence_each": found.single_confidence,
        "common_range": found.common_range,
        "sentences": [*sentences(found, figure), *(share_sentence(r) for r in found.shares)],
        "warnings": list(found.warnings),
        "notes": list(found.notes),
    }  # fmt: skip


def comparison_lines(found: Comparison, figure: str) -> Iterator[str]:
    """Yield a comparison line by line."""
    yield from map(in_words, sentences(found, figure))
    for row in found.shares:
        yield share_sentence(row)
    yield ""
    yield f"{'first / second':32} {'figure':21} {'ratio':>7}  interval"
    for r in found.ratios:
        pair = f"{r.first} / {r.second}"
        what = in_words(figure_words(r.figure)) + (f", {r.kind}" if r.kind else "")
        range_ = f"{ratio_text(r.low)} to {ratio_text(r.high)}" if math.isfinite(r.low) else "none possible"
        yield f"{pair:32} {what:21} {ratio_text(r.ratio):>7}  {range_}"
    yield from found.notes


def grind_json(curve: GrindCurve, answer: Forecast | None, step: float) -> dict:
    """Return a grind curve and its forecast as plain values; infinite doses become "never"."""
    plain = {
        "unit": curve.unit,
        "laws": [
            {
                "law": f.law.name, "parameters": f.parameters, "chi_squared": f.chi_squared,
                "aicc": f.aicc, "weight": f.weight,
            }
            for f in curve.fits
        ],
        "points": [
            {"dose": p.dose, "value": p.value, "low": p.low, "high": p.high, "name": p.name}
            for p in curve.points
        ],
        "less_than_noticeable_from": step_no_longer_noticed(curve, step),
        "step": step,
        "warnings": list(curve.warnings),
        "forecast": None,
    }  # fmt: skip
    if answer is not None:
        names = ("target", "dose", "low", "high", "more", "more_low", "more_high", "never")
        plain["forecast"] = {
            **{n: "never" if math.isinf(getattr(answer, n)) else getattr(answer, n) for n in names},
            "plateau": answer.plateau, "plateau_low": answer.plateau_low, "plateau_high": answer.plateau_high,
            "reachable": answer.reachable, "sentence": answer.sentence,
        }  # fmt: skip
    return plain


def grind_lines(curve: GrindCurve, answer: Forecast | None, step: float) -> Iterator[str]:
    """Yield a grind curve and its forecast line by line."""
    yield ""
    if curve.fits:
        yield "Laws of grinding, by how well they fit:"
    for f in curve.fits:
        yield f"  {law_words(f, curve)}"
    if answer is not None:
        yield in_words(answer.sentence)
    yield step_sentence(curve, step)


SYMBOLS = {"y0": "y₀", "x0": "x₀", "x_inf": "x∞", "R0": "R₀"}  # of the laws of grinding, for their readers


def law_numbers(fit: LawFit, curve: GrindCurve) -> dict[str, str]:
    """Return the numbers of a fitted law with their units.

    Examples
    --------
    A size over passes gives {"x0": "263 µm", "c": "0.00444 per µm and pass"}.
    """
    step = {"passes": "pass", "minutes": "minute"}.get(curve.unit, curve.unit)
    share = {"R0": "", "y0": "", "x0": "", "x_inf": "", "fall": "", "c": f" per {step}"}
    size = {"R0": " µm", "y0": " µm", "x0": " µm", "x_inf": " µm", "fall": " µm", "c": f" per µm and {step}"}
    units = share if curve.is_share else size
    # a plateau far below every batch is none, and its logarithm has no bottom
    none = 0.01 * min(p.value for p in curve.points)
    values = {n: 0.0 if n == "x_inf" and v < none else v for n, v in fit.parameters.items()}
    return {n: f"{short_number(v)}{units.get(n, f' per {step}')}" for n, v in values.items()}


def law_words(fit: LawFit, curve: GrindCurve) -> str:
    """Return a fitted law with its numbers, weight and AICc."""
    text = ", ".join(f"{SYMBOLS.get(n, n)} = {words}" for n, words in law_numbers(fit, curve).items())
    aicc = f", AICc {fit.aicc:.1f}" if math.isfinite(fit.aicc) else ""
    return f"{fit.law.words}: {text}; weight {100 * fit.weight:.0f} %{aicc}"


def step_sentence(curve: GrindCurve, step: float) -> str:
    """Say from where one more step buys less than a taster can just notice."""
    if curve.is_share:
        return "Whether one more step is noticed is judged on sizes, not on shares."
    start = step_no_longer_noticed(curve, step)
    unit = f"{step:g} {curve.unit}"
    if step == 1:
        unit = {"passes": "pass", "minutes": "minute"}.get(curve.unit, unit)
    if math.isnan(start):
        return f"Every further {unit} seems to buy a step a taster can notice, as far as the curve goes."
    return (
        f"From {start:g} {curve.unit} on, one more {unit} buys less than the step of 17 % a taster can "
        "just notice."
    )
