"""A bright ring that goes round a dark piece is light that the piece bent aside, and none of the piece.

Out of focus to one side the edge of a piece throws its light outwards; sharpening by the camera leaves such a
ring too. The low level takes it along with the piece, which comes out up to twice as large, or in slivers.
Between the two lies the tone of the oil, where the piece ends. `phase_halo` knows fields that all glow.
"""

from dataclasses import replace

import cv2
import numpy as np

from measure.field.basics.masks import SQUARE, fill_holes, numbered, square
from measure.field.edges.edge import SMOOTHING_SIGMA_PX
from measure.field.ground.light import Light

_LOW = 3.5  # oil noise units, as pieces are looked for
_SIGN = 0.15  # of the component's strongest differences from the oil, below which a pixel is neither
_STRONGEST = 90  # percentile
_PIECE = (0.2, 0.92)  # share of the component that is the piece
_BRIGHT = 0.6  # share of what lies beyond the piece that must be brighter than the oil
_ROUND, _REACH_PX = 0.85, 7  # share of the piece's outline that has the ring beside it, and how near
_NEUTRAL = 0.75  # colour of the ring over its light: bent light has the colour of the oil
_DARK = 0.8  # darkness along the edge of the piece over the light of the ring
_LEAST_PX = 40
_FADING_PX = 9  # how far beyond the low level a ring fades out
_MARGIN_PX = 8
_FEW, _STEP = 0.02, 4  # share of what differs from the oil that must be brighter, at every such pixel


def without_bright_halos(light: Light) -> Light:
    """Take the bright rings off that go round dark pieces.

    Parameters
    ----------
    light : Light

    Returns
    -------
    Light
        The same where there are none.
    """
    some = np.s_[::_STEP, ::_STEP]
    found, brighter = light.solid_distance[some] > _LOW, light.delta[some][..., 0] > 0
    if np.count_nonzero(found & brighter) <= _FEW * np.count_nonzero(found):
        return light
    low = light.solid_distance > _LOW
    count, labels, stats = numbered(low.view(np.uint8), 8)
    bright = np.bincount(labels[low & (light.delta[..., 0] > 0)], minlength=count)
    share = bright / np.maximum(stats[:, cv2.CC_STAT_AREA], 1)
    asked = (stats[:, cv2.CC_STAT_AREA] >= _LEAST_PX) & (share > _BRIGHT * (1.0 - _PIECE[1])) & (share < 1.0)
    delta = distance = None
    for k in np.flatnonzero(asked[1:]) + 1:
        x, y, w, h = stats[k, :4].tolist()
        box = np.s_[max(0, y - _MARGIN_PX) : y + h + _MARGIN_PX, max(0, x - _MARGIN_PX) : x + w + _MARGIN_PX]
        smooth = cv2.GaussianBlur(light.delta[box], (0, 0), SMOOTHING_SIGMA_PX)
        own = labels[box] == k
        halo = halo_of(own, smooth)
        if halo is None:
            continue
        if delta is None or distance is None:
            delta, distance = light.delta.copy(), light.solid_distance.copy()
        halo &= own | (labels[box] == 0)
        delta[box][halo] = 0.0
        distance[box][halo] = 0.0
    if delta is None or distance is None:
        return light
    return replace(light, delta=delta, solid_distance=distance)


def halo_of(low: np.ndarray, delta: np.ndarray) -> np.ndarray | None:
    """The bright ring round the piece of a component.

    Parameters
    ----------
    low : (M, N) ndarray of bool
        A component of the low level.
    delta : (M, N, 3) ndarray of float32
        CIELAB difference from the oil.

    Returns
    -------
    halo : (M, N) ndarray of bool or None
        None where there is no such ring.
    """
    lightness = delta[..., 0]
    sign = _SIGN * float(np.percentile(np.abs(lightness[low]), _STRONGEST))
    whole = fill_holes(low.view(np.uint8)) > 0
    count, parts, stats = numbered((whole & (lightness < -sign)).view(np.uint8), 8)
    if count < 2:
        return None
    piece = fill_holes((parts == 1 + int(stats[1:, cv2.CC_STAT_AREA].argmax())).view(np.uint8))
    size, most = cv2.countNonZero(piece), np.count_nonzero(whole)
    if size < _LEAST_PX or not _PIECE[0] * most < size < _PIECE[1] * most:
        return None
    grown: np.ndarray = cv2.dilate(piece, SQUARE)
    beyond = whole & (grown == 0)
    bright = beyond & (lightness > sign)
    if np.count_nonzero(bright) < max(_BRIGHT * float(np.count_nonzero(beyond)), 1.0):
        return None
    if not _goes_round(piece, grown, bright, delta):
        return None
    fading = (cv2.dilate(bright.view(np.uint8), square(_FADING_PX)) > 0) & (lightness > 0)
    colour = np.hypot(delta[..., 1], delta[..., 2])
    neutral = colour < np.maximum(_NEUTRAL * lightness, sign)  # what has a colour belongs to a piece
    return (beyond | fading) & (grown == 0) & (lightness > -sign) & neutral


def _goes_round(piece: np.ndarray, grown: np.ndarray, bright: np.ndarray, delta: np.ndarray) -> bool:
    """Whether what is bright goes round a piece, in the colour of the oil and no stronger than its edge."""
    near = cv2.dilate(bright.view(np.uint8), square(_REACH_PX)) > 0
    if near[grown > piece].mean() < _ROUND:
        return False
    light, green, blue = np.median(np.abs(delta[bright]), axis=0)
    if np.hypot(green, blue) > _NEUTRAL * light:
        return False
    edge = (piece > 0) & (cv2.erode(piece, square(5), borderValue=0) == 0)
    return bool(-np.median(delta[edge][:, 0]) > _DARK * light)
