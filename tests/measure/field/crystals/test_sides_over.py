"""Crystals whose sides run on inside a body, where absorbances add (Beer-Lambert law, from memory)."""

import cv2
import numpy as np
import pytest
from shapely import Polygon

from measure.field.basics.outline import area
from measure.field.crystals.sides_over import sides_over

ROUND = np.linspace(0, 2 * np.pi, 120, endpoint=False)
BODY = np.stack([106 + 26 * np.cos(ROUND), 84 + 26 * np.sin(ROUND)], axis=1)
COLOUR = np.array([0.30, 0.36, 0.50], np.float32)


def _square(half: float) -> np.ndarray:
    return np.array([60.0, 60.0]) + half * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])


def _cover(outline: np.ndarray) -> np.ndarray:
    """Mask of a polygon in a crop of 120 x 160 px, its edge as soft as a lens makes it."""
    fine = np.zeros((480, 640), np.uint8)
    cv2.fillPoly(fine, [np.round(outline * 4 - 0.5).astype(np.int32)], 1)
    mean = cv2.resize(fine.astype(np.float32), (160, 120), interpolation=cv2.INTER_AREA)
    return cv2.GaussianBlur(mean, (0, 0), 1.0)


def _found() -> np.ndarray:
    """The crystal as it is found: it ends at the body."""
    return np.asarray(Polygon(_square(34)).difference(Polygon(BODY).buffer(1.0)).exterior.coords)[:-1]


def _density(body: np.ndarray, shown: bool) -> np.ndarray:
    """Of a crystal and a body over its corner or beside it; the body hides the rim or shows it."""
    rim = (_cover(_square(34)) - _cover(_square(31))) * 0.5
    cover = _cover(body)
    rim = rim if shown else rim * (1.0 - cover)
    noise = np.random.default_rng(4).normal(0, 0.01, (120, 160, 3))
    return (rim[..., None] + cover[..., None] * COLOUR + noise).astype(np.float32)


def test_a_corner_seen_through_a_body_is_given_back():
    changed = sides_over([_found(), BODY], [True, False], _density(BODY, shown=True))
    assert set(changed) == {0}
    assert area(_found()) < 0.95 * 68**2
    assert area(changed[0]) == pytest.approx(68**2, rel=0.03)


def test_a_corner_of_which_nothing_is_seen_is_not_made_up():
    assert sides_over([_found(), BODY], [True, False], _density(BODY, shown=False)) == {}


def test_a_whole_crystal_beside_a_body_stays_as_it_is():
    beside = BODY + np.array([18.0, 0.0])
    assert sides_over([_square(34), beside], [True, False], _density(beside, shown=True)) == {}
