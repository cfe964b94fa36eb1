"""Laws of grinding: how a size, or the share above a size, falls with passes, minutes or energy.

All are fitted on the logarithm of what is measured, many data sets at once, by damped least squares.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

_LOG_FLOOR = 30.0
_STEPS = 60


@dataclass(frozen=True)
class Law:
    """One law.

    Attributes
    ----------
    name, words : str
        Short name; what it says.
    parameters : tuple of str
        Names of the fitted numbers; all are fitted by their logarithm, so all stay above 0.
    value : callable
        (parameters (..., P, 1), dose (n,)) -> what is measured (..., n).
    dose : callable
        (parameters (..., P), target) -> dose at which the target is reached; inf where it never is.
    floor : callable
        (parameters (..., P)) -> the plateau; 0 where there is none.
    start : callable
        (dose (n,), y (n,)) -> list of first guesses of the logarithms of the parameters.
    """

    name: str
    words: str
    parameters: tuple[str, ...]
    value: Callable[[np.ndarray, np.ndarray], np.ndarray]
    dose: Callable[[np.ndarray, float], np.ndarray]
    floor: Callable[[np.ndarray], np.ndarray]
    start: Callable[[np.ndarray, np.ndarray], list[list[float]]]


def _rittinger(p: np.ndarray, t: np.ndarray) -> np.ndarray:
    return 1.0 / (1.0 / p[..., 0, :] + p[..., 1, :] * t)


def _rittinger_dose(p: np.ndarray, target: float) -> np.ndarray:
    return (1.0 / target - 1.0 / p[..., 0]) / p[..., 1]


def _rittinger_start(t: np.ndarray, y: np.ndarray) -> list[list[float]]:
    slope, middle = np.polyfit(t, 1.0 / y, 1)
    slope = max(float(slope), 1e-3 / (float(y.max()) * max(float(t.max()), 1e-9)))
    x0 = 1.0 / middle if middle > 0 else 3 * float(y.max())
    return [[math.log(x0), math.log(slope)]]


def _bond(p: np.ndarray, t: np.ndarray) -> np.ndarray:
    return (p[..., 0, :] ** -0.5 + p[..., 1, :] * t) ** -2.0


def _bond_dose(p: np.ndarray, target: float) -> np.ndarray:
    return (target**-0.5 - p[..., 0] ** -0.5) / p[..., 1]


def _bond_start(t: np.ndarray, y: np.ndarray) -> list[list[float]]:
    slope, middle = np.polyfit(t, y**-0.5, 1)
    slope = max(float(slope), 1e-3 / (float(y.max()) ** 0.5 * max(float(t.max()), 1e-9)))
    x0 = middle**-2.0 if middle > 0 else 3 * float(y.max())
    return [[math.log(x0), math.log(slope)]]


def _decay(p: np.ndarray, t: np.ndarray) -> np.ndarray:
    return p[..., 0, :] * np.exp(-np.minimum(p[..., 1, :] * t, 600))


def _decay_dose(p: np.ndarray, target: float) -> np.ndarray:
    return np.log(p[..., 0] / target) / p[..., 1]


def _decay_start(t: np.ndarray, y: np.ndarray) -> list[list[float]]:
    slope, middle = np.polyfit(t, np.log(y), 1)
    return [[float(middle), math.log(max(-float(slope), 1e-3 / max(float(t.max()), 1e-9)))]]


def _plateau(p: np.ndarray, t: np.ndarray) -> np.ndarray:
    return p[..., 0, :] + p[..., 1, :] * np.exp(-np.minimum(p[..., 2, :] * t, 600))


def _plateau_dose(p: np.ndarray, target: float) -> np.ndarray:
    above = target - p[..., 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(above > 0, -np.log(np.where(above > 0, above, 1.0) / p[..., 1]) / p[..., 2], np.inf)


def _plateau_start(t: np.ndarray, y: np.ndarray) -> list[list[float]]:
    starts = []
    for part in (0.3, 0.7, 0.95):
        low = part * float(y.min())
        slope, middle = np.polyfit(t, np.log(np.maximum(y - low, 1e-3 * y.max())), 1)
        k = max(-float(slope), 1e-3 / max(float(t.max()), 1e-9))
        starts.append([math.log(low), float(middle), math.log(k)])
    return starts


def _none(p: np.ndarray) -> np.ndarray:
    return np.zeros(p.shape[:-1])


RITTINGER = Law(
    "rittinger", "constant power (Rittinger): 1/x grows evenly", ("x0", "c"),
    _rittinger, _rittinger_dose, _none, _rittinger_start,
)  # fmt: skip
BOND = Law(
    "bond", "constant power (Bond): 1/√x grows evenly", ("x0", "c"),
    _bond, _bond_dose, _none, _bond_start,
)  # fmt: skip
KICK = Law(
    "kick", "constant power (Kick): each step takes the same part of x", ("x0", "k"),
    _decay, _decay_dose, _none, _decay_start,
)  # fmt: skip
PLATEAU = Law(
    "plateau", "falls towards a plateau the mill does not pass", ("x_inf", "fall", "k"),
    _plateau, _plateau_dose, lambda p: p[..., 0], _plateau_start,
)  # fmt: skip
FIRST_ORDER = Law(
    "first-order", "first-order oversize: each step removes the same part", ("R0", "S"),
    _decay, _decay_dose, _none, _decay_start,
)  # fmt: skip
# through two points, only to show where they lie: straight on a logarithmic axis
LINE = Law(
    "line", "straight line on a logarithmic axis", ("y0", "k"), _decay, _decay_dose, _none, _decay_start
)
# Sizes follow the first set, shares above a size the second. The energy laws dE = -C dx / x^m are Rittinger's
# with m = 2, Bond's with 1.5 and Kick's with 1. Kick's is the plateau law with its plateau at 0, but as that
# it carried a third number; without one of them a mill that follows it is said to level off, or is missed.
SIZE_LAWS = (RITTINGER, BOND, KICK, PLATEAU)
SHARE_LAWS = (FIRST_ORDER, PLATEAU)


def fit_law(
    law: Law, dose: np.ndarray, logs: np.ndarray, sd: np.ndarray, starts: list[list[float]]
) -> tuple[np.ndarray, np.ndarray]:
    """Fit a law to many data sets at once.

    Parameters
    ----------
    law : Law
    dose : (n,) ndarray
    logs : (B, n) ndarray
        Logarithms of what was measured.
    sd : (n,) ndarray
        Their standard uncertainties.
    starts : list of list of float
        First guesses; each data set keeps the best outcome.

    Returns
    -------
    (B, P) ndarray, (B,) ndarray
        Logarithms of the parameters, and the weighted sum of squares.
    """
    best = np.full((len(logs), len(law.parameters)), np.nan)
    best_squares = np.full(len(logs), np.inf)
    for start in starts:
        found, squares = _descend(law, dose, logs, sd, np.tile(start, (len(logs), 1)))
        better = squares < best_squares - 1e-12
        best[better], best_squares[better] = found[better], squares[better]
    return best, best_squares


def predict(law: Law, log_parameters: np.ndarray, dose: np.ndarray) -> np.ndarray:
    """Return the values of a law, (B, n), for the logarithms of its parameters (B, P)."""
    return law.value(np.exp(np.clip(log_parameters, -_LOG_FLOOR, _LOG_FLOOR))[..., None], dose)


def _residuals(law: Law, dose: np.ndarray, logs: np.ndarray, sd: np.ndarray, theta: np.ndarray) -> np.ndarray:
    return (logs - np.log(np.maximum(predict(law, theta, dose), 1e-300))) / sd


def _descend(
    law: Law, dose: np.ndarray, logs: np.ndarray, sd: np.ndarray, theta: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Levenberg and Marquardt's damped steps, all data sets side by side."""
    width = theta.shape[1]
    damp = np.full(len(theta), 1e-2)
    residual = _residuals(law, dose, logs, sd, theta)
    squares = (residual**2).sum(axis=1)
    for _ in range(_STEPS):
        rise = np.empty((*residual.shape, width))
        for j in range(width):
            moved = theta.copy()
            moved[:, j] += 1e-5
            rise[..., j] = (_residuals(law, dose, logs, sd, moved) - residual) / 1e-5
        gradient = np.einsum("bnp,bn->bp", rise, residual)
        curve = np.einsum("bnp,bnq->bpq", rise, rise)
        ridge = damp[:, None] * (np.einsum("bpp->bp", curve) + 1e-6)
        step = -np.linalg.solve(curve + ridge[:, :, None] * np.eye(width), gradient[..., None])[..., 0]
        trial = np.clip(theta + np.clip(step, -1.0, 1.0), -_LOG_FLOOR, _LOG_FLOOR)
        trial_residual = _residuals(law, dose, logs, sd, trial)
        trial_squares = (trial_residual**2).sum(axis=1)
        better = trial_squares <= squares
        theta = np.where(better[:, None], trial, theta)
        residual = np.where(better[:, None], trial_residual, residual)
        done = np.all(np.abs(squares - trial_squares) <= 1e-12 + 1e-10 * squares)
        squares = np.where(better, trial_squares, squares)
        damp = np.clip(np.where(better, damp / 4, damp * 6), 1e-9, 1e9)
        if done:
            break
    return theta, squares
