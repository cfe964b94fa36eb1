"""Draw the same pieces lit from above on a plate: surfaces with highlights, crystals with bright edges."""

from dataclasses import dataclass

import cv2
import numpy as np

from .draw import Piece, place_of
from .shapes import lumps, shape_of

_COLOUR = {"kernel": (0.80, 0.66, 0.42), "skin": (0.36, 0.20, 0.11), "salt": (0.82, 0.84, 0.86)}
_LAMP = np.array([1.0, 0.96, 0.88], np.float32)
_READ_NOISE = 0.004


@dataclass(frozen=True)
class PlateLook:
    """What a field is like; lengths in px, ground in linear light."""

    ground: tuple[float, float, float] = (0.03, 0.03, 0.035)
    pieces: int = 130
    smallest_px: float = 14.0
    largest_px: float = 90.0
    fines: int = 3000
    touching: float = 0.3  # share of pieces laid against another
    blur_px: float = 1.4
    quality: int = 88
    light: float = 1.0
    full_well: float = 5000.0  # electrons
    grey: bool = False


PLATES = {
    "dark plate": PlateLook(),
    "dark touching": PlateLook(touching=0.85, pieces=220),
    "dark large": PlateLook(smallest_px=80.0, largest_px=300.0, pieces=22),
    "dark small": PlateLook(smallest_px=8.0, largest_px=30.0, pieces=450),
    "dark compressed": PlateLook(quality=45),
    "dark grey": PlateLook(grey=True),
    "low light": PlateLook(light=0.2, full_well=1500.0),
    "dull plate": PlateLook(ground=(0.10, 0.10, 0.10)),
    "grey plate": PlateLook(ground=(0.3, 0.3, 0.3)),
    "green plate": PlateLook(ground=(0.10, 0.20, 0.12)),
    "white plate": PlateLook(ground=(0.72, 0.71, 0.68)),
}


def draw_plate(look: PlateLook, seed: int, side: int = 1200) -> tuple[np.ndarray, list[Piece]]:
    """Draw a field.

    Returns
    -------
    pixels : (side, side, 3) ndarray of uint8
    pieces : list of Piece
        None of them over another.
    """
    rng = np.random.default_rng(seed + 50_000)
    ground = np.array(look.ground, np.float32)
    light = ground * (1 + 0.02 * lumps(rng, (side, side), 60))[..., None]
    taken, pieces, laid = np.zeros((side, side), bool), [], []
    sizes = np.sort(np.exp(rng.uniform(np.log(look.smallest_px), np.log(look.largest_px), look.pieces)))[::-1]
    for diameter in sizes:
        kind = str(rng.choice(["kernel", "skin", "salt"], p=[0.6, 0.2, 0.2]))
        drawn = shape_of(rng, kind, diameter)
        place = None if drawn is None else place_of(rng, drawn[0], taken, look.touching)
        if drawn is None or place is None:
            continue
        box, part = place
        mask = drawn[0][part]
        taken[box] |= mask
        pieces.append(Piece(kind, box[0].start, box[1].start, mask))
        laid.append((box, part, drawn, kind, diameter))
    for x, y, radius, bright in rng.uniform((0, 0, 0.5, 0.1), (side, side, 2.4, 0.5), (look.fines, 4)):
        if not taken[int(y), int(x)]:
            colour = tuple(float(bright * c) for c in _COLOUR["kernel"])
            cv2.circle(light, (int(x * 16), int(y * 16)), int(radius * 16), colour, -1, cv2.LINE_AA, 4)
    for box, part, (mask, thickness), kind, diameter in laid:
        colour = _surface(rng, mask, thickness, kind, diameter, ground)[part]
        cover = cv2.GaussianBlur(mask.astype(np.float32), (0, 0), 0.6)[part][..., None]
        light[box] = light[box] * (1 - cover) + colour * cover
    return _photographed(rng, light, look), pieces


