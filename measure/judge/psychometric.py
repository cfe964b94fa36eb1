"""The psychometric function: how the share of right (or "felt") answers rises with size."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from measure.errors import InvalidInput

SHAPES = ("logistic", "weibull")
NO_RISE = 0.25  # a slope at which the share hardly rises over any range of sizes one can serve
_LOG_SLOPE_BOUNDS = (math.log(0.2), math.log(60))


@dataclass(frozen=True)
class PsychometricFit:
    """A fitted psychometric function psi(x) = g + (1 - g - l) F(x).

    Attributes
    ----------
    shape : str
        "logistic" (F = 1 / (1 + (x/a)^-b)) or "weibull" (F = 1 - exp(-(x/a)^b)).
    threshold : float
        x at which F is one half.
    threshold_low, threshold_high : float
        Percentile interval from refits of drawn panels.
    location, slope : float
        a and b.
    guess, lapse : float
        Chance of a right answer by guessing; share of slips at sizes anyone feels.
    log_likelihood : float
        Without the binomial coefficient.
    deviance, deviance_p : float
        Misfit against the observed shares, and how often a perfect model misfits as much.
    """

    shape: str
    location: float
    slope: float
    guess: float
    lapse: float
    threshold: float
    threshold_low: float
    threshold_high: float
    log_likelihood: float
    deviance: float
    deviance_p: float
    trials: int
    warnings: tuple[str, ...] = ()

    def felt(self, x: np.ndarray) -> np.ndarray:
        """Return F(x), the share that feels it, guessing and slips taken out."""
        return _share(self.shape, np.log(np.asarray(x, dtype=float)), math.log(self.location), self.slope)


def fit_psychometric(
    x: ArrayLike,
    trials: ArrayLike,
    correct: ArrayLike,
    *,
    guess: float,
    lapse: float = 0.02,
    shape: str = "logistic",
    level: float = 0.95,
    refits: int = 400,
    seed: int = 1,
) -> PsychometricFit:
    """Fit a psychometric function by maximum likelihood.

    Parameters
    ----------
    x : (K,) sequence of float
        Sizes, above zero.
    trials, correct : (K,) sequence of int
        Answers and right answers at each size.
    guess, lapse : float
        Fixed guess and lapse rates. A lapse of zero biases threshold and slope as soon as anyone slips
        (Wichmann and Hill, Perception and Psychophysics 63 (2001) 1293, from memory).
    shape : str
        "logistic" or "weibull".
    level, refits, seed
        Interval: its level, how many drawn panels are refitted, and the seed.

    Raises
    ------
    InvalidInput
        If the data cannot carry a fit.
    """
    sizes, n, k = (np.asarray(v, dtype=float) for v in (x, trials, correct))
    _check(sizes, n, k, guess, lapse, shape)
    log_x = np.log(sizes)
    a, b, like = _fit(log_x, n, k, guess, lapse, shape)
    chance = _psi(log_x, a, b, guess, lapse, shape)
    drawn = np.random.default_rng(seed).binomial(n.astype(int), chance, size=(refits, len(sizes)))
    locations, slopes = _refit(log_x, n, drawn, [(a, b)], guess, lapse, shape)
    drawn_deviances = [
        _deviance(n, row, _log_likelihood(log_x, n, row, u, v, guess, lapse, shape))
        for row, u, v in zip(drawn, locations, slopes, strict=True)
    ]
    middles = locations + _half_offset(shape) / slopes
    tail = (1 - level) / 2
    low, high = np.exp(np.quantile(middles, [tail, 1 - tail]))
    deviance = _deviance(n, k, like)
    threshold = math.exp(a + _half_offset(shape) / b)
    return PsychometricFit(
        shape, math.exp(a), b, guess, lapse, threshold, float(low), float(high), like, deviance,
        float(np.mean(np.array(drawn_deviances) >= deviance)), int(n.sum()),
        _warnings(sizes, threshold, b, low, high),
    )  # fmt: skip


def _half_offset(shape: str) -> float:
    """Ln of the ratio of the half point to the location, times the slope."""
    return 0.0 if shape == "logistic" else math.log(math.log(2))


def _share(shape: str, log_x: np.ndarray, a: float | np.ndarray, b: float | np.ndarray) -> np.ndarray:
    t = np.clip(b * (log_x - a), -60, 60)
    return 1 / (1 + np.exp(-t)) if shape == "logistic" else -np.expm1(-np.exp(np.minimum(t, 30)))


def _psi(
    log_x: np.ndarray, a: float | np.ndarray, b: float | np.ndarray, guess: float, lapse: float, shape: str
) -> np.ndarray:
    psi = guess + (1 - guess - lapse) * _share(shape, log_x, a, b)
    return np.clip(psi, 1e-9, 1 - 1e-9)


def _fit(
    log_x: np.ndarray, n: np.ndarray, k: np.ndarray, guess: float, lapse: float, shape: str
) -> tuple[float, float, float]:
    """Fit one panel from several starts at once and keep the likeliest."""
    starts = [(m, s) for m in np.quantile(log_x, [0.25, 0.5, 0.75]) for s in (1.0, 3.0, 8.0)]
    locations, slopes = _refit(log_x, n, np.tile(k, (len(starts), 1)), starts, guess, lapse, shape)
    likes = [
        _log_likelihood(log_x, n, k, a, b, guess, lapse, shape)
        for a, b in zip(locations, slopes, strict=True)
    ]
    best = int(np.argmax(likes))
    return float(locations[best]), float(slopes[best]), likes[best]


def _refit(
    log_x: np.ndarray,
    n: np.ndarray,
    drawn: np.ndarray,
    starts: list[tuple[float, float]],
    guess: float,
    lapse: float,
    shape: str,
) -> tuple[np.ndarray, np.ndarray]:
    """Fit all drawn panels at once by damped Fisher scoring; returns locations (ln) and slopes."""
    begin = np.broadcast_to(np.array(starts, dtype=float), (len(drawn), 2))
    a, log_b = begin[:, :1], np.log(begin[:, 1:])
    reach = 1 - guess - lapse
    for _ in range(60):
        t = np.exp(log_b) * (log_x - a)
        psi = _psi(log_x, a, np.exp(log_b), guess, lapse, shape)
        rise = reach * _share_slope(shape, np.clip(t, -60, 60))
        pull = (drawn - n * psi) / (psi * (1 - psi)) * rise
        mass = n / (psi * (1 - psi)) * rise**2
        by_a, by_b = -np.exp(log_b), t
        g_a, g_b = (pull * by_a).sum(1), (pull * by_b).sum(1)
        h_aa, h_bb = (mass * by_a**2).sum(1) + 1e-3, (mass * by_b**2).sum(1) + 1e-3
        h_ab = (mass * by_a * by_b).sum(1)
        det = h_aa * h_bb - h_ab**2 + 1e-12
        step_a, step_b = (h_bb * g_a - h_ab * g_b) / det, (h_aa * g_b - h_ab * g_a) / det
        a = np.clip(a + np.clip(step_a, -0.4, 0.4)[:, None], *_location_bounds(log_x))
        log_b = np.clip(log_b + np.clip(step_b, -0.4, 0.4)[:, None], *_LOG_SLOPE_BOUNDS)
    return a[:, 0], np.exp(log_b[:, 0])


def _location_bounds(log_x: np.ndarray) -> tuple[float, float]:
    span = float(log_x[-1] - log_x[0])
    return float(log_x[0]) - 2 * span, float(log_x[-1]) + 2 * span


def _log_likelihood(
    log_x: np.ndarray,
    n: np.ndarray,
    k: np.ndarray,
    a: float,
    b: float,
    guess: float,
    lapse: float,
    shape: str,
) -> float:
    psi = _psi(log_x, a, b, guess, lapse, shape)
    return float(np.sum(k * np.log(psi) + (n - k) * np.log1p(-psi)))


def _share_slope(shape: str, t: np.ndarray) -> np.ndarray:
    if shape == "logistic":
        share = 1 / (1 + np.exp(-t))
        return share * (1 - share)
    t = np.minimum(t, 30)
    return np.exp(t - np.exp(t))


def _deviance(n: np.ndarray, k: np.ndarray, log_likelihood: float) -> float:
    share = k / n
    with np.errstate(divide="ignore", invalid="ignore"):
        full = np.where(k > 0, k * np.log(share), 0) + np.where(k < n, (n - k) * np.log1p(-share), 0)
    return max(0.0, 2 * (float(full.sum()) - log_likelihood))


def _check(x: np.ndarray, n: np.ndarray, k: np.ndarray, guess: float, lapse: float, shape: str) -> None:
    if shape not in SHAPES:
        raise InvalidInput(f"The curve {shape!r} is not known; use one of {', '.join(SHAPES)}.")
    if not len(x) == len(n) == len(k) or len(x) < 3:
        raise InvalidInput("A curve needs answers at three or more sizes.")
    if not (np.all(np.isfinite(x)) and np.all(x > 0) and np.all(np.diff(x) > 0)):
        raise InvalidInput("Sizes must lie above zero and ascend.")
    if np.any(n < 1) or np.any(k < 0) or np.any(k > n):
        raise InvalidInput("Right answers must lie between 0 and the number of answers at each size.")
    if not (0 <= guess < 1 and 0 <= lapse < 0.5 and guess + lapse < 1):
        raise InvalidInput("Guess and lapse rates must be shares that leave room between them.")


def _warnings(x: np.ndarray, threshold: float, slope: float, low: float, high: float) -> tuple[str, ...]:
    found = []
    if not x[0] <= threshold <= x[-1]:
        found.append(
            "The threshold lies outside the sizes tasted; it is extrapolated. Taste sizes on both sides."
        )
    if slope >= 55:
        found.append("The answers jump from guessing to sure between two sizes; taste sizes in between.")
    if slope <= NO_RISE:
        found.append("The answers hardly rise with size; no threshold can be told from them.")
    if high / low > 3:
        found.append("The threshold is known to no better than a factor of three; more answers are needed.")
    return tuple(found)
