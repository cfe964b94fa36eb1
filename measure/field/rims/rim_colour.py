"""What of a component is coloured, and so no rim of a see-through piece.

A rim bends light out of the lens: it takes light away, or sends some in, without colouring it. Kernels and
skins beside a crystal absorb, and are coloured.
"""

from functools import lru_cache

import cv2
import numpy as np

from measure.field.basics.masks import numbered, opened
from measure.field.basics.quick import colours_at, norm, summed
from measure.field.rims.clear_parts import LEAST_RIM_PX

_COLOURED = 0.22  # share of colour in the difference from the oil, from which it is no rim
_BLACK = 16.0  # CIELAB lightness below its zero where all colours meet: less light moves them towards there
_WHITE = 100.0
_BRIGHT = 60.0  # CIELAB lightness of the oil from which a brighter place may fill the camera
LINE_PX = 1.5  # half the width of a fringe of colour at an edge
_LEAST_PART, _LEAST_GREY = 0.5, 0.25  # of the smallest area reported, that must be coloured, and must not be
_FOREIGN = 0.05  # share of a see-through piece that may be coloured
_BOTH = 0.15  # share of what is strong that must be coloured, and that must not be


def coloured_bodies(
    delta: np.ndarray, strong: np.ndarray, oil_lab: np.ndarray, least_px2: float
) -> np.ndarray | None:
    """Coloured ones of the strong pixels of a component that has others too.

    Parameters
    ----------
    delta : (M, N, 3) ndarray of float32
        CIELAB difference from the oil.
    strong : (M, N) ndarray of uint8
    oil_lab : (3,) ndarray
    least_px2 : float
        Smallest area of a body.

    Returns
    -------
    coloured : (M, N) ndarray of uint8 or None
        None where all are alike.
    """
    told = coloured_pixels(colours_at(delta, strong > 0), oil_lab)
    count, most = np.count_nonzero(told), len(told)
    if count < max(least_px2, _BOTH * most) or count > (1.0 - _BOTH) * most:
        return None
    coloured = _opened_at(strong > 0, told)
    _, parts, stats = numbered(coloured, 8)
    keep = stats[:, cv2.CC_STAT_AREA] >= least_px2
    keep[0] = False
    keep[keep] = [bool(opened((parts == k).view(np.uint8), LEAST_RIM_PX).any()) for k in np.flatnonzero(keep)]
    return keep[parts].view(np.uint8) if keep.any() else None


def coloured_places(
    delta: np.ndarray, strong: np.ndarray, oil_lab: np.ndarray, least_px2: float
) -> np.ndarray | None:
    """Coloured bodies among strong places, (M, N) uint8; None where all are coloured, or none.

    Parameters
    ----------
    delta : (M, N, 3) ndarray of float32
        CIELAB difference from the oil.
    strong : (M, N) ndarray of bool
    oil_lab : (3,) ndarray
    least_px2 : float
        Smallest area of a piece.
    """
    told = coloured_pixels(colours_at(delta, strong), oil_lab)
    count, most = np.count_nonzero(told), len(told)
    if count < _LEAST_PART * least_px2 or most - count < _LEAST_GREY * least_px2:
        return None
    coloured = _opened_at(strong, told)
    return coloured if cv2.countNonZero(coloured) >= _LEAST_PART * least_px2 else None


def _opened_at(strong: np.ndarray, told: np.ndarray) -> np.ndarray:
    """Mask of those strong places that were told, without lines."""
    mask = np.zeros(strong.shape, np.uint8)
    mask[strong] = told
    return opened(mask, LINE_PX)


def coloured_pixels(values: np.ndarray, oil_lab: np.ndarray, least: float = 0.0) -> np.ndarray:
    """Whether differences from the oil are such as light lost or sent in alone does not make.

    Parameters
    ----------
    values : (P, 3) ndarray of float32
        CIELAB differences from the oil.
    oil_lab : (3,) ndarray
    least : float
        CIELAB units of colour below which nothing is coloured.

    Returns
    -------
    coloured : (P,) ndarray of bool
    """
    light, red, yellow = (float(value) for value in oil_lab)
    dark = _direction(light + _BLACK, red, yellow)
    bright = _direction(max(_WHITE - light, 1.0), -red, -yellow)
    along = np.where(values[:, 0] > 0, values @ bright, values @ dark)
    whole = np.einsum("ij,ij->i", values, values)
    coloured: np.ndarray = whole - along * along > np.maximum(_COLOURED**2 * whole, least * least)
    return coloured


def colour_share(step: np.ndarray, oil_lab: np.ndarray) -> float:
    """Share of colour in a difference from the oil: of what neither less nor more light makes, nor glare.

    More light moves a colour away from black, and towards white where the camera is full.

    Parameters
    ----------
    step : (3,) ndarray
        CIELAB difference from the oil.
    oil_lab : (3,) ndarray
    """
    light, red, yellow = (float(value) for value in oil_lab)
    ways = [_direction(light + _BLACK, red, yellow)]
    if step[0] > 0:
        white = _direction(max(_WHITE - light, 1.0), -red, -yellow)
        # a camera is full only in bright oil; on a dark ground what absorbs is brighter too
        across = white - (white @ ways[0]) * ways[0] if light > _BRIGHT else white
        ways = [*ways, across / max(norm(across), 1e-6)] if light > _BRIGHT else [white]
    rest = step - sum((step @ way) * way for way in ways)
    return float(np.sqrt(rest.dot(rest)) / max(norm(step), 1e-6))


def whole_colour(values: np.ndarray, oil_lab: np.ndarray) -> float:
    """Share of colour in all the light that a place takes and gives.

    Noise and compression, which colour single pixels of a faint place, have no colour in the mean.

    Parameters
    ----------
    values : (P, 3) ndarray of float32
        CIELAB differences from the oil.
    oil_lab : (3,) ndarray
    """
    darker = values[:, 0] < 0
    sums = [summed(colours_at(values, side)) for side in (darker, ~darker)]
    lengths = [norm(side) for side in sums]
    left = sum(n * colour_share(side, oil_lab) for n, side in zip(lengths, sums, strict=True))
    return left / max(sum(lengths), 1e-6)


@lru_cache(maxsize=16)  # one oil is asked about many times
def _direction(*way: float) -> np.ndarray:
    """Unit vector, (3,) float32; not to be changed."""
    return (np.array(way) / np.sqrt(np.dot(way, way))).astype(np.float32)


def joined(clear: np.ndarray, beside: np.ndarray, coloured: np.ndarray) -> np.ndarray:
    """See-through pieces found without and with a look at colours, one of each that are the same.

    Parameters
    ----------
    clear, beside : (M, N) ndarray of int32
        Found without, and with it; 1.. for each, 0 elsewhere.
    coloured : (M, N) ndarray of uint8
        A piece found without a look at colours that holds some of these is two.

    Returns
    -------
    labels : (M, N) ndarray of int32
    """
    labels = beside.copy()
    for k in range(1, int(clear.max()) + 1):
        own = clear == k
        same = np.isin(labels, np.unique(labels[own])) & (labels > 0)
        if same.any() and (same.sum() >= own.sum() or coloured[own].mean() > _FOREIGN):
            continue
        labels[same] = 0
        labels[own] = labels.max() + 1
    return labels
