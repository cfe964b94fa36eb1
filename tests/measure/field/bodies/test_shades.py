"""What has the ground's colour, only darker, along one side of a coloured piece is its shadow."""

import cv2
import numpy as np

from measure.field.pipeline import measure_field
from measure.field.whole_field.halo import REASON
from measure.flags import bits
from measure.model import FieldSettings, Picture
from measure.particles import Particles

RADIUS = 60.0
GROUND, BLUE = (0.52, 0.47, 0.42), (0.08, 0.14, 0.42)  # linear light


def _cover(inside, blur_px: float = 1.2) -> np.ndarray:
    y, x = (np.mgrid[:900, :1200] + 0.5) / 3
    fine = cv2.resize(inside(x, y).astype(np.float32), (400, 300), interpolation=cv2.INTER_AREA)
    return cv2.GaussianBlur(fine, (0, 0), blur_px)[..., None]


def _disc(cx: float, cy: float, radius: float = RADIUS):
    return lambda x, y: np.hypot(x - cx, y - cy) < radius


def _measured(light: np.ndarray) -> Particles:
    noise = np.random.default_rng(5).normal(0, 1.2, light.shape)
    values = np.clip(255 * np.clip(light, 0, 1) ** (1 / 2.2) + noise, 0, 255)
    return measure_field(Picture(values.astype(np.uint8)), FieldSettings(), 1.0).particles


def _laid(light: np.ndarray, cover: np.ndarray, colour: tuple[float, ...]) -> np.ndarray:
    return light * (1 - cover) + cover * np.array(colour)


def _ground() -> np.ndarray:
    return np.ones((300, 400, 3)) * GROUND


def _in_a_grey_ring(coloured) -> np.ndarray:
    """A round piece, clear but for a part of it: what is clear lets half of the light through."""
    whole = _cover(_disc(200.0, 150.0))
    light = _ground() * (1 - 0.5 * whole)
    return _laid(light, _cover(lambda x, y: _disc(200.0, 150.0)(x, y) & coloured(x, y)), BLUE)


def test_a_shadow_is_parted_from_its_coloured_piece_and_set_aside():
    shadow = _cover(_disc(226.0, 128.0), 2.5)
    # 16 % too large with its shadow
    found = _measured(_laid(_ground() * (1 - 0.7 * shadow), _cover(_disc(200.0, 150.0)), BLUE))
    counted = np.flatnonzero(found["set_aside"] == "")
    assert len(counted) == 1
    assert abs(found.diameter_px[counted[0]] / (2 * RADIUS) - 1) < 0.02
    shade = np.flatnonzero(found["flags"] & bits("shade"))
    assert len(shade) == 1
    assert found["set_aside"][shade[0]] == REASON


def _bean(cx: float, cy: float):
    """A bent piece, which is no rounder without its shadow."""
    body, hollow = _disc(cx, cy), _disc(cx + 20.0, cy - 38.0, 32.0)
    return lambda x, y: body(x, y) & ~hollow(x, y)


def test_a_soft_shadow_is_parted_from_a_piece_that_is_no_oval():
    shadow = _cover(_bean(212.0, 160.0), 5.0)
    found = _measured(_laid(_ground() * (1 - 0.6 * shadow), _cover(_bean(200.0, 150.0)), BLUE))
    counted = np.flatnonzero(found["set_aside"] == "")
    assert len(counted) == 1
    y, x = np.mgrid[:300, :400]
    area = np.count_nonzero(_bean(200.0, 150.0)(x, y))
    assert abs(found["area_px2"][counted[0]] / area - 1) < 0.05


def test_a_clear_part_that_fills_a_piece_out_belongs_to_it():
    found = _measured(_in_a_grey_ring(lambda x, y: y < 175.0))
    assert not (found["flags"] & bits("shade")).any()
    counted = np.flatnonzero(found["set_aside"] == "")
    assert len(counted) == 1
    assert abs(found.diameter_px[counted[0]] / (2 * RADIUS) - 1) < 0.02


def test_a_dark_piece_without_colour_beside_a_coloured_one_is_counted():
    light = _laid(_ground(), _cover(_disc(150.0, 150.0)), BLUE)
    light = _laid(light, _cover(_disc(240.0, 150.0, 28.0)), tuple(0.35 * np.array(GROUND)))
    found = _measured(light)
    assert (found["set_aside"] == "").sum() == 2
    assert not (found["flags"] & bits("shade")).any()


def test_the_grey_rim_of_a_clear_crystal_that_touches_a_coloured_piece_is_no_shade():
    light = _laid(_ground(), _cover(_disc(130.0, 150.0)), BLUE)

    def away(x, y):
        return np.maximum(np.abs(x - 242.0), np.abs(y - 150.0))

    rim = _cover(lambda x, y: (away(x, y) < 50.0) & (away(x, y) > 43.0))
    found = _measured(light * (1 - 0.5 * rim))
    assert (found["set_aside"] == "").sum() == 2
    assert not (found["flags"] & bits("shade")).any()


def test_a_piece_without_colour_keeps_what_hangs_on_it():
    """Its shadow cannot be told from it by colour."""
    from measure.field.bodies.shades import shade_beside

    delta = np.zeros((80, 80, 3), np.float32)
    y, x = np.mgrid[:80, :80]
    low = np.hypot(x - 40, y - 40) < 25
    delta[low] = (-30.0, 0.0, 0.0)
    assert not shade_beside(delta, low, np.array([80.0, 0.0, 0.0]), 40.0).any()


def test_a_component_that_fills_its_crop_is_asked_too():
    from measure.field.bodies.shades import shade_beside

    delta = np.full((9, 12, 3), 20.0, np.float32)
    shade = shade_beside(delta, np.ones((9, 12), bool), np.array([80.0, 0.0, 0.0]), 4.0)
    assert shade.shape == (9, 12)
    assert not shade.any()
