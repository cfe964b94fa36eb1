"""Haze darkens the ground without an edge: it is no piece, hides none, and pieces in it keep their size."""

import cv2
import numpy as np

from measure.field.ground.soft_ground import followed_haze, soft_places
from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture
from tests.measure.field.drawn_shapes import discs_of, picture_of

HEIGHT, WIDTH = 600, 800
PLACES = [(60 + 97 * i, 55 + 98 * j, 12 + (5 * i + 3 * j) % 9) for i in range(8) for j in range(6)]
CLOUDS = ((250, 220, 75), (560, 400, 65))  # x, y and reach, px


def _light(depth: float) -> np.ndarray:
    """Light that two soft clouds of this depth leave, (M, N)."""
    y, x = np.mgrid[:HEIGHT, :WIDTH].astype(np.float32)
    light = np.ones((HEIGHT, WIDTH), np.float32)
    for cx, cy, reach in CLOUDS:
        light *= 1 - depth * np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / (2.0 * reach**2))
    return light


def _counted(picture: Picture) -> np.ndarray:
    particles = measure_field(picture, FieldSettings(), 1.0).particles
    return np.sort(particles.diameter_px[particles["set_aside"] == ""])


def test_clouds_are_ground_and_hide_no_piece():
    cover = discs_of(PLACES, (HEIGHT, WIDTH))
    plain, hazy = (_counted(picture_of(cover, light=_light(depth))) for depth in (0.0, 0.45))
    assert len(plain) == len(PLACES)
    assert len(hazy) == len(PLACES)  # each cloud was a piece of its own with those inside it
    assert np.abs(hazy / plain - 1.0).max() < 0.04


def test_a_large_piece_with_an_edge_is_no_haze():
    cover = discs_of([(400, 300, 180)], (HEIGHT, WIDTH))
    size = _counted(picture_of(cover, blur_px=4.0))
    assert len(size) == 1
    assert abs(size[0] / 360.0 - 1.0) < 0.02


def _coarse(edge: float) -> np.ndarray:
    """Oil with one round place 20 darker, (60, 80, 3), whose edge is this wide, coarse px."""
    y, x = np.mgrid[:60, :80].astype(np.float32)
    inside = np.clip((16.0 - np.hypot(x - 40, y - 30)) / edge + 0.5, 0.0, 1.0)
    return np.dstack([-20.0 * inside, 0.0 * inside, 0.0 * inside]).astype(np.float32)


def test_ground_is_reached_over_gentle_slopes_alone():
    haze, piece = _coarse(20.0), _coarse(2.0)
    far = [np.abs(place[..., 0]) > 3.6 for place in (haze, piece)]
    assert soft_places(haze, far[0])[30, 40]
    assert not soft_places(piece, far[1])[20:40, 30:50].any()
    ring = np.zeros((60, 80), np.uint8)
    cv2.circle(ring, (40, 30), 12, 1, 3)
    assert not soft_places(haze, far[0], ring)[30, 40]  # an excluded zone parts it from the oil


def test_the_oil_is_left_as_it_is_without_haze():
    none = np.zeros((60, 80, 3), np.float32)
    assert followed_haze(_coarse(2.0), none, 1.2, 4.8, None) is none
    assert np.abs(_coarse(20.0) - followed_haze(_coarse(20.0), none, 1.2, 4.8, None)).max() < 8.0
