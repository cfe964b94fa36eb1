"""Round see-through pieces that cross get their whole outlines; what only looks like it does not."""

import cv2
import numpy as np
import pytest
from shapely import Polygon

from measure.field.overlaps.crossing import crossing_pieces

LEAST_PX2 = 40.0
FIRST, SECOND = (62, 70), (118, 70)
RADIUS = 34


def _disc(centre: tuple[int, int], radius: int = RADIUS) -> np.ndarray:
    mask = np.zeros((140, 180), np.float32)
    cv2.circle(mask, centre, radius, 1.0, -1, cv2.LINE_AA)
    return cv2.GaussianBlur(mask, (0, 0), 1.2)


def _outline(mask: np.ndarray) -> np.ndarray:
    contours, _ = cv2.findContours((mask > 0.5).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return max(contours, key=len)[:, 0].astype(np.float32) + 0.5


def _pale(disc: np.ndarray, centre: tuple[int, int]) -> np.ndarray:
    """The same with a middle that hardly absorbs, as a cell has."""
    return disc * (1.0 - 0.8 * _disc(centre, 13))


@pytest.mark.parametrize("pale", [False, True])
def test_both_circles_are_followed_through_the_other(pale):
    discs = [_disc(FIRST), _disc(SECOND)]
    shown = [_pale(d, c) for d, c in zip(discs, (FIRST, SECOND), strict=True)] if pale else discs
    # absorbances add up where light passes through both (Beer-Lambert law)
    gone, whole, lenses = crossing_pieces(
        [_outline(np.maximum(*discs))], 0.5 * shown[0] + 0.4 * shown[1], LEAST_PX2
    )
    assert (gone, lenses) == ([0], 1)
    assert [Polygon(o).area for o in whole] == pytest.approx([np.pi * RADIUS**2] * 2, rel=0.04)


def test_a_pair_that_was_cut_at_its_neck_gets_its_lens_back():
    discs = [_disc(FIRST), _disc(SECOND)]
    left = np.mgrid[:140, :180][1] < 90
    common = np.maximum(*discs)
    halves = [_outline(common * left), _outline(common * ~left)]
    gone, whole, lenses = crossing_pieces(halves, 0.5 * discs[0] + 0.4 * discs[1], LEAST_PX2)
    assert (gone, lenses) == ([0, 1], 1)
    assert Polygon(whole[0]).intersects(Polygon(whole[1]))
    assert [Polygon(o).area for o in whole] == pytest.approx([np.pi * RADIUS**2] * 2, rel=0.04)


def test_an_opaque_piece_that_lies_on_another_shows_nothing_of_it():
    discs = [_disc(FIRST), _disc(SECOND)]
    gone, whole, lenses = crossing_pieces([_outline(np.maximum(*discs))], 0.5 * np.maximum(*discs), LEAST_PX2)
    assert (gone, whole, lenses) == ([], [], 0)


def test_one_piece_with_a_waist_and_a_dark_middle_stays_one():
    discs = [_disc(FIRST), _disc(SECOND)]
    middle = _disc((90, 70), 9)
    gone, _, lenses = crossing_pieces(
        [_outline(np.maximum(*discs))], 0.4 * np.maximum(*discs) + 0.4 * middle, LEAST_PX2
    )
    assert (gone, lenses) == ([], 0)
