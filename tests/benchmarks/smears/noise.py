"""Random textures everything is made of: noise of one and of many scales, plant cells, fracture."""

from collections.abc import Sequence

import cv2
import numpy as np
from scipy.spatial import cKDTree

Rng = np.random.Generator


def smooth(shape: tuple[int, ...], scale_px: float, rng: Rng) -> np.ndarray:
    """Noise of unit spread that changes over ``scale_px``; (M, N) float32."""
    scale = max(1.0, scale_px)
    rows, cols = (int(np.ceil(n / scale)) + 4 for n in shape[:2])
    coarse = rng.standard_normal((rows, cols)).astype(np.float32)
    if scale > 1:
        size = (int(np.ceil(cols * scale)), int(np.ceil(rows * scale)))
        coarse = np.asarray(cv2.resize(coarse, size, interpolation=cv2.INTER_CUBIC) / 0.75, np.float32)
    top, left = (
        int(rng.integers(0, max(1, have - want + 1))) for have, want in zip(coarse.shape, shape, strict=False)
    )
    return coarse[top : top + shape[0], left : left + shape[1]]


def fractal(
    shape: tuple[int, ...], scale_px: float, rng: Rng, octaves: int = 4, fall: float = 0.55
) -> np.ndarray:
    """Noise of several scales, each half as wide and ``fall`` times as strong; unit spread."""
    total = np.zeros(shape[:2], np.float32)
    weights = fall ** np.arange(octaves)
    for k, weight in enumerate(weights):
        total += weight * smooth(shape, scale_px / 2**k, rng)
    return total / np.sqrt((weights**2).sum())


def grid(reach_px: float, rng: Rng) -> tuple[np.ndarray, np.ndarray]:
    """Coordinates x, y of a square stamp about its middle, which lies anywhere within a pixel."""
    half = int(np.ceil(reach_px))
    line = np.arange(-half, half + 1, dtype=np.float32)
    x, y = np.meshgrid(line, line)
    return x + np.float32(rng.uniform(-0.5, 0.5)), y + np.float32(rng.uniform(-0.5, 0.5))


def turned(x: np.ndarray, y: np.ndarray, angle: float) -> tuple[np.ndarray, np.ndarray]:
    """Coordinates in axes turned by an angle."""
    return x * np.cos(angle) + y * np.sin(angle), y * np.cos(angle) - x * np.sin(angle)


class Cells:
    """Plant cells in a stamp: which cell a pixel lies in, and how far from its wall.

    Attributes
    ----------
    index : (M, N) ndarray of int
    gap_px : (M, N) ndarray of float
        Distance to the second nearest middle less that to the nearest: 0 in the wall.
    middle_x, middle_y : (M, N) ndarray of float
        Middle of the cell.
    """

    def __init__(self, x: np.ndarray, y: np.ndarray, size_px: float, rng: Rng, stretch: float = 1.0) -> None:
        angle = rng.uniform(0, np.pi)
        wave = 0.16 * size_px
        u, v = turned(
            x + wave * smooth(x.shape, size_px / 1.5, rng),
            y + wave * smooth(x.shape, size_px / 1.5, rng),
            angle,
        )
        u = u / np.float32(stretch)
        reach = float(np.abs(np.stack([u, v])).max()) + 2 * size_px
        line = np.arange(-reach, reach, size_px)
        a, b = np.meshgrid(line, line)
        a[::2] += size_px / 2  # close packed, as cells are
        points = np.column_stack([a.ravel(), b.ravel()]) + 0.22 * size_px * rng.standard_normal((a.size, 2))
        far, near = cKDTree(points).query(np.column_stack([u.ravel(), v.ravel()]), k=2)
        self.index = near[:, 0].reshape(x.shape)
        self.gap_px = (far[:, 1] - far[:, 0]).reshape(x.shape).astype(np.float32)
        mu, mv = (points[self.index, k].astype(np.float32) for k in (0, 1))
        self.middle_x, self.middle_y = turned(mu * np.float32(stretch), mv, -angle)
        self.count = len(points)

    def levels(self, rng: Rng) -> np.ndarray:
        """One normal number a cell, at each of its pixels."""
        return rng.standard_normal(self.count).astype(np.float32)[self.index]

    def wall(self, width_px: float) -> np.ndarray:
        """1 in the walls, falling to 0 over ``width_px``."""
        return np.exp(-((self.gap_px / max(0.8, width_px)) ** 2))


def largest(mask: np.ndarray) -> np.ndarray:
    """The largest part of a mask, holes filled."""
    parts, labels, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=4)
    if parts < 2:
        return mask
    body = (labels == 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))).astype(np.uint8)
    lines, _ = cv2.findContours(body, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return cv2.drawContours(np.zeros_like(body), lines, -1, 1, cv2.FILLED).astype(bool)


def depth_inside(mask: np.ndarray) -> np.ndarray:
    """Distance from the outline, px; 0 outside."""
    return cv2.distanceTransform(mask.astype(np.uint8), cv2.DIST_L2, 5)


def fracture(
    x: np.ndarray,
    y: np.ndarray,
    d_px: float,
    rng: Rng,
    stretch: float = 1.2,
    rough: float = 0.15,
    cuts: Sequence[float] | np.ndarray = (),
    cells: Cells | None = None,
    along: float = 0.0,
) -> np.ndarray:
    """A broken piece about ``d_px`` wide, as a mask.

    ``cuts`` are straight cleavage edges, each at a share of the radius from the middle; with ``cells`` the
    outline follows cell walls by the share ``along``: tissue breaks partly between and partly through cells.
    """
    turn = rng.uniform(0, np.pi)
    u, v = turned(x, y, turn)
    if cells is not None:
        cu, cv = turned(cells.middle_x, cells.middle_y, turn)
        u, v = u + along * (cu - u), v + along * (cv - v)
    u, v = u / np.sqrt(stretch), v * np.sqrt(stretch)
    angle = np.arctan2(v, u)
    radius = np.ones_like(u)
    for k in range(2, 9):
        radius += rough * rng.normal() * 1.3 / k * np.cos(k * angle + rng.uniform(0, 2 * np.pi))
    field = 0.5 * d_px * np.maximum(radius, 0.3) - np.hypot(u, v)
    field += 0.35 * rough * d_px * fractal(x.shape, d_px / 3, rng, 4, 0.6) * 0.5
    for share in cuts:
        way = rng.uniform(0, 2 * np.pi)
        field = np.minimum(field, 0.5 * d_px * share - (u * np.cos(way) + v * np.sin(way)))
    return largest(field > 0)
