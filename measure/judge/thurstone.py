"""Thurstonian sensitivity d': how far apart two samples are for a panel, whatever the test used."""

import math
from functools import lru_cache

import numpy as np

# chance of a right answer by guessing
GUESS: dict[str, float] = {
    "triangle": 1 / 3,
    "paired": 1 / 2,
    "3-afc": 1 / 3,
    "duo-trio": 1 / 2,
    "tetrad": 1 / 3,
}
_LARGEST = 12.0  # nobody is more certain than this
_REACH = 12.0  # standard deviations integrated over


@lru_cache(maxsize=1)
def _half_line() -> tuple[np.ndarray, np.ndarray]:
    points, weights = np.polynomial.legendre.leggauss(160)
    return (points + 1) * _REACH / 2, weights * _REACH / 2


def _phi(z: np.ndarray) -> np.ndarray:
    return np.exp(-0.5 * z * z) / math.sqrt(2 * math.pi)


def proportion_correct(method: str, d: float) -> float:
    """Return the expected share of right answers at sensitivity ``d``.

    Parameters
    ----------
    method : str
        A key of `GUESS`.
    d : float
        Sensitivity d', 0 or more, in standard deviations of perception.

    References
    ----------
    Ennis, J. Sensory Studies 8 (1993) 353 (triangle, duo-trio, 2- and 3-AFC); Ennis and Jesionka, J. Sensory
    Studies 26 (2011) 371 (tetrad). Formulas from memory.

    Examples
    --------
    >>> round(proportion_correct("triangle", 1.0), 4)
    0.418
    """
    from scipy.special import ndtr

    if method == "paired":
        return float(ndtr(d / math.sqrt(2)))
    if method == "duo-trio":
        a, b = float(ndtr(d / math.sqrt(2))), float(ndtr(d / math.sqrt(6)))
        return 1 - a - b + 2 * a * b
    z, w = _half_line()
    if method == "triangle":
        shift, spread = d * math.sqrt(2 / 3), math.sqrt(3)
        return float(2 * np.sum(w * _phi(z) * (ndtr(-z * spread + shift) + ndtr(-z * spread - shift))))
    z, w = np.concatenate([-z, z]), np.concatenate([w, w])
    if method == "3-afc":
        return float(np.sum(w * _phi(z) * ndtr(z + d) ** 2))
    if method == "tetrad":
        return float(1 - 2 * np.sum(w * _phi(z) * (2 * ndtr(z) * ndtr(z - d) - ndtr(z - d) ** 2)))
    raise KeyError(method)


def d_prime(method: str, share_correct: float) -> float:
    """Return the sensitivity behind a share of right answers; 0 at or below guessing, inf at 1."""
    from scipy.optimize import brentq

    if share_correct <= GUESS[method]:
        return 0.0
    if share_correct >= proportion_correct(method, _LARGEST):
        return math.inf
    return float(brentq(lambda d: proportion_correct(method, d) - share_correct, 0.0, _LARGEST, xtol=1e-10))


def d_prime_standard_error(method: str, share_correct: float, trials: int) -> float:
    """Return the standard error of d' by the delta method; nan at or below guessing and at 1."""
    d = d_prime(method, share_correct)
    if d == 0 or not math.isfinite(d):
        return math.nan
    step = 1e-4
    slope = (proportion_correct(method, d + step) - proportion_correct(method, d - step)) / (2 * step)
    return math.sqrt(share_correct * (1 - share_correct) / trials) / slope
