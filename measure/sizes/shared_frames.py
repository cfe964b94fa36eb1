"""Frame correction of fields that overlap: a piece is counted when it is whole in any of them.

The correction of a single frame would be wrong here: a large piece that one field cuts is often whole in the
next, so large pieces would weigh too much.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from measure.model import Frame
from measure.sizes.frame_weight import SMALLEST_PROBABILITY

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

_GRID = 10


@dataclass(frozen=True)
class PlacedFrame:
    """A frame and where it lies among the others.

    Attributes
    ----------
    frame : Frame
    matrix : (2, 3) ndarray
        Takes its x, y px to those all share.
    """

    frame: Frame
    matrix: np.ndarray


def united_area_px2(placed: Sequence[PlacedFrame]) -> float:
    """Return the area that the frames show together, each place once, excluded zones left out, px^2."""
    return float(_united(placed, 0.0, 0.0).area)


def united_weight(
    placed: Sequence[PlacedFrame], feret_h_px: np.ndarray, feret_v_px: np.ndarray
) -> np.ndarray:
    """Return the weight of pieces counted once over frames that overlap.

    Parameters
    ----------
    placed : sequence of PlacedFrame
        All frames that hang together.
    feret_h_px, feret_v_px : (K,) ndarray of float
        Horizontal and vertical Feret diameters, px; a small turn between frames is not told apart.

    Returns
    -------
    (K,) ndarray of float
        Area the frames show together over the area of places where the piece is whole in at least one of
        them, at most 1 / `measure.sizes.frame_weight.SMALLEST_PROBABILITY`. With one frame it is 1/P of
        Miles-Lantuejoul.

    References
    ----------
    Miles, J. Microscopy 113 (1978) 257, carried over to a frame made of several.

    Examples
    --------
    >>> one = PlacedFrame(Frame(1000, 800), np.eye(2, 3))
    >>> united_weight([one], np.array([200.0]), np.array([200.0])).round(4).tolist()
    [1.6667]
    """
    feret_h, feret_v = np.asarray(feret_h_px, float), np.asarray(feret_v_px, float)
    if not len(feret_h):
        return np.zeros(0)
    whole = united_area_px2(placed)
    axis_h, axis_v = _axis(feret_h), _axis(feret_v)
    table = np.array([[_united(placed, h, v).area for v in axis_v] for h in axis_h]) / max(whole, 1e-9)
    return 1.0 / np.clip(_between(axis_h, axis_v, table, feret_h, feret_v), SMALLEST_PROBABILITY, 1.0)


def _axis(values: np.ndarray) -> np.ndarray:
    low, high = float(values.min()), float(values.max())
    return np.linspace(low, high, _GRID) if high - low > 1e-9 else np.array([low, low + 1.0])


def _between(
    axis_h: np.ndarray, axis_v: np.ndarray, table: np.ndarray, feret_h: np.ndarray, feret_v: np.ndarray
) -> np.ndarray:
    from scipy.interpolate import RegularGridInterpolator

    at = RegularGridInterpolator((axis_h, axis_v), table, bounds_error=False, fill_value=None)
    return at(np.column_stack([feret_h, feret_v]))


def _united(placed: Sequence[PlacedFrame], feret_h: float, feret_v: float) -> "BaseGeometry":
    from shapely import union_all

    return union_all([_clear(one, feret_h, feret_v) for one in placed])


def _clear(placed: PlacedFrame, feret_h: float, feret_v: float) -> "BaseGeometry":
    """Places of the middle of a piece at which a frame shows it whole, in px all frames share."""
    from shapely import affinity, box, union_all
    from shapely.geometry import Polygon

    frame, m = placed.frame, placed.matrix
    if feret_h >= frame.width_px or feret_v >= frame.height_px:
        return Polygon()
    inner = box(feret_h / 2, feret_v / 2, frame.width_px - feret_h / 2, frame.height_px - feret_v / 2)
    if frame.zones:
        zones = union_all([Polygon(zone).buffer(0) for zone in frame.zones if len(zone) >= 3])
        if feret_h > 0 and feret_v > 0:  # an ellipse swept round the zone, as in `frame_weight`
            swept = affinity.scale(zones, 1 / feret_h, 1 / feret_v, origin=(0, 0)).buffer(0.5)
            zones = affinity.scale(swept, feret_h, feret_v, origin=(0, 0))
        inner = inner.difference(zones)
    return affinity.affine_transform(inner, [m[0, 0], m[0, 1], m[1, 0], m[1, 1], m[0, 2], m[1, 2]])
