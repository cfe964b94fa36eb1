"""Difference tests with a panel: exact p-values, discriminators, sensitivity, power before you start."""

import math
from dataclasses import dataclass

from measure.errors import InvalidInput
from measure.judge.thurstone import GUESS, d_prime, d_prime_standard_error


@dataclass(frozen=True)
class DifferenceResult:
    """Outcome of a triangle or paired test.

    Attributes
    ----------
    method : str
        "triangle", "paired" or another name of `measure.judge.thurstone.GUESS`.
    trials, correct : int
        Answers given and answers right (paired: those choosing the sample named first).
    p_value : float
        Exact binomial probability of as many right answers, or more, by guessing.
    needed : int
        Fewest right answers that are significant at ``alpha``.
    discriminators : float
        Estimated share p_d = (p_c - g) / (1 - g) of assessors who tell the difference.
    discriminators_low, discriminators_high : float
        Two-sided limits of p_d at ``1 - 2 alpha``, two-sided tests at ``1 - alpha`` (normal approximation, as
        in ISO 5495/Amd 1; exact where all or none are right, for which it gives none).
    d_prime, d_prime_standard_error : float
        Thurstonian sensitivity; the error is nan where it is not defined.
    two_sided : bool
        No direction was expected: shares and d' are those of the sample chosen more often.
    """

    method: str
    trials: int
    correct: int
    alpha: float
    p_value: float
    needed: int
    discriminators: float
    discriminators_error: float
    discriminators_low: float
    discriminators_high: float
    d_prime: float
    d_prime_standard_error: float
    two_sided: bool = False

    @property
    def significant(self) -> bool:
        """Whether guessing alone is refused at ``alpha``."""
        return _leading(self.method, self.trials, self.correct, self.two_sided) >= self.needed


def difference_test(
    method: str, trials: int, correct: int, *, alpha: float = 0.05, two_sided: bool = False
) -> DifferenceResult:
    """Evaluate a triangle, paired, 3-AFC, duo-trio or tetrad test.

    Parameters
    ----------
    method : str
        A key of `measure.judge.thurstone.GUESS`.
    trials, correct : int
        Answers in all and right ones.
    alpha : float
        Risk of calling a difference that is not there.
    two_sided : bool
        For paired comparison without an expected direction.

    Raises
    ------
    InvalidInput
        If the counts or the risk make no sense.

    References
    ----------
    ISO 4120 (triangle test); ISO 5495:2005 with Amd 1:2016 (paired comparison).
    """
    _check(method, trials, correct, alpha)
    from scipy.special import ndtri

    guess = GUESS[method]
    p_value = _p_value(trials, correct, guess, two_sided)
    leading = _leading(method, trials, correct, two_sided)
    share = leading / trials
    error = math.sqrt((trials * leading - leading**2) / trials**3) / (1 - guess)
    p_d = (share - guess) / (1 - guess)
    tail = alpha / 2 if two_sided else alpha
    half = float(ndtri(1 - tail)) * error
    low, high = p_d - half, p_d + half
    if leading in (0, trials):  # (Clopper and Pearson, Biometrika 26 (1934) 404)
        ends = (0.0, 1 - tail ** (1 / trials)) if leading == 0 else (tail ** (1 / trials), 1.0)
        low, high = ((end - guess) / (1 - guess) for end in ends)
    return DifferenceResult(
        method, trials, correct, alpha, p_value,
        fewest_correct(method, trials, alpha=alpha, two_sided=two_sided),
        p_d, error, low, high,
        d_prime(method, share), d_prime_standard_error(method, share, trials), two_sided,
    )  # fmt: skip


def _leading(method: str, trials: int, correct: int, two_sided: bool) -> int:
    """Answers for the sample chosen more often, where a paired test expected no direction."""
    return max(correct, trials - correct) if two_sided and method == "paired" else correct


