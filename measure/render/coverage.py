"""How much of each pixel a polygon covers, by exact crossings of fine scan lines."""

import numpy as np


def polygon_area(outline: np.ndarray) -> float:
    """Return the area of a closed polygon, (P, 2) x and y, by the shoelace formula.

    Examples
    --------
    >>> polygon_area(np.array([[0, 0], [2, 0], [2, 3], [0, 3]], dtype=float))
    6.0
    """
    x, y = outline[:, 0], outline[:, 1]
    return float(abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2.0)


def coverage(
    outline: np.ndarray, left: int, top: int, width: int, height: int, lines: int = 16
) -> np.ndarray:
    """Return the covered share of each pixel of a window.

    Each pixel row is cut by ``lines`` scan lines; along a line the covered length is exact, so the mean
    over positions carries no bias.

    Parameters
    ----------
    outline : (P, 2) ndarray of float
        Simple closed polygon, x and y in px.
    left, top, width, height : int
        The window, px. Parts of the polygon outside are cut off.
    lines : int
        Scan lines a pixel row.

    Returns
    -------
    (height, width) ndarray of float32
        0 .. 1.
    """
    start = np.asarray(outline, dtype=np.float64) - (left, top)
    end = np.roll(start, -1, axis=0)
    sign = np.where(end[:, 1] > start[:, 1], 1.0, -1.0)
    upper, lower = np.minimum(start[:, 1], end[:, 1]), np.maximum(start[:, 1], end[:, 1])
    first = np.clip(np.ceil(upper * lines - 0.5), 0, height * lines).astype(np.int64)
    last = np.clip(np.ceil(lower * lines - 0.5), 0, height * lines).astype(np.int64)
    times = last - first
    edge = np.repeat(np.arange(len(start)), times)
    line = np.arange(len(edge)) - np.repeat(np.cumsum(times) - times, times) + first[edge]
    rise = end[edge, 1] - start[edge, 1]
    along = ((line + 0.5) / lines - start[edge, 1]) / rise
    x = np.clip(start[edge, 0] + along * (end[edge, 0] - start[edge, 0]), 0.0, width)
    column = np.floor(x).astype(np.int64)
    part = x - column
    cell = (line // lines) * (width + 2) + column
    size = height * (width + 2)
    total = np.bincount(cell, sign[edge] * (1.0 - part), size) + np.bincount(
        cell + 1, sign[edge] * part, size
    )
    covered = np.cumsum(total.reshape(height, width + 2), axis=1)[:, :width] / lines
    return np.clip(np.abs(covered), 0.0, 1.0).astype(np.float32)
