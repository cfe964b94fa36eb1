"""Bodies of different strength in one component told apart: a pale piece that lies against a dark one."""

import cv2
import numpy as np

from measure.field.basics.masks import numbered
from measure.field.basics.quick import median
from measure.field.rims.rims import closed, dilated

_FIRST = 0.35  # height over that of the neighbourhood from which a body is no shadow beside another
_SURROUNDED = 0.6  # share of a ring round a fainter part that must be firm for it to be a streak
_JUST, _TOP = (
    0.75,
    0.5,
)  # height of the top of a fainter piece over the typical one, and its share of that piece
_NO_STEP = 0.72  # heights of two parts where they meet, over one another, from which they are one


def contrast_parts(
    field: np.ndarray, low: np.ndarray, strong: np.ndarray, width: float, least_px2: float
) -> tuple[np.ndarray, np.ndarray]:
    """Number the bodies of a component, strong ones first, then fainter ones that stand beside them.

    A faint piece, a shadow or the oil of a narrow pocket beside a strong piece is below half of that piece
    though it is above half of itself. So the strong bodies are taken first, against the typical height of
    their neighbourhood. What stays beyond their flanks is a streak of theirs where they surround it, a part
    of them where it passes into them without a step, and else a piece by itself.

    Parameters
    ----------
    field : (M, N) ndarray of float32
        Colour difference from the oil.
    low : (M, N) ndarray of bool
        The component.
    strong : (M, N) ndarray of uint8
        Its pixels above half of the plateau beside them.
    width : float
        Width of the edges, px.
    least_px2 : float
        Smallest area reported.

    Returns
    -------
    parts : (M, N) ndarray of int32
        1.. for each body.
    typical : (M, N) ndarray of float32
        Typical height of the neighbourhood of each pixel.
    """
    weight = np.where(low, field, 0).astype(np.float32)
    radius = float(cv2.distanceTransform(low.astype(np.uint8), cv2.DIST_L2, 5).max())
    size = 2 * int(min(max(1.2 * radius, width + 2), 80)) + 1
    squares = cv2.boxFilter(weight * weight, -1, (size, size), normalize=False)
    typical = squares / np.maximum(cv2.boxFilter(weight, -1, (size, size), normalize=False), 1e-3)
    first = (low & (field >= _FIRST * typical)).astype(np.uint8)
    firm = (low & (field >= 0.5 * typical)).astype(np.uint8)
    firm = _without_tops(firm, strong | first, field / np.maximum(typical, 1e-3), width)
    rest = (strong | first) & ~dilated(firm, width + 1.0) & 1
    streaks, faint = _beyond(rest, firm, width, 0.4 * least_px2)
    # only the flank is trimmed to half; a pale streak inside a body stays part of it
    core = cv2.distanceTransform(first, cv2.DIST_L2, 5) > width + 1.0
    inside = dilated(streaks, width + 2.0) | closed(firm, width)
    kept = firm | (first & core & inside)
    count, parts = cv2.connectedComponents(kept, connectivity=8)
    if faint.any():
        grown = grown_labels(faint, ((strong | first) & ~kept & 1) > 0, width + 2.0)
        free = (grown > 0) & (parts == 0)
        parts[free] = grown[free] + count - 1
        parts = _without_steps(parts, count, field, width, 0.4 * least_px2)
    return parts, typical


