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


def density_noise(light: Light) -> float:
    """Standard deviation of the oil's natural density in the smoothed field the outlines are placed on."""
    # from L = 116 (Y/Yn)^(1/3) - 16 (CIE 15); smoothing leaves about half of a compressed picture's noise
    return 0.5 * 3.0 * float(light.noise[0]) / (float(light.oil_lab[0]) + 16.0)


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
