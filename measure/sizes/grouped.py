"""Counts in size classes: means, shares and percentiles without the single sizes.

How sizes lie inside a class is a convention and changes the means by a few per cent, so it is stated:
"even" spreads them evenly over the class (what ASTM E799 does), "arithmetic" and "geometric" put them all
at the class's middle.
"""

import math
from dataclasses import dataclass

import numpy as np

from measure.errors import InvalidInput

WITHIN = ("even", "arithmetic", "geometric")


@dataclass(frozen=True)
class GroupedCounts:
    """Counts in classes.

    Attributes
    ----------
    edges : (C + 1,) ndarray
        Ascending class limits, at least 0.
    counts : (C,) ndarray
        Pieces in each class, whole or weighted.
    within : str
        "even", "arithmetic" or "geometric".
    """

    edges: np.ndarray
    counts: np.ndarray
    within: str = "even"

    def __post_init__(self) -> None:
        edges, counts = np.asarray(self.edges, dtype=float), np.asarray(self.counts, dtype=float)
        if edges.ndim != 1 or counts.shape != (len(edges) - 1,) or len(counts) == 0:
            raise InvalidInput(
                "Counts in classes need one more class limit than counts, and at least one class."
            )
        if not (np.all(np.isfinite(edges)) and edges[0] >= 0 and np.all(np.diff(edges) > 0)):
            raise InvalidInput("Class limits must ascend from 0 or above.")
        if not (np.all(np.isfinite(counts)) and np.all(counts >= 0) and counts.sum() > 0):
            raise InvalidInput("Class counts must be 0 or above, and not all 0.")
        if self.within not in WITHIN:
            raise InvalidInput(f"'{self.within}' is not a way sizes lie in a class; use {', '.join(WITHIN)}.")
        object.__setattr__(self, "edges", edges)
        object.__setattr__(self, "counts", counts)

    def middles(self) -> np.ndarray:
        """Return the arithmetic or geometric class middles (arithmetic for "even")."""
        low, high = self.edges[:-1], self.edges[1:]
        return np.sqrt(low * high) if self.within == "geometric" else (low + high) / 2

    def power_means(self, power: float) -> np.ndarray:
        """Return the mean of x^power over each class, (C,)."""
        if self.within != "even":
            return self.middles() ** power
        low, high = self.edges[:-1], self.edges[1:]
        if power == -1:
            with np.errstate(divide="ignore"):
                return np.log(high / low) / (high - low)
        k = power + 1
        with np.errstate(divide="ignore"):
            return (high**k - low**k) / (k * (high - low))

    def _log_means(self, power: float) -> np.ndarray:
        """Return the mean of x^power ln x over each class."""
        if self.within != "even":
            return self.middles() ** power * np.log(self.middles())
        low, high, k = self.edges[:-1], self.edges[1:], power + 1
        return (_log_integral(high, k) - _log_integral(low, k)) / (high - low)

    def mean(self, p: float, q: float) -> float:
        """Return D[p,q] (ISO 9276-2).

        Examples
        --------
        >>> GroupedCounts([1, 2, 3], [5, 5], "arithmetic").mean(1, 0)
        2.0
        """
        if p == q:
            return math.exp(
                float(self.counts @ self._log_means(p)) / float(self.counts @ self.power_means(p))
            )
        ratio = float(self.counts @ self.power_means(p)) / float(self.counts @ self.power_means(q))
        return ratio ** (1.0 / (p - q))

    def geometric_sd(self, *, pieces: float = math.inf) -> float:
        """Return the geometric standard deviation of the class middles about the geometric mean."""
        logs = np.log(self.middles())
        share = self.counts / self.counts.sum()
        variance = float(share @ (logs - share @ logs) ** 2)
        if math.isfinite(pieces) and pieces > 1:
            variance *= pieces / (pieces - 1)
        return math.exp(math.sqrt(variance))

    def shares(self, r: int) -> np.ndarray:
        """Return dQ_r, the share of quantity r = 0..3 in each class."""
        quantity = self.counts * self.power_means(r)
        return quantity / quantity.sum()

    def cumulative(self, r: int) -> np.ndarray:
        """Return Q_r at the class limits, from 0 to 1, (C + 1,)."""
        curve = np.r_[0.0, np.cumsum(self.shares(r))]
        curve[-1] = 1.0
        return curve

    def quantiles(self, shares: np.ndarray, r: int, *, logarithmic: bool = False) -> np.ndarray:
        """Return percentiles: Q_r is a straight line over each class, in x or (``logarithmic``) in ln x.

        Examples
        --------
        >>> GroupedCounts([0, 10, 20], [1, 3]).quantiles([0.25, 0.625], 0).tolist()
        [10.0, 15.0]
        """
        curve = self.cumulative(r)
        # empty classes make flat steps; the percentile is then the lower end of the step
        keep = np.r_[True, np.diff(curve) > 0]
        first = int(np.flatnonzero(np.diff(curve) > 0)[0])
        keep[: first + 1] = False
        keep[first] = True
        x = self.edges[keep]
        if not logarithmic:
            return np.interp(shares, curve[keep], x)
        if x[0] <= 0:
            raise InvalidInput(
                "A class that starts at 0 has no logarithm; use the straight line in the size."
            )
        return np.exp(np.interp(shares, curve[keep], np.log(x)))


def _log_integral(x: np.ndarray, k: float) -> np.ndarray:
    """Return the integral of x^(k-1) ln x, with its limit 0 at x = 0 for k > 0."""
    with np.errstate(divide="ignore", invalid="ignore"):
        logs = np.log(x)
        value = logs**2 / 2 if k == 0 else x**k / k * (logs - 1 / k)
    return np.where((x == 0) & (k > 0), 0.0, value)
