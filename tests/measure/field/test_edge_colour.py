"""Where a piece is clearly darker than the oil, colour that runs over its edge does not move its outline."""

import cv2
import numpy as np
import pytest

from measure.field.edge import Piece, colour_weight, place_edges
from measure.field.outline import area

OIL = np.array([55.0, 5.0, 35.0], np.float32)  # CIELAB
SIDE, RADIUS, BLUR_PX, SMEAR_PX = 64, 12, 0.8, 2.5


def _disc(colour_blur_px: float) -> tuple[np.ndarray, np.ndarray]:
    """A black disc in yellow oil, its colour blurred more than its lightness; its mask as found."""
    y, x = np.mgrid[:SIDE, :SIDE] + 0.5 - SIDE / 2
    inside = (np.hypot(x, y) <= RADIUS).astype(np.float32)
    lightness, colour = (cv2.GaussianBlur(inside, (0, 0), s) for s in (BLUR_PX, colour_blur_px))
    delta = np.dstack([-50.0 * lightness, -3.0 * colour, -45.0 * colour]).astype(np.float32)
    mask = (np.hypot(x, y) <= RADIUS + 3).astype(np.uint8)
    return delta, mask


def _diameter(colour_blur_px: float) -> float:
    delta, mask = _disc(colour_blur_px)
    (outline,) = place_edges([Piece(delta, mask, np.zeros(mask.shape, bool), OIL, False)], 0.0)
    assert outline is not None
    return float(np.sqrt(4 / np.pi * area(outline)))


def test_smeared_colour_does_not_widen_a_dark_piece():
    sharp, smeared = _diameter(BLUR_PX), _diameter(SMEAR_PX)
    assert smeared == pytest.approx(sharp, rel=0.01)
    assert smeared == pytest.approx(2 * RADIUS, rel=0.03)


@pytest.mark.parametrize(
    ("step", "weight"), [((-40, 5, 20), 0.0), ((-10, 0, 4), 1.0), ((-25, 10, 60), 1.0), ((40, 5, 20), 1.0)]
)
def test_lightness_alone_counts_only_where_a_piece_is_clearly_darker(step, weight):
    assert colour_weight(np.tile(np.array(step, np.float32), (9, 1))) == weight
