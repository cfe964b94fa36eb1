"""Shapes of pieces: where they are and how thick."""

import cv2
import numpy as np

_SQUARE = np.ones((3, 3), np.uint8)


def lumps(rng: np.random.Generator, shape: tuple[int, int], size_px: float) -> np.ndarray:
    """Return even random lumps of one size, of mean 0 and standard deviation 1, (M, N) float32."""
    step = max(1, int(size_px))
    few = rng.normal(size=(shape[0] // step + 3, shape[1] // step + 3)).astype(np.float32)
    many = cv2.resize(few, shape[::-1], interpolation=cv2.INTER_CUBIC)
    return (many - many.mean()) / many.std()


def shape_of(rng: np.random.Generator, kind: str, diameter_px: float) -> tuple[np.ndarray, np.ndarray] | None:
    """Draw a piece in a square crop.

    Returns
    -------
    mask : (M, M) ndarray of bool
    thickness : (M, M) ndarray of float32
        0..1.
    """
    side = int(2.2 * diameter_px) + 12
    thickness = {"kernel": _kernel, "skin": _skin, "salt": _salt}[kind](rng, side, diameter_px)
    count, parts, stats, _ = cv2.connectedComponentsWithStats(
        (thickness > 0).astype(np.uint8), connectivity=8
    )
    if count < 2:
        return None
    largest = (parts == 1 + int(stats[1:, cv2.CC_STAT_AREA].argmax())).astype(np.uint8)
    largest = cv2.morphologyEx(largest, cv2.MORPH_CLOSE, _SQUARE)
    lines = cv2.findContours(largest, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0]
    mask = cv2.drawContours(np.zeros_like(largest), lines, -1, 1, -1) > 0
    return mask, thickness * mask


def _kernel(rng: np.random.Generator, side: int, d: float) -> np.ndarray:
    """Ragged, and thin towards its edge."""
    y, x = np.mgrid[:side, :side].astype(np.float32) - side / 2
    longer, turn = np.sqrt(rng.uniform(1, 1.5)), rng.uniform(0, np.pi)
    u, v = x * np.cos(turn) + y * np.sin(turn), y * np.cos(turn) - x * np.sin(turn)
    height = 1 - np.hypot(u / longer, v * longer) / (d / 2) - 0.05
    height += 0.16 * lumps(rng, (side, side), max(2, d / 3.5)) + 0.06 * lumps(
        rng, (side, side), max(1.5, d / 9)
    )
    return np.sqrt(np.clip(height, 0, 1))


def _skin(rng: np.random.Generator, side: int, d: float) -> np.ndarray:
    """A flat flake with corners."""
    corners = rng.integers(4, 8)
    angle = np.sort(rng.uniform(0, 2 * np.pi, corners) + np.linspace(0, 2 * np.pi, corners, endpoint=False))
    reach, longer = d / 2 * rng.uniform(0.6, 1.25, corners), np.sqrt(rng.uniform(1, 1.8))
    flake = _filled(np.stack([reach * np.cos(angle) * longer, reach * np.sin(angle) / longer], axis=1), side)
    return flake * (lumps(rng, (side, side), max(2, d / 6)) > -2.1)


def _salt(rng: np.random.Generator, side: int, d: float) -> np.ndarray:
    """A cube with blunt corners, or a broken crystal."""
    if rng.random() < 0.5:
        wide, high = d / 2 * rng.uniform(0.8, 1.1), d / 2 * rng.uniform(0.6, 1)
        square = 0.85 * np.array([[-wide, -high], [wide, -high], [wide, high], [-wide, high]])
        blunt, turn = rng.uniform(0, 0.35, 4) / 2, rng.uniform(0, np.pi)
        points = [
            square[i] + (square[(i + step) % 4] - square[i]) * blunt[i] for i in range(4) for step in (-1, 1)
        ]
        way = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        return _filled(np.array(points) @ way, side)
    return _filled(np.clip(rng.normal(size=(40, 2)) * d * 0.22, -d / 2, d / 2), side)


def _filled(points: np.ndarray, side: int) -> np.ndarray:
    """Fill the convex hull of points round the middle of a crop."""
    hull = cv2.convexHull(points.astype(np.float32))[:, 0] + side / 2
    mask = np.zeros((side, side), np.uint8)
    cv2.fillPoly(mask, [np.round(hull * 16).astype(np.int32)], 1, shift=4)
    return mask.astype(np.float32)
