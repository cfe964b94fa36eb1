"""Thin lines: fibres, threads and open rims, in which there is nothing to cut, and threads pieces hang on."""

import cv2
import numpy as np

from measure.field.basics.masks import closed, fill_holes, hull_mask, numbered, opened_to, square
from measure.field.basics.quick import median

# area over squared half width, the same from which it need not be bent, share of its hull it fills
_LINE, _LONG_LINE, _OPEN = 14.0, 60.0, 0.55
_BEADED, EVEN_FIBRE = 1.6, 1.45  # outline over that of an even line, of rims and of fibres
_EVEN = 1.5  # its thickest place over its usual thickness
BAND = 20.0  # area over squared half width: five times as long as wide
_EVEN_BAND, _EVEN_WIDTH = 1.15, 1.25  # outline over that of an even band; widest place over the usual width
_MOSTLY = 0.9  # share of it that must be in one
_IN_ONE = 0.8  # share of it that must hang together
_THIN, _THINNEST_PX, _THICKEST_PX = 0.6, 1.0, 4.0  # half its thickness over the edges' width, beyond a pixel
_LENGTHS, _LEAST_LENGTH_PX = 5.0, 16.0  # length of a thread between pieces over its thickness, and in px
_STOUT = 3.0  # half the thickness of what it runs between over its own
_CLOSED = 1.4  # filled area over its own, from which it closes round something
_STRAY = 2.0  # how far it may stray from a straight line, in its own thickness


def is_line(strong: np.ndarray, beaded: float = _BEADED) -> bool:
    """Whether a component is one thin line, a fibre or an open rim: there is nothing in it to cut.

    Parameters
    ----------
    strong : (M, N) ndarray of uint8
    beaded : float
        Length of its outline over that of an even line, above which it is a row of pieces.
    """
    area = cv2.countNonZero(strong)
    depth = cv2.distanceTransform(strong, cv2.DIST_L2, 5)
    half = float(depth.max())
    if not area or area < _LINE * half**2:
        return False
    if area < _LONG_LINE * half**2 and area > _OPEN * cv2.countNonZero(hull_mask(strong)):
        return False
    ridge = depth[(depth > 0) & (depth >= cv2.dilate(depth, square(3)))]
    if half > _EVEN * median(ridge) + 1.0:
        return False
    contours, _ = cv2.findContours(strong, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
    if sum(cv2.arcLength(contour, True) for contour in contours) > beaded * area / half:
        return False  # a row of pieces has a longer outline than a line of its thickness
    _, found = cv2.connectedComponents(strong, connectivity=8)
    parts: np.ndarray = found
    return bool(np.bincount(parts.ravel())[1:].max() > _IN_ONE * area)


def is_band(strong: np.ndarray, width: float) -> bool:
    """Whether a component is one even band, several times as long as wide, whatever its inside shows.

    A hollow fibre is dark along both sides and pale between them; a row of pieces has notches.

    Parameters
    ----------
    strong : (M, N) ndarray of uint8
    width : float
        10-90 % width of the edges, px.
    """
    *_, wide, high = cv2.boundingRect(strong)
    if wide * high < BAND * float(cv2.distanceTransform(strong, cv2.DIST_L2, 5).max()) ** 2:
        return False  # what is filled stays in the box and is as thick at least
    return is_even_band(fill_holes(closed(strong, width)))


def is_even_band(whole: np.ndarray, border_px: float = 0.0) -> bool:
    """Whether a mask without holes is one band, as wide all along and several times as long as wide.

    Parameters
    ----------
    whole : (M, N) ndarray of uint8
    border_px : float
        How far the border of the outermost pixels is from their middle, which counts in thin bands.
    """
    depth = cv2.distanceTransform(whole, cv2.DIST_L2, 5)
    half, area = float(depth.max()), cv2.countNonZero(whole)
    if not area or area < BAND * half**2:
        return False
    contours, _ = cv2.findContours(whole, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outline = max(contours, key=cv2.contourArea)
    ridge = depth[(depth > 0) & (depth >= cv2.dilate(depth, square(3)))]
    usual = median(ridge)
    around = cv2.arcLength(outline, True)
    if half > _EVEN_WIDTH * usual + 0.5 or cv2.contourArea(outline) + border_px * around < _MOSTLY * area:
        return False
    usual -= border_px
    # of a band with square ends
    return bool(around <= _EVEN_BAND * (area / usual + 4.0 * usual))


def is_one_thread(strong: np.ndarray, rims: np.ndarray, clear: np.ndarray, width: float) -> bool:
    """Whether a component is a single thread or band, in which there is nothing to cut.

    Parameters
    ----------
    strong, rims : (M, N) ndarray of uint8
        Pixels above half of the plateau beside them; those of them that are not faint.
    clear : (M, N) ndarray of int32
        See-through pieces found in it.
    width : float
        10-90 % width of the edges, px.
    """
    if is_band(rims, width):
        return True
    # a hollow thread has a pale middle
    return (is_line(strong) or _is_hollow_line(strong)) and not _is_whole(clear, strong)


def _is_hollow_line(strong: np.ndarray) -> bool:
    filled = fill_holes(strong)
    return cv2.countNonZero(filled) > cv2.countNonZero(strong) and is_line(filled)


def _is_whole(clear: np.ndarray, strong: np.ndarray) -> bool:
    """Whether the see-through pieces found account for a line."""
    if clear.max() > 1:
        filled = fill_holes(strong)
        return cv2.countNonZero(filled) > _CLOSED * cv2.countNonZero(strong)
    return bool(clear.any() and (clear[strong > 0] > 0).mean() > _IN_ONE)


def threads_between(strong: np.ndarray, width: float) -> np.ndarray:
    """Threads that run from piece to piece and make one component of them.

    Parameters
    ----------
    strong : (M, N) ndarray of uint8
        Pixels above half of the plateau beside them.
    width : float
        10-90 % width of the edges, px.

    Returns
    -------
    labels : (M, N) ndarray of int32
        1.. for each straight stretch of thread between two things far thicker; 0 elsewhere.
    """
    threads = np.zeros(strong.shape, np.int32)
    depth = cv2.distanceTransform(strong, cv2.DIST_L2, 5)
    radius = min(_THINNEST_PX + _THIN * width, _THICKEST_PX)
    body = opened_to(strong, depth, radius)
    if not body.any():
        return threads
    count, parts, stats = numbered(strong & ~body & 1, 8)
    if (np.hypot(stats[:, 2], stats[:, 3]) < _LEAST_LENGTH_PX).all():
        return threads
    _, bodies, sizes = numbered(body, 8)
    deepest = np.zeros(len(sizes), np.float32)
    np.maximum.at(deepest, bodies.ravel(), depth.ravel())
    beside, found = cv2.dilate(bodies.astype(np.float32), square(3)).astype(np.int32), 0
    for n in range(1, count):
        x, y, w, h = (int(v) for v in stats[n, :4])
        box = np.s_[y : y + h, x : x + w]
        part = parts[box] == n
        thick = 2.0 * float(depth[box][part].max())
        if np.hypot(w, h) < max(_LEAST_LENGTH_PX, _LENGTHS * thick):
            continue
        ends = np.unique(beside[box][part])
        if np.count_nonzero(deepest[ends] > _STOUT * 0.5 * thick) < 2:
            continue
        ys, xs = np.nonzero(part)
        short, long = sorted(cv2.minAreaRect(np.column_stack([xs, ys]).astype(np.float32))[1])
        if long >= max(_LEAST_LENGTH_PX, _LENGTHS * thick) and short <= _STRAY * thick:
            found += 1
            threads[box][part] = found
    return threads
