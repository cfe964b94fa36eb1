"""Draw a field: pieces that absorb or bend light, fines, air and threads, lens, camera and compression."""

from dataclasses import dataclass

import cv2
import numpy as np

from .shapes import lumps, shape_of

_SQUARE = np.ones((3, 3), np.uint8)
_COLOUR = {"kernel": (0.35, 0.55, 1.1), "skin": (0.72, 1.08, 1.6), "salt": (0.9, 0.9, 0.9)}
_LAMP = np.array([0.86, 0.80, 0.62], np.float32)
_FULL_WELL = 6000.0  # electrons
_READ_NOISE = 0.004


@dataclass(frozen=True)
class Look:
    """What a field is like; lengths in px."""

    pieces: int = 160
    smallest_px: float = 14.0
    largest_px: float = 90.0
    fines: int = 4000
    contrast: float = 1.0
    touching: float = 0.3  # share of pieces laid against another
    blotches: float = 0.0  # absorbance
    blur_px: float = 1.3
    sharpened: float = 0.0
    quality: int = 85
    grey: bool = False


LOOKS = {
    "plain": Look(),
    "grey": Look(grey=True),
    "sharpened": Look(sharpened=1.0),
    "faint": Look(contrast=0.3),
    "touching": Look(touching=0.85, pieces=260),
    "blurred": Look(blur_px=3.0),
    "many fines": Look(fines=20_000),
    "small": Look(smallest_px=8.0, largest_px=30.0, pieces=500),
    "large": Look(smallest_px=80.0, largest_px=300.0, pieces=22),
    "blotches": Look(blotches=0.12),
    "compressed": Look(quality=45),
}


@dataclass(frozen=True)
class Piece:
    """One piece: its kind, the corner of its crop and its mask there."""

    kind: str
    top: int
    left: int
    mask: np.ndarray


def draw(look: Look, seed: int, side: int = 1200) -> tuple[np.ndarray, list[Piece]]:
    """Draw a field.

    Returns
    -------
    pixels : (side, side, 3) ndarray of uint8
    pieces : list of Piece
        None of them over another.
    """
    rng = np.random.default_rng(seed)
    absorbed, sent_in = np.zeros((side, side, 3), np.float32), np.zeros((side, side), np.float32)
    taken, pieces = np.zeros((side, side), bool), []
    sizes = np.sort(np.exp(rng.uniform(np.log(look.smallest_px), np.log(look.largest_px), look.pieces)))[::-1]
    for diameter in sizes:
        kind = str(rng.choice(["kernel", "skin", "salt"], p=[0.6, 0.2, 0.2]))
        drawn = shape_of(rng, kind, diameter)
        place = None if drawn is None else place_of(rng, drawn[0], taken, look.touching)
        if drawn is None or place is None:
            continue
        box, part = place
        mask, thickness = drawn[0][part], drawn[1][part]
        taken[box] |= mask
        pieces.append(Piece(kind, box[0].start, box[1].start, mask))
        absorbed[box] += _absorbed(rng, kind, mask, thickness, diameter, look.contrast)
        if kind == "salt":
            sent_in[box] += _sent_in(rng, mask, diameter, look.contrast)
    _lay_foreign(rng, absorbed, sent_in, taken)
    absorbed += _fines(rng, look.fines, side)[..., None] * np.array([0.5, 0.6, 0.9], np.float32)
    absorbed += look.blotches * lumps(rng, (side, side), 40)[..., None]
    light = _lit(rng, side) * (np.exp(-absorbed) + sent_in[..., None])
    return _photographed(rng, light, look), pieces


