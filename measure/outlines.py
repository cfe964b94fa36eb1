"""Outlines as plane geometry and as pixels, for showing and pointing: where they lie, what a point meets.

All coordinates are x, y in px; the corner of the first pixel is 0, 0.
"""

from collections.abc import Sequence

import cv2
import numpy as np

_SHIFT = 4  # fixed-point bits of drawn coordinates: sixteenths of a pixel


def bounds(outlines: Sequence[np.ndarray]) -> np.ndarray:
    """Bounding box of each outline.

    Parameters
    ----------
    outlines : sequence of (P, 2) ndarray
        Closed polygons, first point not repeated; none may be empty.

    Returns
    -------
    box : (K, 4) ndarray of float
        Left, top, right, bottom in px.
    """
    if not len(outlines):
        return np.zeros((0, 4))
    starts = np.cumsum([0] + [len(o) for o in outlines[:-1]])
    points = np.concatenate(outlines).astype(float)
    return np.hstack([np.minimum.reduceat(points, starts), np.maximum.reduceat(points, starts)])


def contains(outline: np.ndarray, x_px: float, y_px: float) -> bool:
    """Whether a point lies inside an outline (even-odd rule).

    Examples
    --------
    >>> square = np.array([[0, 0], [2, 0], [2, 2], [0, 2]])
    >>> contains(square, 1, 1), contains(square, 3, 1)
    (True, False)
    """
    x, y = outline[:, 0].astype(float), outline[:, 1].astype(float)
    x_next, y_next = np.roll(x, -1), np.roll(y, -1)
    crosses = (y > y_px) != (y_next > y_px)
    rise = np.where(crosses, y_next - y, 1.0)
    reach = x + (y_px - y) / rise * (x_next - x)
    return bool(np.count_nonzero(crosses & (x_px < reach)) % 2)


def at_point(
    outlines: Sequence[np.ndarray], box: np.ndarray, x_px: float, y_px: float, slack_px: float = 0.0
) -> int:
    """Row of the piece a point meets: the smallest that holds it, else the nearest edge within ``slack_px``.

    Parameters
    ----------
    outlines : sequence of (P, 2) ndarray
        The outlines.
    box : (K, 4) ndarray
        Their `bounds`.
    x_px, y_px : float
        The point.
    slack_px : float, optional
        How far outside a piece the point may be; small pieces are hard to hit.

    Returns
    -------
    int
        Row, or -1 where there is none.
    """
    near = np.flatnonzero(
        (box[:, 0] - slack_px <= x_px)
        & (box[:, 2] + slack_px >= x_px)
        & (box[:, 1] - slack_px <= y_px)
        & (box[:, 3] + slack_px >= y_px)
    )
    size = (box[near, 2] - box[near, 0]) * (box[near, 3] - box[near, 1])
    for row in near[np.argsort(size, kind="stable")]:
        if contains(outlines[row], x_px, y_px):
            return int(row)
    best, found = slack_px, -1
    for row in near.tolist():
        gap = edge_distance(outlines[row], x_px, y_px)
        if slack_px > 0 and gap <= best:
            best, found = gap, row
    return found


def edge_distance(outline: np.ndarray, x_px: float, y_px: float) -> float:
    """Shortest distance from a point to the line of an outline, in px."""
    start = outline.astype(float)
    along = np.roll(start, -1, axis=0) - start
    rest = np.array([x_px, y_px]) - start
    length2 = np.maximum((along**2).sum(axis=1), 1e-12)
    share = np.clip((rest * along).sum(axis=1) / length2, 0.0, 1.0)
    return float(np.sqrt(((rest - share[:, None] * along) ** 2).sum(axis=1)).min())


def meeting(box: np.ndarray, rect: tuple[float, float, float, float]) -> np.ndarray:
    """Rows whose bounding box meets a rectangle (left, top, right, bottom), ascending."""
    left, top, right, bottom = rect
    return np.flatnonzero(
        (box[:, 2] >= left) & (box[:, 0] <= right) & (box[:, 3] >= top) & (box[:, 1] <= bottom)
    )


