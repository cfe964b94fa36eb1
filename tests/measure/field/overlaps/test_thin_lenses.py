"""Steps inside a neighbour that add little: a piece that goes on there has an edge, a cloud fades."""

import cv2
import numpy as np
import pytest
from shapely import Point, Polygon

from measure.field.basics.polygons import outline_of
from measure.field.overlaps.going_on import going_on
from measure.field.overlaps.thin_lenses import goes_on_thinly

SHAPE = (100, 150)
COLOUR = np.array([0.30, 0.45, 0.62], np.float32)
LEFT, RIGHT = Point(58, 50).buffer(34), Point(96, 50).buffer(20)


def _cover(shape: Polygon, blur_px: float = 1.2) -> np.ndarray:
    fine = np.zeros((SHAPE[0] * 4, SHAPE[1] * 4), np.uint8)
    cv2.fillPoly(fine, [np.round(outline_of(shape) * 4 - 0.5).astype(np.int32)], 1)
    mean = cv2.resize(fine.astype(np.float32), SHAPE[::-1], interpolation=cv2.INTER_AREA)
    return cv2.GaussianBlur(mean, (0, 0), blur_px)


def _asked(share: np.ndarray) -> bool:
    host = (_cover(LEFT) > 0.5).astype(np.uint8)
    mask = (_cover(RIGHT.difference(LEFT)) > 0.5).astype(np.uint8)
    goes_on = mask | (host & (share > 0.2))
    goes_on = cv2.morphologyEx(goes_on.astype(np.uint8), cv2.MORPH_CLOSE, np.ones((5, 5), np.uint8))
    return goes_on_thinly(mask, goes_on, host, share.astype(np.float32))


@pytest.mark.parametrize("height", [0.45, 0.7])
def test_a_step_with_an_edge_is_the_piece(height: float):
    assert _asked(height * _cover(LEFT.intersection(RIGHT)))


def test_a_cloud_of_the_neighbour_is_not():
    """As dense and as large, but it fades, and the piece is no fuller with it."""
    cloud = Point(72, 40).buffer(14)
    assert not _asked(0.45 * _cover(cloud, 7.0) / _cover(cloud, 7.0).max())


def test_nothing_seen_is_no_piece():
    assert not _asked(np.zeros(SHAPE, np.float32))


def test_a_piece_that_thins_out_is_completed_in_its_neighbour():
    """Where both are thin, what both cover adds half of what either has elsewhere."""
    left, right, both = _cover(LEFT), _cover(RIGHT), _cover(LEFT.intersection(RIGHT))
    noise = np.random.default_rng(3).normal(0, 0.01, (*SHAPE, 3))
    density = ((left + right - 0.5 * both)[..., None] * COLOUR + noise).astype(np.float32)
    outlines = [outline_of(LEFT), outline_of(RIGHT.difference(LEFT))]
    changed, gone = going_on(outlines, [False, False], density, 50.0)
    assert not gone
    assert set(changed) == {1}
    whole = Polygon(changed[1])
    assert whole.intersection(RIGHT).area / whole.union(RIGHT).area > 0.93
