"""Sub-pixel outlines: the crossing of a level between the pixels of a piece and those around it.

A piece is a set of pixels at or above a level. Walking round it, each step from an inside pixel to an outside
neighbour is crossed at the place where the level lies between the two values, which is what marching squares
does; here the walk is the contour OpenCV gives, and the crossings of all pieces are worked out at once.
"""

from collections.abc import Sequence

import cv2
import numpy as np

# the four neighbours, clockwise in image axes (x right, y down): right, down, left, up
_STEPS = np.array([[1, 0], [0, 1], [-1, 0], [0, -1]])
# index of the direction of a step (dx + 1, dy + 1), eight directions clockwise from right
_ALONE = 8  # the "direction" of a piece of one pixel, whose four sides are all looked at
_DIRECTION = np.full((3, 3), _ALONE)
for _i, (_dx, _dy) in enumerate([(1, 0), (1, 1), (0, 1), (-1, 1), (-1, 0), (-1, -1), (0, -1), (1, -1)]):
    _DIRECTION[_dx + 1, _dy + 1] = _i


def _visits() -> np.ndarray:
    """Which neighbours are looked at, in which order, for (direction in, direction out); -1 ends the list.

    OpenCV walks outer contours anticlockwise as seen on the screen (y down), so the outside lies to the right
    of the walk. Between arriving and leaving, the outside neighbours are swept from the one behind to the
    one ahead.
    """
    table = np.full((9, 9, 4), -1)
    table[_ALONE, _ALONE] = (0, 3, 2, 1)  # right, up, left, down: anticlockwise on screen
    for arrive in range(8):
        for leave in range(8):
            # sweep anticlockwise on screen from the previous pixel (arrive + 4) to the next one (leave)
            turn = (arrive + 4 - leave) % 8
            turn = 8 if turn == 0 else turn
            count = 0
            for step in range(1, turn):
                direction = (arrive + 4 - step) % 8
                if direction % 2 == 0 and count < 4:
                    table[arrive, leave, count] = direction // 2
                    count += 1
    return table


_VISITS = _visits()


class Levels:
    """Fields of many pieces laid end to end, so that values of all of them are read at once.

    Parameters
    ----------
    fields : sequence of (M, N) ndarray of float32
    """

    def __init__(self, fields: Sequence[np.ndarray]) -> None:
        self.values = np.concatenate([f.ravel() for f in fields]) if fields else np.zeros(0, np.float32)
        shapes = np.array([f.shape for f in fields], np.int64).reshape(-1, 2)
        self.rows, self.cols = shapes.T
        self.start = np.cumsum(self.rows * self.cols) - self.rows * self.cols


def outer_chain(inside: np.ndarray, piece: np.ndarray) -> np.ndarray | None:
    """Pixels round the connected part of ``inside`` that holds most of a piece, holes ignored.

    Parameters
    ----------
    inside, piece : (M, N) ndarray of uint8

    Returns
    -------
    chain : (P, 2) ndarray of int32 or None
        x and y of the pixels along the outer border, anticlockwise on the screen; None when nothing of the
        piece is inside.
    """
    contours, _ = cv2.findContours(inside, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not contours:
        return None
    if len(contours) > 1:
        count, found = cv2.connectedComponents(inside, connectivity=8)
        labels: np.ndarray = found
        overlap = np.bincount(labels[piece > 0], minlength=count)
        overlap[0] = 0
        best = int(overlap.argmax())
        if overlap[best] == 0:
            return None
        part = (labels == best).view(np.uint8)
        contours, _ = cv2.findContours(part, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    elif not cv2.countNonZero(inside & piece):
        return None
    return contours[0].reshape(-1, 2)


def crossed(
    chains: Sequence[np.ndarray], levels: Levels, which: np.ndarray, level: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Outlines of many pieces where their fields cross a level of their own.

    Parameters
    ----------
    chains : sequence of (P, 2) ndarray
        `outer_chain` of each of K pieces.
    levels : Levels
    which : (K,) ndarray of int
        Which of its fields belongs to each chain.
    level : (K,) ndarray of float
        Where a pixel outside is not below it (it belongs to a neighbour) the boundary runs midway.

    Returns
    -------
    points : (sum of P, 2) ndarray of float32
        x and y in px, corner of the first pixel at 0, 0; one outline after another. At the border of an
        array they run along the border.
    start : (K,) ndarray of int
        Where each outline begins.
    """
    chain = np.concatenate(chains)
    count = np.array([len(c) for c in chains])
    end = np.cumsum(count)
    start = end - count
    following = np.arange(1, len(chain) + 1)
    following[end - 1] = start
    ahead = chain[following] - chain
    leave = _DIRECTION[ahead[:, 0] + 1, ahead[:, 1] + 1]
    arrive = np.empty_like(leave)
    arrive[following] = leave
    visits = _VISITS[arrive, leave]
    at, slot = np.nonzero(visits >= 0)
    owner = np.repeat(np.arange(len(chains)), count)[at]
    points = _crossings(chain[at], visits[at, slot], levels, which[owner], level.astype(np.float32)[owner])
    number = np.bincount(owner, minlength=len(chains))
    return points, np.cumsum(number) - number


def _crossings(
    inner: np.ndarray, step: np.ndarray, levels: Levels, field: np.ndarray, level: np.ndarray
) -> np.ndarray:
    """Where the way from pixels to their outside neighbours crosses the level, (P, 2) float32."""
    cols, rows = levels.cols[field], levels.rows[field]
    offset = _STEPS[step]
    x, y = inner[:, 0] + offset[:, 0], inner[:, 1] + offset[:, 1]
    outside = (x < 0) | (y < 0) | (x >= cols) | (y >= rows)
    x, y = np.minimum(np.maximum(x, 0), cols - 1), np.minimum(np.maximum(y, 0), rows - 1)
    base = levels.start[field]
    own = np.maximum(levels.values[base + inner[:, 1].astype(np.int64) * cols + inner[:, 0]] - level, 0.0)
    other = levels.values[base + y * cols + x] - level
    share = np.where((other < 0) & (own > 0), own / np.maximum(own - other, 1e-9), 0.5)
    share = np.minimum(np.maximum(share, 0.02), 0.98)
    share[outside] = 0.5
    return (inner + 0.5 + share[:, None] * offset).astype(np.float32)


def areas(points: np.ndarray, start: np.ndarray) -> np.ndarray:
    """Areas of many polygons that stand one after another, px^2, (K,) float64 (shoelace)."""
    count = np.diff(np.append(start, len(points)))
    local = points.astype(np.float64) - np.repeat(points[start].astype(np.float64), count, axis=0)
    following = np.arange(1, len(points) + 1)
    following[start + count - 1] = start
    after = local[following]
    return np.abs(np.add.reduceat(local[:, 0] * after[:, 1] - local[:, 1] * after[:, 0], start)) / 2.0


def area(outline: np.ndarray) -> float:
    """Area of a polygon, px^2 (shoelace)."""
    if len(outline) < 3:
        return 0.0
    x, y = outline[:, 0].astype(np.float64), outline[:, 1].astype(np.float64)
    x, y = x - x[0], y - y[0]
    # the last side runs into the first point, which is 0, 0 now
    return float(abs(np.dot(x[:-1], y[1:]) - np.dot(y[:-1], x[1:])) / 2)
