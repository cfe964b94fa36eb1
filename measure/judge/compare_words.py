"""What a comparison says, in plain sentences."""

import math
import re

from measure.judge.compare import Comparison
from measure.judge.compare_pairs import WEBER_FRACTION, Ratio, ShareDifference
from measure.sizes.plan import lowered
from measure.sizes.rounding import rough_number, short_number, signed_number

_NOTHING_FELT = 0.005  # per cent of the volume, and of what its interval leaves open
_MEANS = {"number.mean_um": "mean size", "volume.mean_um": "volume-weighted mean size"}


def figure_words(figure: str) -> str:
    """Return the symbol of a figure.

    Examples
    --------
    >>> figure_words("volume.x90_um"), figure_words("means_um.D[4,3]")
    ('x_{90,3}', 'D[4,3]')
    """
    if figure in _MEANS:
        return _MEANS[figure]
    where, _, name = figure.partition(".")
    if name.startswith("x"):
        return f"x_{{{name[1:].removesuffix('_um')},{0 if where == 'number' else 3}}}"
    return name.removesuffix("_um").replace("_", " ")


_FAR = 1000  # times; beyond, no digit tells more


def in_words(text: str) -> str:
    """Return text with symbols such as x_{90,3} written as in the tables of figures.

    Examples
    --------
    >>> in_words("finer in x_{90,3}, twice")
    'finer in x₉₀ by volume, twice'
    """
    return re.sub(
        r"x_\{([0-9.]+),([03])\}",
        lambda m: f"x{lowered(m[1])} by {'number' if m[2] == '0' else 'volume'}",
        text,
    )


def pair_sentence(row: Ratio, together: str = "") -> str:
    """Return what one ratio says; the finer batch comes first.

    Examples
    --------
    >>> pair_sentence(Ratio("pass 3", "pass 6", "volume.x90_um", "", 60.0, 31.6, 1.9, 1.6, 2.3))
    'pass 6 is 1.9 times finer than pass 3 in x_{90,3}, 1.6 to 2.3.'
    """
    what = figure_words(row.figure) + (f" of {row.kind}" if row.kind else "")
    if not (math.isfinite(row.low) and math.isfinite(row.high)):
        names = f"{row.first} and {row.second}"
        over = f"{row.first} over {row.second} is {ratio_text(row.ratio)}"
        return f"Whether {names} differ in {what} cannot be judged: {over}, without an interval."
    finer, coarser, ratio, low, high = row.second, row.first, row.ratio, row.low, row.high
    if row.ratio < 1:
        finer, coarser, ratio, low, high = row.first, row.second, 1 / row.ratio, 1 / row.high, 1 / row.low
    small = "; too little to notice" if row.noticeable is False else ""
    numbers = f"{times_text(low)} to {times_text(high)}{together}{small}."
    if row.shown:
        return f"{finer} is {times_text(ratio)} times finer than {coarser} in {what}, {numbers}"
    names = f"{row.first} and {row.second}"
    over = f"{coarser} over {finer} is {times_text(ratio)}"
    return f"No difference in {what} is shown between {names}: {over}, {numbers}"


def noticed_sentence() -> str:
    """Return from where a taster can notice a difference."""
    return f"A difference a taster can just notice starts near {100 * WEBER_FRACTION:.0f} %."


def ratio_sentence(row: Ratio, pairs: int = 1) -> str:
    """Return what one ratio says, and from where a taster could notice.

    Examples
    --------
    >>> row = Ratio("pass 3", "pass 6", "volume.x90_um", "", 60.0, 31.6, 1.9, 1.6, 2.3)
    >>> ratio_sentence(row).split("; ")[1]
    'a difference a taster can just notice starts near 17 %.'
    """
    together = f" (95 % for all {pairs} pairs together)" if pairs > 1 else ""
    end = noticed_sentence()
    return f"{pair_sentence(row, together)[:-1]}; {end[0].lower()}{end[1:]}"


def ratio_text(value: float) -> str:
    """Return a ratio as in the tables of ratios.

    Examples
    --------
    >>> ratio_text(0.953), ratio_text(1.9), ratio_text(12.34), ratio_text(0.00123), ratio_text(9e9)
    ('0.95', '1.90', '12.3', '0.0012', 'over 1000')
    """
    if not math.isfinite(value):
        return "?"
    if value >= _FAR:
        return f"over {_FAR}"
    if value < 0.1:
        return rough_number(value)
    return f"{value:.2f}" if value < 10 else short_number(value)


def times_text(value: float) -> str:
    """Return a ratio as in a sentence.

    Examples
    --------
    >>> times_text(1.234), times_text(3.46), times_text(10.9), times_text(0.67)
    ('1.23', '3.5', '11', '0.67')
    """
    if value >= _FAR:
        return f"over {_FAR}"
    if value < 0.1:
        return rough_number(value)
    return f"{value:.2f}" if value < 1.5 else f"{value:.1f}" if value < 10 else f"{value:.0f}"


def share_sentence(row: ShareDifference) -> str:
    """Return what one difference of felt shares says."""
    p, q = 100 * row.first_share, 100 * row.second_share
    if max(p, q, 100 * abs(row.low), 100 * abs(row.high)) < _NOTHING_FELT:
        return f"Next to nothing of a size that is felt was counted in {row.first} or in {row.second}."
    head = f"felt share {rough_number(q)} % in {row.second} against {rough_number(p)} % in {row.first}"
    if not math.isfinite(row.low):
        return f"{head[0].upper()}{head[1:]}, with no interval to judge it."
    low, high = sorted((-100 * row.low, -100 * row.high))
    change = f"a change of {signed_number(-100 * row.difference)} points"
    change += f" ({signed_number(low)} to {signed_number(high)})"
    return f"{head[0].upper()}{head[1:]}: {change}{'' if row.shown else ', so none is shown'}."


def sentences(comparison: Comparison, figure: str) -> tuple[str, ...]:
    """Return one sentence a pair for a figure of all pieces."""
    rows = [r for r in comparison.ratios if r.figure == figure and not r.kind]
    return tuple(ratio_sentence(row, comparison.pairs) for row in rows)
