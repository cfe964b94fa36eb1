"""Panels of one exact tone on which a camera program writes words or draws a bar."""

import cv2
import numpy as np

from measure.scale.drawn_parts import level_box

_EITHER, _PANEL = 0.6, 0.05  # share of a line's pixels exactly of one of both tones, and of the panel's
_LEAST = 0.4  # share of the whole that is exactly of the panel's tone
_MARGIN_PX = 3


def has_panel(pixels: np.ndarray, tone: np.ndarray, wide_px: int) -> bool:
    """Whether a tone fills a place as wide as the least bar and as high as a margin somewhere."""
    return bool(cv2.erode(_of(pixels, tone), np.ones((_MARGIN_PX, wide_px), np.uint8)).any())


def panel_round(
    pixels: np.ndarray, mark: np.ndarray, panel: np.ndarray, ink: np.ndarray
) -> np.ndarray | None:
    """Return the panel on which a mark stands.

    Its sides lie along rows and columns, so it is grown line by line as long as a line is of its tone and of
    the ink's; what a picture shows has noise and no such lines.

    Parameters
    ----------
    pixels : (M, N, 3) ndarray of uint8
    mark : (4, 2) ndarray
        Level box of the mark, x and y in px, with ground about it.
    panel, ink : (3,) ndarray
        Tones of the panel and of what is drawn on it.

    Returns
    -------
    panel : (4, 2) ndarray of float or None
        Its box with a margin, None where the mark stands on none.
    """
    rows, cols = pixels.shape[:2]
    left, top = (int(v) for v in np.clip(mark.min(axis=0), 0, (cols, rows)))
    right, bottom = (int(v) for v in np.clip(mark.max(axis=0), 0, (cols, rows)))
    inner = (
        (top, 1, left, right),
        (bottom - 1, 1, left, right),
        (left, 0, top, bottom),
        (right - 1, 0, top, bottom),
    )
    if right <= left or bottom <= top or not all(_is_line(pixels, *line, panel, ink) for line in inner):
        return None
    grown = True
    while grown:
        grown = False
        if top > 0 and _is_line(pixels, top - 1, 1, left, right, panel, ink):
            top, grown = top - 1, True
        if bottom < rows and _is_line(pixels, bottom, 1, left, right, panel, ink):
            bottom, grown = bottom + 1, True
        if left > 0 and _is_line(pixels, left - 1, 0, top, bottom, panel, ink):
            left, grown = left - 1, True
        if right < cols and _is_line(pixels, right, 0, top, bottom, panel, ink):
            right, grown = right + 1, True
    exact = _of(pixels[top:bottom, left:right], panel)
    if np.count_nonzero(exact) < _LEAST * exact.size:
        return None
    top, left = max(0, top - _MARGIN_PX), max(0, left - _MARGIN_PX)
    bottom, right = min(rows, bottom + _MARGIN_PX), min(cols, right + _MARGIN_PX)
    return level_box(left, top, right, bottom)


def _is_line(
    pixels: np.ndarray, at: int, row: int, first: int, last: int, panel: np.ndarray, ink: np.ndarray
) -> bool:
    """Whether a part of a row, or else of a column, is of a panel."""
    line = pixels[at : at + 1, first:last] if row else pixels[first:last, at : at + 1]
    own, written = (int(np.count_nonzero(_of(line, tone))) for tone in (panel, ink))
    return own >= _PANEL * (last - first) and own + written >= _EITHER * (last - first)


def _of(part: np.ndarray, tone: np.ndarray) -> np.ndarray:
    """Where a part is of a tone, to one level, (M, N) of 0 or 255."""
    low, high = (np.clip(tone + by, 0, 255).astype(float) for by in (-1, 1))
    return cv2.inRange(np.ascontiguousarray(part), low, high)
