"""Ways a side may take where it goes on under or over another piece: straight, and round a corner or two."""

from itertools import pairwise
from typing import NamedTuple

import cv2
import numpy as np

from measure.field.basics.masks import square

_NO_EDGE, _EDGE, _AGAINST = (
    0.15,
    0.45,
    -0.33,
)  # of an edge's usual strength: none, more until whole, worth of none
_CLOSE_PX, _ROUND_PX, _LEAST_POINTS, _TURNED = 1.6, 2.5, 5, 0.97  # of an outline's points that give a side
_FARTHEST = 1.6  # of the size, how far a side may go on
_FINEST = 30.0  # steps within the size in which that is tried, not finer than a pixel
_SLACK, _FOLD = -0.05, -0.9  # sine of a turn outwards that is none, cosine of one right back
_SHORTEST_PX, _JOINED_PX = 4.0, 2.0
_ALONG = (np.arange(24) + 0.5) / 24  # places along a further side
_INSIDE = 0.9  # share of a further side that must lie within the outline
_LEAST_SHOWN, _MOST_WAYS = 0.2, 12


class Way(NamedTuple):
    """A hidden way from one notch to another.

    Attributes
    ----------
    corners : (4, 2) ndarray
    points : (K, 2) ndarray
        Places along it.
    shown : (K,) ndarray
        How much of an edge is seen there, from below nothing to 1.
    """

    corners: np.ndarray
    points: np.ndarray
    shown: np.ndarray


def ridges_at(edges: np.ndarray, points: np.ndarray) -> np.ndarray:
    """Values of a field at points, (K, 2) or (K, L, 2), each fewer than 32,767: (K,) or (K, L)."""
    at = (points - 0.5).astype(np.float32)
    rows = at.reshape(len(at), -1, 2)
    values: np.ndarray = cv2.remap(
        edges, rows[..., 0], rows[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    return values.reshape(at.shape[:-1])


def sampled(corners: np.ndarray) -> np.ndarray:
    """Places a px apart along a line through corners, (K, 2); one at least."""
    places = [corners[:1]]
    for first, last in pairwise(corners):
        count = int(np.hypot(*(last - first)))
        along = (np.arange(count) + 0.5) / max(count, 1)
        places.append(first + along[:, None] * (last - first))
    return np.concatenate(places[1:] if sum(map(len, places)) > 1 else places)


def side_end(outline: np.ndarray, first: np.ndarray, last: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """End of a side and its unit direction, along the outline's own points where there are enough."""
    length = float(np.hypot(*(last - first)))
    along = (last - first) / max(length, 1e-6)
    place, off = (outline - first) @ along, (outline - first) @ np.array([-along[1], along[0]])
    trim = min(_ROUND_PX, 0.25 * length)
    own = outline[(place > trim) & (place < length - trim) & (np.abs(off) < _CLOSE_PX)]
    if len(own) >= _LEAST_POINTS:
        middle = own.mean(axis=0)
        axis = np.linalg.svd(own - middle, full_matrices=False)[2][0]
        axis = axis if axis @ along > 0 else -axis
        if axis @ along >= _TURNED:
            return middle + ((last - middle) @ axis) * axis, axis
    return last, along


def ways_between(
    start: tuple[np.ndarray, np.ndarray],
    end: tuple[np.ndarray, np.ndarray],
    mask: np.ndarray,
    edges: np.ndarray,
    usual: float,
) -> list[Way]:
    """Ways from where one side goes in to where another comes out, those along which most is seen first.

    Parameters
    ----------
    start, end : (2,) and (2,) ndarray
        Where a side ends, and its direction inwards.
    mask : (M, N) ndarray of uint8
        Inside of which the way lies.
    edges : (M, N) ndarray of float32
        Strength of edges.
    usual : float
        Strength of the edge of this piece in the open.
    """
    shown = np.clip((edges / max(usual, 1e-6) - _NO_EDGE) / _EDGE, _AGAINST, 1.0).astype(np.float32)
    size = float(np.sqrt(cv2.countNonZero(mask)))
    filled = mask.astype(np.float32)
    (t1, sum1), (t2, sum2) = (_along(*side, filled, shown, size) for side in (start, end))
    first, second = (grid.ravel() for grid in np.meshgrid(t1, t2, indexing="ij"))
    corner1 = start[0] + first[:, None] * start[1]
    corner2 = end[0] + second[:, None] * end[1]
    between = corner2 - corner1
    length = np.hypot(*between.T)
    rows = np.flatnonzero(
        _turns_inwards(between, length, start[1], end[1]) & (first + second + length > _SHORTEST_PX)
    )
    if not len(rows):
        return []
    places = corner1[rows, None, :] + _ALONG[:, None] * between[rows, None, :]
    middle = ridges_at(shown, places).mean(axis=1)
    inside = (ridges_at(filled, places) > 0.5).mean(axis=1) >= _INSIDE
    whole = first + second + length
    total = np.interp(first[rows], np.arange(len(sum1)), sum1) + np.interp(
        second[rows], np.arange(len(sum2)), sum2
    )
    worth = np.full(len(first), -9.0, np.float32)
    worth[rows] = np.where(inside, (total + middle * length[rows]) / whole[rows], -9.0)
    corners = np.stack(
        [np.broadcast_to(start[0], corner1.shape), corner1, corner2, np.broadcast_to(end[0], corner2.shape)],
        axis=1,
    )
    return [_way(corners[k], shown) for k in _peaks(worth.reshape(len(t1), len(t2)))]


def _along(
    at: np.ndarray, way: np.ndarray, filled: np.ndarray, shown: np.ndarray, size: float
) -> tuple[np.ndarray, np.ndarray]:
    """How far a side may go on within a mask, and what is seen up to each px of it."""
    steps = np.arange(0.0, _FARTHEST * size, 1.0)
    line = at + steps[:, None] * way
    within = ridges_at(filled, line) > 0.5
    within[:3] = True
    last = len(steps) if within.all() else int(np.argmin(within))
    tried = np.arange(0.0, _FARTHEST * size, max(1.0, size / _FINEST))
    tried = tried[tried < max(last - 1, 1)]
    return tried, np.concatenate([[0.0], np.cumsum(ridges_at(shown, line))])


def _turns_inwards(
    between: np.ndarray, length: np.ndarray, first: np.ndarray, last: np.ndarray
) -> np.ndarray:
    """Whether ways turn to the inside at both corners, (K,); where these are one there is no turn."""
    ahead = between / np.maximum(length, 1e-6)[:, None]
    one = first[0] * ahead[:, 1] - first[1] * ahead[:, 0]
    two = ahead[:, 1] * last[0] - ahead[:, 0] * last[1]
    turns = (one > _SLACK) & (two > _SLACK) & (ahead @ first > _FOLD) & (-(ahead @ last) > _FOLD)
    inwards: np.ndarray = turns | (length < _JOINED_PX)
    return inwards


def _peaks(worth: np.ndarray) -> np.ndarray:
    """Numbers of the highest places of a table that no neighbour exceeds."""
    top = (worth >= cv2.dilate(worth, square(3))) & (worth > _LEAST_SHOWN)
    rows = np.flatnonzero(top.ravel())
    return rows[np.argsort(-worth.ravel()[rows], kind="stable")][:_MOST_WAYS]


def _way(corners: np.ndarray, shown: np.ndarray) -> Way:
    points = sampled(corners)
    return Way(corners, points, ridges_at(shown, points))
