"""Solid parts of a component: a soft stain is none, a piece that lies on one is."""

import cv2
import numpy as np
import pytest

from measure.field.bodies import bodies_of


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
