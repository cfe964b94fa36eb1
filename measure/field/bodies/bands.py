"""Fibres that hang on other things: even bands, much longer than wide, that stand out of what they touch.

A see-through fibre is dark along both sides and pale between them, so each stretch of it looks like a crystal
whose rim is broken, and where it touches a kernel or crosses another fibre nothing tells that it is one. But
all along it is as wide, and oil lies on both sides. No crystal is as long for its width, and the two edges of
a bevelled one have oil on one side only.
"""

from collections.abc import Iterator

import cv2
import numpy as np

from measure.field.basics.masks import closed, dilated, fill_holes, numbered, opened, opened_to, square
from measure.field.basics.quick import median
from measure.field.bodies.band_course import Course, course_of
from measure.field.bodies.threads import BAND, is_even_band

_LEAST_HALF_PX, _STEP = 2.0, 1.2  # half widths looked at: the least, and the factor to the next
_RIDGE = 6.0  # px of the middle of a band, over its half width
_THINNER = 0.7  # half width over that looked at, below which it hangs on the band
_PALE = 0.85  # tone of the middle over that of the sides of a hollow band
_SOLID_BAND = 40.0  # area over squared half width of a band that is as dark inside: ten times as long as wide
_RIM = 1.5  # half width over the width of the edges, from which a solid one is no rim of a crystal
_SIDE, _MIDDLE = (0.25, 0.65), 0.85  # depth over half width of the dark sides, and of the middle
_KNOWN = 0.5  # share of a stretch in the fibre another one was followed to
_THICK, _BESIDE_PX = 1.6, 2.0  # half width of a body over the fibre's, and how far beside it is asked for
_FLANK_PX = 0.5
_BORDER_PX = 0.5  # from the middle of the outermost pixels of a mask to its border


def fibres_in(rims: np.ndarray, field: np.ndarray, width: float) -> np.ndarray:
    """Find the fibres in a component, where they are free and along or through what they touch.

    Parameters
    ----------
    rims : (M, N) ndarray of uint8
        Pixels above half of the plateau beside them, without haze.
    field : (M, N) ndarray of float32
        Colour difference from the oil.
    width : float
        10-90 % width of the edges, px.

    Returns
    -------
    fibres : (M, N) ndarray of int32
        1.. for each; 0 elsewhere.
    """
    fibres = np.zeros(rims.shape, np.int32)
    stretches = bands_in(rims, field, width)
    if not stretches.any():
        return fibres
    filled = fill_holes(rims)
    depth = cv2.distanceTransform(filled, cv2.DIST_L2, 5)
    sizes = np.bincount(stretches.ravel())
    waiting = [(stretches == n).view(np.uint8) for n in np.argsort(-sizes[1:], kind="stable") + 1]
    found = 0
    for stretch in waiting:  # grows as it goes: the arms of a fork are followed one after the other
        if (fibres[stretch > 0] > 0).mean() > _KNOWN:
            continue
        half = float(cv2.distanceTransform(stretch, cv2.DIST_L2, 5).max())
        course = course_of(stretch, field)
        fibre = stretch if course is None else _ribbon(course, half, filled, depth)
        count, parts, stats = numbered(fibre & (fibres == 0).view(np.uint8) & 1, 8)
        for k in np.flatnonzero(stats[:, 4] > half**2):
            found += 1
            fibres[parts == k] = found
        for box, part in _parts(opened(stretch & (fibres == 0).view(np.uint8) & 1, _THINNER * half), half):
            if is_even_band(part, _BORDER_PX) and count > 1:
                waiting.append(np.zeros(stretch.shape, stretch.dtype))
                waiting[-1][box] = part
    return fibres


