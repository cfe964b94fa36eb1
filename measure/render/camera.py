"""From linear light to the pixels of a file: glare, shot and read noise, response curve, sharpening, JPEG."""

import cv2
import numpy as np

from measure.render.recipe import Camera


def encoded(linear: np.ndarray) -> np.ndarray:
    """Return sRGB values 0..1 of linear light 0..1 (IEC 61966-2-1), by a table of 16,384 steps."""
    steps = np.linspace(0.0, 1.0, 16384)
    table = np.where(steps <= 0.0031308, 12.92 * steps, 1.055 * steps ** (1 / 2.4) - 0.055).astype(np.float32)
    return table[(np.clip(linear, 0.0, 1.0) * 16383.0 + 0.5).astype(np.uint16)]


def _noisy(strip: np.ndarray, camera: Camera, rng: np.random.Generator) -> np.ndarray:
    electrons = np.maximum(strip, 0.0) * np.float32(camera.full_well)
    deviation = np.sqrt(electrons + np.float32(camera.read_noise**2))
    electrons += deviation * rng.standard_normal(strip.shape, dtype=np.float32)
    return electrons / np.float32(camera.full_well)


def exposed(linear: np.ndarray, camera: Camera, glare: float, rng: np.random.Generator) -> np.ndarray:
    """Return the picture as sRGB float32 0..255, worked in strips to spare memory."""
    out = np.empty(linear.shape, dtype=np.float32)
    for top in range(0, linear.shape[0], 256):
        strip = linear[top : top + 256] * np.float32(1.0 - glare) + np.float32(glare)
        out[top : top + 256] = encoded(_noisy(strip, camera, rng)) * np.float32(255.0)
    if camera.sharpen > 0:
        soft = cv2.GaussianBlur(out, (0, 0), 1.2)
        out += np.float32(camera.sharpen) * (out - soft)
    return out


def compressed(pixels: np.ndarray, quality: int) -> np.ndarray:
    """Return RGB pixels as they come back from a JPEG of that quality."""
    done, data = cv2.imencode(".jpg", pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    back = cv2.imdecode(data, cv2.IMREAD_COLOR)
    assert done
    assert back is not None  # it was encoded here
    return np.ascontiguousarray(back[..., ::-1])


def photographed(linear: np.ndarray, camera: Camera, glare: float, rng: np.random.Generator) -> np.ndarray:
    """Return the uint8 RGB picture a camera makes of linear light."""
    pixels = np.clip(np.rint(exposed(linear, camera, glare, rng)), 0, 255).astype(np.uint8)
    return pixels if camera.jpeg_quality is None else compressed(pixels, camera.jpeg_quality)
