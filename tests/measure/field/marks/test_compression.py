"""Compression leaves the colour of most blocks flat and moves others by whole steps: those are no pieces."""

import cv2
import numpy as np

from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture

_STEP = (8.0, -4.0, 2.0)  # of the colour of a block, in counts


def _counted(share_of_blocks: float, step: tuple[float, float, float] = _STEP, grain: float = 0.0) -> list:
    """Diameters counted on a dark plate with one piece, and blocks of 16 px moved in colour."""
    rng = np.random.default_rng(8)
    moved = (rng.random((40, 40)) < share_of_blocks).astype(np.float32)
    blocks = cv2.resize(moved, (640, 640), interpolation=cv2.INTER_NEAREST)[..., None]
    lightness = cv2.GaussianBlur(rng.normal(0, 1.6, (640, 640)), (0, 0), 0.7)[..., None]
    colour = cv2.GaussianBlur(rng.normal(0, 1, (640, 640, 3)), (0, 0), 0.7)
    pixels = 51.0 + lightness + grain * colour + blocks * np.array(step)
    body = np.zeros((640, 640), np.float32)
    cv2.circle(body, (320, 320), 60, 1.0, -1, cv2.LINE_AA)
    pixels += cv2.GaussianBlur(body, (0, 0), 1.2)[..., None] * np.array([110.0, 90.0, 60.0])
    seen = Picture(np.clip(np.rint(pixels), 0, 255).astype(np.uint8), name="plate")
    found = measure_field(seen, FieldSettings(smallest_um=10.0), 1.0).particles
    return sorted(found.diameter_px[found["set_aside"] == ""].tolist())


def test_blocks_whose_colour_compression_moved_are_no_pieces():
    counted = _counted(0.06)
    assert len(counted) <= 3
    assert abs(counted[-1] - 120) < 3


def test_a_few_coloured_pieces_are_found_for_all_that():
    # four squares are no steps of the compression, nor is what stands clear of the noise of the colour
    assert len(_counted(0.005)) == 5
    assert len(_counted(0.06, (14.0, -7.0, 3.5), grain=1.0)) > 60
