"""Means of a size distribution as ratios of moments, for single pieces and for counts in classes.

Notation is the moment-ratio one of ISO 9276-2 and ASTM E2578: D[p,q] is the mean whose p-th power is the
ratio of the p-th to the q-th power sums. D[1,0] is the plain number mean, D[3,2] the Sauter mean, D[4,3]
the volume-weighted mean of equal-shaped pieces.
"""

import math

import numpy as np

# the means every summary states, (p, q)
STANDARD_MEANS = ((1, 0), (2, 0), (3, 0), (3, 2), (4, 3))


def mean_name(p: int, q: int) -> str:
    """Return the name of a mean.

    Examples
    --------
    >>> mean_name(4, 3)
    'D[4,3]'
    """
    return f"D[{p},{q}]"


def power_sum(diameter: np.ndarray, power: float, weight: np.ndarray | None = None) -> float:
    """Return the weighted sum of d^power."""
    d = np.asarray(diameter, dtype=float)
    values = np.ones_like(d) if power == 0 else d**power
    return float(values.sum() if weight is None else np.dot(values, weight))


def moment_mean(diameter: np.ndarray, p: float, q: float, weight: np.ndarray | None = None) -> float:
    """Return D[p,q] of single pieces.

    Parameters
    ----------
    diameter : (K,) ndarray of float
        Sizes, any unit, above 0.
    p, q : float
        Orders; p = q gives exp(sum w d^p ln d / sum w d^p), whose D[0,0] is the geometric mean.
    weight : (K,) ndarray of float, optional
        Number each piece stands for; 1 by default.

    Returns
    -------
    float
        In the unit of ``diameter``; nan without pieces.

    References
    ----------
    .. [1] ISO 9276-2:2014. .. [2] ASTM E2578.

    Examples
    --------
    >>> moment_mean(np.array([1.0, 2.0, 3.0]), 4, 3)
    2.7222222222222223
    """
    d = np.asarray(diameter, dtype=float)
    if d.size == 0:
        return math.nan
    # sizes relative to the largest keep high powers from overflowing
    top = float(d.max())
    x = d / top
    if p == q:
        base = x**p if weight is None else x**p * weight
        return top * math.exp(float(np.dot(base, np.log(x))) / float(base.sum()))
    ratio = power_sum(x, p, weight) / power_sum(x, q, weight)
    return top * ratio ** (1.0 / (p - q))


def geometric_mean(diameter: np.ndarray, weight: np.ndarray | None = None) -> float:
    """Return the geometric mean, D[0,0]; nan without pieces."""
    return moment_mean(diameter, 0, 0, weight)


def geometric_sd(
    diameter: np.ndarray, weight: np.ndarray | None = None, *, pieces: float | None = None
) -> float:
    """Return the geometric standard deviation, a plain ratio of at least 1.

    Parameters
    ----------
    diameter : (K,) ndarray
        Sizes.
    weight : (K,) ndarray, optional
        Number each piece stands for.
    pieces : float, optional
        Number of pieces seen, for the n - 1 in the variance; the number of sizes by default. Infinity
        leaves the correction out, so that replication changes nothing.

    Returns
    -------
    float
        nan without pieces, 1 with one.
    """
    d = np.asarray(diameter, dtype=float)
    if d.size == 0:
        return math.nan
    w = np.ones_like(d) if weight is None else np.asarray(weight, dtype=float)
    logs = np.log(d)
    centre = float(np.dot(w, logs) / w.sum())
    variance = float(np.dot(w, (logs - centre) ** 2) / w.sum())
    n = float(d.size) if pieces is None else float(pieces)
    if math.isfinite(n):
        variance *= n / (n - 1.0) if n > 1 else 0.0
    return math.exp(math.sqrt(variance))


def number_sd(
    diameter: np.ndarray, weight: np.ndarray | None = None, *, pieces: float | None = None
) -> float:
    """Return the standard deviation of sizes by number, s = sqrt(n/(n-1)) sqrt(D[2,0]^2 - D[1,0]^2)."""
    d = np.asarray(diameter, dtype=float)
    n = float(d.size) if pieces is None else float(pieces)
    if n <= 1:
        return 0.0 if n == 1 else math.nan
    spread = moment_mean(d, 2, 0, weight) ** 2 - moment_mean(d, 1, 0, weight) ** 2
    return math.sqrt(max(spread, 0.0) * n / (n - 1.0))


def specific_surface(diameter: np.ndarray, weight: np.ndarray | None = None) -> float:
    """Return surface per volume of spheres, S_V = 6 / D[3,2], in one over the unit of ``diameter``."""
    return 6.0 / moment_mean(diameter, 3, 2, weight)
