"""What hangs on a crystal beyond its rim is not the crystal's."""

import cv2
import numpy as np
import pytest
import shapely

from measure.field.basics.polygons import polygon_of
from measure.field.rims.closed_in import closed_in

CRYSTAL = np.array([[30.0, 40.0], [75.0, 30.0], [85.0, 75.0], [40.0, 85.0]], np.float32)
WITH_MORE = np.array([[30, 40], [42, 20], [60, 22], [75, 30], [85, 75], [40, 85]], np.float32)


def _rim(gap_px: float = 0.0) -> np.ndarray:
    """Difference from the oil of a dark rim 3 px wide, perhaps with its first corner missing."""
    delta = np.zeros((110, 120, 3), np.float32)
    cv2.polylines(delta, [np.rint((CRYSTAL - 0.5) * 16).astype(np.int32)], True, (-20, 0, 0), 3, 8, 4)
    if gap_px:
        cv2.circle(delta, (75, 30), int(gap_px), (0, 0, 0), -1)
    return cv2.GaussianBlur(delta, (0, 0), 1.0)


def test_what_hangs_on_a_closed_rim_is_left_out():
    inside = polygon_of(closed_in(WITH_MORE, _rim()))
    crystal = shapely.Polygon(CRYSTAL)
    assert crystal.buffer(4.0, join_style="mitre").contains(inside)
    assert inside.area == pytest.approx(crystal.buffer(1.0, join_style="mitre").area, rel=0.02)
    assert shapely.Polygon(WITH_MORE).area > 1.1 * inside.area


@pytest.mark.parametrize(("outline", "gap_px"), [(CRYSTAL, 0.0), (CRYSTAL, 14.0), (WITH_MORE, 26.0)])
def test_a_crystal_by_itself_and_one_whose_corner_does_not_show_stay(outline: np.ndarray, gap_px: float):
    assert closed_in(outline, _rim(gap_px)) is outline
