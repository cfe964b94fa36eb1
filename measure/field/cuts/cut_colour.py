"""Cut pieces of different colour that lie against or over one another: a skin flake on a kernel.

The colours inside a piece are split in two. The split is a cut only when the two colours are far apart, each
fills one compact area, and both areas border the oil: a rim and a core, or streaks, are one piece. So are the
lit and the shaded side of a piece: shade takes the same share of all light, and passes on without an edge.
"""

import cv2
import numpy as np

from measure.field.basics.masks import SQUARE, numbered, square
from measure.field.basics.quick import (
    colours_at,
    length,
    less,
    mean_colour,
    median,
    median_colour,
    norm,
    percentiles,
)

_APART = 2.3  # distance of the two colours over their joint spread
_LEAST_STEP = 6.0  # CIELAB units
_RELATIVE_STEP = 0.33  # of the stronger colour's difference from the oil
_IN_ONE = 0.85  # share of a colour that must lie in few large areas
_MOST_AREAS = 6
_OIL_SHARE = 0.3  # share of an area's border that must be oil
_SMALLEST_SHARE = 0.06  # of the whole piece
_CALM_SIGMA_PX = 1.5
_NO_LIGHT = -16.0  # L of the cube root of nothing, towards which shade moves every colour
_OFF_SHADE = 0.15  # of the way between two colours, from which it is not along the line of shade
# an edge makes 80 % of its step within its width, shading little more than half of what it makes within two
_EDGE = 0.8
_FEW_PX = 5  # px on each side of a border that tell its step


def cut_by_colour(
    mask: np.ndarray,
    delta: np.ndarray,
    least_px2: float,
    oil_lab: np.ndarray | None = None,
    width: float = 2.0,
) -> np.ndarray:
    """Label the differently coloured parts of a piece.

    Parameters
    ----------
    mask : (M, N) ndarray of uint8
        One piece.
    delta : (M, N, 3) ndarray of float32
        CIELAB difference from the oil.
    least_px2 : float
        Smallest area of a part.
    oil_lab : (3,) ndarray, optional
        CIELAB colour of the oil there; without it light and shade of one piece are not told.
    width : float
        10-90 % width of the edges, px.

    Returns
    -------
    labels : (M, N) ndarray of int32
        0 outside, 1.. inside.
    """
    whole = mask.astype(np.int32)
    least = max(least_px2, _SMALLEST_SHARE * float(mask.sum()))
    core = cv2.erode(mask, square(3))
    if core.sum() < 2 * least:
        return whole
    values = _calmed(delta, mask, core > 0)
    strength = length(values)
    usual = median(strength)
    hue, strong = values.copy(), np.maximum(strength, 0.25 * usual)
    for channel in hue.T:
        channel /= strong
        channel *= usual
    for features in (hue, values):
        split = _split(features)
        # colours are compared first, for the areas are dearer
        if split is None or split.all() or not split.any():
            continue
        if not _are_apart(colours_at(values, ~split), colours_at(values, split)):
            continue
        labels = _areas(core, split, mask, least)
        if labels is not None and oil_lab is not None:
            labels = _without_shading(labels, delta, oil_lab, width)
        if labels is not None and labels.max() > 1:
            return labels
    return whole


def _calmed(delta: np.ndarray, mask: np.ndarray, core: np.ndarray) -> np.ndarray:
    """Colours smoothed inside the piece only, (K, 3) of its core."""
    weight = cv2.GaussianBlur(mask.astype(np.float32), (0, 0), _CALM_SIGMA_PX)[core]
    total = colours_at(cv2.GaussianBlur(cv2.copyTo(delta, mask), (0, 0), _CALM_SIGMA_PX), core)
    weight = np.maximum(weight, 1e-3)
    for channel in total.T:
        channel /= weight
    return total


