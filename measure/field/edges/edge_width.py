"""How soft the edge of each piece is, from the picture along the normals of its outline."""

from collections.abc import Sequence
from dataclasses import dataclass
from types import ModuleType

import numpy as np

from measure.field.basics.shape import resampled

_POINTS = 24  # normals an outline
_SAMPLES = 12  # samples each way along a normal
_BLOCK = 2000  # outlines sampled at a time
_LONGEST_PX = 14.0  # reach outwards and inwards at most


@dataclass(frozen=True)
class Edges:
    """Averaged edge of each piece.

    Attributes
    ----------
    width_px : (K,) ndarray
        10-90 % width; nan where it cannot be told.
    contrast : (K,) ndarray
        Step at the edge in units of the oil's noise.
    """

    width_px: np.ndarray
    contrast: np.ndarray


def measure_edges(
    outlines: Sequence[np.ndarray],
    delta: np.ndarray,
    noise: np.ndarray,
    labels: np.ndarray,
    corner: tuple[int, int],
    breadth_px: np.ndarray,
) -> Edges:
    """Average the picture along the normals of each outline and read the width of the step.

    Normals that run into another piece are left out. The picture is projected on the colour of the step,
    so a piece that differs in colour only has an edge too. The peak within reach stands for the inside,
    so that the rim of a see-through piece gives the width of its own outer edge.

    Parameters
    ----------
    outlines : sequence of (P, 2) ndarray
    delta : (M, N, 3) ndarray of float32
        CIELAB difference from the local oil.
    noise : (3,) ndarray
        Standard deviation of the oil in each channel.
    labels : (m, n) ndarray of int32
        Number 1..K of the piece at each pixel of a crop of the picture, 0 in the oil.
    corner : (int, int)
        Row and column of the crop's first pixel.
    breadth_px : (K,) ndarray
        Smallest Feret diameter: how far the inside goes.

    Returns
    -------
    Edges
    """
    if not outlines:
        return Edges(np.zeros(0), np.zeros(0))
    outward = np.clip(0.5 * breadth_px, 3.0, _LONGEST_PX)
    inward = np.clip(0.45 * breadth_px, 1.0, _LONGEST_PX)
    even = np.linspace(-1.0, 1.0, 2 * _SAMPLES + 1)
    steps = np.sign(even) * np.abs(even) ** 1.5  # closer together at the outline, where the step is
    along = np.where(steps < 0, steps * outward[:, None], steps * inward[:, None])
    blocks = [
        _profiles(outlines, delta, noise, labels, corner, along, slice(i, i + _BLOCK))
        for i in range(0, len(outlines), _BLOCK)
    ]
    profile, told = (np.concatenate(part) for part in zip(*blocks, strict=True))
    level = _projected(profile, steps)
    width, step = _ten_to_ninety(level, along)
    width[(told < 4) | (breadth_px < 5.0) | (step < 3.0)] = np.nan
    return Edges(width, step)


def _profiles(
    outlines: Sequence[np.ndarray],
    delta: np.ndarray,
    noise: np.ndarray,
    labels: np.ndarray,
    corner: tuple[int, int],
    along: np.ndarray,
    block: slice,
) -> tuple[np.ndarray, np.ndarray]:
    """Mean noise-normalised profiles, (K, S, 3), from outside to inside, and how many normals made them.

    Of a block of the outlines only: the samples along their normals take much memory.
    """
    import cv2

    along, first = along[block], block.start
    points = resampled(outlines[block], _POINTS)
    tangent = np.roll(points, -1, axis=1) - np.roll(points, 1, axis=1)
    normal = np.stack([-tangent[..., 1], tangent[..., 0]], axis=-1)
    normal /= np.maximum(np.hypot(normal[..., 0], normal[..., 1]), 1e-9)[..., None]
    # inwards whichever way the outline turns
    following = np.roll(points, -1, axis=1)
    turning = (points[..., 0] * following[..., 1] - points[..., 1] * following[..., 0]).sum(axis=1)
    normal *= np.where(turning < 0, -1.0, 1.0)[:, None, None]
    where = points[:, :, None] + normal[:, :, None] * along[:, None, :, None]
    rows = where.reshape(-1, along.shape[1], 2).astype(np.float32) - np.float32(0.5)
    picture = _remapped(cv2, delta, rows)
    profile = picture.reshape(*where.shape[:3], 3) / np.maximum(noise, 1e-6)
    alone = _alone(where, labels, corner, delta.shape[:2], first)
    told = alone.sum(axis=1)
    weight = np.where((told > 0)[:, None], alone, 1.0)
    mean = np.einsum("kp,kpsc->ksc", weight, profile) / weight.sum(axis=1)[:, None, None]
    return mean, told


def _remapped(cv2: ModuleType, delta: np.ndarray, rows: np.ndarray) -> np.ndarray:
    """Bilinear samples, in blocks short enough for the library's 16-bit row count."""
    parts = [
        cv2.remap(delta, block[..., 0], block[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        for block in np.array_split(rows, -(-len(rows) // 30_000))
    ]
    return np.concatenate(parts)


def _alone(
    where: np.ndarray, labels: np.ndarray, corner: tuple[int, int], size: tuple[int, int], first: int
) -> np.ndarray:
    """Normals whose outer half stays in the picture and meets no other piece, (K, points) of bool.

    The pieces are those from row ``first`` on.
    """
    outer = where[:, :, :_SAMPLES:3]
    row = np.floor(outer[..., 1]).astype(int)
    column = np.floor(outer[..., 0]).astype(int)
    inside = (row >= 0) & (column >= 0) & (row < size[0]) & (column < size[1])
    row, column = row - corner[0], column - corner[1]
    known = (row >= 0) & (column >= 0) & (row < labels.shape[0]) & (column < labels.shape[1])
    found = labels[np.clip(row, 0, labels.shape[0] - 1), np.clip(column, 0, labels.shape[1] - 1)]
    own = first + np.arange(1, len(where) + 1)[:, None, None]
    return (inside & (~known | (found == 0) | (found == own))).all(axis=2)


def _projected(profile: np.ndarray, steps: np.ndarray) -> np.ndarray:
    """Profile along the colour of the step, (K, S): near 0 outside, positive inside."""
    oil = profile[:, : _SAMPLES // 3].mean(axis=1, keepdims=True)
    step = profile - oil
    strength = np.linalg.norm(step, axis=2)
    strength[:, steps < 0] = 0.0
    peak = np.argmax(strength, axis=1)
    colour = step[np.arange(len(step)), peak]
    colour /= np.maximum(np.linalg.norm(colour, axis=1), 1e-9)[:, None]
    return np.einsum("ksc,kc->ks", step, colour)


def _ten_to_ninety(level: np.ndarray, along: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """10-90 % width and height of each step; walking outwards from the peak."""
    rows = np.arange(len(level))
    inner = level.copy()
    inner[:, :_SAMPLES] = -np.inf
    peak = np.argmax(inner, axis=1)
    height = level[rows, peak]
    crossing = []
    before = np.arange(level.shape[1])[None, :] < peak[:, None]
    for share in (0.1, 0.9):
        target = share * height
        below = before & (level <= target[:, None])
        last = np.where(below.any(axis=1), level.shape[1] - 1 - np.argmax(below[:, ::-1], axis=1), 0)
        low, high = level[rows, last], level[rows, last + 1]
        part = np.clip((target - low) / np.where(high == low, 1.0, high - low), 0.0, 1.0)
        place = along[rows, last] + part * (along[rows, last + 1] - along[rows, last])
        crossing.append(np.where(below.any(axis=1), place, np.nan))
    return crossing[1] - crossing[0], height
