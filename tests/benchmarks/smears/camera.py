"""What a cheap camera makes of the light: mosaic, noise, denoising, tone, sharpening, scaling, JPEG."""

from dataclasses import dataclass

import cv2
import numpy as np

from .noise import Rng

_PACKING = {
    "420": cv2.IMWRITE_JPEG_SAMPLING_FACTOR_420,
    "422": cv2.IMWRITE_JPEG_SAMPLING_FACTOR_422,
    "444": cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444,
}


@dataclass(frozen=True)
class Camera:
    """A camera; lengths in px of the final picture.

    Attributes
    ----------
    level : float
        Linear level the clear oil (the plate) is exposed to; above 1 it is clipped.
    cast : tuple of float
        Gain of red, green, blue left by the white balance.
    sharp_px : float
        Blur of lens and pixel.
    corner_px : float
        How far red and blue lie apart in the corners.
    motion : tuple of float
        Length of the smear by motion, px, and its angle.
    bands : tuple of float
        Strength and height (px) of the bands a flickering lamp leaves.
    scale : float
        Pixels of the sensor for one of the picture; below 1 the picture is blown up.
    shot, read : float
        Noise at full level and in the dark, of full level.
    smear : float
        Strength of the denoising, 0..1.
    halo : tuple of float
        Strength and radius (px) of the sharpening.
    tone, saturation : float
        Bend of the tone curve, 0..1, and gain of colour.
    steps : int
        Grey levels left, 256 or fewer.
    quality, packing : int, str
        Of the JPEG; packing is 420, 422 or 444. Quality 0: no JPEG.
    """

    level: float = 0.62
    cast: tuple[float, float, float] = (1.0, 1.0, 1.0)
    sharp_px: float = 0.9
    corner_px: float = 0.0
    motion: tuple[float, float] = (0.0, 0.0)
    bands: tuple[float, float] = (0.0, 90.0)
    scale: float = 1.0
    shot: float = 0.02
    read: float = 0.004
    smear: float = 0.3
    halo: tuple[float, float] = (0.6, 1.3)
    tone: float = 0.3
    saturation: float = 1.1
    steps: int = 256
    quality: int = 80
    packing: str = "420"
    grey: bool = False


def photograph(light: np.ndarray, camera: Camera, rng: Rng) -> np.ndarray:
    """Turn linear light (M, N, 3), 1 where the lamp is brightest, into RGB, uint8, before words and JPEG."""
    shape = light.shape[:2]
    light = cv2.GaussianBlur(light, (0, 0), camera.sharp_px)
    light = _moved(_corners(light, camera.corner_px), camera)
    light = light * camera.level * _bands(shape, camera, rng)[..., None]
    if camera.scale != 1:
        size = tuple(round(n * camera.scale) for n in shape[::-1])
        light = cv2.resize(
            light, size, interpolation=cv2.INTER_AREA if camera.scale < 1 else cv2.INTER_LINEAR
        )
    raw = _sensor(light, camera, rng)
    tones = _toned(_denoised(raw, camera.smear), camera)
    if camera.scale != 1:
        tones = cv2.resize(
            tones, shape[::-1], interpolation=cv2.INTER_CUBIC if camera.scale < 1 else cv2.INTER_AREA
        )
    strength, radius = camera.halo
    tones = tones + strength * (tones - cv2.GaussianBlur(tones, (0, 0), radius))
    if camera.steps < 256:
        tones = np.round(np.clip(tones, 0, 1) * (camera.steps - 1)) / (camera.steps - 1)
    return np.round(255 * np.clip(tones, 0, 1)).astype(np.uint8)


def compressed(pixels: np.ndarray, camera: Camera) -> np.ndarray:
    """Through a JPEG file and back."""
    if not camera.quality:
        return pixels
    options = [
        cv2.IMWRITE_JPEG_QUALITY,
        camera.quality,
        cv2.IMWRITE_JPEG_SAMPLING_FACTOR,
        _PACKING[camera.packing],
    ]
    _, data = cv2.imencode(".jpg", pixels[..., ::-1], options)
    return np.ascontiguousarray(np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR))[..., ::-1])