def _without_tops(firm: np.ndarray, wide: np.ndarray, share: np.ndarray, width: float) -> np.ndarray:
    """Leave out what is only the top of a fainter piece beside a strong one, so that it is taken as a whole.

    Parameters
    ----------
    firm, wide : (M, N) ndarray of uint8
        Pixels above half of the typical height, and all that may be a piece.
    share : (M, N) ndarray of float32
        Height over the typical one.
    width : float
        Width of the edges, px.
    """
    count, parts, stats = numbered(firm, 8)
    if count < 3:
        return firm
    boxes = [np.s_[y : y + h, x : x + w] for x, y, w, h in stats[:, :4].tolist()]
    tops = [k for k in range(1, count) if median(share[boxes[k]][parts[boxes[k]] == k]) < _JUST]
    if not tops or len(tops) == count - 1:
        return firm
    # a top weighs nothing in what is beyond the flanks of the others
    sure = firm.copy()
    for k in tops:
        sure[boxes[k]][parts[boxes[k]] == k] = 0
    pieces = numbered(wide & ~dilated(sure, width + 1.0) & 1, 8)[1]
    size = np.bincount(pieces.ravel())
    for k in tops:
        own = parts[boxes[k]] == k
        under = np.bincount(pieces[boxes[k]][own], minlength=len(size))
        piece = int(under[1:].argmax()) + 1 if len(under) > 1 else 0
        if not (0.5 * stats[k, 4] < under[piece] < _TOP * size[piece] and piece):
            sure[boxes[k]][own] = 1
    return sure


def _without_steps(
    parts: np.ndarray, first: int, field: np.ndarray, width: float, least_px2: float
) -> np.ndarray:
    """Join faint parts, numbered from ``first`` on, with a neighbour they pass into without a step."""
    reach = width + 2.0
    # what is no part by itself joins nothing: a speck in the flank would take a piece along
    specks = np.bincount(parts.ravel()) < least_px2
    m = int(np.ceil(reach)) + 2
    for k in range(first, int(parts.max()) + 1):
        rows, cols = np.nonzero(parts == k)
        if not rows.size:
            continue
        box = np.s_[max(0, rows.min() - m) : rows.max() + m + 1, max(0, cols.min() - m) : cols.max() + m + 1]
        own, values = parts[box], field[box]
        part = (own == k).astype(np.uint8)
        near = dilated(part, reach) > 0
        best, likest = 0, _NO_STEP
        for j in np.unique(own[near & (own > 0) & (own != k) & ~specks[own]]).tolist():
            mine = (part > 0) & (dilated((own == j).astype(np.uint8), reach) > 0)
            ends = sorted((median(values[mine]), median(values[near & (own == j)])))
            if ends[0] > likest * ends[1]:
                best, likest = j, ends[0] / ends[1]
        if best:
            own[part > 0] = best
    return parts


def _beyond(
    rest: np.ndarray, firm: np.ndarray, width: float, least_px2: float
) -> tuple[np.ndarray, np.ndarray]:
    """What stands clear of the flanks of firm bodies: streaks inside them, and faint parts beside them."""
    streaks, faint = np.zeros(rest.shape, rest.dtype), np.zeros(rest.shape, np.int32)
    count, parts, stats = numbered(rest, 8)
    m = int(np.ceil(width)) + 4
    for k in range(1, count):
        x, y, w, h, n = (int(v) for v in stats[k])
        box = np.s_[max(0, y - m) : y + h + m, max(0, x - m) : x + w + m]
        part = (parts[box] == k).astype(np.uint8)
        away = cv2.distanceTransform(1 - part, cv2.DIST_L2, 5)
        ring = (away > width + 1.0) & (away <= width + 3.0)
        if ring.any() and firm[box][ring].mean() > _SURROUNDED:
            streaks[box] |= part
        elif n >= least_px2:
            faint[box][part > 0] = k
    return streaks, faint


def grown_labels(labels: np.ndarray, room: np.ndarray, reach: float) -> np.ndarray:
    """Give the pixels of ``room`` within reach, px, the label nearest to them."""
    if not labels.any():
        return labels
    away, index = cv2.distanceTransformWithLabels(
        (labels == 0).astype(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    table = np.zeros(int(index.max()) + 1, labels.dtype)
    seeds = labels > 0
    table[index[seeds]] = labels[seeds]
    return np.where((away <= reach) & (room | seeds), table.take(index), 0)
