"""Best-estimate threshold of an ascending series: each assessor's own, and the group's."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from measure.errors import InvalidInput


@dataclass(frozen=True)
class ThresholdResult:
    """Best-estimate thresholds in the unit of the levels."""

    levels: tuple[float, ...]
    individual: dict[str, float]
    group: float  # geometric mean
    log10_sd: float  # standard deviation of log10 of the individual ones; nan with one assessor
    group_low: float  # 95 % limits of the geometric mean (Student's t on log10); nan with one assessor
    group_high: float
    beyond: tuple[str, ...]  # assessors whose threshold lies outside the levels, so is a guess


def individual_threshold(levels: Sequence[float], correct: Sequence[bool]) -> float:
    """Return one assessor's best-estimate threshold.

    The geometric mean of the last level missed and the next higher one. All right: the lowest level and
    the step below it that would have come next. Top level missed: the top level and the step above.

    References
    ----------
    ASTM E679 (from memory).

    Examples
    --------
    >>> round(individual_threshold([10, 20, 40], [False, True, True]), 3)
    14.142
    """
    missed = [i for i, right in enumerate(correct) if not right]
    if not missed:
        return math.sqrt(levels[0] * levels[0] ** 2 / levels[1])
    last = missed[-1]
    if last == len(levels) - 1:
        return math.sqrt(levels[-1] * levels[-1] ** 2 / levels[-2])
    return math.sqrt(levels[last] * levels[last + 1])


def group_threshold(levels: Sequence[float], answers: Mapping[str, Sequence[bool]]) -> ThresholdResult:
    """Return the best-estimate threshold of a group.

    Parameters
    ----------
    levels : sequence of float
        Ascending, above zero (for example x_{90,3} in um).
    answers : mapping of str to sequence of bool
        Per assessor, right or wrong at each level.

    Raises
    ------
    InvalidInput
        If levels do not ascend, or an assessor's answers are not one a level.

    References
    ----------
    ASTM E679, forced-choice ascending concentration series (from memory).
    """
    levels = tuple(float(v) for v in levels)
    if len(levels) < 3 or levels[0] <= 0 or any(b <= a for a, b in pairwise(levels)):
        raise InvalidInput(
            "An ascending series needs three or more levels above zero, each higher than the last."
        )
    if not answers:
        raise InvalidInput("No assessor has answered yet.")
    for name, row in answers.items():
        if len(row) != len(levels):
            raise InvalidInput(f"{name} has {len(row)} answers for {len(levels)} levels; enter one a level.")
    individual = {name: individual_threshold(levels, row) for name, row in answers.items()}
    logs = [math.log10(v) for v in individual.values()]
    mean = sum(logs) / len(logs)
    sd = math.sqrt(sum((v - mean) ** 2 for v in logs) / (len(logs) - 1)) if len(logs) > 1 else math.nan
    low, high = _limits(mean, sd, len(logs))
    beyond = tuple(name for name, row in answers.items() if all(row) or not row[-1])
    return ThresholdResult(levels, individual, 10**mean, sd, low, high, beyond)


def _limits(mean: float, sd: float, count: int) -> tuple[float, float]:
    if count < 2:
        return math.nan, math.nan
    from scipy.special import stdtrit  # Student's t; the package of all distributions takes seconds to load

    half = float(stdtrit(count - 1, 0.975)) * sd / math.sqrt(count)
    return 10 ** (mean - half), 10 ** (mean + half)
