"""Optical density of a field against its oil, by which pieces that lie over one another add up."""

from collections.abc import Sequence

import cv2
import numpy as np

from measure.field.basics.quick import mixed
from measure.field.ground.light import Light

# to linear sRGB from CIE XYZ over its white point (IEC 61966-2-1, D65)
_CHANNELS = (
    (3.0798, -1.5371, -0.5428),
    (-0.9212, 1.8760, 0.0452),
    (0.0529, -0.2040, 1.1511),
)
_DARKEST = np.float32(0.15**3)  # share of the white's light, below which dark is all alike

_LEAST_OIL_LIGHTNESS = 45.0  # CIELAB; below it the ground is dark and pieces are seen by what they send back
_HALF = 0.5  # of the light of white
_LEAST_PASSED = np.float32(0.1)  # of white, beyond which a camera shows all alike


def is_dark(lightness: float) -> bool:
    """Whether oil of some CIELAB lightness is so dark that pieces are seen by what they send back."""
    return lightness < _LEAST_OIL_LIGHTNESS


def density(delta: np.ndarray, oil_lab: np.ndarray) -> np.ndarray:
    """Optical density against the oil in the three channels of the camera.

    Densities of pieces over one another add up in a narrow band of light (Beer-Lambert law). The channels of
    CIE XYZ are wider than a camera's: what a coloured piece leaves of one of them is another light, of which
    the next piece takes another share.

    Parameters
    ----------
    delta : (M, N, 3) ndarray of float32
        CIELAB difference from the oil.
    oil_lab : (3,) ndarray of float
        CIELAB colour of the oil.

    Returns
    -------
    density : (M, N, 3) ndarray of float32
        Natural logarithm of the oil's light over the pixel's (CIE 15: the CIELAB formulas turned round;
        IEC 61966-2-1).
    """
    # channel by channel, for what lies side by side is worked out faster
    oil = _log_light(list(np.asarray(oil_lab, np.float32)[:, None]))
    out = np.empty(delta.shape, np.float32)
    lab = [channel + float(value) for channel, value in zip(cv2.split(delta), oil_lab, strict=True)]
    for i, light in enumerate(_log_light(lab)):
        np.subtract(oil[i], light, out=out[..., i])
    return out


def _log_light(lab: Sequence[np.ndarray]) -> list[np.ndarray]:
    """Natural logarithm of the light of the camera's three channels."""
    y = (lab[0] + 16.0) / 116.0
    xyz = [np.maximum(cube, 0.15) ** 3 for cube in (y + lab[1] / 500.0, y, y - lab[2] / 200.0)]
    logs = []
    for row in _CHANNELS:
        channel = mixed(xyz, np.asarray(row, np.float32))
        logs.append(np.log(np.maximum(channel, _DARKEST, out=channel), out=channel))
    return logs


def sent_back(delta: np.ndarray, oil_lab: np.ndarray) -> np.ndarray:
    """What pieces on dark ground send into the lens, in the three channels of the camera, as it adds up.

    Of two pieces over one another the upper one sends back its share, and the lower one its own share of what
    the upper one lets through. If nothing is lost, 1 - s is the product of what each lets through (Stokes
    1862, from memory; without light that goes to and fro between the two).

    Parameters
    ----------
    delta : (M, N, 3) ndarray of float32
        CIELAB difference from the oil.
    oil_lab : (3,) ndarray of float
        CIELAB colour of the oil.

    Returns
    -------
    density : (M, N, 3) ndarray of float32
        Natural logarithm of 1 / (1 - s), s being the light beyond the oil's as a share of white.
    """
    lab = (delta + np.asarray(oil_lab, np.float32)).astype(np.float32)
    oil = cv2.cvtColor(np.asarray(oil_lab, np.float32)[None, None], cv2.COLOR_Lab2LRGB)
    sent = cv2.cvtColor(lab, cv2.COLOR_Lab2LRGB) - oil
    passed: np.ndarray = np.maximum(1.0 - sent, _LEAST_PASSED, dtype=np.float32)
    return -np.log(passed)


def oil_density_noise(light: Light) -> float:
    """Standard deviation of the oil's natural density in the smoothed field the outlines are placed on."""
    # from L = 116 (Y/Yn)^(1/3) - 16 (CIE 15); smoothing leaves about half of a compressed picture's noise
    return 0.5 * 3.0 * float(light.noise[0]) / (float(light.oil_lab[0]) + 16.0)


def density_noise(light: Light) -> float:
    """Standard deviation of the natural density in the same field.

    On bright ground that of the oil; on dark ground that of pieces which send back half of the light, for
    there the oil sends hardly any, and noise of photons grows with the root of the light (Poisson).
    """
    lightness, of_oil = float(light.oil_lab[0]), oil_density_noise(light)
    if not is_dark(lightness):
        return of_oil
    sent = ((lightness + 16.0) / 116.0) ** 3
    return float(of_oil * np.sqrt(sent * _HALF) / (1.0 - _HALF))


def difference(density: np.ndarray, oil_lab: np.ndarray) -> np.ndarray:
    """CIELAB difference from the oil of what has some optical density against it; turns `density` round.

    Parameters
    ----------
    density : (M, N, 3) ndarray of float32
        Natural, in the three channels of the camera.
    oil_lab : (3,) ndarray of float
        CIELAB colour of the oil.

    Returns
    -------
    delta : (M, N, 3) ndarray of float32
    """
    oil = np.exp(_log_light(list(np.asarray(oil_lab, np.float32)[:, None]))).reshape(3)
    light = np.exp(-density) * oil.astype(np.float32)
    lab: np.ndarray = cv2.cvtColor(light.astype(np.float32), cv2.COLOR_LRGB2Lab)
    return lab - np.asarray(oil_lab, np.float32)
