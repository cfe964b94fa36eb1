"""Whether pieces of a field all rise or fall towards one side, as in light from there."""

import cv2
import numpy as np


def ways_of(
    values: np.ndarray, pieces: np.ndarray, numbers: np.ndarray, ring_px: tuple[float, float], least: int
) -> np.ndarray:
    """Mean of values in a ring within each piece, and how much they rise to one side, (K, 3).

    Parameters
    ----------
    values : (M, N) ndarray of float32
    pieces : (M, N) ndarray of uint8
    numbers : (M, N) ndarray of int32
        Which piece each pixel is of.
    ring_px : (float, float)
        Depth at which the ring begins and ends.
    least : int
        Pixels that the ring of a piece must have.

    Returns
    -------
    ways : (K, 3) ndarray
        Mean, and rise from the middle to the border in x and in y, by least squares.
    """
    depth = cv2.distanceTransform(pieces, cv2.DIST_L2, 5)
    ring = (depth > ring_px[0]) & (depth <= ring_px[1])
    smooth = cv2.GaussianBlur(depth, (0, 0), 1.0)
    x, y = (-cv2.Sobel(smooth, cv2.CV_32F, *way, ksize=3)[ring] for way in ((1, 0), (0, 1)))
    turn, of, shown = np.arctan2(y, x), numbers[ring], values[ring]
    ways = []
    for k in np.flatnonzero(np.bincount(of, minlength=1) >= least):
        at = of == k
        waves = np.stack([np.ones(np.count_nonzero(at)), np.cos(turn[at]), np.sin(turn[at])], axis=1)
        ways.append(np.linalg.lstsq(waves, shown[at], rcond=None)[0])
    return np.array(ways).reshape(-1, 3)


def common_way(ways: np.ndarray, least: float, agree: float) -> float | None:
    """Angle in which most pieces rise, radians; None where it is less than that or they do not agree.

    Parameters
    ----------
    ways : (K, 2) ndarray
        Rise of each in x and in y.
    least : float
        Of the median of all.
    agree : float
        Length of their mean over the mean of their lengths, at least.
    """
    usual, mean = np.median(ways, axis=0), ways.mean(axis=0)
    agreed = np.hypot(*mean) / max(float(np.hypot(*ways.T).mean()), 1e-9)
    if np.hypot(*usual) < least or agreed < agree:
        return None
    return float(np.arctan2(usual[1], usual[0]))
