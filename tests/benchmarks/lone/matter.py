"""What pieces take of the light: bodies with texture, spots, cells or two tones; skins; crystals."""

from dataclasses import dataclass

import cv2
import numpy as np

from .shapes import BODIES, crystal, dot, flake, fractal, is_piece, largest, noise, shard

SORTS = (*BODIES, "spotted", "cells", "gradient", "two tones", "skin", "holed skin", "crystal")
_HUES = ((0.35, 0.55, 1.0), (0.25, 0.5, 0.8), (0.7, 0.8, 0.95))  # natural absorbance in three colours
_SKIN, _LAMP = (0.6, 1.0, 1.5), (0.88, 0.84, 0.72)
_TRIES = 20


@dataclass(frozen=True)
class Look:
    """What all pieces of a field have in common, and how it is taken."""

    colour: np.ndarray
    skin: np.ndarray
    lamp: np.ndarray
    blur_px: float
    full_well: float  # electrons
    quality: int  # of compression
    textured: float  # share of bodies
    sharpened: float


def look_of(rng: np.random.Generator) -> Look:
    """Draw a look."""
    return Look(
        np.array(_HUES[rng.choice(3)]) * rng.uniform(0.5, 1.2),
        np.array(_SKIN) * rng.uniform(0.5, 1.0),
        np.array(_LAMP) * rng.uniform(0.85, 1.05),
        float(rng.uniform(0.8, 3.0)),
        float(rng.choice([1500.0, 4000.0, 12000.0])),
        int(rng.choice([60, 80, 90, 97])),
        float(rng.uniform(0.2, 1.0)),
        float(rng.choice([0.0, 0.0, 0.0, 0.6])),
    )


def piece_of(
    rng: np.random.Generator, sort: str, d: float, look: Look, tone: float | None = None
) -> tuple[np.ndarray, np.ndarray] | None:
    """Draw a piece in a square crop.

    Returns
    -------
    mask : (M, M) ndarray of bool
        Without holes.
    absorbance : (M, M, 3) ndarray of float32
    """
    side = int(2.4 * d) + 16
    for _ in range(_TRIES):
        mask = largest(_form(rng, sort, d, side), holes=sort == "holed skin")
        full = None if mask is None else largest(mask)
        if mask is None or full is None or not is_piece(full, d):
            continue
        tone = float(rng.uniform(0.55, 1.3)) if tone is None else tone
        if sort == "crystal":
            taken = np.repeat(_crystal_light(rng, full, d)[..., None], 3, axis=2)
        elif sort.endswith("skin"):
            taken = _skin(rng, mask, d)[..., None] * (look.skin * tone * (1 + rng.normal(0, 0.06, 3)))
        else:
            taken = _body(rng, sort, mask, d, look)[..., None] * (
                look.colour * tone * (1 + rng.normal(0, 0.08, 3))
            )
        return full, taken.astype(np.float32)
    return None


def _form(rng: np.random.Generator, sort: str, d: float, side: int) -> np.ndarray:
    if sort == "crystal":
        return crystal(rng, d, side)
    if not sort.endswith("skin"):
        return BODIES[sort if sort in BODIES else str(rng.choice(list(BODIES)))](rng, d, side)
    mask = (flake if rng.random() < 0.6 else shard)(rng, d, side)
    if sort == "holed skin":
        mask &= fractal(rng, side, max(3, d / rng.uniform(3, 7)), 3) > -1.6
        mask &= noise(rng, side, max(2.5, d / 8)) <= 2.0
    return mask


def _depth(mask: np.ndarray) -> np.ndarray:
    framed = np.pad(mask, 1).astype(np.uint8)
    return cv2.distanceTransform(framed, cv2.DIST_L2, 5)[1:-1, 1:-1]


