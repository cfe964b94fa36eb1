"""One seed: how high it stands, which way its surface looks, and how it is coloured."""

from typing import NamedTuple

import cv2
import numpy as np

_STEEPEST = 0.004  # least squared cosine taken at the outline, where an oval stands upright


class Form(NamedTuple):
    """Shape of a sort of seed.

    Attributes
    ----------
    aspect : float
        Length over width.
    bend, pinch, lump : float
        How curved along its length, how pointed at one end, how uneven its outline is.
    square : float
        Exponent of the oval: 2 for an ellipse.
    high : float
        Height over the width.
    rgb : tuple of int
    gloss : float
    size : float
        Over the usual size of a field.
    """

    aspect: float
    bend: float
    pinch: float
    lump: float
    square: float
    high: float
    rgb: tuple[int, int, int]
    gloss: float
    size: float = 1.0


FORMS = {
    "bean": Form(1.55, 0.18, 0.0, 0.02, 2.1, 0.47, (235, 228, 208), 0.8),
    "kidney": Form(1.75, 0.32, 0.0, 0.02, 2.1, 0.47, (120, 38, 30), 1.3),
    "chickpea": Form(1.12, 0.0, 0.12, 0.05, 2.1, 0.47, (214, 176, 120), 0.8),
    "pea": Form(1.02, 0.0, 0.0, 0.01, 2.1, 0.47, (150, 170, 70), 0.8),
    "coffee": Form(1.35, 0.0, 0.0, 0.02, 2.3, 0.41, (88, 55, 36), 1.2),
    "almond": Form(1.75, 0.0, 0.45, 0.02, 2.1, 0.28, (165, 105, 62), 0.2),
    "hazelnut": Form(1.1, 0.0, 0.15, 0.03, 2.1, 0.47, (160, 100, 60), 0.5),
    "rice": Form(2.9, 0.0, 0.05, 0.01, 2.1, 0.47, (228, 222, 205), 0.5, 0.75),
    "sunflower": Form(1.9, 0.0, 0.4, 0.02, 2.1, 0.28, (205, 200, 190), 0.2),
    "lentil": Form(1.03, 0.0, 0.0, 0.01, 2.0, 0.21, (150, 120, 80), 0.8, 0.9),
}


class Seed(NamedTuple):
    """A seed in a crop of its own: mask, height in px, normals, and colour as the light it gives back."""

    mask: np.ndarray
    height_px: np.ndarray
    normals: np.ndarray
    albedo: np.ndarray


def seed(rng: np.random.Generator, kind: str, size_px: float) -> Seed:
    """Draw a seed of about this area-equivalent size, turned at random."""
    form = FORMS[kind]
    length = form.size * size_px * rng.uniform(0.85, 1.15)
    aspect = form.aspect * rng.uniform(0.93, 1.07)
    half_long, half_wide = length / 2 * np.sqrt(aspect), length / 2 / np.sqrt(aspect)
    reach = int(half_long * 1.35) + 4
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1].astype(np.float32)
    turn = rng.uniform(0, 2 * np.pi)
    along, across = x * np.cos(turn) + y * np.sin(turn), y * np.cos(turn) - x * np.sin(turn)
    across += form.bend * rng.uniform(0.6, 1.2) * (along**2 / half_long - 0.4 * half_long)
    across /= 1 - form.pinch * np.clip(along / half_long, -1, 1)
    u, v = along / half_long, across / half_wide
    angle, phases = np.arctan2(v, u), rng.uniform(0, 2 * np.pi, 4)
    uneven = 1 + form.lump * sum(np.cos((k + 2) * angle + phases[k]) / (k + 1) for k in range(4))
    out = ((np.abs(u) ** form.square + np.abs(v) ** form.square) ** (1 / form.square) / uneven).astype(
        np.float32
    )
    top = 2 * half_wide * form.high
    height = top * np.sqrt(np.clip(1 - out**2, 0, None))
    down, right = np.gradient(cv2.GaussianBlur(out, (0, 0), 0.8))
    steep = top * out / np.sqrt(np.clip(1 - out**2, _STEEPEST, None))
    normals = np.dstack([steep * right, steep * down, np.ones_like(out)])
    normals /= np.linalg.norm(normals, axis=2, keepdims=True)
    return Seed(out < 1, height, normals.astype(np.float32), _albedo(rng, kind, u, v))


def mottle(rng: np.random.Generator, shape: tuple[int, int], grain_px: float) -> np.ndarray:
    """Smooth noise of three octaves with a spread of one."""
    height, width = shape
    total = np.zeros(shape, np.float32)
    for octave in range(3):
        step = grain_px / 2**octave
        coarse = rng.normal(0, 1, (max(2, int(height / step) + 2), max(2, int(width / step) + 2)))
        total += 0.6**octave * cv2.resize(
            coarse.astype(np.float32), (width, height), interpolation=cv2.INTER_CUBIC
        )
    return total / total.std()


def _albedo(rng: np.random.Generator, kind: str, u: np.ndarray, v: np.ndarray) -> np.ndarray:
    """Colour of the surface, display values 0..1, with what grows on such a seed."""
    shape = u.shape
    colour = np.array(FORMS[kind].rgb) / 255 * rng.uniform(0.85, 1.12) * rng.normal(1, 0.03, 3)
    size = shape[0]
    albedo = colour * (1 + 0.05 * mottle(rng, shape, max(6, size / 6)))[..., None]
    if kind == "kidney" and rng.random() < 0.35:  # pale with brown flecks
        fleck = 1 / (1 + np.exp(-4 * (mottle(rng, shape, max(5, size / 5)) - 0.3)))[..., None]
        albedo = (1 - fleck) * np.array([0.78, 0.66, 0.52]) + fleck * np.array([0.42, 0.24, 0.16])
    elif kind == "sunflower":
        stripe = np.sin(9 * v + 0.6 * mottle(rng, shape, max(6, size / 6)))
        albedo *= (1 - 0.6 / (1 + np.exp(-6 * (stripe - 0.2))))[..., None]
    elif kind == "bean" and rng.random() < 0.4:  # an eye
        albedo *= (1 - 0.8 * np.exp(-((u / 0.25) ** 2) - ((v - 0.75) / 0.35) ** 2))[..., None]
    elif kind == "coffee":
        albedo *= (1 - 0.55 * np.exp(-(((v + 0.08 * np.sin(3 * u)) / 0.09) ** 2)))[..., None]
    elif kind in ("almond", "hazelnut"):
        albedo *= (1 + 0.1 * np.sin(22 * v + mottle(rng, shape, max(4, size / 10))))[..., None]
    return np.clip(albedo, 0.01, 0.98).astype(np.float32)