def _p_value(trials: int, correct: int, guess: float, two_sided: bool) -> float:
    """Return the exact chance of a result as far off under guessing."""
    from scipy.special import bdtr, bdtrc

    upper = float(bdtrc(correct - 1, trials, guess)) if correct else 1.0
    if not two_sided:
        return upper
    if guess == 0.5:  # both tails are alike
        return min(1.0, 2 * min(upper, float(bdtr(correct, trials, guess))))
    from scipy import stats  # takes seconds to load

    return float(stats.binomtest(correct, trials, guess, alternative="two-sided").pvalue)


def fewest_correct(method: str, trials: int, *, alpha: float = 0.05, two_sided: bool = False) -> int:
    """Return the smallest k with P(X >= k) <= alpha under guessing; trials + 1 where none is.

    Examples
    --------
    >>> fewest_correct("triangle", 30)
    15
    """
    import numpy as np
    from scipy.special import bdtrc

    tail = alpha / 2 if two_sided else alpha
    beyond = bdtrc(np.arange(trials), trials, GUESS[method])  # P(X >= k) for k = 1 .. trials
    # a hair above, so that a tail equal to alpha but for rounding counts
    significant = np.flatnonzero(beyond <= tail * (1 + 1e-12))
    return int(significant[0]) + 1 if len(significant) else trials + 1


def power(
    method: str, trials: int, discriminators: float, *, alpha: float = 0.05, two_sided: bool = False
) -> float:
    """Return the chance to find a difference that this share of assessors perceives."""
    from scipy.special import bdtrc

    chance = GUESS[method] + (1 - GUESS[method]) * discriminators
    fewest = fewest_correct(method, trials, alpha=alpha, two_sided=two_sided)
    return float(bdtrc(fewest - 1, trials, chance)) if fewest <= trials else 0.0


def trials_needed(
    method: str, discriminators: float, *, alpha: float = 0.05, wanted_power: float = 0.8, sure: bool = True
) -> int:
    """Return the number of answers needed to find a difference with the wanted power.

    Parameters
    ----------
    method : str
        A key of `measure.judge.thurstone.GUESS`.
    discriminators : float
        Share of assessors assumed to perceive the difference, above 0 up to 1.
    alpha, wanted_power : float
        Risk and power.
    sure : bool
        Power rises in a saw-tooth; when sure, the three next numbers must reach the power as well.

    Raises
    ------
    InvalidInput
        If the share or the power cannot be reached within 2,000 answers.
    """
    if not 0 < discriminators <= 1:
        raise InvalidInput(f"The share of discriminators must lie above 0 and up to 1, not {discriminators}.")
    run = 0
    for trials in range(3, 2001):
        run = run + 1 if power(method, trials, discriminators, alpha=alpha) >= wanted_power else 0
        if run == (4 if sure else 1):
            return trials - run + 1
    raise InvalidInput(
        "More than 2,000 answers would be needed; expect a larger difference or a lower power."
    )


def most_correct_for_similarity(
    method: str, trials: int, discriminators: float, *, beta: float = 0.05
) -> int:
    """Return the most right answers at which samples still count as similar; -1 where none is.

    Similar means: if as many as ``discriminators`` perceived the difference, so few right answers would
    come up with a probability of at most ``beta`` (ISO 4120, similarity).
    """
    from scipy.special import bdtr

    guess = GUESS[method]
    chance = guess + (1 - guess) * discriminators
    most = -1
    for k in range(trials + 1):
        if bdtr(k, trials, chance) > beta:
            break
        most = k
    return most


def _check(method: str, trials: int, correct: int, alpha: float) -> None:
    if method not in GUESS:
        raise InvalidInput(f"The test {method!r} is not known; use one of {', '.join(GUESS)}.")
    if trials < 1:
        raise InvalidInput(f"A test needs at least one answer, not {trials}.")
    if not 0 <= correct <= trials:
        raise InvalidInput(f"{correct} right of {trials} answers is not possible; check the entries.")
    if not 0 < alpha < 0.5:
        raise InvalidInput(f"The risk alpha must lie between 0 and 0.5, not {alpha}.")
