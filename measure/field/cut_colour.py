"""Cut pieces of different colour that lie against or over one another: a skin flake on a kernel.

The colours inside a piece are split in two. The split is a cut only when the two colours are far apart, each
fills one compact area, and both areas border the oil: a rim and a core, or streaks, are one piece.
"""

import cv2
import numpy as np

from measure.field.masks import numbered
from measure.field.quick import length, mean_colour, median, percentile

_APART = 2.3  # distance of the two colours over their joint spread
_LEAST_STEP = 6.0  # CIELAB units
_RELATIVE_STEP = 0.33  # of the stronger colour's difference from the oil
_IN_ONE = 0.85  # share of a colour that must lie in few large areas
_MOST_AREAS = 6
_OIL_SHARE = 0.3  # share of an area's border that must be oil
_SMALLEST_SHARE = 0.06  # of the whole piece
_CALM_SIGMA_PX = 1.5


def cut_by_colour(mask: np.ndarray, delta: np.ndarray, least_px2: float) -> np.ndarray:
    """Label the differently coloured parts of a piece.

    Parameters
    ----------
    mask : (M, N) ndarray of uint8
        One piece.
    delta : (M, N, 3) ndarray of float32
        CIELAB difference from the oil.
    least_px2 : float
        Smallest area of a part.

    Returns
    -------
    labels : (M, N) ndarray of int32
        0 outside, 1.. inside.
    """
    whole = mask.astype(np.int32)
    least = max(least_px2, _SMALLEST_SHARE * float(mask.sum()))
    core = cv2.erode(mask, np.ones((3, 3), np.uint8))
    if core.sum() < 2 * least:
        return whole
    calm = _calmed(delta, mask)
    values = calm[core > 0]
    strength = length(values)
    usual = median(strength)
    hue = values / np.maximum(strength, 0.25 * usual)[:, None] * usual
    for features in (hue, values):
        split = _split(features)
        # colours are compared first, for the areas are dearer
        if split is None or split.all() or not split.any() or not _are_apart(values[~split], values[split]):
            continue
        labels = _areas(core, split, mask, least)
        if labels is not None:
            return labels
    return whole


def _calmed(delta: np.ndarray, mask: np.ndarray) -> np.ndarray:
    """Smooth inside the piece only."""
    weight = cv2.GaussianBlur(mask.astype(np.float32), (0, 0), _CALM_SIGMA_PX)
    total = cv2.GaussianBlur(delta * mask[..., None], (0, 0), _CALM_SIGMA_PX)
    return total / np.maximum(weight, 1e-3)[..., None]


def _split(values: np.ndarray) -> np.ndarray | None:
    """Split in two along the direction of largest spread, by Otsu's threshold; None without spread."""
    centred = values - mean_colour(values)
    _, vectors = np.linalg.eigh(centred.T @ centred)
    along = centred @ vectors[:, -1]
    low, high = percentile(along, 0.5), percentile(along, 99.5)
    if high - low < _LEAST_STEP:
        return None
    scaled = np.clip((along - low) / (high - low) * 255, 0, 255).astype(np.uint8)
    threshold, _ = cv2.threshold(scaled.reshape(-1, 1), 0, 1, cv2.THRESH_BINARY | cv2.THRESH_OTSU)
    return scaled > threshold


def _areas(core: np.ndarray, split: np.ndarray, mask: np.ndarray, least: float) -> np.ndarray | None:
    """Compact areas that all border the oil, grown over the whole piece, or None."""
    colour = np.zeros(core.shape, np.uint8)
    colour[core > 0] = 1 + split
    size = 5 if core.sum() > 400 else 3
    first = cv2.medianBlur((colour == 1).astype(np.uint8), size) & core
    second = core & ~first & 1
    seeds, used = np.zeros(core.shape, np.int32), 0
    for area in (first, second):
        count, parts, stats = numbered(area, 4)
        large = [k for k in range(1, count) if stats[k, cv2.CC_STAT_AREA] >= least]
        if sum(stats[k, cv2.CC_STAT_AREA] for k in large) < max(least, _IN_ONE * area.sum()):
            return None
        for k in large:
            used += 1
            seeds[parts == k] = used
    if used > _MOST_AREAS:
        return None
    labels = spread(seeds, mask)
    oil = cv2.dilate(1 - mask, np.ones((3, 3), np.uint8))
    for number in range(1, used + 1):
        own = (labels == number).astype(np.uint8)
        inner: np.ndarray = cv2.erode(own, np.ones((3, 3), np.uint8), borderValue=1)
        border = own & ~inner & 1
        if (oil[border > 0] > 0).mean() < _OIL_SHARE:
            return None
    return labels


def spread(seeds: np.ndarray, mask: np.ndarray) -> np.ndarray:
    """Give every pixel of the mask the label of the nearest seed."""
    _, index = cv2.distanceTransformWithLabels(
        (seeds == 0).astype(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    table = np.zeros(int(index.max()) + 1, np.int32)
    table[index[seeds > 0]] = seeds[seeds > 0]
    return table[index] * (mask > 0)


def _are_apart(first: np.ndarray, second: np.ndarray) -> bool:
    a, b = (np.array([median(v[:, i]) for i in range(3)], v.dtype) for v in (first, second))
    step = b - a
    distance = float(np.linalg.norm(step))
    strongest = max(float(np.linalg.norm(a)), float(np.linalg.norm(b)))
    if distance < max(_LEAST_STEP, _RELATIVE_STEP * strongest):
        return False
    along = step / distance
    spread = [1.4826 * median(np.abs((v - m) @ along)) for v, m in ((first, a), (second, b))]
    return distance > _APART * float(np.hypot(spread[0], spread[1]))
