"""Noise nearly as strong as what a grey picture shows, as of few electrons or little light.

Single pixels then say nothing, and nothing reaches the level at which pieces are found, though an eye that
takes many pixels together sees them at once. Noise of neighbouring pixels is hardly related, so a mean over
a place smaller than the least piece keeps the piece and loses most of the noise.
"""

from dataclasses import replace

import cv2
import numpy as np

from measure.field.basics.quick import median
from measure.field.ground.light import zone_mask
from measure.model import Picture

_REDUCE, _SIGMA, _GROUND = 3, 1.0, 13.0  # size at which contrast is looked at; px of that size
_ENDS = 0.005  # share of the picture beyond either end of its contrast
_LEAST = 8.0  # contrast over noise: 9.5 and more of usual micrographs, 7 and less of those lost in noise
_STRONG = 0.03  # share of the full range: 0.06 where few electrons were counted, usually below 0.01
_BLANK = 1.2  # the same of a picture of nothing: 0.5 of unrelated noise, up to 0.9 of what was resized
_SMOOTHED_PX = 2.5  # a quarter of the least piece; 2 to 3 do as well
_STEP = 8
_TWO_APART = 0.954  # median difference of two pixels over the standard deviation of their noise
_FEW = 100
NOTE = (
    "Noise is strong against what the picture shows, so it was smoothed by 2.5 px before measuring: "
    "pieces below some 15 px are less sure. A longer exposure shows them better."
)


def without_strong_noise(
    picture: Picture, zones: tuple[np.ndarray, ...] = ()
) -> tuple[Picture, tuple[str, ...]]:
    """Smooth a grey picture whose noise drowns its contrast.

    Parameters
    ----------
    picture : Picture
    zones : tuple of (K, 2) ndarray
        What is left out, x and y in px: it keeps its pixels and none of it is spread.

    Returns
    -------
    picture : Picture
        The same one where noise is no stronger than usual, or colours are seen.
    notes : tuple of str
        What is said of it.
    """
    pixels = picture.pixels
    some = pixels[::_STEP, ::_STEP]
    if min(pixels.shape[:2]) < _STEP * _REDUCE or not (some == some[..., :1]).all():
        return picture, ()
    grey = pixels[..., 0]
    noise = _noise(grey)
    out = zone_mask((picture.height_px, picture.width_px), zones) if zones else None
    if noise < _STRONG * np.iinfo(pixels.dtype).max:
        return picture, ()
    if not _BLANK * noise < _contrast(grey, out) < _LEAST * noise:
        return picture, ()
    seen = np.ones(grey.shape, np.float32) if out is None else (out == 0).astype(np.float32)
    weight = np.maximum(cv2.GaussianBlur(seen, (0, 0), _SMOOTHED_PX), 1e-3)
    smooth = cv2.GaussianBlur(grey.astype(np.float32) * seen, (0, 0), _SMOOTHED_PX) / weight
    smooth = np.where(seen > 0, np.rint(smooth), grey).astype(pixels.dtype)
    return replace(picture, pixels=np.repeat(smooth[..., None], 3, axis=2)), (NOTE,)


def _noise(grey: np.ndarray) -> float:
    """Standard deviation of a pixel's noise, from pixels two apart along rows and columns."""
    rows, columns = grey[::_STEP].astype(np.float32), grey[:, ::_STEP].astype(np.float32)
    steps = np.abs(rows[:, 2:] - rows[:, :-2]), np.abs(columns[2:] - columns[:-2])
    return max(median(step.ravel()) for step in steps) / _TWO_APART


def _contrast(grey: np.ndarray, out: np.ndarray | None) -> float:
    """Between the darkest and the brightest places of some size, beside uneven light, in grey levels."""
    size = (grey.shape[1] // _REDUCE, grey.shape[0] // _REDUCE)
    small = cv2.resize(grey.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    seen = np.ones(small.shape, np.float32)
    if out is not None:
        seen = (cv2.resize(out * np.uint8(255), size, interpolation=cv2.INTER_AREA) == 0).astype(np.float32)
    if np.count_nonzero(seen) < _FEW:
        return float("inf")
    near, wide = (
        cv2.GaussianBlur(small * seen, (0, 0), sigma)
        / np.maximum(cv2.GaussianBlur(seen, (0, 0), sigma), 1e-3)
        for sigma in (_SIGMA, _GROUND)
    )
    low, high = np.quantile((near - wide)[seen > 0], (_ENDS, 1.0 - _ENDS))
    return float(high - low)
