"""Bright spots that are burnt out: as bright in every colour as the picture can store, up to their middle."""

import cv2
import numpy as np

from measure.field.basics.masks import drawn
from measure.particles import Particles

_TOP = 0.96  # of the highest value, which compression and demosaicing leave of a burnt-out middle
_CORE = 0.5  # depth over the deepest, from which a place lies in the middle
_ROUND = 0.75  # circularity: a mirrored lamp is a spot, though a neighbour may hang on it
_MARGIN_PX = 2


def burnt_out(particles: Particles, pixels: np.ndarray) -> np.ndarray:
    """Rows of compact pieces brighter than the oil whose middle is burnt out in all colours.

    Parameters
    ----------
    particles : Particles
        K measured particles.
    pixels : (M, N, 3) ndarray of uint8 or uint16

    Returns
    -------
    rows : (B,) ndarray of int
    """
    least = _TOP * np.iinfo(pixels.dtype).max
    bright = np.asarray(particles["lightness_step"] > 0)
    if not bright.any() or int(pixels.max()) < least:
        return np.zeros(0, np.intp)
    perimeter = np.maximum(particles["perimeter_px"].astype(float), 1e-6)
    round_ = np.sqrt(4.0 * np.pi * particles["area_px2"].astype(float)) > _ROUND * perimeter
    at = [
        i for i in np.flatnonzero(bright & round_).tolist() if _is_burnt(particles.outlines[i], pixels, least)
    ]
    return np.array(at, np.intp)


def _is_burnt(outline: np.ndarray, pixels: np.ndarray, least: float) -> bool:
    """Whether the middle of an outline has the highest value in all channels."""
    rows, cols = pixels.shape[:2]
    left, top = (int(max(0.0, v - _MARGIN_PX)) for v in outline.min(axis=0))
    right, bottom = (int(v) + _MARGIN_PX for v in outline.max(axis=0))
    box = np.s_[top : min(rows, bottom), left : min(cols, right)]
    x, y = np.clip((outline.mean(axis=0) - (left, top)).astype(int), 0, None).tolist()
    window = pixels[box]
    if not window.size or window[min(y, window.shape[0] - 1), min(x, window.shape[1] - 1)].max() < least:
        return False  # most pieces, and it costs nothing
    mask = drawn(outline - np.array([left, top], outline.dtype), window.shape[:2])
    depth = cv2.distanceTransform(mask, cv2.DIST_L2, 3)
    core = window[depth > _CORE * float(depth.max())]
    return bool(core.size) and float(np.median(core.min(axis=1))) >= least
