"""Ground that is darker or lighter in wide soft places: haze of fines, thicker oil, soft shade.

The smooth surface of the oil does not bend so much, so such a place would be found as one large ragged piece,
with all pieces in it. A piece ends in an edge; haze passes into the oil little by little.
"""

import cv2
import numpy as np

from measure.field.basics.masks import square
from measure.field.basics.quick import length
from measure.field.ground.background import follow_oil

_STEP = 2.5  # CIELAB from one coarse pixel to the next, from which it may be the edge of a piece
_WIDE = 5  # coarse px: narrower places tell nothing
# share of the picture from which there is haze: 0.009 and more in hazy or cloudy fields of three hands and
# where seeds shade their plate, 0.004 at most in 110 other fields, 0.001 in all but two of these
_LEAST = 0.006
_REACH = 3.0  # in scales of the surface, as where the oil is followed at last
_TURNS, _FINER = 4, 0.5  # haze is finer than light: the reach within which it is followed, over the usual one


def followed_haze(
    coarse: np.ndarray, background: np.ndarray, scale: float, sigma: float, excluded: np.ndarray | None
) -> np.ndarray:
    """Oil colour over a field, brought into places of haze; as it was where there is none.

    Parameters
    ----------
    coarse : (m, n, 3) ndarray of float32
        CIELAB of the smoothed picture at coarse size.
    background : (m, n, 3) ndarray of float32
        Oil colour as it is known so far.
    scale : float
        Spread of the oil about its surface, CIELAB.
    sigma : float
        Reach within which the oil was followed, coarse px.
    excluded : (m, n) ndarray of uint8 or None
        1 inside excluded zones.

    Returns
    -------
    (m, n, 3) ndarray of float32
    """
    for turn in range(_TURNS):
        residual = coarse - background
        far = length(residual) > _REACH * scale
        soft = soft_places(residual, far, excluded)
        if turn == 0 and _opened(soft & far).mean() < _LEAST:
            break
        off: np.ndarray = cv2.dilate((far & ~soft).view(np.uint8), square(3))
        off &= 1 - (soft & far).view(np.uint8)
        if excluded is not None:
            off |= excluded
        background = background + follow_oil(residual, (1 - off).astype(np.float32), _FINER * sigma)
    return background


def soft_places(residual: np.ndarray, far: np.ndarray, excluded: np.ndarray | None = None) -> np.ndarray:
    """Where the ground goes on from the oil without an edge, (m, n) ndarray of bool, the oil with it.

    Parameters
    ----------
    residual : (m, n, 3) ndarray of float32
        CIELAB difference from the oil at coarse size.
    far : (m, n) ndarray of bool
        Where that is more than the oil varies.
    excluded : (m, n) ndarray of uint8, optional
    """
    steepest = np.zeros(far.shape, np.float32)
    for one, other in ((np.s_[1:], np.s_[:-1]), (np.s_[:, 1:], np.s_[:, :-1])):
        step = length(residual[one] - residual[other])
        steepest[one] = np.maximum(steepest[one], step)
        steepest[other] = np.maximum(steepest[other], step)
    gentle = steepest < _STEP
    if excluded is not None:
        gentle &= excluded == 0
    count, parts = cv2.connectedComponents(gentle.view(np.uint8), connectivity=4)
    reached = np.bincount(parts[gentle & ~far], minlength=count) > 0
    reached[0] = False
    return reached[parts]


def _opened(mask: np.ndarray) -> np.ndarray:
    """The wide places of a mask."""
    opened: np.ndarray = cv2.morphologyEx(mask.view(np.uint8), cv2.MORPH_OPEN, square(_WIDE))
    return opened
