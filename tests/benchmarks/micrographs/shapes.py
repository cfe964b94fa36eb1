"""Solid bodies seen from above: where their lower and upper surfaces lie."""

from typing import NamedTuple

import cv2
import numpy as np


class Body(NamedTuple):
    """Lower and upper surface over a square crop, px; equal where there is no body. The middle is at 0."""

    low: np.ndarray
    high: np.ndarray

    @property
    def mask(self) -> np.ndarray:
        """Where the body is."""
        return self.high > self.low


def _grid(reach: float) -> tuple[np.ndarray, np.ndarray]:
    n = int(np.ceil(reach)) + 3
    y, x = np.mgrid[-n : n + 1, -n : n + 1].astype(np.float32)
    return x, y


def ball(rng: np.random.Generator, d: float, turn: float = 0.0) -> Body:
    """A sphere, hardly dented."""
    x, y = _grid(0.58 * d)
    way = np.arctan2(y, x)
    reach = 1 + sum(rng.uniform(0, 0.03) * np.cos(k * way + rng.uniform(0, 6.3)) for k in (2, 3, 5)) / 1.5
    half = np.sqrt(np.clip((0.5 * d * reach) ** 2 - x * x - y * y, 0, None))
    return Body(-half, half)


def rod(rng: np.random.Generator, d: float, turn: float = 0.0) -> Body:
    """A rod with round ends, ``d`` being the diameter of a disc of its area."""
    ratio = rng.uniform(2.2, 5.0)
    wide = d * np.sqrt(np.pi / 4 / (ratio - 1 + np.pi / 4))
    x, y = _grid(0.5 * ratio * wide)
    u, v = x * np.cos(turn) + y * np.sin(turn), y * np.cos(turn) - x * np.sin(turn)
    beyond = np.clip(np.abs(u) - 0.5 * (ratio - 1) * wide, 0, None)
    half = np.sqrt(np.clip(0.25 * wide * wide - beyond**2 - v * v, 0, None))
    return Body(-half, half)


def cube(rng: np.random.Generator, d: float, turn: float = 0.0) -> Body:
    """A cube that lies on a face, or leans a little, with rounded corners."""
    half = 0.5 * d * np.sqrt(np.pi / 4)
    faces = np.concatenate([np.eye(3), -np.eye(3)])
    corners = np.array([[i, j, k] for i in (-1, 1) for j in (-1, 1) for k in (-1, 1)]) / np.sqrt(3)
    normals = np.concatenate([faces, corners]) @ _turned(turn, rng.normal(0, 0.06), rng.normal(0, 0.06))
    return _between(normals, np.r_[np.full(6, half), np.full(8, rng.uniform(1.5, 1.68) * half)], 1.1 * d)


def leaning_cube(rng: np.random.Generator, d: float, turn: float = 0.0) -> Body:
    """A cube in a heap, leaning anyhow."""
    half = 0.46 * d * np.sqrt(np.pi / 4)
    faces = np.concatenate([np.eye(3), -np.eye(3)])
    return _between(faces @ _turned(turn, *rng.uniform(-0.6, 0.6, 2)), np.full(6, half), 1.1 * d)


def plate(rng: np.random.Generator, d: float, turn: float = 0.0) -> Body:
    """A thin plate of three or six corners, which may be cut off."""
    sides, longer = int(rng.choice([3, 6, 6])), rng.uniform(0.9, 1.1)
    way = 2 * np.pi * np.arange(sides) / sides
    inner = 0.5 * d * np.sqrt(np.pi / (sides * np.tan(np.pi / sides)))
    side = np.stack([np.cos(way), np.sin(way), 0 * way], axis=1)
    cut = np.stack([np.cos(way + np.pi / sides), np.sin(way + np.pi / sides), 0 * way], axis=1)
    flat = np.array([[0, 0, 1], [0, 0, -1]], float)
    thick = rng.uniform(0.05, 0.09) * d
    far = inner / np.cos(np.pi / sides) * rng.uniform(0.8, 0.97)
    offsets = np.r_[np.full(sides, inner) * np.where(np.arange(sides) % 2, longer, 1), np.full(sides, far)]
    return _between(
        np.concatenate([side, cut, flat]) @ _turned(turn, 0, 0), np.r_[offsets, thick, thick], 1.2 * d
    )


def grain(rng: np.random.Generator, d: float, turn: float = 0.0) -> Body:
    """A broken grain: what flat breaks at all sides leave, and somewhat rough."""
    normals = rng.normal(size=(16, 3)) * np.array([1, rng.uniform(1.0, 1.7), 1])
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    body = _between(normals @ _turned(turn, 0, 0), 0.47 * d * rng.uniform(0.8, 1.15, 16), 0.85 * d)
    thick = body.high - body.low
    rough = 0.05 * d * lumps(rng, thick.shape, max(2, d / 6)) * np.minimum(1, thick / (0.3 * d + 1e-6))
    mask = _largest(thick + rough > 0.04 * d)
    return Body(np.where(mask, body.low, 0), np.where(mask, np.maximum(body.high + rough, body.low + 0.5), 0))


def lumps(rng: np.random.Generator, shape: tuple[int, ...], size_px: float) -> np.ndarray:
    """Return even random lumps of one size, of mean 0 and standard deviation 1, (M, N) float32."""
    made = cv2.GaussianBlur(rng.normal(size=shape).astype(np.float32), (0, 0), 0.5 * size_px)
    return (made - made.mean()) / (made.std() + 1e-9)


def _turned(*angles: float) -> np.ndarray:
    """Turn about z, x and y."""
    a, b, c = angles
    about_z = np.array([[np.cos(a), np.sin(a), 0], [-np.sin(a), np.cos(a), 0], [0, 0, 1]])
    about_x = np.array([[1, 0, 0], [0, np.cos(b), np.sin(b)], [0, -np.sin(b), np.cos(b)]])
    about_y = np.array([[np.cos(c), 0, np.sin(c)], [0, 1, 0], [-np.sin(c), 0, np.cos(c)]])
    return about_x @ about_y @ about_z


def _between(normals: np.ndarray, offsets: np.ndarray, reach: float) -> Body:
    """The body for whose points normal . point <= offset for all of the faces."""
    x, y = _grid(reach)
    low, high = np.full(x.shape, -9e3, np.float32), np.full(x.shape, 9e3, np.float32)
    for (a, b, c), offset in zip(normals, offsets, strict=True):
        rest = offset - a * x - b * y
        if c > 1e-6:
            high = np.minimum(high, rest / c)
        elif c < -1e-6:
            low = np.maximum(low, rest / c)
        else:
            high = np.where(rest < 0, -9e3, high)
    mask = _largest((high > low) & (np.abs(high) < 8e3) & (np.abs(low) < 8e3))
    return Body(np.where(mask, low, 0), np.where(mask, high, 0))


def _largest(mask: np.ndarray) -> np.ndarray:
    count, parts, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=4)
    return parts == 1 + int(stats[1:, cv2.CC_STAT_AREA].argmax()) if count > 1 else mask
