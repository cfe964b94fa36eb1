"""A strip of words under or over a picture: what a microscope writes of itself, in two tones from a row on.

Many microscopes hand over their picture with a strip below it that tells magnification, date and a bar. Its
ground and its words are one tone each, it goes from side to side, and where it begins nearly every column of
the picture jumps. A field that is dark or light by itself has noise, and does not end at one row.
"""

import cv2
import numpy as np

from measure.model import Picture

_HIGHEST, _LOWEST_PX = 0.25, 10  # of the picture's rows
_COLUMNS = 256  # that are looked at where there are more
_STEP, _STEPPED = 40, 0.5  # levels, and share of the columns that jump where the strip begins
_ENDED = 0.95  # the same of those columns in which the picture is not of the strip's tone by itself
_INK = 80  # levels by which words differ from the strip's ground
_NEAR, _TWO_TONES = 40, 0.85  # levels from either tone, and share of the strip that is so near
_EXACT, _SAME = 4, 0.6  # the same of the ground, which has no noise
_PICTURE = 0.7  # share so near in as many rows of the picture, from which these go on like the strip
_INKED = (0.004, 0.45)  # share of the strip
_MARGIN_PX = 3  # into which compression carries the strip's tone
_LETTERS, _LETTER_PX = 4, 5  # letters, and their least height
_TALLEST, _WIDEST = 0.9, 0.2  # of a letter, over the height and the width of the strip


def drawn_strips(picture: Picture) -> tuple[np.ndarray, ...]:
    """Find strips of words along the lower and the upper edge of a picture.

    Parameters
    ----------
    picture : Picture

    Returns
    -------
    strips : tuple of (4, 2) ndarray of float
        Boxes, x and y in px, corner of the first pixel at 0, 0; with a margin on the side of the picture.
    """
    pixels = picture.pixels
    rows, cols = pixels.shape[:2]
    found = []
    for upper, turned in ((False, pixels), (True, pixels[::-1])):
        first = _first_row(turned)
        if first is not None:
            top, bottom = (0, rows - first) if upper else (first, rows)
            found.append(np.array([[0, top], [cols, top], [cols, bottom], [0, bottom]], float))
    return tuple(found)


def _first_row(pixels: np.ndarray) -> int | None:
    """The row from which on a picture is a strip of words, or None."""
    rows, cols = pixels.shape[:2]
    start = rows - int(_HIGHEST * rows)
    few = _bytes(pixels[start - 2 :, :: max(1, cols // _COLUMNS)])
    if len(few) < _LOWEST_PX + 3:
        return None
    # a line drawn or blurred by compression may take the rows between
    level = cv2.inRange(cv2.absdiff(few[3:], few[:-3]), (0, 0, 0), (_STEP - 1,) * 3)
    jumps = 1.0 - cv2.reduce(level, 1, cv2.REDUCE_AVG, dtype=cv2.CV_64F)[:, 0] / 255
    for k in np.flatnonzero(jumps[: -_LOWEST_PX or None] >= _STEPPED):
        row = start + int(k) - 1
        if _is_strip(pixels, row + 2):
            return row + 1 - _MARGIN_PX
    return None


def _is_strip(pixels: np.ndarray, row: int) -> bool:
    """Whether all from a row on is two tones, one of them words, and the rows before are not."""
    strip = _levels(pixels[row:])
    ground = _usual(strip.reshape(-1, 3))
    away = np.abs(strip - ground).max(axis=2)
    own, ink = away <= _NEAR, away >= _INK
    before = _levels(pixels[max(0, row - 3 - len(strip)) : row - 2])
    last = before[-1]
    other = np.abs(last - ground).max(axis=1) > _NEAR
    if not other.any() or (np.abs(strip[0] - last).max(axis=1) >= _STEP)[other].mean() < _ENDED:
        return False
    if np.count_nonzero(away <= _EXACT) < _SAME * np.count_nonzero(own) or not ink.any():
        return False
    words = np.abs(strip - _usual(strip[ink])).max(axis=2) <= _NEAR
    if not (_INKED[0] <= words.mean() <= _INKED[1] and (own | words).mean() >= _TWO_TONES):
        return False
    like = np.abs(before - ground).max(axis=2) <= _NEAR
    like |= np.abs(before - _usual(strip[ink])).max(axis=2) <= _NEAR
    return bool(like.mean() < _PICTURE) and _has_letters(words)


def _has_letters(words: np.ndarray) -> bool:
    rows, cols = words.shape
    _, _, stats, _ = cv2.connectedComponentsWithStats(words.view(np.uint8), connectivity=8)
    wide, high = stats[1:, cv2.CC_STAT_WIDTH], stats[1:, cv2.CC_STAT_HEIGHT]
    letters = (high >= _LETTER_PX) & (high <= _TALLEST * rows) & (wide <= _WIDEST * cols)
    return int(letters.sum()) >= _LETTERS


def _levels(pixels: np.ndarray) -> np.ndarray:
    """Pixels in 256 levels, (M, N, 3) ndarray of int16."""
    return _bytes(pixels).astype(np.int16)


def _bytes(pixels: np.ndarray) -> np.ndarray:
    return np.ascontiguousarray(pixels if pixels.dtype == np.uint8 else (pixels >> 8).astype(np.uint8))


def _usual(colours: np.ndarray) -> np.ndarray:
    """The most frequent of some colours, (K, 3): of like ones the mean, in levels."""
    codes = (colours >> 3) @ np.array([1 << 10, 1 << 5, 1], np.int16)
    most = np.bincount(codes.astype(np.int64)).argmax()
    return colours[codes == most].mean(axis=0)