def _corners(light: np.ndarray, corner_px: float) -> np.ndarray:
    """Red drawn a little larger and blue a little smaller than green."""
    if not corner_px:
        return light
    rows, cols = light.shape[:2]
    grow = corner_px / np.hypot(rows / 2, cols / 2)
    planes = []
    for k, by in enumerate((grow, 0.0, -grow)):
        move = np.array([[1 + by, 0, -by * cols / 2], [0, 1 + by, -by * rows / 2]])
        planes.append(
            cv2.warpAffine(
                np.ascontiguousarray(light[..., k]), move, (cols, rows), borderMode=cv2.BORDER_REPLICATE
            )
        )
    return np.stack(planes, axis=-1)


def _moved(light: np.ndarray, camera: Camera) -> np.ndarray:
    length, angle = camera.motion
    if length < 1:
        return light
    half = int(np.ceil(length / 2)) + 1
    kernel = np.zeros((2 * half + 1,) * 2, np.float32)
    step = np.array([np.cos(angle), np.sin(angle)]) * length / 2
    ends = [tuple(int(v) for v in np.round((half + s * step) * 16)) for s in (-1, 1)]
    cv2.line(kernel, ends[0], ends[1], 1.0, 1, cv2.LINE_AA, 4)
    return cv2.filter2D(light, -1, kernel / kernel.sum(), borderType=cv2.BORDER_REPLICATE)


def _bands(shape: tuple[int, ...], camera: Camera, rng: Rng) -> np.ndarray:
    strength, period = camera.bands
    y = np.arange(shape[0], dtype=np.float32)[:, None]
    return (1 - strength * (0.5 + 0.5 * np.sin(2 * np.pi * y / period + rng.uniform(0, 6)))).astype(
        np.float32
    )


def _sensor(light: np.ndarray, camera: Camera, rng: Rng) -> np.ndarray:
    """Noise, clipping, and for a colour camera one colour a pixel, filled in between."""
    if camera.grey:
        light = np.repeat((light @ np.array([0.3, 0.5, 0.2], np.float32))[..., None], 3, axis=-1)
    else:
        light = np.asarray(light * np.asarray(camera.cast, np.float32))
    one = np.empty(light.shape[:2], np.float32)
    for row, col, plane in ((0, 0, 0), (0, 1, 1), (1, 0, 1), (1, 1, 2)):
        one[row::2, col::2] = light[row::2, col::2, plane]
    spread = np.sqrt(camera.shot**2 * np.clip(one, 0, None) + camera.read**2)
    one = one + spread * rng.standard_normal(one.shape).astype(np.float32)
    if camera.grey:
        return np.repeat(np.clip(one, 0, 1)[..., None], 3, axis=-1)
    counts = np.round(np.clip(one, 0, 1) * 65535).astype(np.uint16)
    return cv2.cvtColor(counts, cv2.COLOR_BayerRGGB2RGB).astype(np.float32) / 65535


def _denoised(raw: np.ndarray, smear: float) -> np.ndarray:
    """Edges kept, fine texture wiped away, colour more than lightness."""
    raw = np.sqrt(np.clip(raw, 0, 1))
    if smear > 0:
        luma = raw.mean(axis=-1, keepdims=True)
        colour = cv2.GaussianBlur(raw - luma, (0, 0), 0.6 + 2.5 * smear)
        flat = cv2.bilateralFilter(luma[..., 0], 5, 0.02 + 0.05 * smear, 1.0 + 2 * smear)[..., None]
        raw = flat * min(1.0, 0.3 + smear) + luma * max(0.0, 0.7 - smear) + colour
    return np.clip(raw, 0, 1) ** 2


def _toned(linear: np.ndarray, camera: Camera) -> np.ndarray:
    tones = np.clip(linear, 0, 1) ** (1 / 2.2)
    tones = tones + camera.tone * (tones * tones * (3 - 2 * tones) - tones)
    grey = tones @ np.array([0.3, 0.59, 0.11], np.float32)
    return (grey[..., None] + camera.saturation * (tones - grey[..., None])).astype(np.float32)
