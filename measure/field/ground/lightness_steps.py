"""Where a field is darker or lighter than its oil, for questions about how it is lit."""

import cv2
import numpy as np

from measure.field.basics.quick import median
from measure.field.ground.light import Light

SIGMA_PX = 1.0  # smoothing before anything is told from the oil
_LEVEL, _LEAST = 4.0, 2.0  # noise units and CIELAB L from which a pixel differs from the oil
_OIL = 5.0  # noise units below which a pixel is oil


def smooth_lightness(light: Light) -> np.ndarray:
    """Lightness less that of the oil, lightly smoothed, 0 in excluded zones; (M, N) float32."""
    lightness = cv2.GaussianBlur(np.ascontiguousarray(light.delta[..., 0]), (0, 0), SIGMA_PX)
    if light.zone_mask is not None:
        lightness[light.zone_mask > 0] = 0.0
    return np.asarray(lightness)


def few_lightness(light: Light, every: int) -> tuple[np.ndarray, np.ndarray]:
    """Smoothed lightness of some pixels, and their distance from the oil; zones are not left out."""
    few = cv2.GaussianBlur(np.ascontiguousarray(light.delta[::every, ::every, 0]), (0, 0), SIGMA_PX)
    return np.asarray(few), light.solid_distance[::every, ::every]


def told_level(lightness: np.ndarray, distance: np.ndarray) -> float:
    """Lightness from which a pixel differs from the oil, CIELAB L.

    Parameters
    ----------
    lightness : (M, N) ndarray of float32
        Smoothed, less that of the oil.
    distance : (M, N) ndarray of float32
        From the oil in noise units.
    """
    oil = lightness[distance < _OIL]
    noise = 1.4826 * median(np.abs(oil - median(oil))) if oil.size else 0.0
    return max(_LEVEL * noise, _LEAST)