def _surface(
    rng: np.random.Generator, mask: np.ndarray, thickness: np.ndarray, kind: str, d: float, ground: np.ndarray
) -> np.ndarray:
    """Light each pixel of a piece sends back, (M, M, 3)."""
    colour = np.array(_COLOUR[kind], np.float32) * rng.uniform(0.75, 1.15)
    if kind == "salt":
        depth = cv2.distanceTransform(np.pad(mask, 1).astype(np.uint8), cv2.DIST_L2, 5)[1:-1, 1:-1]
        wide = max(1.5, 0.07 * d)
        part = np.clip(0.6 + 0.5 * lumps(rng, mask.shape, max(3, int(d / 4))), 0.1, 1.4)
        edge = 0.16 * rng.uniform(0.6, 1.6) + 0.75 * np.exp(-(((depth - 0.5 * wide) / wide) ** 2)) * part
        if ground.min() > 0.5:  # nothing sent back stands out, but the edges keep the plate's light
            sent = ground * (0.95 - 0.45 * np.clip(edge[..., None], 0, 1) * rng.uniform(0.4, 1.0))
        else:
            sent = np.minimum(colour * edge[..., None], 0.35 + 0.4 * colour * edge[..., None]) + 0.8 * ground
    else:
        height = cv2.GaussianBlur(np.sqrt(np.clip(thickness, 0, 2)) * d * 0.25, (0, 0), 1.5)
        down, across = np.gradient(height)
        steep = 1.0 / np.sqrt(1.0 + across**2 + down**2)
        lit = np.clip(0.8 * steep + 0.3 * (across * np.cos(0.6) + down * np.sin(0.6)) * steep, 0.15, 1.2)
        if kind == "kernel":
            texture = 1 + 0.12 * lumps(rng, mask.shape, 5) + 0.06 * lumps(rng, mask.shape, 2)
        else:
            texture = 1 + 0.22 * lumps(rng, mask.shape, 4)
        sent = colour * (texture * lit)[..., None]
    return _with_highlights(rng, sent.astype(np.float32), mask, kind, d)


def _with_highlights(
    rng: np.random.Generator, sent: np.ndarray, mask: np.ndarray, kind: str, d: float
) -> np.ndarray:
    """Add round mirrored spots of the lamp; skins are dull."""
    rows, cols = np.nonzero(mask)
    for _ in range({"kernel": rng.poisson(1.2), "salt": rng.poisson(2.5), "skin": 0}[kind]):
        k, radius = rng.integers(len(rows)), rng.uniform(0.8, max(1.5, 0.05 * d))
        spot = np.zeros(mask.shape, np.float32)
        middle = (int(cols[k] * 16), int(rows[k] * 16))
        cv2.circle(spot, middle, int(radius * 16), 1.0, -1, cv2.LINE_AA, 4)
        sent = sent + spot[..., None]
    return sent


def _photographed(rng: np.random.Generator, light: np.ndarray, look: PlateLook) -> np.ndarray:
    """Fall of the light, blur, glare, noise, tone curve and compression."""
    y, x = np.mgrid[: len(light), : light.shape[1]].astype(np.float32) / len(light) - 0.5
    fall = 1 - 0.4 * (x * x + y * y) + 0.2 * rng.normal() * x + 0.2 * rng.normal() * y
    light = light * fall[..., None] * look.light * _LAMP
    for channel, wider in enumerate((1.08, 1.0, 1.15)):
        light[..., channel] = cv2.GaussianBlur(light[..., channel], (0, 0), look.blur_px * wider)
    light = light + 0.02 * cv2.GaussianBlur(light, (0, 0), 40)
    counted = rng.poisson(np.clip(light, 0, 1.05) * look.full_well) / look.full_well
    tone = np.clip(counted + rng.normal(0, _READ_NOISE, light.shape), 0, 1) ** (1 / 2.2)
    pixels = np.clip(tone * 255, 0, 255).astype(np.uint8)
    if look.grey:
        pixels = np.repeat(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY)[..., None], 3, axis=2)
    stored = cv2.imencode(".jpg", pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, look.quality])[1]
    return np.ascontiguousarray(cv2.imdecode(stored, cv2.IMREAD_COLOR)[..., ::-1])