def crossed(outlines: Sequence[np.ndarray], box: np.ndarray, line: np.ndarray) -> np.ndarray:
    """Rows of the outlines an open line runs through, in the order of their length inside it.

    Parameters
    ----------
    outlines, box
        As in `at_point`.
    line : (Q, 2) ndarray
        Points of the line.

    Returns
    -------
    (R,) ndarray of int
        Longest inside first.
    """
    points = _along(np.asarray(line, dtype=float))
    rect = (*points.min(axis=0), *points.max(axis=0))
    rows = meeting(box, rect)
    inside = [sum(contains(outlines[r], x, y) for x, y in points) for r in rows]
    order = np.argsort(inside, kind="stable")[::-1]
    return rows[[i for i in order if inside[i] > 0]]


def _along(line: np.ndarray, steps: int = 40) -> np.ndarray:
    """Points spread evenly along a line."""
    if len(line) == 1:
        return line
    walked = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    at = np.linspace(0.0, walked[-1], steps)
    return np.column_stack([np.interp(at, walked, line[:, k]) for k in (0, 1)])


def simplified(outline: np.ndarray, tolerance_px: float) -> np.ndarray:
    """Return the outline with fewer points, nowhere further than ``tolerance_px`` from the old line."""
    if len(outline) <= 4:
        return np.asarray(outline, dtype=np.float32)
    return cv2.approxPolyDP(np.ascontiguousarray(outline, dtype=np.float32), tolerance_px, True).reshape(
        -1, 2
    )


def stroke(
    image: np.ndarray,
    outlines: Sequence[np.ndarray],
    colour: tuple[int, int, int, int],
    *,
    factor: float = 1.0,
    origin_px: tuple[int, int] = (0, 0),
    width: int = 1,
) -> None:
    """Draw outlines as thin smooth lines into a four-channel image, in place.

    Parameters
    ----------
    image : (M, N, 4) ndarray of uint8
        Blue, green, red, opacity, multiplied by opacity; a view of a larger image is fine.
    outlines : sequence of (P, 2) ndarray
        In full-size px.
    colour : tuple of int
        Blue, green, red, opacity.
    factor : float, optional
        Size of the image against full size (0.5 is half).
    origin_px : tuple of int, optional
        Column and row, in the reduced image, of ``image``'s first pixel.
    width : int, optional
        Of the line, px of ``image``.
    """
    if not len(outlines):
        return
    shift = np.array(origin_px, dtype=float) + 0.5  # drawing counts from pixel centres, outlines from corners
    scale = 1 << _SHIFT
    counts = np.cumsum([len(o) for o in outlines])[:-1]
    points = np.round((np.concatenate(outlines) * factor - shift) * scale).astype(np.int32)
    lines = [p.reshape(-1, 1, 2) for p in np.split(points, counts)]
    cv2.polylines(image, lines, True, colour, width, cv2.LINE_AA, _SHIFT)


def shown_pixels(pixels: np.ndarray, bit_depth: int = 8) -> np.ndarray:
    """Turn a picture into what a screen shows: blue, green, red, opacity, 8 bit.

    Parameters
    ----------
    pixels : (M, N, 3) ndarray of uint8 or uint16
        RGB.
    bit_depth : int, optional
        Bits a channel really used; values span 0 .. 2**bit_depth - 1.

    Returns
    -------
    (M, N, 4) ndarray of uint8
        Contiguous.
    """
    if pixels.dtype != np.uint8:
        lost = max(bit_depth, 9) - 8
        pixels = np.minimum(pixels >> lost, 255).astype(np.uint8)
    return cv2.cvtColor(np.ascontiguousarray(pixels), cv2.COLOR_RGB2BGRA)


def levels(image: np.ndarray, smallest_px: int = 400) -> list[np.ndarray]:
    """Return the image at full, half, quarter... size, each the mean of four of the one before."""
    stack = [image]
    while max(stack[-1].shape[:2]) > 2 * smallest_px:
        rows, columns = stack[-1].shape[:2]
        size = (max(1, (columns + 1) // 2), max(1, (rows + 1) // 2))
        stack.append(cv2.resize(stack[-1], size, interpolation=cv2.INTER_AREA))
    return stack
