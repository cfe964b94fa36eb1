"""Salt and sugar: cuboids, shards with shell-like faces, hoppers, rounded ones, thin plates; nearly clear.

Refractive indices from memory: salt 1.544, sucrose 1.54-1.57, oil 1.46-1.47, brine 1.38, air 1.00.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from .body import Body, spread
from .noise import Rng, depth_inside, fractal, grid, largest, smooth, turned

_FORMS = (("cuboid", 0.4), ("shard", 0.3), ("hopper", 0.08), ("rounded", 0.22))


@dataclass(frozen=True)
class Crystal:
    """How the crystals of a look are; index is that above the oil, tint what little density they have."""

    index: float = 0.075
    tint: float = 0.03
    forms: tuple[tuple[str, float], ...] = _FORMS
    lying: float = 0.7  # share that lies on a face
    inclusions: float = 0.3
    retard: float = 0.0  # waves a px; salt turns no polarised light, sugar does


def crystal(d_px: float, um_per_px: float, look: Crystal, rng: Rng) -> Body:
    """A crystal about ``d_px`` wide."""
    names, shares = zip(*look.forms, strict=True)
    form = str(rng.choice(names, p=np.array(shares) / sum(shares)))
    x, y = grid(1.15 * d_px + 4, rng)
    x = x + 0.008 * d_px * fractal(x.shape, d_px / 4, rng, 4, 0.7)
    thick, face = _solid(x, y, d_px, form, look.lying, rng)
    shape = largest(thick > 0.25)
    thick = np.where(shape, thick, 0).astype(np.float32)
    d_true = np.sqrt(4 * np.count_nonzero(shape) / np.pi)
    if form == "hopper":
        u, v = turned(x, y, face)
        step = np.floor(7 * np.maximum(np.abs(u), np.abs(v)) / d_true) / 3
        thick *= np.clip(0.35 + 0.65 * step, 0.35, 1.0)
    uneven = 0.03 * d_px * fractal(x.shape, d_px / 3, rng, 3, 0.5)  # no face is quite flat
    path = look.index * np.where(shape, np.maximum(thick + uneven, 0.3), 0)
    # thick: not all of it is in focus
    path = np.asarray(cv2.GaussianBlur(path.astype(np.float32), (0, 0), 0.5 + 0.012 * d_px))
    density = look.tint * (thick / max(d_true, 1)) * shape
    if rng.random() < look.inclusions and d_px > 18:
        path, density = _inclusions(x, y, path, density, shape, d_px, rng)
    frost = rng.random() < 0.35
    if frost:  # faces dulled by grinding
        path = path + look.index * 0.5 * fractal(
            x.shape, max(2.0, 6 / um_per_px), rng, 2
        ) * shape * rng.uniform(0.3, 1)
    white = np.array([0.80, 0.80, 0.76]) * rng.uniform(0.8, 1.1)
    cover = rng.uniform(0.25, 0.55) + 0.35 * np.exp(-depth_inside(shape) / (0.06 * d_px + 1)) + 0.2 * frost
    return Body(
        "salt",
        spread((1.0, 1.0, 1.08), density.astype(np.float32)),
        path.astype(np.float32),
        shape,
        (thick * shape).astype(np.float32),
        (np.clip(cover, 0, 0.95) * shape).astype(np.float32),
        spread(white, np.clip(1 + 0.08 * fractal(x.shape, d_px / 3, rng), 0.5, 1.5)),
        1.0,
        look.retard,
        form,
    )


def _solid(
    x: np.ndarray, y: np.ndarray, d_px: float, form: str, lying: float, rng: Rng
) -> tuple[np.ndarray, float]:
    """Thickness along the line of sight, px, and the angle one side lies at."""
    face = rng.uniform(0, np.pi)
    if form == "plate":
        return _plate(x, y, d_px, face, rng), face
    if form == "shard":
        return _shard(x, y, d_px, rng), face
    sides = d_px * 0.44 * np.array([rng.uniform(0.85, 1.25), rng.uniform(0.75, 1.0), rng.uniform(0.45, 0.95)])
    tilt = rng.normal(0, 0.13, 2) if rng.random() < lying else rng.uniform(-0.9, 0.9, 2)
    axes = _axes(face, *tilt)
    normals = np.concatenate([axes, -axes])
    offsets = np.concatenate([sides, sides])
    if form == "rounded":  # corners and edges go first when salt is wet
        more = np.array([(a, b, c) for a in (-1, 1) for b in (-1, 1) for c in (-1, 1)]) / np.sqrt(3)
        edge = np.array([(a, b, 0) for a in (-1, 1) for b in (-1, 1)]) / np.sqrt(2)
        cut = rng.uniform(0.7, 0.85)
        normals = np.concatenate([normals, more @ axes, edge @ axes])
        offsets = np.concatenate([offsets, cut * np.abs(more) @ sides, 1.08 * cut * np.abs(edge) @ sides])
    elif rng.random() < 0.4:  # a corner knocked off
        way = rng.normal(size=3)
        way /= np.linalg.norm(way)
        normals, offsets = (
            np.concatenate([normals, way[None]]),
            np.append(offsets, 0.8 * np.abs(axes @ way) @ sides),
        )
    return _between(x, y, normals, offsets, 0.05 * d_px if form == "rounded" else 0.012 * d_px + 0.3), face


def _axes(turn: float, tip: float, roll: float) -> np.ndarray:
    """Three axes as rows: turned on the slide, then tipped about two lines in it."""
    c, s = np.cos, np.sin
    about_z = np.array([[c(turn), s(turn), 0], [-s(turn), c(turn), 0], [0, 0, 1]])
    about_x = np.array([[1, 0, 0], [0, c(tip), s(tip)], [0, -s(tip), c(tip)]])
    about_y = np.array([[c(roll), 0, s(roll)], [0, 1, 0], [-s(roll), 0, c(roll)]])
    return about_z @ about_x @ about_y


def _between(
    x: np.ndarray, y: np.ndarray, normals: np.ndarray, offsets: np.ndarray, soft_px: float
) -> np.ndarray:
    """Length of the line of sight between planes; edges rounded over ``soft_px``."""
    top = np.zeros(x.shape)
    bottom = np.zeros(x.shape)
    for (nx, ny, nz), offset in zip(normals, offsets, strict=True):
        steep = np.sign(nz) * max(abs(nz), 0.03) if nz else 0.03
        height = np.clip((offset - nx * x - ny * y) / steep, -1e4, 1e4)
        if steep > 0:
            top += np.exp(-np.clip(height / soft_px, -60, 300))
        else:
            bottom += np.exp(-np.clip(-height / soft_px, -60, 300))
    length = -soft_px * (np.log(top + 1e-300) + np.log(bottom + 1e-300))
    return np.clip(length, 0, None).astype(np.float32)


def _shard(x: np.ndarray, y: np.ndarray, d_px: float, rng: Rng) -> np.ndarray:
    """A splinter: few faces at any angle, some broken like a shell."""
    count = rng.integers(4, 8)
    way = np.sort(2 * np.pi * (np.arange(count) + rng.uniform(-0.4, 0.4, count)) / count)
    rise = rng.uniform(-0.35, 0.35, count)
    normals = np.column_stack([np.cos(way) * np.cos(rise), np.sin(way) * np.cos(rise), np.sin(rise)])
    caps = rng.normal(0, 0.18, (3, 3)) + np.array([[0, 0, 1], [0.2, 0, 1], [0, 0, -1]])
    normals = np.concatenate([normals, caps / np.linalg.norm(caps, axis=1)[:, None]])
    offsets = np.concatenate([0.5 * d_px * rng.uniform(0.65, 1.1, count), d_px * rng.uniform(0.12, 0.3, 3)])
    bent = 0.03 * d_px * fractal(x.shape, d_px / 1.5, rng, 3, 0.5)
    thick = _between(x + bent, y - bent, normals, offsets, 0.01 * d_px + 0.3)
    if rng.random() < 0.7:  # ripples about the place where it was struck
        at = 0.6 * d_px * np.array([np.cos(way[0]), np.sin(way[0])])
        far = np.hypot(x - at[0], y - at[1])
        apart = d_px * rng.uniform(0.09, 0.18)
        ripple = np.sin(2 * np.pi * (far / apart) ** 0.9) * np.exp(-((far / (0.7 * d_px)) ** 2))
        thick = np.where(thick > 0, np.maximum(thick + 0.2 * apart * ripple, 0.3), 0)
    return thick


def _plate(x: np.ndarray, y: np.ndarray, d_px: float, face: float, rng: Rng) -> np.ndarray:
    """A plate of sugar: a slanted six-sided table, thin, sometimes with a growth step."""
    u, v = turned(x, y, face)
    u = u + rng.uniform(-0.35, 0.35) * v
    long, wide = 0.5 * d_px * rng.uniform(1.0, 1.35), 0.5 * d_px * rng.uniform(0.6, 0.85)
    edge = np.minimum(long - np.abs(u), wide - np.abs(v))
    edge = np.minimum(edge, 0.8 * (long + wide) - np.abs(u) - np.abs(v) * rng.uniform(0.8, 1.2))
    edge = edge + 0.012 * d_px * smooth(x.shape, d_px / 4, rng)
    top = d_px * rng.uniform(0.12, 0.3)
    thick = np.minimum(np.clip(edge * rng.uniform(0.8, 1.8), 0, None), top)
    if rng.random() < 0.5:
        thick = thick * (1 - 0.25 * (u > rng.uniform(-0.4, 0.4) * long))
    return (thick * (1 + 0.1 * u / long)).astype(np.float32)


def _inclusions(
    x: np.ndarray,
    y: np.ndarray,
    path: np.ndarray,
    density: np.ndarray,
    shape: np.ndarray,
    d_px: float,
    rng: Rng,
) -> tuple[np.ndarray, np.ndarray]:
    """Small droplets of brine or bubbles of air shut in."""
    rows, cols = np.nonzero(depth_inside(shape) > 0.12 * d_px)
    for _ in range(rng.integers(1, 7) if len(rows) else 0):
        k = rng.integers(len(rows))
        r = np.hypot(x - x[rows[k], cols[k]], y - y[rows[k], cols[k]])
        radius = max(1.2, d_px * rng.uniform(0.015, 0.06))
        ball = 2 * np.sqrt(np.clip(radius**2 - r**2, 0, None))
        path = path - rng.choice([0.16, 0.54]) * ball
        density = density + 0.02 * ball
    return path, density
