"""Limits of a share that was counted: so many of so many pieces, or answers."""

import math

from measure.errors import InvalidInput
from measure.special_functions import special_function

_Z95 = 1.959963984540054


def exact_limits(count: int, trials: int, *, confidence: float = 0.95) -> tuple[float, float]:
    """Return the exact two-sided limits of a share (Clopper and Pearson, Biometrika 26 (1934) 404).

    They hold the true share in at least that part of all cases, however small the counts.

    Examples
    --------
    >>> [round(v, 6) for v in exact_limits(3, 1000)]
    [0.000619, 0.008742]
    """
    _check(count, trials)
    tail, betaincinv = (1 - confidence) / 2, special_function("betaincinv")
    low = float(betaincinv(count, trials - count + 1, tail)) if count else 0.0
    high = float(betaincinv(count + 1, trials - count, 1 - tail)) if count < trials else 1.0
    return low, high


def wilson_limits(count: int, trials: int) -> tuple[float, float]:
    """Return the 95 % limits of a share (Wilson, J. Am. Stat. Assoc. 22 (1927) 209).

    Narrower than the exact ones: they hold the true share in about 95 of 100 cases, not in at least as many.

    Examples
    --------
    >>> [round(v, 6) for v in wilson_limits(30, 1000)]
    [0.021094, 0.042503]
    """
    _check(count, trials)
    share = count / trials
    centre = share + _Z95 * _Z95 / (2 * trials)
    half = _Z95 * math.sqrt(share * (1 - share) / trials + _Z95 * _Z95 / (4 * trials**2))
    return (centre - half) / (1 + _Z95 * _Z95 / trials), (centre + half) / (1 + _Z95 * _Z95 / trials)


def most_when_none(trials: int, *, confidence: float = 0.95) -> float:
    """Return the largest share that still gives none in so many trials, in 1 of 20 cases.

    Close to 3 over the number of trials, the rule of three (Hanley and Lippman-Hand, JAMA 249 (1983) 1743,
    from memory).

    Examples
    --------
    >>> round(most_when_none(300), 6)
    0.009936
    """
    _check(0, trials)
    return -math.expm1(math.log(1 - confidence) / trials)


def _check(count: int, trials: int) -> None:
    if not (trials > 0 and 0 <= count <= trials):
        raise InvalidInput(f"A share needs a count from 0 up to the whole, not {count} of {trials}.")
