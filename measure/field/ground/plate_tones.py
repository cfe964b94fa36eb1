"""How much of the light of the ground each pixel of a plate has lost, and whether in all colours alike."""

from itertools import pairwise
from typing import NamedTuple

import cv2
import numpy as np

from measure.field.basics.quick import median
from measure.field.ground.light import Light

GROUND = 3.0  # noise units up to which a pixel is ground
_SMOOTH_PX = 1.2
_NO_LIGHT = 0.02  # cube root of light over white, below which nothing is told
DARKER, _OVER_NOISE = 0.08, 5.0  # loss of light, least; over the noise of the ground
_TINT_BINS, _TINT_LEAST = 12, 40  # of the loss of light; pixels that tell the tint of one
_OFF = np.array([0.02, 0.05], np.float32)  # from the tint of shadows, what is no shadow, least


class Tones(NamedTuple):
    """What each pixel has lost of the light of the ground, in natural logarithms."""

    loss: np.ndarray  # (M, N) the ground's light over the pixel's, in Y
    colour: np.ndarray  # (M, N, 2) how much more of X, and of Z, is left than of Y
    noise: np.ndarray  # (3,) of the loss and of both colours over the ground

    @property
    def least(self) -> float:
        """Loss from which a pixel is darker than the ground."""
        return max(DARKER, _OVER_NOISE * float(self.noise[0]))


def tones(light: Light) -> Tones:
    """What each pixel has lost of the light of the ground about it."""
    loss, colour = _lost(ground_of(light), smoothed(light))
    bare = light.solid_distance < GROUND
    values = (loss, colour[..., 0], colour[..., 1])
    noise = [1.4826 * median(np.abs(v[bare])) if bare.any() else 0.0 for v in values]
    return Tones(loss, colour, np.array(noise))


def smoothed(light: Light) -> np.ndarray:
    """Difference from the ground as tones are read from it, (M, N, 3)."""
    return cv2.GaussianBlur(light.delta, (0, 0), _SMOOTH_PX)


def lost_at(ground: np.ndarray, smooth: np.ndarray, at: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Loss, (K,), and colour, (K, 2), as of `tones`, at some pixels given by their number."""
    return _lost(*(part.reshape(-1, 3).take(at, axis=0) for part in (ground, smooth)))


def _lost(ground: np.ndarray, smooth: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    own = roots(ground + smooth)
    change = 3.0 * np.log(np.maximum(own, _NO_LIGHT) / np.maximum(roots(ground), _NO_LIGHT))
    loss = -change[..., 1]
    return loss, np.stack([change[..., 0] + loss, change[..., 2] + loss], axis=-1)


def ground_of(light: Light) -> np.ndarray:
    """CIELAB colour of the ground at each pixel, (M, N, 3)."""
    shape = light.solid_distance.shape
    return cv2.resize(light.background_lab, shape[::-1], interpolation=cv2.INTER_LINEAR)


def roots(lab: np.ndarray) -> np.ndarray:
    """Cube roots of X, Y and Z over those of white, (..., 3), of CIELAB colours."""
    y = (lab[..., 0] + 16.0) / 116.0
    return np.stack([y + lab[..., 1] / 500.0, y, y - lab[..., 2] / 200.0], axis=-1)


def of_roots(roots_xyz: np.ndarray) -> np.ndarray:
    """CIELAB colours, (..., 3), of cube roots of X, Y and Z over those of white."""
    x, y, z = np.moveaxis(roots_xyz, -1, 0)
    return np.stack([116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)], axis=-1)


def given_back(delta: np.ndarray, ground: np.ndarray, where: np.ndarray, loss: np.ndarray) -> None:
    """Add to pixels, in place, what the ground would lose there by a loss of light."""
    lost = roots(ground[where]) * (1.0 - np.exp(-loss[where] / 3.0))[:, None]
    steps = 116.0 * lost[:, 1], 500.0 * (lost[:, 0] - lost[:, 1]), 200.0 * (lost[:, 1] - lost[:, 2])
    delta[where] += np.stack(steps, axis=-1).astype(np.float32)


def off_tint(seen: Tones, shadow: np.ndarray) -> np.ndarray:
    """How far the colour of pixels is from that of shadow as deep as they, (M, N); above 1 it is none.

    Light that reaches into shadow has a tint of its own, which shows the more the deeper it is.

    Parameters
    ----------
    seen : Tones
    shadow : (M, N) ndarray of bool
        Pixels known to lie in shadow.
    """
    off = np.zeros(seen.loss.shape, np.float32)
    for channel in (0, 1):
        colour = seen.colour[..., channel]
        usual = _tint(seen.loss[shadow], colour[shadow], seen.loss)
        # the darker, the less light tells the colour
        doubt = _OVER_NOISE * seen.noise[1 + channel] * np.exp(np.maximum(seen.loss, 0.0) / 3.0)
        off = np.maximum(off, np.abs(colour - usual) / np.maximum(_OFF[channel], doubt))
    return off


def _tint(loss: np.ndarray, colour: np.ndarray, at: np.ndarray) -> np.ndarray:
    """Usual colour of shadow by its loss of light, at some losses."""
    places, usual = [0.0], [0.0]
    edges = np.quantile(loss, np.linspace(0, 1, _TINT_BINS + 1)) if loss.size else np.zeros(0)
    for low, high in pairwise(edges):
        own = (loss >= low) & (loss <= high)
        if np.count_nonzero(own) >= _TINT_LEAST:
            places.append(float(median(loss[own])))
            usual.append(float(median(colour[own])))
    return np.interp(at, places, usual)
