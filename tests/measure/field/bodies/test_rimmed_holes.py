"""What a thin rim encloses belongs to its piece, though it shows the tone of the ground; gaps do not.

Edges shine in electron micrographs, and facets turned away are as dark as the ground (common practice, no
source).
"""

import cv2
import numpy as np
import pytest

from measure.field.bodies.body_holes import fill_body

SHAPE = (160, 200)
WIDTH_PX = 3.0


def _share(mask: np.ndarray) -> np.ndarray:
    return cv2.GaussianBlur(mask.astype(np.float32), (0, 0), 1.0)


@pytest.mark.parametrize("turn", [0.0, 0.8, 2.1, 4.0])
def test_a_facet_as_dark_as_the_ground_is_filled_behind_its_rim(turn):
    whole = np.zeros(SHAPE, np.uint8)
    angle = turn + np.deg2rad([0, 65, 150, 215, 290])
    cv2.fillPoly(whole, [np.int32(np.c_[100 + 60 * np.cos(angle), 80 + 60 * np.sin(angle)].round())], 1)
    rows, cols = np.indices(SHAPE)
    lighter = np.hypot(cols - 100 + 28 * np.cos(turn), rows - 80 + 28 * np.sin(turn)) < 42
    mask = np.where(lighter, whole, whole - cv2.erode(whole, np.ones((9, 9), np.uint8)))
    assert fill_body(mask, _share(mask), WIDTH_PX).sum() == whole.sum()


@pytest.mark.parametrize("radius", [14, 22, 30])
@pytest.mark.parametrize("turn", [0.0, 0.5])
def test_the_gap_between_pieces_that_touch_is_not_filled(radius, turn):
    mask = np.zeros(SHAPE, np.uint8)
    for k in range(3):
        at = (100 + 1.14 * radius * np.cos(turn + 2.0944 * k), 80 + 1.14 * radius * np.sin(turn + 2.0944 * k))
        cv2.circle(mask, (round(at[0]), round(at[1])), radius, 1, -1)
    assert mask[80, 100] == 0
    assert fill_body(mask, _share(mask), WIDTH_PX)[80, 100] == 0