def _body(rng: np.random.Generator, sort: str, mask: np.ndarray, d: float, look: Look) -> np.ndarray:
    """Thickness of a body times what its texture, spots, cells or tones make of it."""
    depth = _depth(mask)
    top = max(float(depth.max()), 1.0)
    taken = {
        "flat": np.clip(depth / min(2.0, top), 0, 1),
        "lump": 0.75 * np.sqrt(np.clip(1 - (1 - depth / top) ** 2, 0, 1)) + 0.25,
        "slab": 0.6 * np.clip(depth / (0.4 * top), 0, 1) ** 0.5 + 0.4,
    }[str(rng.choice(["flat", "lump", "slab"]))]
    if rng.random() < look.textured:
        texture = fractal(rng, len(mask), max(3, d / rng.uniform(2, 6)))
        taken = taken * np.clip(1 + rng.uniform(0.05, 0.3) * texture, 0.2, 2.5)
    if sort == "spotted":
        taken = _spotted(rng, taken, mask, d)
    elif sort == "cells":
        taken = taken * (1 + rng.choice([-0.5, 0.7]) * rng.uniform(0.4, 1) * _walls(rng, mask, d))
    elif sort in ("gradient", "two tones"):
        soft = rng.uniform(0.3, 0.8) if sort == "gradient" else rng.uniform(0.02, 0.08)
        share = 1 / (1 + np.exp(-np.clip(_across(rng, len(mask)) / (d / 2) / soft, -30, 30)))
        taken = taken * (rng.uniform(0.3, 0.65) * (1 - share) + share)
    return taken * mask


def _across(rng: np.random.Generator, side: int) -> np.ndarray:
    y, x = np.mgrid[:side, :side].astype(np.float32) - side / 2
    angle = rng.uniform(0, 2 * np.pi)
    return x * np.cos(angle) + y * np.sin(angle)


def _spotted(rng: np.random.Generator, taken: np.ndarray, mask: np.ndarray, d: float) -> np.ndarray:
    ys, xs = np.nonzero(mask)
    for _ in range(rng.integers(2, 14)):
        k, radius = rng.integers(len(ys)), max(1.0, d * rng.uniform(0.03, 0.14))
        spot = np.zeros(mask.shape, np.float32)
        dot(spot, xs[k], ys[k], radius)
        spot = cv2.GaussianBlur(spot, (0, 0), max(0.5, radius * rng.uniform(0.1, 0.6)))
        taken = taken * (1 + rng.uniform(0.4, 1.8) * spot)
    return taken


def _walls(rng: np.random.Generator, mask: np.ndarray, d: float) -> np.ndarray:
    """Walls between cells, 0..1."""
    inside = np.argwhere(mask)
    middles = inside[rng.integers(len(inside), size=min(60, max(4, int(d / rng.uniform(5, 12)) ** 2)))]
    places = np.stack(np.mgrid[: len(mask), : len(mask)], -1).reshape(-1, 1, 2).astype(np.float32)
    away = np.sort(np.hypot(*np.moveaxis(places - middles, -1, 0)), axis=1)
    return np.exp(-(((away[:, 1] - away[:, 0]) / max(1.2, 0.05 * d)) ** 2)).reshape(mask.shape)


def _skin(rng: np.random.Generator, mask: np.ndarray, d: float) -> np.ndarray:
    taken = np.clip(1 + 0.15 * fractal(rng, len(mask), max(3, d / 4)), 0.3, 2)
    if rng.random() < 0.5:
        taken = taken * (1 + 0.25 * np.sin(_across(rng, len(mask)) / rng.uniform(1.5, 5)))
    return taken * mask


def _crystal_light(rng: np.random.Generator, mask: np.ndarray, d: float) -> np.ndarray:
    """Dark rim, and facets of slightly other light with lines between them."""
    wide, depth = max(1.6, d * rng.uniform(0.05, 0.12)), _depth(mask)
    rim = rng.uniform(0.35, 0.9) * np.exp(-(((depth - 0.5 * wide) / (0.7 * wide)) ** 2)) * mask
    facets = np.zeros(mask.shape, np.float32)
    for _ in range(rng.integers(1, 4)):
        across = _across(rng, len(mask)) - rng.uniform(-0.25, 0.25) * d
        facets += rng.uniform(-0.12, 0.15) * (across > 0)
        facets += rng.uniform(0.1, 0.5) * np.exp(-((across / rng.uniform(0.8, 2.5)) ** 2))
    return rim + np.clip(facets, -0.1, 0.8) * mask
