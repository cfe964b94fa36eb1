"""Log-normal and Rosin-Rammler-Weibull curves fitted to sizes that end at a lower limit.

What lies below the limit was never counted, so both fits treat the data as cut off there, rather than as if
nothing
finer existed.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from measure.errors import InvalidInput
from measure.sizes.distribution import merged_sizes
from measure.sizes.grouped import GroupedCounts
from measure.sizes.sample import SizeSample

# 5 % point of the largest gap when the parameters come from the same data (Lilliefors 1967, from memory)
_GAP_FACTOR = 0.895
_CLOSE = 0.03


@dataclass(frozen=True)
class LogNormalFit:
    """Log-normal distribution by number: median and geometric standard deviation of the whole, uncut curve.

    ``gap`` is the largest distance between the curve and the data (share of number), ``words`` says how well
    they
    agree.
    """

    median_um: float
    sigma_g: float
    lower_um: float
    gap: float
    words: str

    def percentile_um(self, percent: float, r: int = 0) -> float:
        """Return x_p of quantity r of the uncut curve (Hatch and Choate 1929)."""
        from scipy.special import ndtri

        s = math.log(self.sigma_g)
        return self.median_um * math.exp(r * s * s + s * float(ndtri(percent / 100)))

    def mean_um(self, p: float, q: float) -> float:
        """Return D[p,q] of the uncut curve, median * exp((p + q) / 2 ln^2 sigma_g) (Hatch and Choate 1929).

        Examples
        --------
        >>> round(LogNormalFit(10, 1.6, 0, 0, "").mean_um(4, 3), 5)
        21.66606
        """
        return self.median_um * math.exp((p + q) / 2 * math.log(self.sigma_g) ** 2)

    @property
    def mode_um(self) -> float:
        """Most frequent size by number."""
        return self.median_um * math.exp(-(math.log(self.sigma_g) ** 2))


@dataclass(frozen=True)
class WeibullFit:
    """Rosin-Rammler-Weibull distribution by volume, 1 - Q_3 = exp(-(x / x')^n) (ISO 9276-3).

    ``size_um`` is x', below which 63.2 % of the volume lies; ``exponent`` is n.
    """

    size_um: float
    exponent: float
    lower_um: float
    gap: float
    words: str

    def percentile_um(self, percent: float) -> float:
        """Return x_{p,3} of the uncut curve.

        Examples
        --------
        >>> round(WeibullFit(100, 1.5, 0, 0, "").percentile_um(90), 4)
        174.3722
        """
        return self.size_um * (-math.log1p(-percent / 100)) ** (1 / self.exponent)

    def volume_mean_um(self) -> float:
        """Return D[4,3] = x' Gamma(1 + 1/n)."""
        return self.size_um * math.gamma(1 + 1 / self.exponent)

    def sauter_mean_um(self) -> float:
        """Return D[3,2] = x' / Gamma(1 - 1/n); nan for n <= 1, where the fines have no finite surface."""
        return self.size_um / math.gamma(1 - 1 / self.exponent) if self.exponent > 1 else math.nan

    @property
    def span(self) -> float:
        """(x90 - x10) / x50 by volume."""
        return (self.percentile_um(90) - self.percentile_um(10)) / self.percentile_um(50)


def fit_log_normal(sample: SizeSample) -> LogNormalFit:
    """Fit a log-normal distribution by number, cut off at the sample's lower limit (maximum likelihood).

    Raises
    ------
    InvalidInput
        With fewer than three distinct sizes.
    """
    d, w = merged_sizes(sample.diameter_um, sample.weight)
    if len(d) < 3:
        raise InvalidInput("A log-normal fit needs at least three different sizes.")
    lower = sample.smallest_um if math.isfinite(sample.smallest_um) else 0.0
    logs, share = np.log(d), w / w.sum()
    centre = float(share @ logs)
    variance = float(share @ (logs - centre) ** 2)
    mu, s = _cut_normal(centre, variance, math.log(lower) if lower > 0 else -math.inf)

    def model(x: np.ndarray) -> np.ndarray:
        return _cut_curve(mu, s, lower, x)

    gap = _gap(d, share, model)
    n = sample.weight.sum() ** 2 / (sample.weight @ sample.frame_weight)
    words = _goodness("a log-normal distribution", gap, float(n), "the number")
    if lower > 0 and mu - s * s < math.log(lower):
        words += " Its most frequent size lies below the lower limit, so the fine side is a guess."
    return LogNormalFit(math.exp(mu), math.exp(s), lower, gap, words)


def fit_log_normal_counts(counts: GroupedCounts) -> LogNormalFit:
    """Fit a log-normal distribution to counts in classes, cut off at the lowest class limit."""
    from scipy.optimize import minimize

    edges, number = counts.edges, counts.counts
    with np.errstate(divide="ignore"):
        logs = np.log(edges)

    def loss(parameters: np.ndarray) -> float:
        curve = _cut_curve(float(parameters[0]), math.exp(parameters[1]), edges[0], edges, logs)
        return -float(number @ np.log(np.maximum(np.diff(curve), 1e-300)))

    centre = math.log(GroupedCounts(edges, number, "arithmetic").mean(0, 0))
    spread = math.log(GroupedCounts(edges, number, "arithmetic").geometric_sd())
    start = np.array([centre, math.log(max(spread, 0.05))])
    found = minimize(
        loss, start, method="Nelder-Mead", options={"xatol": 1e-7, "fatol": 1e-9, "maxiter": 2000}
    )
    mu, s = float(found.x[0]), math.exp(float(found.x[1]))
    gap = float(np.abs(_cut_curve(mu, s, edges[0], edges, logs) - counts.cumulative(0)).max())
    words = _goodness("a log-normal distribution", gap, float(number.sum()), "the number")
    return LogNormalFit(math.exp(mu), math.exp(s), float(edges[0]), gap, words)


def fit_weibull(sample: SizeSample) -> WeibullFit:
    """Fit a Rosin-Rammler-Weibull distribution by volume, cut off at the sample's lower limit.

    Each piece enters by its volume (weighted maximum likelihood); x' has a closed form for every n, so only
    n is
    searched for.

    Raises
    ------
    InvalidInput
        With fewer than three distinct sizes.
    """
    from scipy.optimize import minimize_scalar

    d, v = merged_sizes(sample.diameter_um, sample.quantity(3))
    if len(d) < 3:
        raise InvalidInput("A Rosin-Rammler-Weibull fit needs at least three different sizes.")
    lower = min(sample.smallest_um if math.isfinite(sample.smallest_um) else 0.0, float(d[0]))
    share, top = v / v.sum(), float(d[-1])
    x, cut = d / top, lower / top
    mean_log = float(share @ np.log(x))

    def scale_power(n: float) -> float:
        return max(float(share @ x**n) - cut**n, 1e-300)

    def loss(n: float) -> float:
        return -(math.log(n) + (n - 1) * mean_log - math.log(scale_power(n)))

    n = float(minimize_scalar(loss, bounds=(0.2, 20.0), method="bounded").x)
    size = scale_power(n) ** (1 / n) * top

    def model(at: np.ndarray) -> np.ndarray:
        return -np.expm1((lower / size) ** n - (at / size) ** n)

    gap = _gap(d, share, model)
    q = sample.quantity(3)
    effective = float(q.sum() ** 2 / (q @ q))
    words = _goodness("a Rosin-Rammler-Weibull distribution", gap, effective, "the volume")
    return WeibullFit(size, n, lower, gap, words)


def weibull_through(first: tuple[float, float], second: tuple[float, float]) -> WeibullFit:
    """Return the Rosin-Rammler-Weibull curve through two points (size, undersize share 0..1).

    Examples
    --------
    >>> fit = weibull_through((850, 0.9), (212, 0.3))
    >>> round(fit.exponent, 6), round(fit.size_um, 4)
    (1.343004, 456.7866)
    """
    (x1, q1), (x2, q2) = first, second
    if not (x1 > 0 and x2 > 0 and x1 != x2 and 0 < q1 < 1 and 0 < q2 < 1 and (x1 - x2) * (q1 - q2) > 0):
        raise InvalidInput(
            "Two points of a curve need different sizes above 0 and shares that rise from 0 to 1."
        )
    l1, l2 = -math.log1p(-q1), -math.log1p(-q2)
    n = math.log(l1 / l2) / math.log(x1 / x2)
    return WeibullFit(x1 / l1 ** (1 / n), n, 0.0, 0.0, "drawn through two points")


def _cut_normal(centre: float, variance: float, cut: float) -> tuple[float, float]:
    """Return mean and sd of a normal distribution cut off below, from the moments above the cut."""
    if variance <= 0:
        return centre, 1e-6
    if cut == -math.inf:
        return centre, math.sqrt(variance)
    from scipy.optimize import minimize
    from scipy.special import log_ndtr

    def loss(parameters: np.ndarray) -> float:
        mu, log_s = parameters
        s = math.exp(log_s)
        inside = float(log_ndtr((mu - cut) / s))
        return log_s + (variance + (centre - mu) ** 2) / (2 * s * s) + inside

    start = np.array([centre, 0.5 * math.log(variance)])
    # a median far below the cut cannot be told from the data; bounds keep it from running away
    spread = math.sqrt(variance)
    bounds = ((cut - 3 * spread, None), (math.log(spread) - 2, math.log(spread) + 1.5))
    found = minimize(loss, start, method="L-BFGS-B", bounds=bounds, options={"ftol": 1e-13, "gtol": 1e-9})
    return float(found.x[0]), math.exp(float(found.x[1]))


def _cut_curve(
    mu: float, s: float, lower: float, x: np.ndarray, logs: np.ndarray | None = None
) -> np.ndarray:
    from scipy.special import ndtr

    at = np.log(x) if logs is None else logs
    below = float(ndtr((math.log(lower) - mu) / s)) if lower > 0 else 0.0
    return (ndtr((at - mu) / s) - below) / max(1 - below, 1e-300)


def _gap(d: np.ndarray, share: np.ndarray, model: Callable[[np.ndarray], np.ndarray]) -> float:
    curve = np.cumsum(share)
    fitted = model(d)
    return float(max(np.abs(curve - fitted).max(), np.abs(curve - share - fitted).max()))


def _goodness(name: str, gap: float, pieces: float, of: str) -> str:
    chance = _GAP_FACTOR / math.sqrt(max(pieces, 1.0))
    figure = f"largest gap {100 * gap:.1f} % of {of}, up to {100 * chance:.1f} % by chance"
    if gap <= chance:
        return f"The sizes follow {name} within chance ({figure})."
    if gap <= _CLOSE:
        return f"The sizes follow {name} closely, though not within chance ({figure})."
    return f"The sizes do not follow {name} ({figure})."
