"""A picture looked at strip by strip, so that what is only passed through stays in the processor's cache.

A smoothed copy of a large picture takes as much memory as the picture, and taking memory anew costs more time
than the smoothing.
"""

from collections.abc import Callable, Iterator

import cv2
import numpy as np

STRIP_ROWS = 32
Room = Callable[[tuple[int, ...]], np.ndarray]  # gives an array of a shape, to be filled with float32
_REACH = 5.0  # sigmas beyond which a pixel has no part in a smoothed one


def own_memory(shape: tuple[int, ...]) -> np.ndarray:
    """Return an array of float32 to be filled, in the memory of this process."""
    return np.empty(shape, np.float32)


def strips(rows: int, height: int = STRIP_ROWS) -> list[slice]:
    """Cut a number of rows into strips.

    Parameters
    ----------
    rows, height : int
        Of all, and of a strip.
    """
    return [slice(start, min(rows, start + height)) for start in range(0, rows, height)]


def smoothed_strips(
    values: np.ndarray, sigma_px: float, height: int = STRIP_ROWS, mirrored: bool = True
) -> Iterator[tuple[slice, np.ndarray]]:
    """Each strip of a picture with its smoothed copy, the very values of smoothing the whole.

    Parameters
    ----------
    values : (M, N) or (M, N, C) ndarray of float32
        The rows of a strip may be changed in place once it was given: those after it were smoothed before.
    sigma_px : float
    height : int
        Rows of a strip.
    mirrored : bool
        Whether the picture is mirrored beyond its border, which keeps its noise low there; else its border is
        repeated, which moves no edge beside it.

    Yields
    ------
    strip : slice
        Rows.
    smooth : (m, N) or (m, N, C) ndarray of float32
        Holds until the next strip is asked for.
    """
    beyond = cv2.BORDER_REFLECT_101 if mirrored else cv2.BORDER_REPLICATE
    rows, margin = len(values), int(np.ceil(_REACH * sigma_px)) + 1
    # two arrays in turn: memory taken anew for each strip would be cleared anew
    room = [np.empty((height + 2 * margin, *values.shape[1:]), np.float32) for _ in range(2)]
    before: tuple[slice, np.ndarray] | None = None
    for i, strip in enumerate(strips(rows, height)):
        first, last = max(0, strip.start - margin), min(rows, strip.stop + margin)
        wide = room[i % 2][: last - first]
        cv2.GaussianBlur(values[first:last], (0, 0), sigma_px, dst=wide, borderType=beyond)
        if before is not None:
            yield before
        before = strip, wide[strip.start - first : strip.stop - first]
    if before is not None:
        yield before


class Reduced:
    """A picture made smaller by averaging areas, from its strips; the very values of reducing the whole.

    Parameters
    ----------
    shape : (int, int)
        Rows and columns of the picture.
    size : (int, int)
        Rows and columns wanted, no more than it has.
    """

    def __init__(self, shape: tuple[int, int], size: tuple[int, int]) -> None:
        self._size, self._one = size, shape[0] <= STRIP_ROWS
        whole_rows, whole_cols = (have % want == 0 for have, want in zip(shape, size, strict=True))
        factor = shape[0] // size[0]
        self._factor = factor if whole_rows and STRIP_ROWS % factor == 0 else 0
        # the library adds up whole blocks in another order: there the strips must be kept
        self._kept = not self._one and not self._factor and (whole_rows or whole_cols)
        self._parts: list[np.ndarray] = []

    def add(self, strip: np.ndarray) -> None:
        """Take the next strip, (m, N, C) ndarray of float32."""
        if self._kept:
            self._parts.append(strip.copy())
            return
        rows, cols = self._size
        # rows that are averaged downwards may lie in two strips: then they are only averaged across here
        high = rows if self._one else len(strip) // self._factor if self._factor else len(strip)
        self._parts.append(cv2.resize(strip, (cols, high), interpolation=cv2.INTER_AREA))

    def whole(self) -> np.ndarray:
        """Return the reduced picture."""
        parts = np.concatenate(self._parts)
        if len(parts) == self._size[0]:
            return parts
        return cv2.resize(parts, self._size[::-1], interpolation=cv2.INTER_AREA)
