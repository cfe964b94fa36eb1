"""What pieces of a heap leave of those they replace, given to the piece it makes fuller.

A piece is rarely of one tone: a thicker side or a stain is an area of its own, and so is what a third piece
shades. Where such an area fills a hollow of a whole piece it is part of it, and no piece beside it.
"""

import cv2
import numpy as np

from measure.field.basics.masks import SQUARE, solidity

_LEAST = 0.25  # of the smallest area of a piece; less changes nothing
_SIDE = 1.5  # border with a piece over the root of the area, from which it may be part of it
_FIVE = np.ones((5, 5), np.uint8)


def with_rest(pieces: list[np.ndarray], rest: np.ndarray, least_px2: float) -> list[np.ndarray]:
    """Give what is left to the pieces it makes fuller.

    Parameters
    ----------
    pieces : list of (M, N) ndarray of uint8
        Pieces of a heap, which may lie over one another.
    rest : (M, N) ndarray of uint8
        What they leave of those they replace.
    least_px2 : float
        Smallest area of a piece.

    Returns
    -------
    pieces : list of (M, N) ndarray of uint8
        In the same order.
    """
    count, parts = cv2.connectedComponents(cv2.morphologyEx(rest, cv2.MORPH_OPEN, SQUARE), connectivity=4)
    whole = list(pieces)
    for k in range(1, count):
        part = (parts == k).view(np.uint8)
        if cv2.countNonZero(part) >= _LEAST * least_px2:
            _give(part, whole)
    return whole


def _give(part: np.ndarray, whole: list[np.ndarray]) -> None:
    """Add a part to the one of some pieces that it makes fuller, if any."""
    near = cv2.dilate(part, _FIVE)
    least_side = _SIDE * np.sqrt(cv2.countNonZero(part))
    best, most = -1, 0.0
    for n, piece in enumerate(whole):
        if cv2.countNonZero(near & piece) >= least_side:
            fuller = solidity(_joined(piece, part)) - solidity(piece)
            if fuller > most:
                best, most = n, fuller
    if best >= 0:
        others = np.zeros_like(part)
        for n, piece in enumerate(whole):
            others |= piece * (n != best)
        # the gap along their border belongs to the piece too, unless it is another's
        whole[best] = whole[best] | _joined(whole[best], part) & (part | near & (1 - others))


def _joined(piece: np.ndarray, part: np.ndarray) -> np.ndarray:
    closed: np.ndarray = cv2.morphologyEx(piece | part, cv2.MORPH_CLOSE, _FIVE)
    return closed
