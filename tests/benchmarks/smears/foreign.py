"""What lies in a smear or on the picture and is no piece: bubbles, fibres, dust, scratches, streaks."""

import cv2
import numpy as np

from .body import Body, spread
from .noise import Rng, fractal, grid, smooth, turned

AIR, WATER, CELLULOSE = -0.47, -0.137, 0.07  # refractive index less that of oil, from memory


def _body(
    name: str,
    path: np.ndarray,
    mask: np.ndarray,
    density: np.ndarray,
    cover: np.ndarray,
    tint: tuple[float, ...],
    shine: float,
) -> Body:
    relief = np.abs(path) / 0.2
    return Body(
        "foreign",
        spread((1, 1, 1), density.astype(np.float32)),
        path.astype(np.float32),
        mask,
        relief.astype(np.float32),
        cover.astype(np.float32),
        spread(tint, np.ones(mask.shape, np.float32)),
        shine,
        0.0,
        name,
    )


def bubble(d_px: float, um_per_px: float, rng: Rng) -> Body:
    """Air in oil: light is thrown out of the lens but for the middle; pressed flat where it is large."""
    x, y = grid(0.55 * d_px + 6, rng)
    r = np.hypot(x, y * rng.uniform(1.0, 1.06))
    ball = 2 * np.sqrt(np.clip((d_px / 2) ** 2 - r**2, 0, None))
    ball = np.minimum(ball, rng.uniform(60, 200) / um_per_px)
    mask = r < d_px / 2
    ring = np.exp(-(((r - 0.46 * d_px) / (0.05 * d_px + 0.8)) ** 2))
    return _body("bubble", AIR * ball, mask, 0.02 * mask, mask * (0.1 + 0.45 * ring), (0.3, 0.3, 0.3), 2.2)


def droplet(d_px: float, um_per_px: float, rng: Rng) -> Body:
    """Water in oil: a wide bright middle and a dark rim."""
    x, y = grid(0.6 * d_px + 6, rng)
    r = np.hypot(x, y * rng.uniform(1.0, 1.12))
    ball = 2 * np.sqrt(np.clip((d_px / 2) ** 2 - r**2, 0, None)) * rng.uniform(0.5, 0.95)
    mask = r < d_px / 2
    return _body("droplet", WATER * ball, mask, 0.01 * mask, 0.15 * mask, (0.5, 0.5, 0.5), 1.5)


def fibre(d_px: float, um_per_px: float, rng: Rng) -> Body:
    """A textile or paper fibre: long, bent, with dark sides and a bright line along it."""
    long, wide = d_px, max(3.0, rng.uniform(10, 24) / um_per_px)
    x, y = grid(0.55 * long + 2 * wide, rng)
    u, v = turned(x, y, rng.uniform(0, np.pi))
    bend = rng.uniform(-0.5, 0.5) * u**2 / long + 0.05 * long * np.sin(
        2 * np.pi * u / long * rng.uniform(0.5, 1.3) + rng.uniform(0, 6)
    )
    slope = np.gradient(bend, axis=1) if bend.shape[1] > 2 else 0
    v = (v - bend) / np.sqrt(1 + np.asarray(slope) ** 2)
    half = 0.5 * wide * (1 + 0.12 * smooth(x.shape, 3 * wide, rng))
    inside = (np.abs(v) < half) & (np.abs(u) < 0.5 * long)
    tube = 2 * np.sqrt(np.clip(half**2 - v**2, 0, None)) * inside
    hue = [(0.75, 0.75, 0.8), (0.12, 0.2, 0.5), (0.5, 0.12, 0.12), (0.3, 0.3, 0.3)][rng.integers(4)]
    body = _body("fibre", CELLULOSE * tube, inside, 0.0 * tube, 0.6 * inside, hue, 0.4)
    body.density = spread(
        1 - np.array(hue), (0.5 * tube / wide * (1 + 0.3 * fractal(x.shape, wide, rng))).astype(np.float32)
    )
    body.retard = 0.006
    return body


MAKERS = {"bubble": bubble, "droplet": droplet, "fibre": fibre}


