"""Outlines of see-through pieces moved to where the outer edge of their rim is."""

from collections.abc import Sequence

import numpy as np
import shapely

from measure.field.basics.polygons import largest, traced_finely
from measure.field.edges.edge_level import mixed_values
from measure.field.edges.features import oil_at
from measure.field.edges.rim_level import RimLine, profiles, rim_line, rim_shift, rim_sigmas
from measure.field.ground.light import Light

_MARGIN_PX = 8
_LEAST_OIL = np.float32(1e-3)  # light of the three channels together
_MOST_OF_SIZE = 0.12  # an outline is moved by
_DEEPEST = 0.4  # of the size, how far inside a rim is looked for


def placed_rims(
    rims: Sequence[shapely.Polygon], half_widths_px: Sequence[float], light: Light, bodies_px: np.ndarray
) -> list[shapely.Polygon]:
    """Move the outlines of see-through pieces of one picture to their outer edges.

    Parameters
    ----------
    rims : sequence of K Polygon
    half_widths_px : sequence of K float
        Half of the width each rim looks.
    light : Light
    bodies_px : (B,) ndarray
        Blur of the bodies of the picture, sigma in px.

    Returns
    -------
    list of Polygon
        Those whose rim is not seen as they were.
    """
    lines = []
    for shape, half_width in zip(rims, half_widths_px, strict=True):
        deep = min(_DEEPEST * float(np.sqrt(shape.area)), 4.0 * half_width + 4.0)
        lines.append(rim_line(_across(shape, light, deep)))
    sigmas = iter(rim_sigmas([line for line in lines if line is not None], bodies_px))
    return [
        shape if line is None else moved_to_edge(shape, line, float(next(sigmas)))
        for shape, line in zip(rims, lines, strict=True)
    ]


def _across(shape: shapely.Polygon, light: Light, deep_px: float) -> np.ndarray:
    """Profiles of the change of light over that of the oil."""
    rows, columns = light.solid_distance.shape
    x0, y0, x1, y1 = shape.bounds
    left, top = max(0, int(x0) - _MARGIN_PX), max(0, int(y0) - _MARGIN_PX)
    box = np.s_[top : min(rows, int(y1) + _MARGIN_PX + 1), left : min(columns, int(x1) + _MARGIN_PX + 1)]
    oil = oil_at(light, np.array([0.5 * (x0 + x1)]), np.array([0.5 * (y0 + y1)]))[0].astype(np.float32)
    of_oil = max(mixed_values(oil, light.light_weight).sum(), _LEAST_OIL)  # black oil sends no light
    change = mixed_values(light.delta[box] + oil, light.light_weight).sum(axis=-1) / of_oil - np.float32(1.0)
    return profiles(change, traced_finely(shape, 1.0) - np.array([left, top], float), deep_px)


def moved_to_edge(shape: shapely.Polygon, line: RimLine, sigma_px: float) -> shapely.Polygon:
    """The outline of a see-through piece moved to the outer edge of its rim, whose blur is known."""
    # blur moves a curved edge inwards by sigma^2 / 2R; the mean of 1 / R round a piece is 2 pi / length
    inwards = sigma_px**2 * np.pi / shape.convex_hull.length
    shift = min(rim_shift(line, sigma_px) - inwards, _MOST_OF_SIZE * float(np.sqrt(shape.area)))
    moved = largest(shape.buffer(-shift, join_style="mitre"))
    return shape if moved.is_empty else moved
