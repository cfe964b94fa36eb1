"""What agreement between slides or people says, in plain sentences and plain values."""

import math
from collections.abc import Iterator

from measure.judge.agreement import Repeatability, TableAgreement
from measure.judge.compare_words import figure_words, in_words
from measure.sizes.rounding import short_number, signed_number

_MOSTLY_THE_SAME = 0.5


def repeatability_sentence(r: Repeatability) -> str:
    """Say how far slides repeat, and what that does to the batch's interval."""
    head = (
        f"Repeat slides: {figure_words(r.figure)} of one slide repeats with a standard deviation of "
        f"{100 * r.repeatability_sd:.2g} %; {100 * r.share_between:.0f} % of its variance lies between slides"
    )
    if r.widening > 1.1:
        return (
            f"{head}, so the batch's interval should be {r.widening:.1f} times wider than fields alone say."
        )
    return f"{head}, so fields alone say enough about the interval."


def agreement_lines(found: TableAgreement) -> Iterator[str]:
    """Yield the agreement of two tables line by line."""
    yield (
        f"{len(found.fields)} fields in both tables; {found.both} pieces found by both, "
        f"{found.only_first} by the first only, {found.only_second} by the second only."
    )
    yield f"Overlap {100 * found.overlap:.1f} % (2 × both over all)."
    if found.overlap < _MOSTLY_THE_SAME:
        yield "Fewer than half of the pieces were found by both: are these tables of the same pictures?"
    s = found.size
    low, high = (100 * math.expm1(v) for v in (s.low, s.high))
    yield (
        f"Sizes: the second measures {signed_number(100 * math.expm1(s.bias))} % (single pieces, 95 %: "
        f"{signed_number(low)} % to {signed_number(high)} %; Bland and Altman)."
    )
    if math.isfinite(found.kappa):
        error = 1.96 * found.kappa_error
        low, high = found.kappa - error, min(found.kappa + error, 1.0)
        yield f"Kinds: Cohen's kappa {found.kappa:.2f} ({low:.2f} to {high:.2f})."
    else:
        yield "Kinds: all pieces are of one kind, so there is nothing to agree about."
    for name, (a, b) in found.figures.items():
        change = signed_number(100 * (b / a - 1))
        yield in_words(f"{figure_words(name)}: {short_number(a)} and {short_number(b)} µm, {change} %")


def agreement_json(found: TableAgreement) -> dict:
    """Return the agreement of two tables as plain values."""
    s = found.size
    return {
        "fields": list(found.fields),
        "both": found.both,
        "only_first": found.only_first,
        "only_second": found.only_second,
        "overlap": found.overlap,
        "size_ratio": {
            "bias": math.exp(s.bias), "limits": [math.exp(s.low), math.exp(s.high)], "pieces": s.count,
        },
        "kinds": found.kinds.tolist(),
        "kappa": found.kappa,
        "kappa_standard_error": found.kappa_error,
        "figures": {name: list(pair) for name, pair in found.figures.items()},
    }  # fmt: skip
