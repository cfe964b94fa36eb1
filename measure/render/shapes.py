"""Outlines of the pieces, about the origin, scaled to an exact area-equivalent diameter."""

import numpy as np

from measure.render.coverage import polygon_area
from measure.render.recipe import KernelLook, SaltLook, SkinLook


def scaled_to_diameter(outline: np.ndarray, diameter_px: float) -> np.ndarray:
    """Return the outline centred and scaled to the area of a circle of ``diameter_px``."""
    centred = outline - outline.mean(axis=0)
    return centred * np.sqrt(np.pi * diameter_px**2 / 4.0 / polygon_area(centred))


def _turned(outline: np.ndarray, angle: float) -> np.ndarray:
    cos, sin = np.cos(angle), np.sin(angle)
    return outline @ np.array([[cos, sin], [-sin, cos]])


def _waves(rng: np.random.Generator, angle: np.ndarray, low: int, high: int, power: float) -> np.ndarray:
    """Return a sum of harmonics of unit standard deviation."""
    order = np.arange(low, high + 1)
    amplitude = rng.normal(size=order.size) * order ** (-power)
    phase = rng.uniform(0, 2 * np.pi, order.size)
    wave = (amplitude[:, None] * np.cos(order[:, None] * angle + phase[:, None])).sum(axis=0)
    return wave / (wave.std() + 1e-9)


def _points(diameter_px: float) -> int:
    return int(np.clip(2.5 * diameter_px, 64, 720))


def kernel_outline(diameter_px: float, look: KernelLook, rng: np.random.Generator) -> np.ndarray:
    """Return an irregular piece: half of them lumpy, half of them broken along flat faces."""
    angle = np.linspace(0, 2 * np.pi, _points(diameter_px), endpoint=False)
    if rng.random() < 0.5:
        radius = np.exp(look.roughness * _waves(rng, angle, 2, 6, 1.0))
    else:
        faces = np.sort(rng.uniform(0, 2 * np.pi, rng.integers(6, 10)))
        reach = rng.uniform(0.75, 1.2, faces.size)
        # soft minimum over the faces: a broken piece with slightly rounded corners
        cosine = np.maximum(np.cos(angle[:, None] - faces), 0.05)
        radius = ((cosine / reach) ** 14).sum(axis=1) ** (-1 / 14)
        radius = np.minimum(radius, 1.5 * np.median(radius))
    radius = radius * np.exp(0.22 * look.roughness * _waves(rng, angle, 5, 16, 0.8))
    outline = np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])
    outline[:, 0] *= rng.uniform(1.0, 1.35)
    return scaled_to_diameter(_turned(outline, rng.uniform(0, 2 * np.pi)), diameter_px)


def skin_outline(diameter_px: float, look: SkinLook, rng: np.random.Generator) -> np.ndarray:
    """Return a torn flake: long, ragged, slightly bent (the bend shears columns, so it stays simple)."""
    angle = np.linspace(0, 2 * np.pi, int(1.4 * _points(diameter_px)), endpoint=False)
    broad = _waves(rng, angle, 2, 6, 0.6)
    fine = _waves(rng, angle, 6, 22, 0.9)
    # tears come in places, with smoother stretches between them
    torn = np.clip(0.5 + 0.8 * _waves(rng, angle, 1, 3, 0.5), 0.1, 1.4)
    radius = np.exp(look.tear * (0.75 * broad - 0.4 * torn * np.abs(fine)))
    outline = np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])
    outline[:, 0] *= look.elongation * rng.uniform(0.7, 1.3)
    outline[:, 1] += rng.uniform(-0.22, 0.22) * outline[:, 0] ** 2
    return scaled_to_diameter(_turned(outline, rng.uniform(0, 2 * np.pi)), diameter_px)


def _hull(points: np.ndarray) -> np.ndarray:
    from scipy.spatial import ConvexHull

    return points[ConvexHull(points).vertices]


def salt_outline(
    diameter_px: float, look: SaltLook, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    """Return the outline of a cube and its inner edges.

    Returns
    -------
    outline : (P, 2) ndarray
        Convex silhouette, corners only.
    edges : (E, 2, 2) ndarray
        Segments of cube edges seen through the crystal, same coordinates.
    """
    corner = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)], dtype=float)
    corner *= (1.0, rng.uniform(0.72, 1.0), rng.uniform(0.6, 1.0))
    tilt = abs(rng.normal(0.0, 0.16)) if rng.random() < 0.75 else rng.uniform(0.25, 0.7)
    about = rng.uniform(0, 2 * np.pi)
    c, s = np.cos(tilt), np.sin(tilt)
    spin = np.array([[np.cos(about), -np.sin(about), 0], [np.sin(about), np.cos(about), 0], [0, 0, 1]])
    lean = np.array([[1, 0, 0], [0, c, -s], [0, s, c]])
    seen = (corner @ spin.T @ lean.T)[:, :2]
    pairs = [(i, j) for i in range(8) for j in range(i + 1, 8) if bin(i ^ j).count("1") == 1]
    edges = np.array([[seen[i], seen[j]] for i, j in pairs])
    outline = _hull(seen)
    if rng.random() < look.chipped:
        outline = _chip(outline, rng)
    turn = rng.uniform(0, 2 * np.pi)
    outline, edges = _turned(outline, turn), _turned(edges.reshape(-1, 2), turn).reshape(-1, 2, 2)
    factor = np.sqrt(np.pi * diameter_px**2 / 4.0 / polygon_area(outline))
    centre = outline.mean(axis=0)
    return (outline - centre) * factor, (edges - centre) * factor


def _chip(outline: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Cut one corner off a convex outline."""
    k = int(rng.integers(len(outline)))
    before, here, after = outline[k - 1], outline[k], outline[(k + 1) % len(outline)]
    share = rng.uniform(0.15, 0.4, 2)[:, None]
    cut = np.array([here, here]) + share * (np.array([before, after]) - here)
    return np.concatenate([outline[:k], cut, outline[k + 1 :]])


def bubble_outline(diameter_px: float) -> np.ndarray:
    """Return a circle."""
    angle = np.linspace(0, 2 * np.pi, max(96, _points(diameter_px)), endpoint=False)
    return scaled_to_diameter(np.column_stack([np.cos(angle), np.sin(angle)]), diameter_px)


def fibre_outline(length_px: float, width_px: float, rng: np.random.Generator) -> np.ndarray:
    """Return a long, gently curled ribbon of slowly changing width."""
    along = np.linspace(0.0, 1.0, 80)
    turn = rng.uniform(-0.9, 0.9) * along + 0.35 * np.sin(
        2 * np.pi * rng.uniform(0.6, 1.4) * along + rng.uniform(0, 6)
    )
    heading = rng.uniform(0, 2 * np.pi) + turn
    step = length_px / (along.size - 1) * np.column_stack([np.cos(heading), np.sin(heading)])
    line = np.cumsum(step, axis=0)
    normal = np.column_stack([-np.sin(heading), np.cos(heading)])
    taper = np.sqrt(np.clip(np.minimum(along, 1 - along) / 0.02, 0.15, 1.0))
    half = 0.5 * width_px * (taper * (1 + 0.15 * np.sin(2 * np.pi * 2.3 * along)))[:, None]
    outline = np.concatenate([line + half * normal, (line - half * normal)[::-1]])
    return outline - outline.mean(axis=0)
