"""Pieces that bend light from one side: dark on one flank, as bright on the other."""

import cv2
import numpy as np
import pytest

from measure.field.ground.light import prepare
from measure.field.ground.two_flanks import without_two_flanks
from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture


def _height(places, size=(300, 400), bevel=0.0) -> np.ndarray:
    """Height of pieces, (M, N), twice as fine as the picture: caps of a sphere, or flat tops with a bevel."""
    y, x = np.mgrid[: size[0] * 2, : size[1] * 2] / 2.0 + 0.25
    height = np.zeros(x.shape)
    for cx, cy, radius in places:
        away = np.hypot(x - cx, y - cy)
        ball = 1.3 * radius  # its side meets the glass at a slope of 1.2
        cap = np.sqrt(np.maximum(ball**2 - away**2, 0)) - np.sqrt(ball**2 - radius**2)
        flat = np.minimum(radius - away, bevel * radius)
        height = np.maximum(height, flat if bevel else cap)
    return height


def _sheared(height: np.ndarray, angle: float, colour=(1.0, 1.0, 1.0), noise: float = 2.0) -> Picture:
    """Slopes along a direction as light, blurred, in values of a camera."""
    gy, gx = np.gradient(height, 0.5)
    fine = gx * np.cos(angle) + gy * np.sin(angle)
    slope = cv2.resize(fine, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    slope = cv2.GaussianBlur(slope, (0, 0), 1.2)
    light = 0.25 * (1 - 0.5 * slope[..., None] * np.array(colour))
    values = 255 * light ** (1 / 2.2) + np.random.default_rng(5).normal(0, noise, light.shape)
    return Picture(np.clip(values, 0, 255).astype(np.uint8), name="slopes")


_APART = [(60 + 95 * i + 5 * j, 55 + 95 * j, 16 + 3 * ((i + j) % 4)) for i in range(4) for j in range(3)]


def _counted(picture: Picture) -> np.ndarray:
    found = measure_field(picture, FieldSettings(), 1.0).particles
    return np.sort(found.diameter_px[found["set_aside"] == ""])


@pytest.mark.parametrize("angle", [0.0, 0.8, 2.3, -1.7])
def test_domes_are_whole_and_end_where_their_slopes_do(angle):
    counted = _counted(_sheared(_height(_APART), angle))
    true = np.sort([2.0 * radius for _, _, radius in _APART])
    assert len(counted) == len(true)
    assert np.median(counted / true) == pytest.approx(1.0, abs=0.025)
    assert np.abs(counted / true - 1).max() < 0.06


def test_flat_tops_between_the_flanks_belong_to_their_pieces():
    counted = _counted(_sheared(_height(_APART, bevel=0.4), 0.6))
    true = np.sort([2.0 * radius for _, _, radius in _APART])
    assert len(counted) == len(true)
    assert np.median(counted / true) == pytest.approx(1.0, abs=0.04)


def test_wide_flat_tops_between_narrow_flanks_belong_to_their_pieces():
    counted = _counted(_sheared(_height([(x, y, 26) for x, y, _ in _APART], bevel=0.2), 0.9))
    assert len(counted) == len(_APART)
    assert np.median(counted) == pytest.approx(52.0, rel=0.04)


def test_faint_flanks_in_noise_make_whole_pieces():
    wide = [(x, y, 1.3 * radius) for x, y, radius in _APART]
    counted = _counted(_sheared(_height(wide), 0.5, colour=(0.5, 0.5, 0.5), noise=2.5))
    true = np.sort([2.0 * radius for _, _, radius in wide])
    assert len(counted) == len(true)
    assert np.median(counted / true) == pytest.approx(1.0, abs=0.05)


def test_pieces_that_touch_along_the_light_stay_two():
    along = [(60 + d, y, 20) for y in (60, 150) for d in (-20, 20)]
    across = [(190, y + d, 20) for y in (75, 215) for d in (-20, 20)]
    single = [(x, y, 20) for x in (270, 350) for y in (60, 150, 240)]
    counted = _counted(_sheared(_height(along + across + single), 0.0))
    assert len(counted) == len(along + across + single)
    assert np.median(counted) == pytest.approx(40.0, rel=0.03)


def _discs(places, value: float, moved=(0.0, 0.0)) -> np.ndarray:
    y, x = np.mgrid[:300, :400] + 0.5
    tone = np.zeros(x.shape)
    for cx, cy, radius in places:
        tone[np.hypot(x - cx - moved[0], y - cy - moved[1]) < radius] = value
    return tone


def _grey(tone: np.ndarray) -> Picture:
    noise = np.random.default_rng(6).normal(0, 2.0, tone.shape)
    grey = np.clip(120 + cv2.GaussianBlur(tone, (0, 0), 1.2) + noise, 0, 255).astype(np.uint8)
    return Picture(np.repeat(grey[..., None], 3, axis=2))


def test_bright_pieces_with_shadows_as_dark_are_not_filled():
    tone = _discs(_APART, -50.0, (18.0, 14.0))
    bright = _discs(_APART, 50.0)
    light = prepare(_grey(np.where(bright > 0, bright, tone)))
    assert without_two_flanks(light) is light


def test_dark_and_bright_pieces_side_by_side_are_not_filled():
    tone = _discs(_APART[::2], 50.0) + _discs(_APART[1::2], -50.0)
    light = prepare(_grey(tone))
    assert without_two_flanks(light) is light


def test_halos_all_round_are_not_filled():
    wide = [(x, y, radius * 1.4) for x, y, radius in _APART]
    inner = _discs(_APART, -50.0)
    light = prepare(_grey(np.where(inner < 0, inner, _discs(wide, 45.0))))
    assert without_two_flanks(light) is light


def test_flanks_of_different_colour_are_not_filled():
    light = prepare(_sheared(_height(_APART), 0.4, colour=(1.0, 0.1, -0.8)))
    assert without_two_flanks(light) is light


def test_the_light_given_is_not_changed():
    light = prepare(_sheared(_height(_APART), 0.4))
    before = light.delta.copy(), light.solid_distance.copy()
    assert without_two_flanks(light) is not light
    assert np.array_equal(light.delta, before[0])
    assert np.array_equal(light.solid_distance, before[1])


def test_a_field_that_shows_slopes_is_told_so():
    result = measure_field(_sheared(_height(_APART), 0.8), FieldSettings(), 1.0)
    assert sum("shows slopes and not tones" in words for words in result.quality.warnings) == 1
    assert (result.particles["kind_doubt"][result.particles["set_aside"] == ""] >= 0.5).all()
