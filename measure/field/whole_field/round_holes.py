"""Pieces cut like a pie because the pale middle of a round piece was taken for oil."""

import numpy as np
from shapely import Polygon
from shapely.ops import unary_union

from measure.field.basics.polygons import outline_of, polygon_of, traced_evenly
from measure.field.cuts.cut_lobes import oval_misfit
from measure.particles import Particles

_GAP_PX = 1.6  # left between parts by a cut
_BESIDE_PX = 2.5  # from a hole, of the parts that lie round it
_MIDDLE = 0.25  # most of the whole that the middle may be
_WEDGES = 3  # parts from which a cluster without a hole in one bit may be one piece
_OVAL, _SOLID = 0.03, 0.955  # misfit of one oval, and solidity, of what is one piece
_ALIKE = 0.5  # spread of the parts' colours over their colour against the oil
_STEPS = ("lightness_step", "green_red_step", "blue_yellow_step")


def around_holes(particles: Particles) -> list[tuple[list[int], np.ndarray]]:
    """Find parts that together are one oval, round a hole or as wedges.

    Parameters
    ----------
    particles : Particles
        K measured particles; parts of one cluster share a parent.

    Returns
    -------
    sets : list of (list of int, (P, 2) ndarray)
        Rows, each in one set at most, and the outline of all of them together.
    """
    found: list[tuple[list[int], np.ndarray]] = []
    parents = particles["parent"]
    for parent in np.unique(parents[parents > 0]).tolist():
        rows = np.flatnonzero(parents == parent).tolist()
        if len(rows) > 1:
            found += _in_cluster(particles, rows)
    return found


def _in_cluster(particles: Particles, rows: list[int]) -> list[tuple[list[int], np.ndarray]]:
    shapes = {i: polygon_of(particles.outlines[i]).buffer(_GAP_PX) for i in rows}
    union = unary_union(list(shapes.values()))
    bodies = [union] if isinstance(union, Polygon) else list(union.geoms)
    found, taken = [], set()
    holes = [Polygon(ring) for body in bodies for ring in body.interiors]
    # a middle in several bits: all that hangs together, looked at first
    for place, least in [(body, _WEDGES) for body in bodies] + [(hole, 2) for hole in holes]:
        beside = [i for i in rows if i not in taken and shapes[i].distance(place) < _BESIDE_PX]
        whole = _one_oval([shapes[i] for i in beside], place) if len(beside) >= least else None
        if whole is not None and _alike(particles, beside):
            found.append((beside, outline_of(whole.simplify(0.05))))
            taken.update(beside)
    return found


def _one_oval(parts: list[Polygon], place: Polygon) -> Polygon | None:
    """Outline of parts with the place they lie round, where that is one oval."""
    together = unary_union([*parts, place])
    if not isinstance(together, Polygon):
        return None  # they do not hang together
    whole = Polygon(together.exterior).buffer(-_GAP_PX)
    if not isinstance(whole, Polygon) or whole.is_empty or whole.area < _SOLID * whole.convex_hull.area:
        return None
    if whole.area - sum(part.area for part in parts) > _MIDDLE * whole.area:
        return None
    return whole if oval_misfit(traced_evenly(whole)) < _OVAL else None


def _alike(particles: Particles, rows: list[int]) -> bool:
    colours = np.array([[particles[name][i] for name in _STEPS] for i in rows], float)
    apart = np.linalg.norm(colours - np.median(colours, axis=0), axis=1).max()
    return bool(apart < _ALIKE * np.linalg.norm(colours, axis=1).max())
