"""Solid parts of a component: a soft stain is none, a piece that lies on one is."""

import cv2
import numpy as np
import pytest

from measure.field.bodies.bodies import bodies_of


def _stain(soft: float) -> np.ndarray:
    """A streak twice as high above the oil as what must be found, without an edge, (M, N)."""
    field = np.zeros((170, 120), np.float32)
    cv2.line(field, (60, 55), (64, 115), 30, 22)
    return cv2.GaussianBlur(field, (0, 0), soft)


def _bodies(field: np.ndarray) -> list[np.ndarray]:
    """Bodies of all that reaches a third of the streak, taken for one part."""
    part = (field > 4.0).astype(np.int32)
    delta = np.dstack([-field, np.zeros_like(field), np.zeros_like(field)])
    typical = np.full_like(field, 15.0)
    nothing = np.zeros(field.shape, np.int32)
    found = bodies_of(part, delta, field, typical, field, nothing, 60.0, 7.0, 12.0, 0, 60.0)
    return [mask for _, mask in found]


def _with_disc(field: np.ndarray, height: float) -> np.ndarray:
    disc = np.zeros_like(field)
    cv2.circle(disc, (60, 60), 20, 1.0, -1)
    disc = cv2.GaussianBlur(disc, (0, 0), 1.2)
    return field * (1 - disc) + height * disc


def test_a_streak_without_an_edge_is_no_body():
    assert _bodies(_stain(13.0)) == []


@pytest.mark.parametrize("height", [38.0, 60.0])
def test_a_piece_on_a_streak_is_a_body_and_the_streak_is_left_out(height):
    (body,) = _bodies(_with_disc(_stain(13.0), height))
    assert int(body.sum()) == pytest.approx(np.pi * 20**2, rel=0.1)


def test_the_thicker_place_of_a_streak_is_no_piece_on_it():
    field = _stain(13.0)
    spot = np.zeros_like(field)
    cv2.circle(spot, (60, 60), 12, 60.0, -1)
    assert _bodies(field + cv2.GaussianBlur(spot, (0, 0), 9.0)) == []


def _at_three_sides(strength: np.ndarray) -> int:
    """How many bodies there are in a component that meets three sides of the picture."""
    field = cv2.GaussianBlur(40.0 * strength.astype(np.float32), (0, 0), 1.0)
    delta = np.dstack([-field, np.zeros_like(field), np.zeros_like(field)])
    nothing, typical = np.zeros(field.shape, np.int32), np.full_like(field, 40.0)
    part = (field > 20.0).astype(np.int32)
    return len(bodies_of(part, delta, field, typical, field, nothing, 60.0, 7.0, 3.0, 3, 40.0))


def test_a_dish_is_no_body_and_a_cluster_at_three_sides_of_the_picture_is_one():
    dish, chain = np.zeros((300, 240), np.uint8), np.zeros((300, 240), np.uint8)
    cv2.ellipse(dish, (239, 150), (220, 140), 0, 90, 270, 1, 16)
    for angle in np.linspace(np.pi / 2, 3 * np.pi / 2, 20):
        at = round(230 + 210 * np.cos(angle)), round(150 + 140 * np.sin(angle))
        cv2.circle(chain, at, 17, 1, -1)
    chain[:, 238:] = dish[:, 238:] = 0
    chain[0], chain[-1], dish[0], dish[-1] = chain[10], chain[-11], 0, 0
    assert _at_three_sides(dish) == 0
    assert _at_three_sides(chain) == 1
