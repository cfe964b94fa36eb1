"""A size summary and its verdict as one plain object, and as lines of text.

The keys are a contract: other programs read them. New keys may be added, none renamed.
"""

import math
from collections.abc import Mapping

from measure.judge.verdict import Verdict
from measure.sizes.moments import STANDARD_MEANS, mean_name
from measure.sizes.plan import figure_words
from measure.sizes.rounding import figure_texts
from measure.sizes.summary import SizeSummary

_LISTED = (
    "number.x10_um",
    "number.x50_um",
    "number.x90_um",
    "number.mean_um",
    "number.geometric_mean_um",
    "number.geometric_sd",
    "volume.x10_um",
    "volume.x50_um",
    "volume.x90_um",
    "volume.mean_um",
    *(f"means_um.{mean_name(p, q)}" for p, q in STANDARD_MEANS),
    "span",
)


def sizes_json(summary: SizeSummary, verdict: Verdict) -> dict[str, object]:
    """Return the object that ``gritline sizes --json`` prints and sizes.json holds.

    Parameters
    ----------
    summary : SizeSummary
        Made by `measure.judge.verdict.judged`, so that it has the felt share.
    verdict : Verdict

    Returns
    -------
    dict
        ``count``, ``smallest_um``, ``number``, ``volume``, ``means_um``, ``span``, ``intervals`` (dotted
        keys, low and
        high), ``felt``, ``warnings``, then what else is known. None stands for what has no value.
    """
    values = {name: _number(value) for name, value in summary.values.items()}
    pieces = summary.pieces
    intervals = {
        name: [_number(u.low), _number(u.high)]
        for name, u in summary.uncertainties.items()
        if math.isfinite(u.low) and math.isfinite(u.high)
    }
    return {
        "count": int(pieces) if float(pieces).is_integer() else pieces,
        "smallest_um": _number(summary.smallest_um),
        "number": _group(values, "number."),
        "volume": _group(values, "volume."),
        "means_um": _group(values, "means_um."),
        "span": values["span"],
        "intervals": intervals,
        "felt": _felt(verdict),
        "warnings": list(summary.warnings),
        "notes": list(summary.notes),
        "fields": summary.fields,
        "largest_um": _number(summary.largest_um),
        "interval_basis": summary.basis,
        "between_fields": summary.between_fields,
        "coverage": 0.95,
        "uncertainty_shares": {
            name: {row.source: round(row.share, 4) for row in summary.budget(name)} for name in intervals
        },
        "left_out": dict(summary.left_out),
    }


def _group(values: Mapping[str, float | None], prefix: str) -> dict[str, float | None]:
    return {name.removeprefix(prefix): value for name, value in values.items() if name.startswith(prefix)}


def _number(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _felt(verdict: Verdict) -> dict[str, object]:
    strays = verdict.strays
    rate = strays.per_gram
    return {
        "share": _number(verdict.share),
        "low": _number(verdict.low),
        "high": _number(verdict.high),
        "verdict": verdict.word,
        "sentence": verdict.sentence,
        "reasons": list(verdict.reasons),
        "decides": verdict.decides,
        "strays": {
            "count": strays.number,
            "low": strays.low,
            "high": strays.high,
            "beyond_um": _number(strays.beyond_um),
            "per_gram": None if rate is None else list(rate),
        },
        "profile": list(verdict.profile.describe()),
    }


def sizes_lines(summary: SizeSummary, verdict: Verdict) -> list[str]:
    """Return the same for reading: a line a figure, the verdict, and what to be careful about."""
    lines = [
        f"{summary.pieces:,.0f} {'piece' if summary.pieces == 1 else 'pieces'} on {summary.fields} "
        f"{'field' if summary.fields == 1 else 'fields'}"
    ]
    if summary.pieces:  # without any, there is nothing to list but dashes
        basis = f"95 % intervals {summary.basis}" if summary.resamples else summary.basis
        lines[0] += f", {summary.limit_words}; {basis}"
        lines += ["", *(_line(summary, name) for name in _LISTED if name in summary.values)]
    lines += ["", verdict.sentence, *(f"  {reason}" for reason in verdict.reasons)]
    if verdict.decides:
        lines.append(f"  What would decide: {verdict.decides}")
    for title, sentences in (("Careful:", summary.warnings), ("Note:", summary.notes)):
        if sentences:
            lines += ["", title, *(f"  {sentence}" for sentence in sentences)]
    lines += ["", "Sizes are area-equivalent diameters; a verdict is no proof that a food is safe to eat."]
    return lines


def _line(summary: SizeSummary, name: str) -> str:
    value, low, high = figure_texts(summary.value(name), *summary.interval(name))
    unit = "" if name in ("span", "number.geometric_sd") else " µm"
    if not math.isfinite(summary.value(name)):
        return f"  {figure_words(name):<28} none"
    words = summary.no_interval_words(name)
    without = f"   {words}" if words else ""
    range_ = f"   {low} to {high}" if low else without
    return f"  {figure_words(name):<28} {value:>8}{unit:<3}{range_}"


def significant(value: float) -> str:
    """Return a size with three significant figures.

    Examples
    --------
    >>> significant(3.14159), significant(48.26), significant(1234.5)
    ('3.14', '48.3', '1230')
    """
    if not math.isfinite(value) or value == 0:
        return f"{value:g}"
    value = float(f"{value:.3g}")
    decimals = max(2 - math.floor(math.log10(abs(value))), 0)
    return f"{value:.{decimals}f}"