def scratches(shape: tuple[int, int], count: int, rng: Rng) -> np.ndarray:
    """Path of scratches on the slide, px."""
    path = np.zeros(shape, np.float32)
    for _ in range(count):
        way, at = rng.normal(0.4, 0.5), rng.uniform(0, 1, 2) * shape[::-1]
        step = np.array([np.cos(way), np.sin(way)]) * rng.uniform(0.1, 0.7) * max(shape)
        mid = at + step / 2 + rng.normal(0, 0.02 * max(shape), 2)
        t = np.linspace(0, 1, 40)[:, None]
        line = (1 - t) ** 2 * at + 2 * t * (1 - t) * mid + t**2 * (at + step)
        layer = np.zeros(shape, np.float32)
        cv2.polylines(layer, [np.round(line * 16).astype(np.int32)], False, 1.0, 1, cv2.LINE_AA, 4)
        path += rng.uniform(0.15, 0.5) * layer * (0.6 + 0.4 * smooth(shape, 25, rng))
    return cv2.GaussianBlur(path, (0, 0), 0.8)


def dust(shape: tuple[int, int], count: int, rng: Rng) -> tuple[np.ndarray, np.ndarray]:
    """Dust on the sensor or the eyepiece: soft dark spots; light left and mask."""
    left = np.ones(shape, np.float32)
    for _ in range(count):
        layer = np.zeros(shape, np.float32)
        at = (int(rng.uniform(0, shape[1])), int(rng.uniform(0, shape[0])))
        radius = int(rng.uniform(4, 16) * max(shape) / 1200)
        cv2.ellipse(
            layer,
            at,
            (radius + 1, int(radius * rng.uniform(0.6, 1)) + 1),
            rng.uniform(0, 180),
            0,
            360,
            1.0,
            -1,
        )
        soft = cv2.GaussianBlur(layer, (0, 0), max(1.0, radius * rng.uniform(0.25, 0.5)))
        left *= 1 - rng.uniform(0.06, 0.3) * soft
    return left, left < 0.965


def newton_rings(shape: tuple[int, int], strength: float, rng: Rng) -> np.ndarray:
    """Coloured rings of the thin gap between cover glass and slide; (M, N, 3), about 1."""
    y, x = np.indices(shape, np.float32)
    at = rng.uniform(-0.2, 1.2, 2) * shape[::-1]
    r2 = (
        (x - at[0]) ** 2
        + 1.3 * (y - at[1]) ** 2
        + 0.02 * max(shape) ** 2 * smooth(shape, max(shape) / 2, rng)
    )
    gap = r2 / max(shape) ** 2 * rng.uniform(5, 9) + rng.uniform(0, 1)  # um, twice
    rings = [np.cos(2 * np.pi * gap / wave) * np.exp(-((gap / 5) ** 2)) for wave in (0.62, 0.54, 0.46)]
    return (1 + strength * np.stack(rings, axis=-1)).astype(np.float32)


def streaks(shape: tuple[int, int], strength: float, rng: Rng) -> np.ndarray:
    """Thickness of the oil about its mean: drawn out along the way it was smeared."""
    side = int(1.5 * max(shape))
    long = smooth((side, max(8, side // 9)), side / 14, rng)
    wide = cv2.resize(long, (side * 2, side), interpolation=cv2.INTER_CUBIC)[:, :side]
    turn = cv2.getRotationMatrix2D((side / 2, side / 2), rng.uniform(-35, 35), 1.0)
    whole = cv2.warpAffine(wide, turn, (side, side), borderMode=cv2.BORDER_REFLECT)
    top, left = (side - shape[0]) // 2, (side - shape[1]) // 2
    return strength * (
        whole[top : top + shape[0], left : left + shape[1]] + 0.6 * smooth(shape, max(shape) / 3, rng)
    )


def edge_of_smear(shape: tuple[int, int], rng: Rng) -> np.ndarray:
    """Height of the oil where the smear ends within the picture, px; 0 where the slide is dry."""
    y, x = np.indices(shape, np.float32)
    way = rng.uniform(0, 2 * np.pi)
    far = (x - shape[1] / 2) * np.cos(way) + (y - shape[0] / 2) * np.sin(way)
    far = 0.33 * min(shape) - far + 0.03 * max(shape) * fractal(shape, max(shape) / 3, rng, 4, 0.45)
    return (14 * (1 - np.exp(-np.clip(far, 0, None) / 9))).astype(np.float32)
