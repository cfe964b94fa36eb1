"""What a live picture is worth while one focuses: focus and cover meters and quick outlines."""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from measure.model import FieldSettings, Picture

_LIVE_PX = 640  # outlines are looked for on a copy about this long: a few a second


@dataclass(frozen=True)
class LiveLook:
    """A quick look at a frame.

    Attributes
    ----------
    sharpness : float
        Steepest edges against the noise, higher is sharper; compare only at one place of one slide.
    cover : float
        Share of the frame covered, 0..1.
    clipped : float
        Share of pixels at the end of the range, 0..1.
    outlines : tuple of (P, 2) ndarray
        Pieces found on a reduced copy, in px of the frame.
    cast : float
        Chroma of the oil, CIELAB: how far its colour is from grey; nan where it was not looked at.
    """

    sharpness: float
    cover: float
    clipped: float
    outlines: tuple[np.ndarray, ...]
    cast: float = float("nan")


def sharpness(pixels: np.ndarray) -> float:
    """Return how steep the steepest edges of a frame are, levels a px above what noise gives.

    Parameters
    ----------
    pixels : (M, N, 3) ndarray of uint8
    """
    grey = cv2.GaussianBlur(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY), (0, 0), 0.8).astype(np.float32)
    slope = cv2.magnitude(cv2.Sobel(grey, cv2.CV_32F, 1, 0) / 8, cv2.Sobel(grey, cv2.CV_32F, 0, 1) / 8)
    flat = slope[::2, ::2]
    noise = float(np.median(flat))
    steep = float(np.quantile(flat, 0.995))
    return max(0.0, steep - 3.0 * noise)


def look_live(
    pixels: np.ndarray, settings: FieldSettings | None = None, *, outlines: bool = True
) -> LiveLook:
    """Look at a frame quickly.

    Parameters
    ----------
    pixels : (M, N, 3) ndarray of uint8
        RGB.
    settings : FieldSettings, optional
        Sensitivity and cutting; the smallest size is that of the reduced copy.
    outlines : bool
        Whether to find pieces; the meters alone are faster.
    """
    from measure.field.components.find import find_pieces
    from measure.field.ground.light import prepare
    from measure.field.levelled import levelled

    sharp = sharpness(pixels)
    clipped = float(((pixels <= 1) | (pixels >= 254)).any(axis=2).mean())
    if not outlines:
        return LiveLook(sharp, float("nan"), clipped, ())
    factor = min(1.0, _LIVE_PX / max(pixels.shape[:2]))
    small = cv2.resize(pixels, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
    light = prepare(Picture(small))
    found = find_pieces(levelled(light).level, 6.0, settings or FieldSettings())
    shapes = tuple((outline / factor).astype(np.float32) for outline in found.outlines)
    area = sum(cv2.contourArea(shape) for shape in shapes)
    cover = min(1.0, area / (pixels.shape[0] * pixels.shape[1]))
    return LiveLook(sharp, cover, clipped, shapes, float(np.hypot(*light.oil_lab[1:])))


def flickers(levels: Sequence[float]) -> bool:
    """Whether the brightness of frames of one still place goes up and down by more than 3 % to and fro.

    A slow drift (the camera's own exposure settling) turns round seldom and is no flicker.

    Parameters
    ----------
    levels : sequence of float
        Mean brightness of the latest frames, oldest first; fewer than eight tell nothing.
    """
    values = np.asarray(levels, float)
    if len(values) < 8:
        return False
    turns = np.count_nonzero(np.diff(np.sign(np.diff(values))))
    return bool(np.ptp(values) > 0.03 * values.mean() and turns >= len(values) // 4)
