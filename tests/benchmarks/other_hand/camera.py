"""From light on the sensor to a file: lamp, lens, noise, colour mosaic, firmware, JPEG."""

from dataclasses import dataclass

import cv2
import numpy as np

from .body import noise


@dataclass(frozen=True)
class Camera:
    """One camera with its lamp and lens.

    ``tint`` is the colour of clear oil as linear light (1 is the white level); ``gradient`` the fall of the
    light across the frame; ``vignette`` its fall to the corners; ``chroma`` the relative scale of red against
    blue; ``electrons`` the full well; ``sharpen`` the strength of the firmware's overshoot; ``jpeg`` the
    quality, 0 for none.
    """

    tint: tuple[float, float, float] = (0.72, 0.71, 0.66)
    gradient: float = 0.10
    vignette: float = 0.08
    chroma: float = 0.001
    electrons: float = 14_000.0
    read: float = 12.0
    mosaic: bool = True
    sharpen: float = 0.4
    gamma: float = 2.2
    saturation: float = 1.0
    grey: bool = False
    dust: int = 3
    jpeg: int = 90


def lamp_field(shape: tuple[int, int], camera: Camera, rng: np.random.Generator) -> np.ndarray:
    """Relative light without pieces, (M, N) float32: gradient, vignetting, slow unevenness, sensor dust."""
    m, n = shape
    y, x = np.mgrid[:m, :n].astype(np.float32)
    u, v = x / n - 0.5, y / m - 0.5
    angle = rng.uniform(0, 2 * np.pi)
    light = 1.0 + camera.gradient * (np.cos(angle) * u + np.sin(angle) * v)
    cx, cy = rng.normal(0, 0.06, 2)
    light *= 1.0 - camera.vignette * 2.0 * ((u - cx) ** 2 + (v - cy) ** 2)
    light *= 1.0 + 0.012 * noise(shape, n / 3.0, rng)
    for _ in range(camera.dust):
        px, py, r = rng.uniform(0, n), rng.uniform(0, m), rng.uniform(9, 26)
        d = np.hypot(x - px, y - py)
        ring = np.exp(-(((d - r) / (0.22 * r)) ** 2)) - 0.5 * np.exp(-((d / (0.75 * r)) ** 2))
        light *= 1.0 - rng.uniform(0.012, 0.03) * ring
    return light


def shoot(scene: np.ndarray, camera: Camera, rng: np.random.Generator) -> np.ndarray:
    """Take the picture of a linear scene, (M, N, 3) float, 1 the white level; gives uint8 RGB."""
    scene = _coloured_edges(scene, camera.chroma)
    if camera.grey:
        scene = np.repeat((scene @ np.array([0.3, 0.5, 0.2], np.float32))[..., None], 3, axis=2)
    counts = rng.poisson(np.clip(scene, 0.0, 1.3) * camera.electrons) + rng.normal(
        0, camera.read, scene.shape
    )
    raw = np.clip(counts / camera.electrons, 0.0, 1.0).astype(np.float32)
    if camera.grey:
        raw = np.repeat(raw[..., :1], 3, axis=2)
    elif camera.mosaic:
        raw = _mosaic(raw)
    if camera.saturation != 1.0:
        mean = raw.mean(axis=2, keepdims=True)
        raw = np.clip(mean + camera.saturation * (raw - mean), 0.0, 1.0)
    out = raw ** (1.0 / camera.gamma)
    if camera.sharpen > 0:
        out = out + camera.sharpen * (out - cv2.GaussianBlur(out, (0, 0), 1.3))
    pixels = np.round(np.clip(out, 0.0, 1.0) * 255.0).astype(np.uint8)
    if camera.jpeg:
        pixels = _jpeg(pixels, camera.jpeg)
    if camera.grey:
        pixels = np.repeat(pixels[..., 1:2], 3, axis=2)
    return pixels


def _coloured_edges(scene: np.ndarray, chroma: float) -> np.ndarray:
    """Scale red and blue a little about the middle, as an uncorrected lens does."""
    rim = 8  # so that nothing from outside the picture is drawn in
    scene = cv2.copyMakeBorder(scene, rim, rim, rim, rim, cv2.BORDER_REPLICATE)
    m, n = scene.shape[:2]
    planes = []
    for plane, factor in zip(cv2.split(scene), (1.0 + chroma, 1.0, 1.0 - chroma), strict=True):
        move = np.array([[factor, 0, (1 - factor) * n / 2], [0, factor, (1 - factor) * m / 2]], np.float64)
        planes.append(
            cv2.warpAffine(plane, move, (n, m), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
        )
    return cv2.merge(planes)[rim:-rim, rim:-rim]


def _mosaic(rgb: np.ndarray) -> np.ndarray:
    """Keep one colour a pixel (R G / G B) and fill in the others bilinearly, as simple cameras do."""
    kept = np.zeros(rgb.shape, np.float32)
    kept[0::2, 0::2, 0] = 1.0
    kept[0::2, 1::2, 1] = kept[1::2, 0::2, 1] = 1.0
    kept[1::2, 1::2, 2] = 1.0
    kernel = np.outer([0.5, 1.0, 0.5], [0.5, 1.0, 0.5]).astype(np.float32)
    total = cv2.filter2D(rgb * kept, -1, kernel, borderType=cv2.BORDER_REFLECT_101)
    weight = cv2.filter2D(kept, -1, kernel, borderType=cv2.BORDER_REFLECT_101)
    return total / np.maximum(weight, 1e-6)


def _jpeg(rgb: np.ndarray, quality: int) -> np.ndarray:
    done, data = cv2.imencode(".jpg", rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    if not done:
        raise RuntimeError("the picture could not be encoded")
    return cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1].copy()
