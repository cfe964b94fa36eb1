"""A specification beside the verdict: limits on figures and on coarse pieces, judged with their uncertainty.

A clause passes when the whole 95 % interval keeps the limit, fails when the whole interval breaks it, and is
undecided
when the interval holds the limit (guarded acceptance and guarded rejection, JCGM 106).
"""

import json
import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass

from measure.errors import InvalidInput
from measure.judge.felt_strays import poisson_limits
from measure.sizes.above import pieces_above
from measure.sizes.counts import further
from measure.sizes.plan import figure_words
from measure.sizes.rounding import figure_texts, rough_number, short_number
from measure.sizes.sample import SizeSample
from measure.sizes.summary import SizeSummary

OUTCOMES = ("passes", "fails", "undecided")


@dataclass(frozen=True)
class Clause:
    """One requirement.

    Attributes
    ----------
    figure : str
        Dotted name such as ``volume.x90_um``, or "pieces above" with ``size_um``.
    at_most : float
        Largest value allowed; for pieces above a size, the number per gram it must stay below.
    size_um : float or None
        Only for "pieces above".
    """

    figure: str
    at_most: float
    size_um: float | None = None

    def __post_init__(self) -> None:
        if not (math.isfinite(self.at_most) and self.at_most > 0):
            raise InvalidInput(f"A limit must be above 0, not {self.at_most:g}.")
        if self.figure == PIECES_ABOVE and not (
            self.size_um is not None and math.isfinite(self.size_um) and self.size_um > 0
        ):
            raise InvalidInput("A limit on coarse pieces needs a size above 0 µm.")

    @property
    def words(self) -> str:
        """The requirement in words."""
        if self.figure == PIECES_ABOVE:
            number = "fewer than 1 piece" if self.at_most == 1 else f"fewer than {self.at_most:g} pieces"
            return f"{number} above {self.size_um:g} µm per gram"
        unit = "" if self.figure in _UNITLESS else " µm"
        return f"{figure_words(self.figure)} at most {self.at_most:g}{unit}"


PIECES_ABOVE = "pieces above"
# beyond this many times the present data, counting on is no sensible advice
_MOST_TIMES = 50
_UNITLESS = ("span", "number.geometric_sd", "felt.share")


@dataclass(frozen=True)
class ClauseResult:
    """How one requirement fares: "passes", "fails" or "undecided", why, and what would decide."""

    clause: Clause
    outcome: str
    value: float
    low: float
    high: float
    reason: str
    decides: str = ""


@dataclass(frozen=True)
class Specification:
    """A named list of requirements; all must pass."""

    name: str
    clauses: tuple[Clause, ...]

    def to_json(self) -> str:
        """Return JSON text that `from_json` reads back."""
        return json.dumps(
            {"name": self.name, "clauses": [asdict(c) for c in self.clauses]}, ensure_ascii=False
        )

    @classmethod
    def from_json(cls, text: str) -> "Specification":
        """Return the specification `to_json` wrote.

        Raises
        ------
        InvalidInput
            If the text is not such JSON.
        """
        try:
            raw = json.loads(text)
            return cls(raw["name"], tuple(Clause(**c) for c in raw["clauses"]))
        except InvalidInput:
            raise
        except (ValueError, KeyError, TypeError) as error:
            raise InvalidInput(f"The specification cannot be read ({error}); enter it anew.") from error


def check(
    specification: Specification, sample: SizeSample, summary: SizeSummary, *, grams: float | None = None
) -> tuple[str, tuple[ClauseResult, ...]]:
    """Hold a batch against a specification.

    Parameters
    ----------
    grams : float, optional
        Paste looked at; needed for pieces per gram.

    Returns
    -------
    str
        "fails" if any requirement fails, "passes" if all pass, else "undecided".
    tuple of ClauseResult

    Raises
    ------
    InvalidInput
        If a requirement names a figure the summary does not have.
    """
    results = tuple(
        _coarse(c, sample, grams) if c.figure == PIECES_ABOVE else _figure(c, summary)
        for c in specification.clauses
    )
    return overall([r.outcome for r in results]), results


def overall(outcomes: Sequence[str]) -> str:
    """Return the outcome of several requirements together.

    Examples
    --------
    >>> overall(["passes", "undecided"]), overall(["undecided", "fails"]), overall(["passes"])
    ('undecided', 'fails', 'passes')
    """
    if "fails" in outcomes:
        return "fails"
    return "undecided" if not outcomes or "undecided" in outcomes else "passes"


def _figure(clause: Clause, summary: SizeSummary) -> ClauseResult:
    if clause.figure not in summary.values:
        raise InvalidInput(f"The specification asks for '{clause.figure}', which is not a figure known here.")
    value = summary.value(clause.figure)
    low, high = summary.interval(clause.figure)
    if not (math.isfinite(low) and math.isfinite(high)):
        return ClauseResult(
            clause,
            "undecided",
            value,
            low,
            high,
            f"{clause.words}: there is no interval to hold against it.",
            "Measure more fields.",
        )
    shown, lowest, highest = figure_texts(value, low, high)
    range_ = f"{shown} (95 %: {lowest} to {highest})"
    if high <= clause.at_most:
        return ClauseResult(clause, "passes", value, low, high, f"{clause.words}: {range_}, all within.")
    if low > clause.at_most:
        return ClauseResult(clause, "fails", value, low, high, f"{clause.words}: {range_}, all above.")
    decides = _what_decides(clause, summary, value, low, high)
    text = f"{clause.words}: {range_}, the limit lies within."
    return ClauseResult(clause, "undecided", value, low, high, text, decides)


def _what_decides(clause: Clause, summary: SizeSummary, value: float, low: float, high: float) -> str:
    bound = high if clause.at_most >= value else low
    if not (value > 0 and bound > 0):
        return "Measure more fields."
    now, allowed = abs(math.log(bound / value)), abs(math.log(clause.at_most / value))
    needed = further(summary, clause.figure, now=now, allowed=allowed)
    if needed is None:
        return "The scale's uncertainty alone crosses the limit; calibrate better."
    if needed.pieces > _MOST_TIMES * summary.pieces:
        return "It lies so near the limit that counting on will not decide."
    return f"About {needed.more_words}."


def _coarse(clause: Clause, sample: SizeSample, grams: float | None) -> ClauseResult:
    size = float(clause.size_um or 0.0)
    number = round(float(sample.count[sample.diameter_um > size].sum()))
    low, high = poisson_limits(number)
    seen = f"{number} seen" if number else "none seen"
    if not grams:
        found = pieces_above(sample, size)
        of_all = f" ({found.share_words})" if found is not None else ""
        return ClauseResult(
            clause,
            "undecided",
            float(number),
            low,
            high,
            f"{clause.words}: {seen}{of_all}, but how much paste was looked at is not known.",
            "Enter the dilution and the film height of the slides.",
        )
    rate = (number / grams, low / grams, high / grams)
    text = (
        f"{clause.words}: {seen} in {short_number(1000 * grams)} mg, {rough_number(rate[1])} to "
        f"{rough_number(rate[2])} per gram"
    )
    if rate[2] < clause.at_most:
        return ClauseResult(clause, "passes", *rate, f"{text}, all below.")
    if rate[1] >= clause.at_most:
        return ClauseResult(clause, "fails", *rate, f"{text}, all above.")
    enough = poisson_limits(0)[1] / clause.at_most
    decides = (
        f"Look at {rough_number(enough)} g without finding one; a sieve does that faster than a microscope."
    )
    return ClauseResult(clause, "undecided", *rate, f"{text}, the limit lies within.", decides)
