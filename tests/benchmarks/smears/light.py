"""The lamp and the ground: hot spot, vignette, colour, failing lamps, plates, oil."""

from dataclasses import dataclass

import cv2
import numpy as np

from .foreign import edge_of_smear, newton_rings, scratches, streaks
from .imaging import Optics, through_lens
from .noise import Rng, fractal, smooth

_BASE = {"dark": (0.012, 0.014, 0.018), "crossed": (0.13, 0.135, 0.16)}


@dataclass(frozen=True)
class Lamp:
    """Light and ground.

    Attributes
    ----------
    hot, width : float
        Strength of an off-centre hot spot and its width as share of the frame.
    vignette : float
        Light lost in the corners.
    eyepiece : float
        Radius of the round view of an eyepiece, of half the frame's height; 0 for none.
    lean : float
        How much one side is darker (a lamp of a ring has failed).
    tint : tuple of float
        Change of red, green, blue from one side to the other.
    veil : float
        Stray light, of that of clear oil.
    plate : tuple of float
        Colour of the plate when lit from above.
    grainy : float
        Texture of the plate.
    haze : float
        Mottle of what is too fine to be seen.
    oil : float
        Strength of streaks in the oil's thickness.
    oil_colour : tuple of float
        Density of the oil in red, green, blue.
    rings, scratches, smear_edge
        Strength of Newton's rings; number of scratches; whether the smear ends in the picture.
    mirrors : int
        Glossy mirror images of lamps on the oil when lit from above.
    """

    hot: float = 0.15
    width: float = 0.6
    vignette: float = 0.15
    eyepiece: float = 0.0
    lean: float = 0.0
    tint: tuple[float, float, float] = (0.0, 0.0, 0.0)
    veil: float = 0.02
    plate: tuple[float, float, float] = (0.75, 0.75, 0.73)
    grainy: float = 0.02
    haze: float = 0.012
    oil: float = 0.03
    oil_colour: tuple[float, float, float] = (0.3, 0.5, 1.6)
    rings: float = 0.0
    scratches: int = 0
    smear_edge: bool = False
    mirrors: int = 0


def shine(shape: tuple[int, int], lamp: Lamp, rng: Rng) -> np.ndarray:
    """Light of the lamp over the frame, 1 where it is brightest; (M, N, 3)."""
    y, x = np.indices(shape, np.float32)
    long = max(shape)
    at = (0.5 + rng.uniform(-0.3, 0.3, 2)) * shape[::-1]
    spot = np.exp(-((x - at[0]) ** 2 + (y - at[1]) ** 2) / (2 * (lamp.width * long) ** 2))
    out = np.hypot((x - shape[1] / 2), (y - shape[0] / 2)) / np.hypot(shape[0] / 2, shape[1] / 2)
    way = rng.uniform(0, 2 * np.pi)
    along = ((x - shape[1] / 2) * np.cos(way) + (y - shape[0] / 2) * np.sin(way)) / long
    even = (1 - lamp.hot + lamp.hot * spot) * (1 - lamp.vignette * out**3) * (1 + lamp.lean * along)
    even = even * (1 + 0.008 * smooth(shape, long / 4, rng))
    if lamp.eyepiece:
        middle = (np.array(shape[::-1]) / 2) * (1 + rng.uniform(-0.08, 0.08, 2))
        far = np.hypot(x - middle[0], y - middle[1]) / (0.5 * shape[0] * lamp.eyepiece)
        even = (
            even
            * (0.004 + 1 / (1 + np.exp(np.clip((far - 1) / 0.012, -50, 50))))
            * (1 - 0.25 * np.clip(far, 0, 1) ** 4)
        )
    colour = 1 + along[..., None] * np.asarray(lamp.tint, np.float32)
    light = even[..., None] * colour
    return (light / np.percentile(light, 99)).astype(np.float32)


def ground(
    shape: tuple[int, int], lamp: Lamp, optics: Optics, rng: Rng
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The smear without pieces: its light, the dry part of the slide, and lines that are no pieces."""
    dry = np.zeros(shape, bool)
    line = np.zeros(shape, bool)
    path = np.zeros(shape, np.float32)
    oil = 1 + streaks(shape, lamp.oil, rng) if lamp.oil else np.ones(shape, np.float32)
    if lamp.smear_edge:
        height = edge_of_smear(shape, rng)
        dry = height <= 0
        path += 0.47 * height
        oil = oil * np.clip(height / 12, 0, 1)
        line |= cv2.dilate(dry.astype(np.uint8), np.ones((41, 41), np.uint8)).astype(bool)
    if lamp.scratches:
        marks = scratches(shape, lamp.scratches, rng)
        path += marks
        line |= cv2.dilate((marks > 0.03).astype(np.uint8), np.ones((5, 5), np.uint8)).astype(bool)
    clear = np.exp(-0.25 * oil[..., None] * np.asarray(lamp.oil_colour, np.float32))
    if optics.mode == "above":
        rough = 1 + lamp.grainy * fractal(shape, 9, rng, 3)
        light = np.asarray(lamp.plate, np.float32) * rough[..., None] * clear
        gy, gx = np.gradient(path)
        light += np.clip(0.5 * (gx - gy), 0, 0.5)[..., None]
        light, glare = _mirrored(light, lamp, rng)
        line |= glare
    elif optics.mode == "through":
        light = clear * through_lens(path, optics)[..., None]
    else:
        gy, gx = np.gradient(path)
        light = (
            np.asarray(_BASE[optics.mode], np.float32) * clear
            + 0.7 * np.clip(np.hypot(gx, gy), 0, 0.6)[..., None]
        )
    light = light * (1 + lamp.haze * fractal(shape, 14, rng, 4, 0.8))[..., None]
    if lamp.rings:
        light = light * newton_rings(shape, lamp.rings, rng)
    return light.astype(np.float32), dry, line


def _mirrored(light: np.ndarray, lamp: Lamp, rng: Rng) -> tuple[np.ndarray, np.ndarray]:
    """Mirror images of lamps on the glossy oil."""
    layer = np.zeros(light.shape[:2], np.float32)
    at = rng.uniform(0.25, 0.75, 2) * light.shape[1::-1]
    for k in range(lamp.mirrors):
        way = 2 * np.pi * k / max(lamp.mirrors, 1)
        spot = at + 0.16 * min(light.shape[:2]) * np.array([np.cos(way), np.sin(way)]) * rng.uniform(
            0.95, 1.05
        )
        cv2.ellipse(
            layer,
            tuple(int(v) for v in spot),
            tuple(int(v) for v in rng.uniform(3, 9, 2)),
            rng.uniform(0, 180),
            0,
            360,
            1.0,
            -1,
        )
    layer = cv2.GaussianBlur(layer, (0, 0), 1.5) * (1.3 if lamp.mirrors else 0)
    return light + layer[..., None], layer > 0.05
