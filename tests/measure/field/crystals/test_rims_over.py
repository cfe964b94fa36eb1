"""Places among lines that are turned away before they are looked at, on random lines."""

import cv2
import numpy as np

from measure.field.basics.masks import dilated, hull_mask
from measure.field.crystals.rims_over import _any_depth, _hulls, _rim_worth


def test_where_no_place_is_deep_no_hull_of_lines_is_worth_anything():
    rng = np.random.default_rng(7)
    shallow = []
    for lines in [2, 3, 4, 6, 9] * 6:
        strong = np.zeros((48, 48), np.uint8)
        for x0, y0, x1, y1 in rng.integers(6, 42, (lines, 4)):
            cv2.line(strong, (int(x0), int(y0)), (int(x1), int(y1)), 1, 1)
        beside = dilated(strong, 2.0), dilated(strong, 1.5)
        place = cv2.dilate(hull_mask(strong), np.ones((3, 3), np.uint8)) & (1 - beside[1])
        dark = np.zeros(strong.shape, bool)
        worth = [_rim_worth(hull, strong, beside, dark) for hull in _hulls(strong, 20.0, 1 - strong, set())]
        shallow.append(not _any_depth(place))
        assert not shallow[-1] or max(worth, default=0.0) == 0.0
    assert any(shallow)
    assert not all(shallow)


def test_a_hull_of_lines_is_tried_once():
    strong = np.zeros((40, 40), np.uint8)
    cv2.rectangle(strong, (8, 8), (30, 30), 1, 1)
    tried: set[bytes] = set()
    assert len(_hulls(strong, 20.0, 1 - strong, tried)) == 1
    assert _hulls(strong, 20.0, 1 - strong, tried) == []
