"""Parts of a component that together are one oval put back together, whatever their colours.

A glass bead, a cell with a pale middle or a piece with a highlight falls into parts of different strength.
Where all of them together fill one smooth oval, between necks if it touches others, they are one piece:
pieces that merely lie side by side leave notches, or gaps through which the oil is seen.
"""

from collections.abc import Callable

import cv2
import numpy as np

from measure.field.basics.masks import disc, fill_holes, solidity
from measure.field.basics.quick import colours_at, median_colour
from measure.field.bodies.gaps import parted_by_gaps
from measure.field.cuts.cut_lobes import oval_misfit
from measure.field.cuts.step_seams import step_between

_CLOSED_PX = 2.0  # gaps between parts, up to twice this wide
_SOLID = 0.95
_OVAL, _STEP_PX = 0.02, 0.3  # misfit of what is one oval, over its radius and in px
_FLATTENED = 0.05  # the same where the parts are alike and a neck may have flattened one side
_ALIKE = 0.5  # difference of parts over their difference from the oil
_PART = 0.04  # share of the oval that a part must fill to be one of several
_EMPTY = 0.4  # most of it that may be a pale middle; more is the oil in a pocket
_SLIVER = 0.2  # share of a part left outside ovals below which nothing of it is left
_LEAST_POINTS = 40


def merged_ovals(
    labels: np.ndarray,
    groups: list[list[int]],
    delta: np.ndarray,
    cut: Callable[[np.ndarray], np.ndarray],
    width_px: float,
) -> tuple[np.ndarray, list[list[int]]]:
    """Give all parts of one oval one number.

    Parameters
    ----------
    labels : (M, N) ndarray of int32
        1.. for each part.
    groups : list of list of int
        Numbers of the parts that were cut from one cluster.
    delta : (M, N, 3) ndarray of float32
        Difference from the oil.
    cut : callable
        Labels the pieces of a mask by its form alone.
    width_px : float
        10-90 % width of an edge.

    Returns
    -------
    labels : (M, N) ndarray of int32
    groups : list of list of int
    """
    if labels.max() < 2:
        return labels, groups
    whole = _whole(labels)
    forms = cut(whole)
    size = np.bincount(labels.ravel())
    changed, used = labels, int(labels.max())
    for k in range(1, int(forms.max()) + 1):
        form = forms == k
        share = np.bincount(labels[form], minlength=len(size)) / float(np.count_nonzero(form))
        parts = (np.flatnonzero(share[1:] > _PART) + 1).tolist()
        if len(parts) < 2 or share[0] > _EMPTY:
            continue
        inside = np.where(form, labels, 0)
        if _misfit(form.view(np.uint8)) > (_FLATTENED if _alike(inside, parts, delta) else _OVAL):
            continue
        first, second = sorted(parts, key=lambda n: -share[n])[:2]
        # a neck flattens the piece behind; what is left of it may be an oval with a part of the one before
        if step_between((labels == first).view(np.uint8), (labels == second).view(np.uint8), delta):
            continue
        if parted_by_gaps(labels, form, parts, delta, width_px):
            continue
        used += 1
        changed = changed.copy() if changed is labels else changed
        changed[form] = used
        main = 1 + int(share[1:].argmax())
        groups = [[*group, used] if main in group else group for group in groups]
    if changed is labels:
        return labels, groups
    left = np.bincount(changed.ravel(), minlength=used + 1)
    # of what is cut off a part by that only what still is one stays
    slivers = [n for n in range(1, len(size)) if size[n] and left[n] < _SLIVER * size[n]]
    changed[np.isin(changed, slivers)] = 0
    left[slivers] = 0
    groups = [[n for n in group if left[n]] for group in groups]
    return changed, [group for group in groups if group]


def _whole(labels: np.ndarray) -> np.ndarray:
    """All parts together without the gaps and holes between them, (M, N) uint8."""
    m = int(np.ceil(_CLOSED_PX)) + 1
    mask = cv2.copyMakeBorder((labels > 0).view(np.uint8), m, m, m, m, cv2.BORDER_REPLICATE)
    closed = cv2.morphologyEx(mask, cv2.MORPH_CLOSE, disc(_CLOSED_PX))
    return fill_holes(closed[m:-m, m:-m])


def _alike(labels: np.ndarray, parts: list[int], delta: np.ndarray) -> bool:
    """Whether parts differ little in colour compared with how they differ from the oil."""
    tones = np.array([median_colour(colours_at(delta, labels == n)) for n in parts], float)
    height = float(np.linalg.norm(tones, axis=1).max())
    apart = np.linalg.norm(tones[:, None] - tones[None], axis=2).max()
    return bool(apart < _ALIKE * height)


def _misfit(mask: np.ndarray) -> float:
    """Mean distance of a full contour from an oval over its radius; 0 within the steps of its pixels."""
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if len(contours) != 1 or len(contours[0]) < _LEAST_POINTS or solidity(mask) < _SOLID:
        return np.inf
    radius = float(np.sqrt(cv2.countNonZero(mask) / np.pi))
    misfit = oval_misfit(contours[0][:, 0].astype(np.float32))
    return misfit if misfit > _STEP_PX / radius else 0.0
