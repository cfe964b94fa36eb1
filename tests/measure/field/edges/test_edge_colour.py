"""Where a piece is clearly darker than the oil, colour that runs over its edge does not move its outline."""

import cv2
import numpy as np
import pytest

from measure.field.basics.outline import area
from measure.field.basics.tone import decoded, encoded
from measure.field.edges.edge import SMOOTHING_SIGMA_PX, Piece, colour_weight, place_edges

OIL, PIECE = (145, 125, 66), (2, 2, 30)  # stored values, RGB
SIDE, RADIUS, BLUR_PX, SMEAR_PX = 64, 6, 0.9, 2.0


def _disc(smear_px: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A dark blue disc in yellow oil, blurred in light, its colour then smeared; mask as found; oil."""
    y, x = np.mgrid[: 8 * SIDE, : 8 * SIDE] / 8 + 0.0625 - SIDE / 2
    inside = (np.hypot(x, y) <= RADIUS).astype(np.float32)
    inside = cv2.GaussianBlur(cv2.resize(inside, (SIDE, SIDE), interpolation=cv2.INTER_AREA), (0, 0), BLUR_PX)
    oil, piece = (decoded(np.array(rgb) / 255) for rgb in (OIL, PIECE))
    stored = encoded(oil + (piece - oil) * inside[..., None]).astype(np.float32)
    lab = cv2.cvtColor(stored, cv2.COLOR_RGB2Lab)
    if smear_px:
        lab[..., 1:] = cv2.GaussianBlur(lab[..., 1:], (0, 0), smear_px)
    delta = cv2.GaussianBlur(lab - lab[0, 0], (0, 0), SMOOTHING_SIGMA_PX)
    mask = (np.hypot(x[4::8, 4::8], y[4::8, 4::8]) <= RADIUS + 3).astype(np.uint8)
    return delta, mask, lab[0, 0].copy()


def _diameter(smear_px: float) -> float:
    delta, mask, oil = _disc(smear_px)
    (outline,) = place_edges([Piece(delta, mask, np.zeros(mask.shape, bool), oil, False)], 1.0)
    assert outline is not None
    return float(np.sqrt(4 / np.pi * area(outline)))


def test_smeared_colour_does_not_widen_a_dark_piece():
    sharp, smeared = _diameter(0.0), _diameter(SMEAR_PX)
    assert smeared == pytest.approx(sharp, rel=0.01)
    assert sharp == pytest.approx(2 * RADIUS, rel=0.03)


@pytest.mark.parametrize(
    ("step", "weight"), [((-40, 5, 20), 0.0), ((-10, 0, 4), 1.0), ((-25, 10, 60), 1.0), ((40, 5, 20), 1.0)]
)
def test_lightness_alone_counts_only_where_a_piece_is_clearly_darker(step, weight):
    assert colour_weight(np.tile(np.array(step, np.float32), (9, 1))) == weight
