"""Cumulative distribution, density and percentiles of single pieces, and the limits of size classes.

The percentile rule, one for the whole program: equal sizes are put together, each size carries its share
of the quantity, and the cumulative curve passes through the *middle* of that share; between sizes it is a
straight line in the size. So counting every piece twice, or entering a piece as two rows, changes nothing.
For counts in classes the curve is a straight line between class limits (`measure.sizes.grouped`).
"""

import math

import numpy as np
from numpy.typing import ArrayLike

from measure.errors import InvalidInput

# ISO 3 preferred numbers, one decade
R10 = (1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0)
R20 = (
    *(1.0, 1.12, 1.25, 1.4, 1.6, 1.8, 2.0, 2.24, 2.5, 2.8),
    *(3.15, 3.55, 4.0, 4.5, 5.0, 5.6, 6.3, 7.1, 8.0, 9.0),
)
QUANTITIES = ("number", "length", "area", "volume")


def quantity_name(r: int) -> str:
    """Return the word for the type of quantity r = 0..3 (ISO 9276-1)."""
    return QUANTITIES[r]


def merged_sizes(diameter: np.ndarray, quantity: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return ascending distinct sizes and the quantity at each."""
    d = np.asarray(diameter, dtype=float)
    q = np.asarray(quantity, dtype=float)
    if np.any(d[1:] < d[:-1]):
        order = np.argsort(d, kind="stable")
        d, q = d[order], q[order]
    starts = np.flatnonzero(np.r_[True, d[1:] != d[:-1]]) if d.size else np.array([], dtype=int)
    if len(starts) == len(d):
        return d, q
    return d[starts], np.add.reduceat(q, starts)


def quantiles(diameter: np.ndarray, quantity: np.ndarray, shares: ArrayLike) -> np.ndarray:
    """Return percentiles of single pieces by the rule of this module.

    Parameters
    ----------
    diameter : (K,) ndarray
        Sizes.
    quantity : (K,) ndarray
        Quantity each carries: its weight times size^r, or its volume.
    shares : (P,) array_like
        Undersize shares, 0..1.

    Returns
    -------
    (P,) ndarray
        nan without pieces; never outside the smallest and largest size.

    Examples
    --------
    >>> quantiles(np.arange(1.0, 11.0), np.ones(10), [0.1, 0.5, 0.9]).tolist()
    [1.5, 5.5, 9.5]
    """
    wanted = np.atleast_1d(np.asarray(shares, dtype=float))
    d, q = merged_sizes(diameter, quantity)
    total = q.sum()
    if d.size == 0 or not total > 0:
        return np.full(wanted.shape, math.nan)
    middle = (np.cumsum(q) - q / 2) / total
    return np.interp(wanted, middle, d)


def cumulative(diameter: np.ndarray, quantity: np.ndarray, at: np.ndarray) -> np.ndarray:
    """Return Q_r at the sizes ``at``: the share of the quantity in pieces of at most that size.

    This is the plain step curve, as a class count would give it.

    Examples
    --------
    >>> cumulative(np.array([1.0, 2.0, 3.0]), np.ones(3), [0.5, 2.0, 9.0]).round(3).tolist()
    [0.0, 0.667, 1.0]
    """
    d, q = merged_sizes(diameter, quantity)
    total = q.sum()
    if d.size == 0 or not total > 0:
        return np.full(np.shape(at), math.nan)
    steps = np.r_[0.0, np.cumsum(q) / total]
    steps[-1] = 1.0
    return steps[np.searchsorted(d, np.asarray(at, dtype=float), side="right")]


def class_shares(diameter: np.ndarray, quantity: np.ndarray, edges: np.ndarray) -> np.ndarray:
    """Return dQ_r, the share of the quantity in each class (lower limit in, upper limit out).

    Parameters
    ----------
    edges : (C + 1,) ndarray
        Ascending class limits.

    Returns
    -------
    (C,) ndarray
        Shares of the whole quantity; pieces outside the limits are in none of them.
    """
    total = float(np.sum(quantity))
    index = np.searchsorted(edges, diameter, side="right") - 1
    # the topmost limit belongs to the last class, or the largest piece would be lost
    index[np.asarray(diameter) == edges[-1]] = len(edges) - 2
    inside = (index >= 0) & (index < len(edges) - 1)
    sums = np.bincount(index[inside], np.asarray(quantity, float)[inside], minlength=len(edges) - 1)
    return sums / total if total > 0 else np.full(len(edges) - 1, math.nan)


def density(edges: np.ndarray, shares: np.ndarray, *, logarithmic: bool = False) -> np.ndarray:
    """Return q_r = dQ_r / dx, or q*_r = dQ_r / d ln x on a logarithmic axis (ISO 9276-1)."""
    scale = np.log(edges) if logarithmic else np.asarray(edges, dtype=float)
    return np.asarray(shares, dtype=float) / np.diff(scale)


def size_classes(low: float, high: float, *, series: str = "R10", classes: int = 20) -> np.ndarray:
    """Return ascending class limits that hold ``low`` and ``high``.

    Parameters
    ----------
    low, high : float
        Smallest and largest size, above 0, um.
    series : str
        "R10" or "R20" (ISO 3 preferred numbers), "log" or "linear" (``classes`` classes of equal ratio or
        width from ``low`` to ``high``).
    classes : int
        Number of classes for "log" and "linear".

    Raises
    ------
    InvalidInput
        For sizes that are not above 0, in the wrong order, or an unknown series.

    Examples
    --------
    >>> size_classes(9, 30).tolist()
    [8.0, 10.0, 12.5, 16.0, 20.0, 25.0, 31.5]
    """
    if not (math.isfinite(low) and math.isfinite(high) and 0 < low <= high):
        raise InvalidInput(
            f"Size classes need limits above 0 in ascending order, not {low:g} and {high:g} µm."
        )
    if series in ("log", "linear"):
        return _even_classes(low, high, series, classes)
    if series not in ("R10", "R20"):
        raise InvalidInput(f"Size classes '{series}' are not known; use R10, R20, log or linear.")
    base = R10 if series == "R10" else R20
    first, last = math.floor(math.log10(low)) - 1, math.floor(math.log10(high)) + 1
    limits = np.array([float(f"{m}e{e}") for e in range(first, last + 1) for m in base])
    start = int(np.searchsorted(limits, low, side="right")) - 1
    end = int(np.searchsorted(limits, high, side="right"))
    return limits[start : end + 1]


def _even_classes(low: float, high: float, series: str, classes: int) -> np.ndarray:
    if classes < 1:
        raise InvalidInput(f"At least one size class is needed, not {classes}.")
    top = high if high > low else low * 1.01
    edges = np.geomspace(low, top, classes + 1) if series == "log" else np.linspace(low, top, classes + 1)
    edges[0], edges[-1] = low, top  # rounding must not lose the end pieces
    return edges


def span(x10: float, x50: float, x90: float) -> float:
    """Return (x90 - x10) / x50; nan where x50 is not above 0."""
    return (x90 - x10) / x50 if x50 > 0 else math.nan
