"""Pieces on a bright plate lit from above, with soft shade round their feet."""

import cv2
import numpy as np
import pytest

from measure.field.ground.light import prepare
from measure.field.ground.plate_shade import WORK_PX, without_shade
from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture

_PLATE = np.array([0.55, 0.54, 0.52])  # linear light, nearly grey
_BEIGE = np.array([0.60, 0.54, 0.42])  # as bright as the plate
_SIDE = 560
_PLACES = [(x, y) for y in (90, 280, 470) for x in (90, 280, 470)]


def _discs(places, diameter: float = 50.0, side: int = _SIDE) -> np.ndarray:
    y, x = np.mgrid[:side, :side] + 0.5
    away = np.min([np.hypot(x - cx, y - cy) for cx, cy in places], axis=0)
    return np.clip(diameter / 2 - away + 0.5, 0.0, 1.0).astype(np.float32)


def _picture(
    cover: np.ndarray, depth: float, reach: float = 14.0, seed: int = 1
) -> tuple[Picture, np.ndarray]:
    """Beige pieces on a plate in shade of a depth; the picture and its linear light before it."""
    shade = 1.0 - depth * cv2.GaussianBlur(cover, (0, 0), reach)
    light = _PLATE * shade[..., None] * (1 - cover[..., None]) + _BEIGE * cover[..., None]
    return _stored(light, seed), light


def _stored(light: np.ndarray, seed: int = 1, blur: float = 1.2) -> Picture:
    light = cv2.GaussianBlur(light, (0, 0), blur)
    light = light + np.random.default_rng(seed).normal(0, 0.004, light.shape)
    return Picture(np.round(255 * np.clip(light, 0, 1) ** (1 / 2.2)).astype(np.uint8), name="plate")


@pytest.mark.parametrize("depth", [0.4, 0.6])
def test_pieces_end_at_their_colour_and_not_at_their_shade(depth):
    found = measure_field(_picture(_discs(_PLACES), depth)[0], FieldSettings(), 1.0).particles
    counted = found.diameter_px[found["set_aside"] == ""]
    assert len(counted) == len(_PLACES)
    assert counted == pytest.approx(50.0, rel=0.02)


def test_neighbours_are_not_joined_by_the_shade_between_them():
    cover = _discs([(x + way * 31, y) for x, y in _PLACES for way in (-1, 1)])
    found = measure_field(_picture(cover, 0.5)[0], FieldSettings(), 1.0).particles
    counted = found.diameter_px[found["set_aside"] == ""]
    assert len(counted) == 2 * len(_PLACES)
    assert counted == pytest.approx(50.0, rel=0.03)


def test_a_grey_piece_apart_from_coloured_ones_is_left():
    _, light = _picture(_discs(_PLACES[:-1]), 0.4)
    light[440:500, 440:500] *= 0.75
    found = measure_field(_stored(light), FieldSettings(), 1.0).particles
    x, y = found["centre_x_px"], found["centre_y_px"]
    grey = (np.hypot(x - 470, y - 470) < 5) & (found["set_aside"] == "")
    assert found.diameter_px[grey] == pytest.approx([60 * np.sqrt(4 / np.pi)], rel=0.02)


def test_a_field_without_shade_is_left_as_it_is():
    light = prepare(_picture(_discs(_PLACES), 0.0)[0])
    assert without_shade(light) is light


def test_shade_to_one_side_is_left_to_those_who_tell_it_by_form():
    cover = _discs(_PLACES)
    moved = cv2.warpAffine(cover, np.array([[1, 0, 14], [0, 1, 10]], np.float32), cover.shape)
    light = _PLATE * (1 - 0.4 * cv2.GaussianBlur(moved, (0, 0), 3.0))[..., None]
    light = prepare(_stored(light * (1 - cover[..., None]) + _BEIGE * cover[..., None]))
    assert without_shade(light) is light


@pytest.mark.parametrize("blur", [1.2, 3.0])
def test_grey_rims_that_end_within_their_blur_are_no_shade(blur):
    """Kernels seen in light from below bend it away along their edge, which is dark and without colour."""
    inner, outer = _discs(_PLACES, 46.0), _discs(_PLACES, 58.0)
    rim = (outer - inner)[..., None]
    light = _PLATE * (1 - inner[..., None]) * (1 - 0.6 * rim) + _BEIGE * inner[..., None]
    light = prepare(_stored(light, blur=blur))
    assert without_shade(light) is light


def test_without_colour_nothing_is_told():
    picture, _ = _picture(_discs(_PLACES), 0.4)
    grey = cv2.cvtColor(picture.pixels, cv2.COLOR_RGB2GRAY)
    light = prepare(Picture(np.repeat(grey[..., None], 3, axis=2), name="grey", grey=True))
    assert without_shade(light) is light


def test_an_excluded_zone_stays_without_difference():
    zone = np.array([[20, 20], [160, 20], [160, 160], [20, 160]], float)
    light = prepare(_picture(_discs(_PLACES), 0.4)[0], zones=(zone,))
    changed = without_shade(light)
    assert changed is not light
    assert not changed.solid_distance[light.zone_mask > 0].any()


def test_the_light_given_is_not_changed_and_a_larger_field_says_the_same():
    large = _discs([(x, y) for x in (400, 1300) for y in (400, 1300)], 150.0, 1700)
    assert large.size > WORK_PX
    light = prepare(_picture(large, 0.6, reach=20.0)[0])
    before = light.delta.copy(), light.solid_distance.copy()
    changed = without_shade(light)
    assert np.array_equal(light.delta, before[0])
    assert np.array_equal(light.solid_distance, before[1])
    pieces = (large > 0).view(np.uint8)
    beside = (cv2.dilate(pieces, np.ones((25, 25))) > 0) & (cv2.dilate(pieces, np.ones((11, 11))) == 0)
    before_l, after_l = (np.median(part[..., 0][beside]) for part in (light.delta, changed.delta))
    assert before_l < -4.0
    assert abs(after_l) < 1.0


def test_the_dark_margin_of_brownish_grains_on_white_light_is_no_shade():
    wide, core = _discs(_PLACES, 64.0), _discs(_PLACES, 30.0)
    light = np.ones((_SIDE, _SIDE, 3)) * np.array([0.86, 0.86, 0.84])
    for cover, tone in ((wide, (0.06, 0.06, 0.06)), (core, (0.42, 0.36, 0.26))):
        soft = cv2.GaussianBlur(cover, (0, 0), 2.0)[..., None]
        light = light * (1 - soft) + np.array(tone) * soft
    seen = prepare(_stored(light))
    assert without_shade(seen) is seen
