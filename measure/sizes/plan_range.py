"""How far a plan may move, because what is expected is itself known only within limits."""

import math
from dataclasses import dataclass, replace

from measure.sizes.plan import MeasurementPlan, PlanRequest, figure_words, plan_measurement
from measure.sizes.resample import COVERAGE_FACTOR
from measure.sizes.rounding import counted, short_number

_NARROWEST, _WIDEST = 1.01, 10.0  # spreads a plan can be made for
_FEWER = (6, 12, 24, 48)  # fields one can well take
_TOO_MANY = 100_000  # fields nobody takes: how many more a wider spread asks for is of no use then
_WIDER = 0.1  # how much more spread is asked about where no limits are known


@dataclass(frozen=True)
class PlanRange:
    """Least and most of what a plan asks for.

    Attributes
    ----------
    pieces, fields, oil_mass : (low, high)
        Pieces to count, fields to take, parts of oil by mass.
    words : str
        One sentence.
    """

    pieces: tuple[int, int]
    fields: tuple[int, int]
    oil_mass: tuple[float, float]
    words: str


def plan_range(
    request: PlanRequest, median_um: tuple[float, float], sigma_g: tuple[float, float]
) -> PlanRange:
    """Return what a plan asks for over the 95 % limits of the expected median and spread.

    Each is taken at both ends, with both ends of the other: pieces and oil rise with each, and fields lie
    between the plans of the corners.

    Raises
    ------
    InvalidInput
        If a plan cannot be made there.
    """
    spreads = spread_range(sigma_g)
    plans = [
        plan_measurement(replace(request, median_um=median, sigma_g=spread))
        for median in median_um
        for spread in spreads
    ]
    pieces = [plan.pieces_model_free for plan in plans]
    fields = [plan.fields for plan in plans]
    oil = [plan.oil_mass for plan in plans]
    median = _span(short_number(median_um[0]), short_number(median_um[1]))
    spread = _span(f"{spreads[0]:.2f}", f"{spreads[1]:.2f}")
    asked = [
        f"{_span(short_number(min(oil)), short_number(max(oil)))} parts of oil by mass",
        f"{_span(f'{min(pieces):,}', f'{max(pieces):,}')} pieces",
        f"{_span(f'{min(fields):,}', f'{max(fields):,}')} fields",
    ]
    words = (
        f"The sizes expected are known only within limits: median {median} µm and spread {spread} (95 %). "
        f"So it may take {asked[0]}, {asked[1]} and {asked[2]}."
    )
    return PlanRange((min(pieces), max(pieces)), (min(fields), max(fields)), (min(oil), max(oil)), words)


def spread_range(sigma_g: tuple[float, float]) -> tuple[float, float]:
    """Return limits of a spread within what plans can be made for."""
    low, high = (min(max(spread, _NARROWEST), _WIDEST) for spread in sigma_g)
    return low, high


def error_with(request: PlanRequest, plan: MeasurementPlan, fields: float) -> float:
    """Return the relative half-width of the 95 % interval that so many fields would give.

    Chance of the pieces and differences between fields, added as squares; both shrink with the root of
    the number of fields.
    """
    chance = request.relative_error**2 * plan.pieces_model_free / (fields * plan.pieces_per_field)
    between = (COVERAGE_FACTOR * request.variation) ** 2 / fields
    return math.sqrt(chance + between)


def fewer_words(request: PlanRequest, plan: MeasurementPlan) -> str:
    """Return what fewer fields than the plan asks for would give; empty where it asks for few.

    An interval as wide as the figure itself says nothing and is not told.
    """
    fewer = [n for n in _FEWER if 2 * n <= plan.fields and error_with(request, plan, n) < 1]
    if not fewer:
        return ""
    said = [f"{fields} fields ±{100 * error_with(request, plan, fields):.0f} %" for fields in fewer]
    return f"With fewer fields {figure_words(request.figure)} is known less well: {', '.join(said)}."


def wider_words(request: PlanRequest, plan: MeasurementPlan) -> str:
    """Return how much more a somewhat wider spread would ask for; empty where no plan can be made for it.

    For a spread that is only guessed: what the coarse end asks for rises steeply with it.
    """
    wider = request.sigma_g + _WIDER
    if wider > _WIDEST or plan.fields > _TOO_MANY:
        return ""
    other = plan_measurement(replace(request, sigma_g=wider))
    return (
        f"The spread decides: were it {wider:.2f} instead of {request.sigma_g:.2f}, this would take "
        f"{counted(other.pieces_model_free, 'piece')} and {counted(other.fields, 'field')} instead of "
        f"{plan.pieces_model_free:,} and {plan.fields:,}."
    )


def _span(low: str, high: str) -> str:
    return low if low == high else f"{low} to {high}"
