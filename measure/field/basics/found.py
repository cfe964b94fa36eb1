"""What was found in a field: outlines and where they come from, and from which size on they are reported."""

from dataclasses import dataclass

import numpy as np

__all__ = ["Found", "least_area_px2"]

_REPORTED = 0.7  # share of the lower limit, across


@dataclass(frozen=True)
class Found:
    """Outlines of the pieces of a field.

    Attributes
    ----------
    outlines : list of (P, 2) ndarray of float32
        Sub-pixel polygons in px, corner of the first pixel at 0, 0.
    parent : (K,) ndarray of int32
        Number shared by pieces cut from one cluster; 0 for none.
    flags : (K,) ndarray of int32
        Bits of `measure.flags` known from finding: touching, rim_only, broken_rim, overlap.
    origin : (K,) ndarray of int8
        0 found, 1 cut.
    """

    outlines: list[np.ndarray]
    parent: np.ndarray
    flags: np.ndarray
    origin: np.ndarray


def least_area_px2(smallest_px: float) -> float:
    """Smallest area reported for a lower size limit, which is an area-equivalent diameter."""
    return float(np.pi / 4 * (_REPORTED * smallest_px) ** 2)
