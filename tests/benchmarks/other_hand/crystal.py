"""Salt: cubes, boxes and broken cubes as the half-spaces of convex bodies, seen from above."""

from dataclasses import dataclass

import numpy as np
from scipy.spatial import ConvexHull, HalfspaceIntersection
from scipy.spatial.transform import Rotation


@dataclass(frozen=True)
class Crystal:
    """Convex body: points with ``normals @ x <= offsets``; ``outline`` is its projected silhouette in px."""

    normals: np.ndarray
    offsets: np.ndarray
    outline: np.ndarray


def crystal(diameter_px: float, rng: np.random.Generator) -> Crystal:
    """Draw one crystal with this area-equivalent diameter of the silhouette.

    Halite cleaves along its cube faces, so most bodies lie on a face; some lie tilted, some have a broken
    corner or edge (conchoidal, drawn as one to three cuts).
    """
    sides = np.array([1.0, rng.uniform(0.7, 1.0), rng.uniform(0.45, 0.95)])
    normals = np.vstack([np.eye(3), -np.eye(3)])
    offsets = np.concatenate([sides, sides])
    cuts = int(rng.choice([0, 1, 2, 3], p=[0.35, 0.3, 0.2, 0.15]))
    for _ in range(cuts):
        direction = rng.normal(size=3)
        direction /= np.linalg.norm(direction)
        corner = np.abs(direction) @ sides
        normals = np.vstack([normals, direction])
        offsets = np.append(offsets, corner * rng.uniform(0.55, 0.85))
    tilt = rng.normal(0.0, 0.12, 2) if rng.random() < 0.65 else rng.normal(0.0, 0.6, 2)
    turn = Rotation.from_euler("xyz", [tilt[0], tilt[1], rng.uniform(0, 2 * np.pi)])
    normals = turn.apply(normals)
    corners = HalfspaceIntersection(np.column_stack([normals, -offsets]), np.zeros(3)).intersections
    flat = corners[:, :2]
    hull = ConvexHull(flat)
    factor = diameter_px / np.sqrt(4.0 * hull.volume / np.pi)
    outline = flat[hull.vertices] * factor
    return Crystal(normals, offsets * factor, outline)


def thickness(body: Crystal, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Length of the line of sight inside the body, px, at each x, y (same shape)."""
    top = np.full(x.shape, np.inf)
    bottom = np.full(x.shape, -np.inf)
    inside = np.ones(x.shape, dtype=bool)
    for (nx, ny, nz), offset in zip(body.normals, body.offsets, strict=True):
        rest = offset - nx * x - ny * y
        if nz > 1e-3:
            top = np.minimum(top, rest / nz)
        elif nz < -1e-3:
            bottom = np.maximum(bottom, rest / nz)
        else:
            inside &= rest >= 0
    return np.where(inside, np.maximum(top - bottom, 0.0), 0.0)
