"""Crystals followed by their rim inside bodies; densities add (Beer-Lambert law)."""

import cv2
import numpy as np
import pytest
from shapely import Point, Polygon, affinity, box

from measure.field.basics.polygons import largest
from measure.field.crystals.rims_through import rim_through

SHAPE = (150, 170)
BODY = np.array([0.28, 0.44, 0.66])


def _drawn(shape: Polygon) -> np.ndarray:
    fine = np.zeros((SHAPE[0] * 4, SHAPE[1] * 4), np.uint8)
    points = np.round((np.asarray(shape.exterior.coords) * 4 - 0.5) * 16).astype(np.int32)
    cv2.fillPoly(fine, [points], 1, shift=4)
    return cv2.resize(fine.astype(np.float32), SHAPE[::-1], interpolation=cv2.INTER_AREA)


def _density(crystal: Polygon, body: Polygon, rim: float = 0.5) -> np.ndarray:
    line = _drawn(crystal) - _drawn(crystal.buffer(-3, join_style="mitre"))
    density = rim * line[..., None] + _drawn(body)[..., None] * BODY
    noise = np.random.default_rng(3).normal(0, 0.01, density.shape)
    return cv2.GaussianBlur((density + noise).astype(np.float32), (0, 0), 1.0)


CRYSTALS = {
    "a corner": affinity.rotate(box(40, 40, 95, 90), 20),
    "a side": affinity.rotate(box(35, 45, 102, 88), -4),
    "a chipped corner": Polygon([(35, 50), (60, 35), (95, 70), (96, 82), (70, 104), (48, 88)]),
}


@pytest.mark.parametrize("name", CRYSTALS)
def test_the_rim_is_followed_through_a_body(name):
    crystal, body = CRYSTALS[name], Point(108, 78).buffer(28)
    part = largest(crystal.difference(body))
    whole = rim_through(part, [body], _density(crystal, body))
    assert whole is not None
    assert whole.intersection(crystal).area / whole.union(crystal).area > 0.93
    assert whole.area == pytest.approx(crystal.area, rel=0.05)


def test_a_crystal_that_ends_at_a_body_stays_as_it_is():
    """Without a line inside the body nothing goes on there."""
    crystal, body = CRYSTALS["a corner"], Point(108, 78).buffer(28)
    part = largest(crystal.difference(body))
    assert rim_through(part, [body], _density(part, body)) is None


def test_a_crystal_beside_a_body_gets_nothing_of_it():
    crystal, body = box(30, 40, 78, 90), Point(108, 66).buffer(28)
    assert rim_through(crystal, [body], _density(crystal, body)) is None
