"""Whether sizes outlined by hand, blind, agree with the tool: bias and limits of agreement.

Bland JM, Altman DG (1986), Statistical methods for assessing agreement between two methods of clinical
measurement, Lancet 327 (8476), 307-310: the mean difference is the bias; bias +- 1.96 standard deviations of
the differences are the limits of agreement; both have confidence intervals by the t distribution.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from measure.errors import InvalidInput

FEWEST = 3
LIMIT_FACTOR = 1.959963984540054  # 95 % of a normal law


@dataclass(frozen=True)
class Agreement:
    """Bias and limits of agreement of tool less hand.

    Attributes
    ----------
    pairs : int
    relative : bool
        Differences are of ln size, and all figures below are given as relative ones (0.02: 2 % larger).
    mean, difference : (N,) ndarray
        For the plot: mean of the two sizes (their geometric mean when relative), and tool less hand.
    bias, standard_deviation : float
        In the unit of the sizes, or relative.
    bias_interval : (float, float)
        Confidence interval of the bias.
    lower, upper : float
        Limits of agreement: 95 % of single differences are expected between them.
    lower_interval, upper_interval : (float, float)
    trend : float
        Slope of difference against mean; a bias that grows with size.
    trend_interval : (float, float)
    text : str
        The verdict in plain words.
    """

    pairs: int
    relative: bool
    mean: np.ndarray
    difference: np.ndarray
    bias: float
    standard_deviation: float
    bias_interval: tuple[float, float]
    lower: float
    upper: float
    lower_interval: tuple[float, float]
    upper_interval: tuple[float, float]
    trend: float
    trend_interval: tuple[float, float]
    text: str


def agreement(
    hand: ArrayLike,
    tool: ArrayLike,
    *,
    relative: bool = False,
    confidence: float = 0.95,
    unit: str = "µm",
) -> Agreement:
    """Compare paired sizes.

    Parameters
    ----------
    hand, tool : (N,) array_like
        Sizes of the same pieces, by hand and by the tool, above zero.
    relative : bool
        Compare logarithms: right where differences grow with size.
    confidence : float
        Of the intervals.
    unit : str
        For the text.

    Returns
    -------
    Agreement

    Raises
    ------
    InvalidInput
        With fewer than three pairs, unequal lengths, or sizes that are not above zero.

    References
    ----------
    Bland and Altman (1986); the standard error of a limit is sqrt(1/n + 1.96^2 / (2 (n - 1))) s, which
    they round to sqrt(3/n) s.
    """
    one, other = (np.asarray(v, dtype=float).ravel() for v in (hand, tool))
    _check(one, other, confidence)
    if relative:
        mean, difference = np.sqrt(one * other), np.log(other / one)
    else:
        mean, difference = (one + other) / 2.0, other - one
    count = len(one)
    spread = float(difference.std(ddof=1))
    t = _student(confidence, count - 1)
    middle = float(difference.mean())
    limits = (middle - LIMIT_FACTOR * spread, middle + LIMIT_FACTOR * spread)
    half_bias = t * spread / np.sqrt(count)
    half_limit = t * spread * np.sqrt(1.0 / count + LIMIT_FACTOR**2 / (2.0 * (count - 1)))
    trend, trend_interval = _trend(mean, difference, confidence)

    def given(value: float) -> float:
        return float(np.expm1(value)) if relative else float(value)

    def around(value: float, half: float) -> tuple[float, float]:
        return given(value - half), given(value + half)

    return Agreement(
        count,
        relative,
        mean,
        np.expm1(difference) if relative else difference,
        given(middle),
        spread,
        around(middle, half_bias),
        given(limits[0]),
        given(limits[1]),
        around(limits[0], half_limit),
        around(limits[1], half_limit),
        trend,
        trend_interval,
        _words(
            count,
            given(middle),
            around(middle, half_bias),
            given(limits[0]),
            given(limits[1]),
            relative,
            unit,
        ),
    )


def choose_blind(labels: Sequence[int], wanted: int, seed: int, *, already: Sequence[int] = ()) -> list[int]:
    """Draw particles to be outlined by hand, each equally likely, without those done already.

    Parameters
    ----------
    labels : sequence of int
        Numbers of all counted particles of the batch.
    wanted : int
    seed : int
        The same seed gives the same particles, so that a stopped check can be taken up again.

    Returns
    -------
    list of int
        In random order; fewer than wanted where there are not so many.

    Raises
    ------
    InvalidInput
        If ``wanted`` is less than 1.
    """
    if wanted < 1:
        raise InvalidInput(f"A spot check needs at least one piece, not {wanted}.")
    done = {int(v) for v in already}
    left = [int(v) for v in labels if int(v) not in done]
    order = np.random.default_rng(seed).permutation(len(left))
    return [left[i] for i in order[:wanted]]


def _check(hand: np.ndarray, tool: np.ndarray, confidence: float) -> None:
    if len(hand) != len(tool):
        raise InvalidInput(
            f"There are {len(hand)} sizes by hand but {len(tool)} by the tool; they must be pairs."
        )
    if len(hand) < FEWEST:
        raise InvalidInput(f"A spot check needs at least {FEWEST} pairs of sizes, not {len(hand)}.")
    if not (np.isfinite(hand).all() and np.isfinite(tool).all() and hand.min() > 0 and tool.min() > 0):
        raise InvalidInput("Sizes in a spot check must be numbers above zero.")
    if not 0 < confidence < 1:
        raise InvalidInput(f"A confidence lies between 0 and 1, not {confidence}.")


def _student(confidence: float, freedom: int) -> float:
    from scipy.special import stdtrit

    return float(stdtrit(freedom, 0.5 + confidence / 2.0))


def _trend(mean: np.ndarray, difference: np.ndarray, confidence: float) -> tuple[float, tuple[float, float]]:
    """Least-squares slope of difference on mean, with its interval; nan where sizes are all alike."""
    away = mean - mean.mean()
    square = float((away**2).sum())
    if square <= 1e-12 * max(float((mean**2).sum()), 1e-300):
        return float("nan"), (float("nan"), float("nan"))
    slope = float((away * difference).sum() / square)
    rest = difference - difference.mean() - slope * away
    freedom = len(mean) - 2
    half = _student(confidence, freedom) * float(np.sqrt((rest**2).sum() / freedom / square))
    return slope, (slope - half, slope + half)


def _words(
    count: int,
    bias: float,
    interval: tuple[float, float],
    lower: float,
    upper: float,
    relative: bool,
    unit: str,
) -> str:
    def said(value: float) -> str:
        return f"{100 * value:+.1f} %" if relative else f"{value:+.3g} {unit}"

    clear = interval[0] > 0 or interval[1] < 0
    size = "larger" if bias > 0 else "smaller"
    first = (
        f"Over {count} pieces the tool measures {said(abs(bias)).lstrip('+')} {size} than the hand"
        if clear
        else f"Over {count} pieces no bias between tool and hand is shown ({said(bias)})"
    )
    return (
        f"{first} (interval {said(interval[0])} to {said(interval[1])}). "
        f"Single pieces differ by {said(lower)} to {said(upper)} (95 % limits of agreement)."
    )
