"""At which share of the step the true edge of a blurred piece lies.

Blur moves the half level of a small round piece inwards and lowers its contrast, and a thin rim never reaches
its full contrast; lens and sensor mix light, in which CIELAB is not linear. Each has a closed form here, for
many pieces at once.
"""

from collections.abc import Callable

import cv2
import numpy as np

from measure.field.basics.compiled import i0e, ndtr
from measure.field.basics.tone import decoded, encoded

SMOOTHING_SIGMA_PX = 0.8  # smoothing of the field edges are placed on
CALM_SIGMA_PX = 1.0  # further smoothing of the field a plateau is read from
_SURE_SIGMA2 = 0.1  # blur up to this cannot be told from pixel steps, px^2
_PLACES = np.linspace(-3.0, 3.0, 31) * SMOOTHING_SIGMA_PX  # across an edge
_PLACE_WEIGHTS = np.exp(-0.5 * (_PLACES / SMOOTHING_SIGMA_PX) ** 2)
_FLAT = 1.0  # CIELAB; a smaller step has its half level in the middle


def blurred_disc_level(radius_px: np.ndarray, sigma_px: np.ndarray) -> np.ndarray:
    """Level at the true edge of a blurred disc, as a share of the plateau read from it.

    Parameters
    ----------
    radius_px, sigma_px : (K,) ndarray or float
        Radius of the disc and standard deviation of the Gaussian blur.

    Returns
    -------
    level : (K,) ndarray or float
        0.5 for a straight edge, less for a small disc: (1 - exp(-z) I0(z)) / 2, z = (R/sigma)^2, over the
        height of the smoothed disc's middle.
    """
    z = (radius_px / np.maximum(sigma_px, 1e-3)) ** 2
    peak = 1.0 - np.exp(-(radius_px**2) / (2.0 * (sigma_px**2 + CALM_SIGMA_PX**2)))
    return 0.5 * (1.0 - i0e(z)) / np.maximum(peak, 0.1)


def blurred_rim_level(thickness_px: float, sigma_px: float) -> float:
    """Level at the true outer edge of a blurred rim, as a share of the plateau read from it.

    A rim hardly wider than the blur never reaches its full contrast: 0.5 for a wide rim, more for a thin one.
    """
    edge = ndtr(max(thickness_px, 0.5) / max(sigma_px, 1e-3)) - 0.5
    peak = 2.0 * ndtr(max(thickness_px, 0.5) / 2.0 / np.hypot(sigma_px, CALM_SIGMA_PX)) - 1.0
    return float(min(0.85, edge / peak))


def mixed_values(lab: np.ndarray, light_weight: float) -> np.ndarray:
    """What lens and sensor mixed, of CIELAB colours: XYZ light, or the values a camera stores of it.

    Parameters
    ----------
    lab : (..., 3) ndarray of float32
    light_weight : float
        1 where the picture was blurred in linear light, 0 where in its stored values.

    Returns
    -------
    values : (..., 3) ndarray of float32
        Shares of white. CIE 15: the CIELAB formulas turned round; stored values go with the power 1 / 2.4 of
        light (IEC 61966-2-1).
    """
    root = np.empty_like(lab)
    root[..., 1] = (lab[..., 0] + 16.0) / 116.0
    root[..., 0] = root[..., 1] + lab[..., 1] / 500.0
    root[..., 2] = root[..., 1] - lab[..., 2] / 200.0
    np.maximum(root, 0.0, out=root)
    weight = np.float32(light_weight)
    mixed = weight * root
    mixed *= root
    mixed += (np.float32(1.0) - weight) * np.sqrt(np.sqrt(root))
    mixed *= root
    return mixed


def light_half(
    step: np.ndarray,
    oil_lab: np.ndarray,
    sigma_px: np.ndarray,
    light_weight: float = 1.0,
    colour: np.ndarray | None = None,
) -> np.ndarray:
    """Share of the CIELAB step at the place where the picture is half way between oil and piece.

    Lens and sensor mix light, and CIELAB is not linear in light: on dark ground half of the light lies above
    half of the step, in bright field below it, and colour follows its own way. A picture blurred in its
    stored values has its half level near half of the step, but for very dark ends. The smoothing of this
    program mixes CIELAB evenly again, so the sharper the picture, the nearer the level is to a half.

    Parameters
    ----------
    step : (K, 3) ndarray of float
        Typical difference of each piece from the oil.
    oil_lab : (K, 3) ndarray of float
        CIELAB colour of the oil beside it.
    sigma_px : (K,) ndarray of float
        Standard deviation of the whole blur, smoothing included.
    light_weight : float
        1 where the picture was blurred in linear light, 0 where in its stored values.
    colour : (K,) ndarray of float, optional
        Weight of colour beside lightness in the share; 1 if not given.

    Returns
    -------
    level : (K,) ndarray of float
        0.5 without blur of the picture's own.
    """
    half = np.full(len(step), 0.5)
    length = np.sqrt(np.einsum("ki,ki->k", step, step))
    own = np.sqrt(np.maximum(sigma_px**2 - SMOOTHING_SIGMA_PX**2 - _SURE_SIGMA2, 0.0))
    told = (length >= _FLAT) & (own >= 0.1)
    if not told.any():
        return half
    oil = oil_lab[told]
    ends = np.stack([oil, oil + step[told]], axis=1).astype(np.float32)
    ends[..., 0] = np.clip(ends[..., 0], 0.0, 100.0)
    stored = cv2.cvtColor(ends, cv2.COLOR_Lab2RGB).astype(np.float64)
    along = np.ones((len(oil), 3))
    if colour is not None:
        along[:, 1:] = colour[told, None]
    by_light = _half_between(decoded(stored), own[told], along, encoded)
    by_stored = _half_between(stored, own[told], along, np.asarray)
    half[told] = light_weight * by_light + (1.0 - light_weight) * by_stored
    return half


def _half_between(
    ends: np.ndarray,
    own_sigma_px: np.ndarray,
    along: np.ndarray,
    storing: Callable[[np.ndarray], np.ndarray],
) -> np.ndarray:
    """Share of the CIELAB step half way between two colours, (K, 2, 3), that were blurred evenly.

    ``along``, (K, 3), weighs lightness and colour in it.
    """
    part = ndtr(_PLACES / own_sigma_px[:, None])[..., None]
    mixed = ends[:, :1] + (ends[:, 1:] - ends[:, :1]) * part
    line = np.concatenate([ends[:, :1], mixed, ends[:, 1:]], axis=1)
    lab = cv2.cvtColor(storing(line).astype(np.float32), cv2.COLOR_RGB2Lab).astype(np.float64)
    step = (lab[:, -1] - lab[:, 0]) * along
    square = np.einsum("ki,ki->k", step, step)
    share = np.einsum("kpi,ki->kp", lab[:, 1:-1] - lab[:, :1], step) / np.maximum(square, 1e-9)[:, None]
    mean = share @ _PLACE_WEIGHTS / _PLACE_WEIGHTS.sum()
    return np.where(square < _FLAT, 0.5, np.clip(mean, 0.25, 0.75))
