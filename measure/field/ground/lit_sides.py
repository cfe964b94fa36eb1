"""Pieces lit from one side, told as if light came from all: their colour is the same on both sides.

Where the side towards the lamp is lighter than the ground and the other one darker, the tone of the ground
runs through a piece, which would fall apart along it; and it would along the ridge between two of its sides.

Colour runs over the edge of a piece, for cameras sample it half as densely as lightness and compression
thins it out again: what is coloured has a margin in which the piece passes into the ground. Where a piece
is darker or lighter than the ground all over, as much is given back there as just inside, and of that the
share the piece has of the pixel, so the edge stays where lightness has it.
"""

import cv2
import numpy as np

from measure.field.basics.quick import percentile
from measure.field.ground.plate_tones import Tones

_LEAST_PX2 = 80  # of a piece that is looked at
_CROSSED = 0.05  # loss of light up to which the lightest tenth must lie, and from which the darkest
_STEP = 0.2  # loss or gain that a piece gets at least
_EVENED = 0.85  # share of the shading that is taken out; what parts pieces that touch is left
_TWO_COLOURS = np.array([0.08, 0.25], np.float32)  # between the lowest and the highest tenth of a piece's
_TURNS = 8
_HALF = 0.5  # of the usual loss, up to which a place that reaches the outside is ground
_MARGIN_PX, _INNERMOST = 4.0, 0.6  # how far colour and blur reach in from the edge, or of the greatest depth


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
        back[box][own] = _of_piece(own, seen.loss[box], seen.colour[box])[own]
    return back


def _of_piece(own: np.ndarray, loss: np.ndarray, colour: np.ndarray) -> np.ndarray:
    """Loss to be given back to each pixel of a piece, (M, N)."""
    framed = cv2.copyMakeBorder(own.view(np.uint8), 1, 1, 1, 1, cv2.BORDER_CONSTANT)
    depth = cv2.distanceTransform(framed, cv2.DIST_L2, 5)[1:-1, 1:-1]
    core = depth > min(_MARGIN_PX, _INNERMOST * float(depth.max()))
    given = np.zeros_like(loss)
    usual = float(percentile(loss[core], 50))
    # where the tone of the ground runs through a piece, or the shaded side of one lighter than it comes near
    # to that tone, what is like the ground is none
    if usual < 0 or is_crossed(loss[core]):
        given[own] = _evened(loss[own], colour[own])
        return given
    core = own & ~_ground_beside(own, loss, usual)
    if not core.any():
        return given
    given[core] = _evened(loss[core], colour[core])
    given, inner = from_nearest(core, given, loss)
    share = np.clip(loss / np.where(np.abs(inner) > _CROSSED, inner, np.inf), 0.0, 1.0)
    return np.where(core, given, given * share)


def is_crossed(loss: np.ndarray) -> bool:
    """Whether the tone of the ground runs through a piece."""
    low, high = (float(percentile(loss, q)) for q in (10, 90))
    return low < _CROSSED < high - _CROSSED


def _evened(loss: np.ndarray, colour: np.ndarray) -> np.ndarray:
    """Loss to be given back to the pixels of a piece, (P,)."""
    given = np.zeros_like(loss)
    for part in of_one_colour(colour):
        usual = float(percentile(loss[part], 50))
        level = np.copysign(max(abs(usual), _STEP), usual) if is_crossed(loss[part]) else usual
        given[part] = (loss[part] - level) * _EVENED
    return given


def _ground_beside(own: np.ndarray, loss: np.ndarray, usual: float) -> np.ndarray:
    """Ground that colour ran over, also between pieces that nearly touch, (M, N) bool."""
    if abs(usual) < _STEP:
        return np.zeros(own.shape, bool)
    pale = ~own | (loss / usual < _HALF)
    framed = cv2.copyMakeBorder(pale.view(np.uint8), 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=1)
    outside = cv2.connectedComponents(framed, connectivity=4)[1]
    return (outside == outside[0, 0])[1:-1, 1:-1]


def from_nearest(core: np.ndarray, *values: np.ndarray) -> list[np.ndarray]:
    """Values of the nearest pixel of the core, (M, N) each."""
    index = cv2.distanceTransformWithLabels(
        1 - core.view(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )[1]
    where = np.zeros(int(index.max()) + 1, np.intp)
    where[index[core]] = np.flatnonzero(core)
    at = where[index]
    return [value.ravel()[at] for value in values]


def of_one_colour(colour: np.ndarray) -> list[np.ndarray]:
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
