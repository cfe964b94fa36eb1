"""Sub-pixel outlines: the crossing of a level between the pixels of a piece and those around it.

A piece is a set of pixels at or above a level. Walking round it, each step from an inside pixel to an outside
neighbour is crossed at the place where the level lies between the two values, which is what marching squares
does; here the walk is the contour OpenCV gives, and the crossings of all its points are worked out at once.
"""

import cv2
import numpy as np

# the four neighbours, clockwise in image axes (x right, y down): right, down, left, up
_STEPS = np.array([[1, 0], [0, 1], [-1, 0], [0, -1]])
# index of the direction of a step (dx + 1, dy + 1), eight directions clockwise from right
_DIRECTION = np.full((3, 3), -1)
for _i, (_dx, _dy) in enumerate([(1, 0), (1, 1), (0, 1), (-1, 1), (-1, 0), (-1, -1), (0, -1), (1, -1)]):
    _DIRECTION[_dx + 1, _dy + 1] = _i


def _visits() -> np.ndarray:
    """Which neighbours are looked at, in which order, for (direction in, direction out); -1 ends the list.

    OpenCV walks outer contours anticlockwise as seen on the screen (y down), so the outside lies to the right
    of the walk. Between arriving and leaving, the outside neighbours are swept from the one behind to the
    one ahead.
    """
    table = np.full((8, 8, 4), -1)
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


def trace(mask: np.ndarray, level: np.ndarray) -> np.ndarray:
    """Trace the outer outline of a one-piece mask where ``level`` crosses zero.

    Parameters
    ----------
    mask : (M, N) ndarray of uint8
        1 inside; one 8-connected piece. Only its outer boundary is traced.
    level : (M, N) ndarray of float
        Positive inside and negative outside; only values beside the boundary are read. Where a pixel
        outside is not below zero (it belongs to a neighbour) the boundary runs midway.

    Returns
    -------
    outline : (P, 2) ndarray of float32
        x and y in px, corner of the first pixel at 0, 0. At the border of the array it runs along the border.
    """
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not contours:
        return np.zeros((0, 2), np.float32)
    chain = max(contours, key=len).reshape(-1, 2)
    if len(chain) == 1:
        order = np.array([0, 3, 2, 1])  # right, up, left, down: anticlockwise on screen
        return _crossings(np.repeat(chain, 4, axis=0), order, mask, level)
    ahead = np.concatenate([chain[1:], chain[:1]]) - chain
    direction = _DIRECTION[ahead[:, 0] + 1, ahead[:, 1] + 1]
    visits = _VISITS[np.concatenate([direction[-1:], direction[:-1]]), direction]
    which, slot = np.nonzero(visits >= 0)
    return _crossings(chain[which], visits[which, slot], mask, level)


def _crossings(inner: np.ndarray, step: np.ndarray, mask: np.ndarray, level: np.ndarray) -> np.ndarray:
    rows, cols = mask.shape
    offset = _STEPS[step]
    outer = inner + offset
    outside = ((outer < 0) | (outer >= (cols, rows))).any(axis=1)
    x, y = np.minimum(np.maximum(outer, 0), (cols - 1, rows - 1)).T
    open_side = outside | (mask[y, x] == 0)
    inner, offset, outside, x, y = (a[open_side] for a in (inner, offset, outside, x, y))
    own = np.maximum(level[inner[:, 1], inner[:, 0]], 0.0)
    other = level[y, x]
    share = np.where((other < 0) & (own > 0), own / np.maximum(own - other, 1e-9), 0.5)
    share = np.minimum(np.maximum(share, 0.02), 0.98)
    share[outside] = 0.5
    return (inner + 0.5 + share[:, None] * offset).astype(np.float32)


def area(outline: np.ndarray) -> float:
    """Area of a polygon, px^2 (shoelace)."""
    if len(outline) < 3:
        return 0.0
    x, y = outline[:, 0].astype(np.float64), outline[:, 1].astype(np.float64)
    x, y = x - x[0], y - y[0]
    # the last side runs into the first point, which is 0, 0 now
    return float(abs(np.dot(x[:-1], y[1:]) - np.dot(y[:-1], x[1:])) / 2)
