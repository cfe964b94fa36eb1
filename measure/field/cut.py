"""Cut clusters of touching pieces at their necks.

The distance to the outside has one summit in each round part. Two parts are kept apart when the saddle between
their summits is low against the smaller summit: the neck is narrow. A long or bent single piece has a ridge
of even height and stays whole.
"""

import cv2
import numpy as np

_NECK_AT_HALF = 0.82  # saddle over summit below which a neck is cut at cut_strength 0.5


def neck_limit(cut_strength: float) -> float:
    """Relative neck width below which a neck is cut; 0 never cuts.

    Parameters
    ----------
    cut_strength : float
        0..1.
    """
    if cut_strength <= 0:
        return 0.0
    if cut_strength <= 0.5:
        return _NECK_AT_HALF * (0.4 + 1.2 * cut_strength)
    return _NECK_AT_HALF + (cut_strength - 0.5) * 2 * (0.96 - _NECK_AT_HALF)


def cut_by_shape(mask: np.ndarray, cut_strength: float) -> np.ndarray:
    """Label the round parts of a mask.

    Parameters
    ----------
    mask : (M, N) ndarray of uint8
        One piece or cluster, with a free border of at least one pixel where it does not meet the frame.
    cut_strength : float
        0..1.

    Returns
    -------
    labels : (M, N) ndarray of int32
        0 outside, 1.. for the parts.
    """
    limit = neck_limit(cut_strength)
    if limit <= 0:
        return mask.astype(np.int32)
    distance = cv2.distanceTransform(mask, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    seeds, count = _summits(distance, mask)
    if count <= 1:
        return mask.astype(np.int32)
    from skimage.segmentation import watershed

    basins = watershed(-distance, seeds, mask=mask.astype(bool))
    return _join_wide_necks(basins.astype(np.int32), distance, count, limit)


def _summits(distance: np.ndarray, mask: np.ndarray) -> tuple[np.ndarray, int]:
    top = float(distance.max())
    smooth = cv2.GaussianBlur(distance, (0, 0), 1.0)
    reach = 3 if top < 6 else 5 if top < 20 else 9
    highest = cv2.dilate(smooth, np.ones((reach, reach), np.uint8))
    peaks = ((smooth >= highest - 1e-6) & (mask > 0) & (distance > max(1.0, 0.12 * top))).astype(np.uint8)
    count, seeds = cv2.connectedComponents(peaks, connectivity=8)
    return seeds, count - 1


def _saddles(basins: np.ndarray, distance: np.ndarray, count: int) -> np.ndarray:
    """Highest crossing between each pair of basins, (count + 1, count + 1)."""
    saddle = np.zeros((count + 1, count + 1))
    for a, b, da, db in (
        (basins[:, 1:], basins[:, :-1], distance[:, 1:], distance[:, :-1]),
        (basins[1:], basins[:-1], distance[1:], distance[:-1]),
    ):
        meet = (a != b) & (a > 0) & (b > 0)
        low, high = np.minimum(a[meet], b[meet]), np.maximum(a[meet], b[meet])
        np.maximum.at(saddle, (low, high), np.maximum(da[meet], db[meet]))
    return np.maximum(saddle, saddle.T)


def _join_wide_necks(basins: np.ndarray, distance: np.ndarray, count: int, limit: float) -> np.ndarray:
    saddle = _saddles(basins, distance, count)
    summit = np.zeros(count + 1)
    inside = basins > 0
    np.maximum.at(summit, basins[inside], distance[inside])
    target = np.arange(count + 1)
    alive = np.ones(count + 1, bool)
    while True:
        ratio = saddle / np.maximum(np.minimum(summit[:, None], summit[None, :]), 1e-6)
        ratio[~alive] = 0
        ratio[:, ~alive] = 0
        np.fill_diagonal(ratio, 0)
        a, b = np.unravel_index(int(ratio.argmax()), ratio.shape)
        if ratio[a, b] <= limit:
            break
        target[target == b] = a
        alive[b] = False
        summit[a] = max(summit[a], summit[b])
        saddle[a] = np.maximum(saddle[a], saddle[b])
        saddle[:, a] = saddle[a]
    _, compact = np.unique(np.concatenate([[0], target[1:]]), return_inverse=True)
    return compact[basins].astype(np.int32)
