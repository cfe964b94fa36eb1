"""Silhouettes of ground pieces: lumpy kernels, torn skins, curled ribbons, fibres. Closed polygons in px."""

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.ndimage import gaussian_filter1d
from shapely.geometry import LineString, Polygon

POINTS_PER_PX = 0.8


def _scaled(points: np.ndarray, diameter_px: float) -> np.ndarray:
    """Move the centroid to 0, 0 and give the polygon this area-equivalent diameter."""
    shape = Polygon(points)
    factor = diameter_px / np.sqrt(4.0 * shape.area / np.pi)
    return (points - np.array(shape.centroid.coords[0])) * factor


def _turned(points: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    angle = rng.uniform(0.0, 2.0 * np.pi)
    c, s = np.cos(angle), np.sin(angle)
    return points @ np.array([[c, s], [-s, c]])


def _count(diameter_px: float) -> int:
    return int(np.clip(np.pi * diameter_px * POINTS_PER_PX, 24, 600))


def kernel(diameter_px: float, rng: np.random.Generator) -> np.ndarray:
    """Broken piece of kernel: a rounded many-sided core, lumps of single cells on its rim.

    Returns
    -------
    (P, 2) ndarray of float
        Simple polygon about 0, 0 with the asked area-equivalent diameter.
    """
    theta = np.linspace(0.0, 2.0 * np.pi, _count(diameter_px), endpoint=False)
    sides = rng.integers(5, 9)
    facing = np.linspace(0, 2 * np.pi, sides, endpoint=False) + rng.normal(0.0, 0.35, sides)
    far = rng.uniform(0.75, 1.15, sides)
    cosine = np.cos(theta[:, None] - facing[None, :])
    reach = np.where(cosine > 0.05, far / np.maximum(cosine, 0.05), 50.0)
    power = rng.uniform(5.0, 14.0)  # the higher, the sharper the corners
    radius = np.sum(reach**-power, axis=1) ** (-1.0 / power)
    lumps = np.zeros_like(theta)
    rough = rng.uniform(0.03, 0.13)
    for order in range(3, 32):
        lumps += rng.normal(0.0, rough / order**1.05) * np.cos(order * theta + rng.uniform(0, 2 * np.pi))
    radius = np.clip(radius * (1.0 + lumps), 0.25, 2.5)
    points = np.column_stack([radius * np.cos(theta), radius * np.sin(theta)])
    points[:, 0] *= rng.uniform(1.0, 1.45)
    return _scaled(_turned(points, rng), diameter_px)


def rounded(diameter_px: float, rng: np.random.Generator) -> np.ndarray:
    """Nearly round grain (starch, single cell, drop)."""
    theta = np.linspace(0.0, 2.0 * np.pi, _count(diameter_px), endpoint=False)
    radius = np.ones_like(theta)
    for order in range(2, 6):
        radius += rng.normal(0.0, 0.05 / order) * np.cos(order * theta + rng.uniform(0, 2 * np.pi))
    points = np.column_stack([radius * np.cos(theta), radius * np.sin(theta)])
    points[:, 0] *= rng.uniform(1.0, 1.3)
    return _scaled(_turned(points, rng), diameter_px)


def disc(diameter_px: float) -> np.ndarray:
    """Circle, for air bubbles."""
    theta = np.linspace(0.0, 2.0 * np.pi, _count(diameter_px), endpoint=False)
    return _scaled(np.column_stack([np.cos(theta), np.sin(theta)]), diameter_px)


def flake(diameter_px: float, rng: np.random.Generator) -> np.ndarray:
    """Torn flake of skin: few long straight tears, small teeth between."""
    corners = int(rng.integers(4, 9))
    theta = np.sort(np.linspace(0, 2 * np.pi, corners, endpoint=False) + rng.normal(0, 0.25, corners))
    radius = rng.uniform(0.6, 1.25, corners)
    coarse = np.column_stack([radius * np.cos(theta), radius * np.sin(theta)])
    coarse[:, 0] *= rng.uniform(1.1, 2.0)
    ring = np.vstack([coarse, coarse[:1]])
    n = _count(diameter_px)
    line = LineString(ring)
    points = np.array([line.interpolate(t, normalized=True).coords[0] for t in np.arange(n) / n])
    steps = rng.normal(0.0, 1.0, n)
    rough = np.cumsum(steps - steps.mean())
    rough = (rough - rough.mean()) / (rough.std() + 1e-9) * 0.035 + rng.normal(0.0, 0.008, n)
    length = np.hypot(*points.T)[:, None]
    points = points * (1.0 + rough[:, None] / np.maximum(length, 0.3))
    return _scaled(_turned(_simple(points), rng), diameter_px)


def ribbon(diameter_px: float, rng: np.random.Generator) -> np.ndarray:
    """Strip of skin that has curled: a bent band with uneven width and torn ends."""
    bend = rng.uniform(-2.6, 2.6)
    s = np.linspace(-0.5, 0.5, 60)
    turn = bend * s + rng.normal(0, 0.6) * s**2
    line = np.column_stack([np.cumsum(np.cos(turn)), np.cumsum(np.sin(turn))]) / 60.0
    width = rng.uniform(0.16, 0.34) * (1.0 + 0.18 * np.sin(rng.uniform(4, 9) * s + rng.uniform(0, 6)))
    width *= 1.0 - 0.35 * np.abs(2 * s) ** 4
    normal = np.column_stack([-np.sin(turn), np.cos(turn)])
    jitter = gaussian_filter1d(rng.normal(0, 0.012, (2, 60)), rng.uniform(0.7, 2.5), axis=1)
    a = line + normal * (width / 2 + jitter[0])[:, None]
    b = line - normal * (width / 2 + jitter[1])[:, None]
    points = _simple(np.vstack([a, b[::-1]]))
    return _scaled(_turned(points, rng), diameter_px)


def fibre(length_px: float, width_px: float, rng: np.random.Generator) -> np.ndarray:
    """Long thin fibre along a soft curve; its area follows from length and width."""
    knots = rng.normal(0.0, 0.16, (6, 2)) * length_px
    knots[:, 0] = np.linspace(-0.5, 0.5, 6) * length_px
    spline = CubicSpline(np.linspace(0, 1, 6), knots)
    line = LineString(spline(np.linspace(0, 1, 160)))
    shape = line.buffer(width_px / 2, cap_style="flat")
    if shape.geom_type != "Polygon" or shape.interiors:
        knots[:, 1] *= 0.3
        line = LineString(CubicSpline(np.linspace(0, 1, 6), knots)(np.linspace(0, 1, 160)))
        shape = Polygon(line.buffer(width_px / 2, cap_style="flat").exterior)
    points = np.array(shape.exterior.coords)[:-1]
    return _turned(points - points.mean(axis=0), rng)


def _simple(points: np.ndarray) -> np.ndarray:
    """Return the outer line of the largest part where a polygon crosses itself."""
    shape = Polygon(points)
    if not shape.is_valid:
        shape = shape.buffer(0)
        if shape.geom_type != "Polygon":
            shape = max(shape.geoms, key=lambda part: part.area)
    return np.array(shape.exterior.coords)[:-1]