def _split(values: np.ndarray) -> np.ndarray | None:
    """Split in two along the direction of largest spread, by Otsu's threshold; None without spread."""
    centred = less(values, mean_colour(values))
    _, vectors = np.linalg.eigh(centred.T @ centred)
    along = centred @ vectors[:, -1]
    low, high = percentiles(along, 0.5, 99.5)
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
    oil = cv2.dilate(1 - mask, square(3))
    for number in range(1, used + 1):
        own = (labels == number).astype(np.uint8)
        inner: np.ndarray = cv2.erode(own, square(3), borderValue=1)
        border = own & ~inner & 1
        if (oil[border > 0] > 0).mean() < _OIL_SHARE:
            return None
    return labels


def _without_shading(labels: np.ndarray, delta: np.ndarray, oil_lab: np.ndarray, width: float) -> np.ndarray:
    """Join areas that are one colour in more and in less light, with no edge between them."""
    light = delta + (np.asarray(oil_lab, np.float32) - np.array([_NO_LIGHT, 0.0, 0.0], np.float32))
    one_of = list(range(int(labels.max()) + 1))
    own = [median_colour(colours_at(light, labels == k)).astype(float) for k in one_of if k > 0]
    for j in one_of[2:]:
        for k in range(1, j):
            if one_of[j] != one_of[k] and _is_shading(labels, light, (k, j), (own[k - 1], own[j - 1]), width):
                old, new = max(one_of[j], one_of[k]), min(one_of[j], one_of[k])
                one_of = [new if n == old else n for n in one_of]
    return np.unique(one_of, return_inverse=True)[1].astype(np.int32)[labels]


def _is_shading(
    labels: np.ndarray,
    light: np.ndarray,
    pair: tuple[int, int],
    colours: tuple[np.ndarray, np.ndarray],
    width: float,
) -> bool:
    """Whether two areas that touch differ by their light alone, which changes gradually between them."""
    darker, brighter = sorted(colours, key=lambda colour: float(colour[0]))
    if darker[0] <= 0.0:
        return False
    off = darker[1:] - brighter[1:] * (darker[0] / brighter[0])
    if float(np.hypot(*off)) > _OFF_SHADE * norm(brighter - darker):
        return False
    first, second = ((labels == k).view(np.uint8) for k in pair)
    if not (cv2.dilate(first, SQUARE) & second).any():
        return False
    step = float(brighter[0] - darker[0])
    within, beyond = (_step_across(first, second, light[..., 0], k * width) for k in (0.5, 1.0))
    return within is not None and within < _EDGE * (step if beyond is None else beyond)


def _step_across(first: np.ndarray, second: np.ndarray, lightness: np.ndarray, reach: float) -> float | None:
    """Difference in lightness so many px on either side of a border; None where an area is too small."""
    heights = []
    for one, other in ((first, second), (second, first)):
        away = cv2.distanceTransform(1 - other, cv2.DIST_L2, 5) - 0.5  # from the border
        near = lightness[(one > 0) & (away > reach) & (away <= reach + 1.0)]
        if len(near) < _FEW_PX:
            return None
        heights.append(median(near))
    return abs(heights[0] - heights[1])


def spread(seeds: np.ndarray, mask: np.ndarray) -> np.ndarray:
    """Give every pixel of the mask the label of the nearest seed."""
    _, index = cv2.distanceTransformWithLabels(
        (seeds == 0).astype(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    table = np.zeros(int(index.max()) + 1, np.int32)
    table[index[seeds > 0]] = seeds[seeds > 0]
    return table.take(index) * (mask > 0)


def _are_apart(first: np.ndarray, second: np.ndarray) -> bool:
    a, b = (median_colour(v) for v in (first, second))
    step = b - a
    distance = norm(step)
    strongest = max(norm(a), norm(b))
    if distance < max(_LEAST_STEP, _RELATIVE_STEP * strongest):
        return False
    along = step / distance
    spread = [1.4826 * median(np.abs((v - m) @ along)) for v, m in ((first, a), (second, b))]
    return distance > _APART * float(np.hypot(spread[0], spread[1]))
