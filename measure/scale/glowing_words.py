"""Rows of small coloured words, such as the date an old camera writes, that resizing has run together.

Letters of ten rows that were made smaller and compressed have no strokes left that could be told one by one.
But words in yellow or orange are brighter than the oil in one colour and far darker in another. A piece that
takes light away is brighter in none, and what an edge bends is a thin fringe; so a level bar of such light
near the upper or the lower edge, many letters long, was written.
"""

import cv2
import numpy as np

from measure.model import Picture
from measure.scale.drawn_parts import Part, boxes_near_edges

_BRIGHTER, _APART = 8.0, 32.0  # levels above the ground in one channel, and from that to the darkest one
_DARK = 100.0  # level of the ground, below which pieces themselves are bright
_HEIGHT_PX = (6, 60)
_LONG = 8.0  # length of a row over its height: a date and a time 10 and more; fringes of pieces up to 6
_GAP = 1.6  # of the height, between letters, as between words
_FULL = 0.6  # share of the length of a row that letters take
_UPRIGHT = 0.4  # ink of the usual line of pixels over the fullest; a scale bar has one thin line and ticks
_LEVEL = 0.15  # of the height, within which letters begin and end
_WORK_PX = 1280  # columns: words in a larger picture are larger, or their strokes are told one by one


def glowing_words(picture: Picture) -> tuple[np.ndarray, ...]:
    """Find level rows of coloured light near the upper and the lower edge of a picture.

    Parameters
    ----------
    picture : Picture

    Returns
    -------
    boxes : tuple of (4, 2) ndarray of float
        x and y in px, corner of the first pixel at 0, 0.
    """
    return (
        ()
        if picture.grey
        else boxes_near_edges(picture, _HEIGHT_PX[0], lambda band: _bars(_glow(band)), _WORK_PX)
    )


def _glow(band: np.ndarray) -> np.ndarray:
    """Where a band is brighter than its ground in one colour and far less so in another, (M, N) of 0 or 1."""
    ground = np.median(band[::4, ::4].reshape(-1, 3), axis=0)
    if ground.max() < _DARK:
        return np.zeros(band.shape[:2], np.uint8)
    planes = cv2.split(cv2.blur(band, (5, 1)))
    red, green, blue = (
        plane.astype(np.float32) - np.float32(level) for plane, level in zip(planes, ground, strict=True)
    )
    most, least = cv2.max(red, cv2.max(green, blue)), cv2.min(red, cv2.min(green, blue))
    return ((most > _BRIGHTER) & (most - least > _APART)).view(np.uint8)


def _bars(glow: np.ndarray) -> list[tuple[int, int, int, int]]:
    """Boxes of level bars: left, top, right, bottom, ends without."""
    boxes = []
    for row in _rows(_parts(glow)):
        left, right = row[0].left, max(part.right for part in row)
        top, bottom = min(part.top for part in row), max(part.bottom for part in row)
        inked = sum(part.width for part in row)
        long = right - left > _LONG * (bottom - top) and inked > _FULL * (right - left)
        ink = glow[top:bottom, left:right].mean(axis=1)
        if long and np.median(ink) > _UPRIGHT * ink.max():
            columns = np.asarray(glow[top:bottom].any(axis=0))
            left, right = _extended(columns, left, right, _GAP * (bottom - top))
            boxes.append((left, top, right, bottom))
    return boxes


def _extended(columns: np.ndarray, left: int, right: int, gap: float) -> tuple[int, int]:
    """A row of letters with what else glows in its line, no farther from it than words are."""
    at = np.flatnonzero(columns)
    breaks = np.flatnonzero(np.diff(at) > gap)
    firsts, lasts = at[np.append(0, breaks + 1)], at[np.append(breaks, len(at) - 1)] + 1
    return min(left, *firsts[lasts > left][:1]), max(right, *lasts[firsts < right][-1:])


def _parts(glow: np.ndarray) -> list[Part]:
    """Letters and what ran together of them, from left to right, none at the border of the band."""
    if cv2.countNonZero(glow) < _HEIGHT_PX[0] ** 2:
        return []
    joined = cv2.morphologyEx(glow, cv2.MORPH_CLOSE, np.ones((1, 3), np.uint8))
    stats = cv2.connectedComponentsWithStats(joined, connectivity=8)[2][1:]
    rows, cols = glow.shape
    return sorted(
        (
            Part(x, y, x + w, y + h)
            for x, y, w, h, _ in stats.tolist()
            if _HEIGHT_PX[0] <= h <= _HEIGHT_PX[1] and x > 0 and y > 0 and x + w < cols and y + h < rows
        ),
        key=lambda part: part.left,
    )


def _rows(parts: list[Part]) -> list[list[Part]]:
    """Parts that begin and end at the same rows, side by side."""
    rows: list[list[Part]] = []
    for part in parts:
        for row in rows:
            height = max(part.height, row[-1].height)
            off = max(abs(part.top - row[-1].top), abs(part.bottom - row[-1].bottom))
            if off <= max(2.0, _LEVEL * height) and part.left - row[-1].right <= _GAP * height:
                row.append(part)
                break
        else:
            rows.append([part])
    return rows
