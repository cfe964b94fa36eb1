"""Fit a family of parallel, evenly spaced lines to points: direction, spacing and their uncertainty."""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class StraightLine:
    """An ordinary least-squares straight line ``y = intercept + slope * x`` with its uncertainty.

    Standard uncertainties and their correlation as JCGM 100:2008, H.3.3.
    """

    intercept: float
    slope: float
    u_intercept: float
    u_slope: float
    correlation: float
    residual_sd: float
    freedom: int

    def predict(self, x: float) -> tuple[float, float]:
        """Return the value at ``x`` and its standard uncertainty."""
        variance = (
            self.u_intercept**2
            + (x * self.u_slope) ** 2
            + 2 * x * self.correlation * self.u_intercept * self.u_slope
        )
        return self.intercept + self.slope * x, float(np.sqrt(max(variance, 0.0)))


def straight_line(x: np.ndarray, y: np.ndarray) -> StraightLine:
    """Fit a straight line by ordinary least squares.

    Parameters
    ----------
    x, y : (N,) array_like
        At least two different ``x``. With exactly two points the uncertainties are nan.

    References
    ----------
    JCGM 100:2008, Guide to the expression of uncertainty in measurement, example H.3.

    Examples
    --------
    >>> line = straight_line([0, 1, 2, 3], [1.0, 3.1, 4.9, 7.0])
    >>> round(line.slope, 3), line.freedom
    (1.98, 2)
    """
    x, y = np.asarray(x, float), np.asarray(y, float)
    n, mean = len(x), x.mean()
    spread = float(np.sum((x - mean) ** 2))
    slope = float(np.sum((x - mean) * (y - y.mean())) / spread)
    intercept = float(y.mean() - slope * mean)
    freedom = n - 2
    rest = y - intercept - slope * x
    sd = float(np.sqrt(np.sum(rest**2) / freedom)) if freedom > 0 else float("nan")
    squares = float(np.sum(x**2))
    return StraightLine(
        intercept=intercept,
        slope=slope,
        u_intercept=sd * float(np.sqrt(squares / (n * spread))),
        u_slope=sd / float(np.sqrt(spread)),
        correlation=-float(x.sum()) / float(np.sqrt(n * squares)) if squares else 0.0,
        residual_sd=sd,
        freedom=freedom,
    )


@dataclass(frozen=True)
class LineFamily:
    """Lines ``normal . P = first_px + i * spacing_px``."""

    normal: np.ndarray
    first_px: float
    spacing_px: float


def parallel_lines(
    points_px: np.ndarray,
    index: np.ndarray,
    weights: np.ndarray | None = None,
    near: np.ndarray | None = None,
) -> LineFamily:
    """Fit parallel evenly spaced lines, each to its own points, by orthogonal regression.

    Parameters
    ----------
    points_px : (N, 2) ndarray
        Points on the lines.
    index : (N,) ndarray
        Which line each point lies on; at least two different values, and one line with two points.
    weights : (N,) ndarray, optional
    near : (2,) ndarray, optional
        A unit normal known to about eight degrees; kept where short lines and noise say otherwise.

    Returns
    -------
    LineFamily
        Its normal points towards growing index.

    Notes
    -----
    Minimises the weighted squared distances of the points from their lines: once the part of x and y that
    the index explains is taken off, the normal is the direction of least spread of what is left.
    """
    points, index = np.asarray(points_px, float), np.asarray(index, float)
    w = np.ones(len(index)) if weights is None else np.asarray(weights, float)
    design = np.column_stack([np.ones_like(index), index])
    root = np.sqrt(w)[:, None]
    coefficients, *_ = np.linalg.lstsq(design * root, points * root, rcond=None)
    left = (points - design @ coefficients) * root
    _, vectors = np.linalg.eigh(left.T @ left)
    normal = vectors[:, 0]
    if near is not None and abs(normal @ near) < 0.99:
        normal = near
    first, spacing = coefficients @ normal
    if spacing < 0:
        normal, first, spacing = -normal, -first, -spacing
    return LineFamily(normal, float(first), float(spacing))