def _ribbon(course: Course, half: float, filled: np.ndarray, depth: np.ndarray) -> np.ndarray:
    """Mask of a fibre along its course, but for where it runs over a body far thicker than itself."""
    points, seen = course
    bodies = opened_to(filled, depth, _THICK * half)
    way = np.gradient(points, axis=0) if len(points) > 1 else np.ones_like(points)
    across = np.column_stack([-way[:, 1], way[:, 0]])
    across *= (half + _BESIDE_PX) / np.maximum(np.hypot(*across.T), 1e-6)[:, None]
    both = np.ones(len(points), bool)
    for beside in (points + across, points - across):
        x, y = np.round(beside).astype(int).T
        both &= bodies[y.clip(0, bodies.shape[0] - 1), x.clip(0, bodies.shape[1] - 1)] > 0
    line = np.zeros(filled.shape, np.uint8)
    rows, cols = filled.shape
    for x, y in np.round(points[seen | ~both]).astype(int):
        line[min(max(y, 0), rows - 1), min(max(x, 0), cols - 1)] = 1
    return dilated(line, half + _FLANK_PX)


def bands_in(rims: np.ndarray, field: np.ndarray, width: float) -> np.ndarray:
    """Find the free stretches of fibre in a component.

    Parameters
    ----------
    rims, field, width
        As in `fibres_in`.

    Returns
    -------
    bands : (M, N) ndarray of int32
        1.. for each stretch; 0 elsewhere.
    """
    bands = np.zeros(rims.shape, np.int32)
    filled = fill_holes(rims)
    found = _number(filled, field, width, bands, 0)
    # a hollow one whose end or side is open
    shut = fill_holes(closed(rims, width))
    if cv2.countNonZero(shut) > cv2.countNonZero(filled):
        _number(shut, field, width, bands, found)
    return bands


def _number(mask: np.ndarray, field: np.ndarray, width: float, bands: np.ndarray, found: int) -> int:
    """Number the stretches of a mask in place, widest first; the last number."""
    depth = cv2.distanceTransform(mask, cv2.DIST_L2, 5)
    for half in _half_widths(depth):
        rest = mask & ~opened_to(mask, depth, half) & (bands == 0).view(np.uint8) & 1
        # what is left by an opening is as thick as that, and a band is longer than thick
        if cv2.countNonZero(rest) < BAND * (_THINNER * half) ** 2:
            continue
        for box, part in _parts(opened(rest, _THINNER * half), half):
            if is_even_band(part, _BORDER_PX) and _is_fibre(part, field[box], width):
                found += 1
                bands[box][part > 0] = found
    return found


def _parts(mask: np.ndarray, half: float) -> Iterator[tuple[tuple[slice, slice], np.ndarray]]:
    """Parts of a mask that are long for a half width, with a margin of 1 px, and where they are."""
    count, parts, stats = numbered(mask, 8)
    for n in range(1, count):
        x, y, w, h, size = (int(v) for v in stats[n])
        if np.hypot(w, h) >= _RIDGE * half and size >= _RIDGE * half**2:
            box = np.s_[max(0, y - 1) : y + h + 1, max(0, x - 1) : x + w + 1]
            yield box, (parts[box] == n).view(np.uint8)


def _half_widths(depth: np.ndarray) -> list[float]:
    """Half widths of which a mask of this depth has a long middle, the widest first."""
    middle = depth[(depth > 0) & (depth >= cv2.dilate(depth, square(3)))]
    if not middle.size or middle.max() < _LEAST_HALF_PX:
        return []
    steps = np.arange(2 + int(np.log(middle.max() / _LEAST_HALF_PX) / np.log(_STEP)))
    halves = _LEAST_HALF_PX * _STEP ** steps[::-1]
    middle = np.sort(middle).astype(float)
    most, thinner = (np.searchsorted(middle, share * halves, side="right") for share in (1.0, _THINNER))
    return halves[most - thinner > _RIDGE * halves].tolist()


def _is_fibre(part: np.ndarray, field: np.ndarray, width: float) -> bool:
    """Whether an even band is pale between dark sides, or longer than any sliver and thicker than a rim."""
    depth = cv2.distanceTransform(part, cv2.DIST_L2, 5)
    half = float(depth.max())
    if half > _RIM * width and cv2.countNonZero(part) > _SOLID_BAND * half**2:
        return True
    sides = (depth > _SIDE[0] * half) & (depth < _SIDE[1] * half)
    return median(field[depth > _MIDDLE * half]) < _PALE * median(field[sides])
