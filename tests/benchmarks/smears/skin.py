"""Skin: thin brown flakes with a pattern of stone cells and veins, torn, curled, folded or seen edge-on.

And cocoa: dark grains. From handbooks of food microscopy, from memory: the seed coat is 10-40 um thick, its
cells are 15-40 um wide with thick walls; ground cocoa is brown fragments below 50 um.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from .body import Body, ramped, spread
from .noise import Cells, Rng, depth_inside, fractal, fracture, grid, largest, smooth, turned


@dataclass(frozen=True)
class Skin:
    """How the skin of a look is; density is that of a single layer in red, green, blue."""

    density: tuple[float, float, float] = (0.75, 1.25, 1.85)
    colour: tuple[float, float, float] = (0.23, 0.10, 0.045)
    pattern: float = 0.5
    folded: float = 0.35
    edge_on: float = 0.12


def skin(d_px: float, um_per_px: float, look: Skin, rng: Rng) -> Body:
    """A flake about ``d_px`` wide, or a rod where it stands on its edge."""
    if rng.random() < look.edge_on:
        return _rod(d_px, um_per_px, look, rng)
    x, y = grid(1.25 * d_px + 4, rng)
    cells = Cells(x, y, rng.uniform(15, 32) / um_per_px, rng, rng.uniform(1, 1.8))
    cuts = rng.uniform(0.35, 0.8, rng.integers(0, 4))
    shape = fracture(
        x, y, d_px, rng, rng.uniform(1.0, 2.2), rng.uniform(0.15, 0.32), cuts, cells, rng.uniform(0, 0.6)
    )
    layer = _layer(x, y, shape, cells, d_px, um_per_px, look, rng)
    if rng.random() < look.folded:
        shape, layer = _folded(x, y, shape, layer, d_px, rng)
    inside = depth_inside(shape)
    if rng.random() < 0.5:  # a curled margin stands up and is seen along its width
        side = np.cos(np.arctan2(y, x) - rng.uniform(0, 2 * np.pi)) > rng.uniform(0, 0.6)
        layer = layer * (
            1 + rng.uniform(0.6, 1.6) * side * np.exp(-((inside - 1.5) ** 2) / (0.02 * d_px + 1.5) ** 2)
        )
    ramp = 1 - np.exp(-inside / rng.uniform(0.5, 1.0))
    own = layer * ramp
    hue = np.asarray(look.density) * np.exp(0.22 * rng.normal() + 0.05 * rng.standard_normal(3))
    relief = (4 / um_per_px) * (1 + layer) * shape + 0.05 * d_px * (
        fractal(x.shape, d_px / 2, rng, 2) + 1
    ) * shape
    return Body(
        "skin",
        spread(hue, own),
        (0.03 * 15 / um_per_px * own).astype(np.float32),
        largest(shape & ramped(layer * np.float32(np.mean(hue)), ramp)),
        relief.astype(np.float32),
        (1 - np.exp(-4 * own)).astype(np.float32),
        spread(
            np.asarray(look.colour) * np.exp(0.12 * rng.standard_normal(3)),
            np.clip(1.6 - 0.6 * layer, 0.5, 1.5),
        ),
        0.5,
        0.001,
        "flake",
    )


def _layer(
    x: np.ndarray,
    y: np.ndarray,
    shape: np.ndarray,
    cells: Cells,
    d_px: float,
    um_per_px: float,
    look: Skin,
    rng: Rng,
) -> np.ndarray:
    """Density of a single layer about 1: walls of the stone cells, pits, veins that run along the flake."""
    cell = 1 + look.pattern * (
        0.2 * cells.levels(rng) + 0.7 * cells.wall(rng.uniform(3, 7) / um_per_px) - 0.2
    )
    pits = smooth(x.shape, max(1.0, 3 / um_per_px), rng)
    cell -= 0.35 * look.pattern * np.clip(pits - 1.0, 0, 1)
    u, v = turned(x, y, rng.uniform(0, np.pi))
    v = v + 0.08 * d_px * smooth(x.shape, d_px / 1.5, rng)
    for _ in range(rng.integers(0, 3)):
        at, lean = rng.uniform(-0.4, 0.4) * d_px, rng.uniform(-0.3, 0.3)
        cell += 0.5 * look.pattern * np.exp(-(((v - at - lean * u) / (4 / um_per_px + 0.8)) ** 2))
    return (np.clip(cell * (1 + 0.16 * fractal(x.shape, d_px / 2, rng, 3)), 0.25, 2.6) * shape).astype(
        np.float32
    )


def _folded(
    x: np.ndarray, y: np.ndarray, shape: np.ndarray, layer: np.ndarray, d_px: float, rng: Rng
) -> tuple[np.ndarray, np.ndarray]:
    """Turn what lies beyond a line back over the rest: there the flake is twice as thick."""
    way, at = rng.uniform(0, 2 * np.pi), rng.uniform(0.08, 0.3) * d_px
    far = x * np.cos(way) + y * np.sin(way) - at
    n, middle = np.array([np.cos(way), np.sin(way)]), shape.shape[0] // 2
    mirror = np.eye(2) - 2 * np.outer(n, n)
    move = np.array([middle, middle]) - mirror @ np.array([middle, middle]) + 2 * at * n
    back = cv2.warpAffine(layer * (far > 0), np.column_stack([mirror, move]), shape.shape[::-1])
    both = layer * (far <= 0) + back * (far <= 0)
    both += 0.7 * layer * np.exp(-((far / 1.3) ** 2)) * (far <= 0)  # the bend itself
    return largest(both > 0.12), both.astype(np.float32)


def _rod(d_px: float, um_per_px: float, look: Skin, rng: Rng) -> Body:
    """A flake that stands on its edge: a bent dark rod."""
    long, wide = d_px * rng.uniform(1.1, 1.9), max(2.2, min(d_px * 0.12, rng.uniform(6, 18) / um_per_px))
    x, y = grid(0.62 * long + 6, rng)
    u, v = turned(x, y, rng.uniform(0, np.pi))
    v = v - rng.uniform(-0.35, 0.35) * u**2 / long + 0.35 * wide * smooth(x.shape, long / 4, rng)
    half = (
        wide
        * np.clip(1 + 0.3 * fractal(x.shape, long / 4, rng, 3), 0.4, 2)
        * np.clip(8 * (1 - np.abs(2 * u / long)), 0, 1)
    )
    shape = largest((np.abs(v) < half) & (np.abs(u) < long / 2))
    own = (
        shape * (1.6 + 0.3 * fractal(x.shape, wide * 1.5, rng, 3)) * (1 - np.exp(-depth_inside(shape) / 0.8))
    )
    colour = spread(np.asarray(look.colour) * 0.8, np.ones_like(x))
    return Body(
        "skin",
        spread(look.density, own),
        (0.3 * own).astype(np.float32),
        shape,
        0.6 * wide * own.astype(np.float32),
        (1 - np.exp(-4 * own)).astype(np.float32),
        colour,
        0.5,
        0.0,
        "rod",
    )


def cocoa(d_px: float, rng: Rng) -> Body:
    """A grain of cocoa: dark brown, uneven, no structure at this size."""
    x, y = grid(1.0 * d_px + 4, rng)
    shape = fracture(
        x,
        y,
        d_px,
        rng,
        rng.uniform(1.0, 1.7),
        rng.uniform(0.1, 0.28),
        rng.uniform(0.5, 0.9, rng.integers(0, 3)),
    )
    inside = depth_inside(shape)
    dark = rng.lognormal(0.25, 0.3)
    own = (
        dark
        * (1 - np.exp(-inside / 1.2))
        * np.clip(1 + 0.35 * fractal(x.shape, d_px / 2, rng), 0.4, 1.8)
        * shape
    )
    hue = np.array([0.9, 1.4, 1.9]) * np.exp(0.04 * rng.standard_normal(3))
    return Body(
        "other",
        spread(hue, own),
        (0.02 * inside).astype(np.float32),
        shape,
        (0.5 * inside).astype(np.float32),
        (1 - np.exp(-3 * own)).astype(np.float32),
        spread(
            np.array([0.12, 0.06, 0.035]) * rng.lognormal(0, 0.25),
            np.clip(1 + 0.2 * fractal(x.shape, 6, rng), 0.5, 1.5),
        ),
        0.2,
        0.0,
        "cocoa",
    )
