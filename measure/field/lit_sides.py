"""Pieces lit from one side, told as if light came from all: their colour is the same on both sides.

Where the side towards the lamp is lighter than the ground and the other one darker, the tone of the ground
runs through a piece, which would fall apart along it; and it would along the ridge between two of its sides.
"""

import cv2
import numpy as np

from measure.field.plate_tones import Tones
from measure.field.quick import percentile

_LEAST_PX2 = 80  # of a piece that is looked at
_CROSSED = 0.05  # loss of light up to which the lightest tenth must lie, and from which the darkest
_STEP = 0.2  # loss or gain that a piece gets at least
_EVENED = 0.85  # share of the shading that is taken out; what parts pieces that touch is left
_TWO_COLOURS = np.array([0.08, 0.25], np.float32)  # between the lowest and the highest tenth of a piece's
_TURNS = 8


def shading(seen: Tones, pieces: np.ndarray) -> np.ndarray:
    """Loss of light to be given back to each pixel of pieces that are lit from one side, (M, N).

    Parameters
    ----------
    seen : Tones
    pieces : (M, N) ndarray of bool
        Pieces known by their colour.
    """
    back = np.zeros_like(seen.loss)
    count, parts, stats, _ = cv2.connectedComponentsWithStats(pieces.view(np.uint8), connectivity=8)
    for k in range(1, count):
        x, y, w, h, size = (int(v) for v in stats[k])
        if size < _LEAST_PX2:
            continue
        box = np.s_[y : y + h, x : x + w]
        own = parts[box] == k
        back[box][own] = _of_piece(seen.loss[box][own], seen.colour[box][own])
    return back


def _of_piece(loss: np.ndarray, colour: np.ndarray) -> np.ndarray:
    given = np.zeros_like(loss)
    for part in _of_one_colour(colour):
        low, usual, high = (float(percentile(loss[part], q)) for q in (10, 50, 90))
        crossed = low < _CROSSED < high - _CROSSED
        level = np.copysign(max(abs(usual), _STEP), usual) if crossed else usual
        given[part] = (loss[part] - level) * _EVENED
    return given


def _of_one_colour(colour: np.ndarray) -> list[np.ndarray]:
    """Masks of the pixels of a piece, (P,) bool; two where pieces of two colours touch."""
    spread = np.ptp(np.percentile(colour, (10, 90), axis=0), axis=0) / _TWO_COLOURS
    channel = int(spread.argmax())
    if spread[channel] < 1.0:
        return [np.ones(len(colour), bool)]
    values = colour[:, channel]
    cut = float(values.mean())
    for _ in range(_TURNS):
        cut = 0.5 * float(values[values < cut].mean() + values[values >= cut].mean())
    return [values < cut, values >= cut]