def place_of(
    rng: np.random.Generator, mask: np.ndarray, taken: np.ndarray, touching: float
) -> tuple[tuple[slice, slice], tuple[slice, slice]] | None:
    """Rows and columns in the field and in the crop, where the piece lies over no other."""
    side, n = len(taken), len(mask)
    for attempt in range(60):
        y, x = (int(v) for v in rng.integers(-n // 3, side - 2 * n // 3, 2))
        box = np.s_[max(y, 0) : min(y + n, side), max(x, 0) : min(x + n, side)]
        part = np.s_[box[0].start - y : box[0].stop - y, box[1].start - x : box[1].stop - x]
        own = mask[part]
        if not own.any() or (taken[box] & own).any():
            continue
        near = bool((taken[box] & (cv2.dilate(own.astype(np.uint8), np.ones((5, 5))) > 0)).any())
        if near == (rng.random() < touching) or attempt >= 50:
            return box, part
    return None


def _absorbed(
    rng: np.random.Generator, kind: str, mask: np.ndarray, thickness: np.ndarray, d: float, contrast: float
) -> np.ndarray:
    """Natural absorbance of a piece in three colours."""
    if kind == "kernel":
        mottled = 1 + 0.25 * lumps(rng, mask.shape, 5) + 0.12 * lumps(rng, mask.shape, 2)
        depth = np.clip(thickness * mottled, 0.05, 3) * mask * min(1.3, 0.35 + d / 60) * rng.uniform(0.6, 1.3)
    elif kind == "skin":
        edge = mask & (cv2.erode(mask.astype(np.uint8), _SQUARE) == 0)
        streaks = np.clip(1 + 0.18 * lumps(rng, mask.shape, 4), 0.3, 2)
        depth = (streaks * mask + 0.4 * edge) * rng.uniform(0.7, 1.2)
    else:
        depth = _rim(rng, mask, d)
    return contrast * depth[..., None].astype(np.float32) * np.array(_COLOUR[kind], np.float32)


def _rim(rng: np.random.Generator, mask: np.ndarray, d: float) -> np.ndarray:
    """Dark rim of a crystal, of another strength on each facet."""
    width = max(1.5, d * rng.uniform(0.04, 0.12))
    depth = cv2.distanceTransform(np.pad(mask, 1).astype(np.uint8), cv2.DIST_L2, 5)[1:-1, 1:-1]
    middle = np.argwhere(mask).mean(axis=0)
    y, x = np.indices(mask.shape)
    facets = int(rng.integers(3, 6))
    turn = (np.arctan2(y - middle[0], x - middle[1]) + np.pi) / (2 * np.pi)
    strength = rng.uniform(0.25, 1.0, facets)[(turn * facets + rng.random()).astype(int) % facets]
    strength = cv2.GaussianBlur(strength.astype(np.float32), (0, 0), 2)
    return np.exp(-(((depth - 0.4 * width) / (0.6 * width)) ** 2)) * mask * strength


def _sent_in(rng: np.random.Generator, mask: np.ndarray, d: float, contrast: float) -> np.ndarray:
    """Light a crystal sends to its middle and along the outside of its edge."""
    inner = cv2.distanceTransform(np.pad(mask, 1).astype(np.uint8), cv2.DIST_L2, 5)[1:-1, 1:-1]
    outer = cv2.distanceTransform(1 - mask.astype(np.uint8), cv2.DIST_L2, 5)
    line = np.exp(-(((outer - 1.5) / 1.5) ** 2)) * (outer > 0)
    return contrast * (0.1 * rng.uniform(-0.3, 1) * (inner > 0.1 * d) + 0.12 * line)


def _lay_foreign(
    rng: np.random.Generator, absorbed: np.ndarray, sent_in: np.ndarray, taken: np.ndarray
) -> None:
    """Six bubbles beside the pieces and three threads over all."""
    side = len(taken)
    y, x = np.ogrid[:side, :side]
    for _ in range(6):
        radius = rng.uniform(8, 30)
        for _ in range(50):
            down, across = rng.uniform(radius, side - radius, 2)
            away = np.hypot(y - down, x - across)
            if not (taken & (away < radius + 3)).any():
                absorbed += (1.6 * np.exp(-(((away - 0.85 * radius) / (0.13 * radius)) ** 2)))[..., None]
                sent_in += 0.25 * np.exp(-((away / (0.25 * radius)) ** 2))
                taken |= away < radius
                break
    for _ in range(3):
        ways = rng.uniform(0, 2 * np.pi) + np.cumsum(rng.normal(0, 0.12, 60))
        points = rng.uniform(0, side, 2) + np.cumsum(4 * np.stack([np.cos(ways), np.sin(ways)], 1), axis=0)
        thread = np.zeros((side, side), np.float32)
        wide = int(rng.integers(2, 5))
        cv2.polylines(thread, [np.round(points * 16).astype(np.int32)], False, 1.0, wide, cv2.LINE_AA, 4)
        absorbed += 0.3 * thread[..., None]


def _fines(rng: np.random.Generator, count: int, side: int) -> np.ndarray:
    """Specks too small to be asked for."""
    fines = np.zeros((side, side), np.float32)
    for x, y, radius, dark in rng.uniform((0, 0, 0.5, 0.1), (side, side, 2.6, 0.5), (count, 4)):
        cv2.circle(fines, (int(x * 16), int(y * 16)), int(radius * 16), float(dark), -1, cv2.LINE_AA, 4)
    return fines


def _lit(rng: np.random.Generator, side: int) -> np.ndarray:
    y, x = np.mgrid[:side, :side].astype(np.float32) / side - 0.5
    return (1 - 0.5 * (x * x + y * y) + 0.12 * rng.normal() * x + 0.12 * rng.normal() * y)[..., None] * _LAMP


def _photographed(rng: np.random.Generator, light: np.ndarray, look: Look) -> np.ndarray:
    """Blur, noise, tone curve, sharpening and compression."""
    for channel, wider in enumerate((1.08, 1.0, 1.15)):
        light[..., channel] = cv2.GaussianBlur(light[..., channel], (0, 0), look.blur_px * wider)
    counted = rng.poisson(np.clip(light, 0, 1.05) * _FULL_WELL) / _FULL_WELL
    tone = np.clip(counted + rng.normal(0, _READ_NOISE, light.shape), 0, 1).astype(np.float32) ** (1 / 2.2)
    tone = tone + look.sharpened * (tone - cv2.GaussianBlur(tone, (0, 0), 2))
    pixels = np.clip(tone * 255, 0, 255).astype(np.uint8)
    if look.grey:
        pixels = np.repeat(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY)[..., None], 3, axis=2)
    stored = cv2.imencode(".jpg", pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, look.quality])[1]
    return np.ascontiguousarray(cv2.imdecode(stored, cv2.IMREAD_COLOR)[..., ::-1])
