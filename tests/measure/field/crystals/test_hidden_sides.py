"""Pieces told from their common outline and what shows of the rest, on masks whose pieces are known."""

import cv2
import numpy as np
import pytest
from shapely import Polygon, affinity, box, union_all

from measure.field.crystals.hidden_sides import _within, crossing_sides, own_share

SHAPE = (160, 200)


def _drawn(shape: Polygon) -> np.ndarray:
    mask = np.zeros(SHAPE, np.uint8)
    points = np.round((np.asarray(shape.exterior.coords) - 0.5) * 16).astype(np.int32)
    cv2.fillPoly(mask, [points], 1, shift=4)
    return mask


def _lines(shapes: list[Polygon]) -> np.ndarray:
    """Darkness of the borders of some shapes, blurred by a px."""
    rims = [_drawn(shape) - _drawn(shape.buffer(-3, join_style="mitre")) for shape in shapes]
    return cv2.GaussianBlur(0.5 * np.sum(rims, axis=0, dtype=np.float32), (0, 0), 1.0)


def _turned(x0: float, y0: float, x1: float, y1: float, angle: float) -> Polygon:
    return affinity.rotate(box(x0, y0, x1, y1), angle)


PIECES = {
    "two": [_turned(40, 50, 100, 110, 12), _turned(85, 40, 140, 90, 50)],
    "bars across": [_turned(30, 65, 150, 95, 0), _turned(75, 20, 110, 140, 10)],
    "three": [_turned(20, 50, 75, 110, 5), _turned(60, 55, 120, 105, 35), _turned(105, 45, 165, 100, 70)],
}


def _alike(one: Polygon, other: Polygon) -> float:
    return one.intersection(other).area / one.union(other).area


@pytest.mark.parametrize("name", PIECES)
def test_the_sides_of_each_piece_go_on_through_the_others(name):
    shapes = PIECES[name]
    mask = _drawn(union_all([shape.buffer(1.0, join_style="mitre") for shape in shapes]))
    best = max(crossing_sides(_lines(shapes), mask), key=lambda crossing: crossing.seen)
    assert len(best.pieces) == len(shapes)
    for shape in shapes:
        assert max(_alike(shape, piece) for piece in best.pieces) > 0.8
    assert best.seen > 0.7
    assert best.own == pytest.approx(own_share(shapes), abs=0.1)


@pytest.mark.parametrize("name", PIECES)
def test_asking_for_what_is_seen_leaves_out_only_what_is_seen_less(name):
    shapes = PIECES[name]
    mask = _drawn(union_all([shape.buffer(1.0, join_style="mitre") for shape in shapes]))
    every = list(crossing_sides(_lines(shapes), mask))
    enough = [crossing for crossing in every if crossing.seen >= 0.5]
    asked = list(crossing_sides(_lines(shapes), mask, 0.5))
    assert [crossing.seen for crossing in asked] == [crossing.seen for crossing in enough]
    assert list(crossing_sides(_lines(shapes), mask, 1.1)) == []


def test_nothing_is_seen_along_the_ways_within_one_hollow_piece():
    corner = box(40, 40, 130, 75).union(box(40, 40, 75, 130))
    mask = _drawn(corner.buffer(1.0, join_style="mitre"))
    assert all(crossing.seen < 0.3 for crossing in crossing_sides(_lines([corner]), mask))


def test_a_convex_outline_holds_one_piece():
    shape = _turned(40, 50, 120, 110, 20)
    assert list(crossing_sides(_lines([shape]), _drawn(shape))) == []


def test_what_lies_within_reach_is_told_as_by_all_distances():
    rng = np.random.default_rng(1)
    seen = set()
    for reach in (2.5, 4.0):
        for _ in range(40):
            points = rng.uniform(0, 12, (15, 2)) + rng.uniform(0, 40, 2)
            others = np.vstack([rng.uniform(0, 50, (30, 2)), points[:2] + np.array([0.0, reach])])
            away = np.hypot(*(points[:, None] - others[None]).transpose(2, 0, 1))
            assert np.array_equal(_within(points, others, reach), away.min(axis=1) <= reach)
            near = _within(points, others[:5], reach)
            assert np.array_equal(near, away[:, :5].min(axis=1) <= reach)
            seen |= set(near.tolist())
    assert seen == {False, True}
