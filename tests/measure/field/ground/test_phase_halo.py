"""Pieces of phase contrast lie in glows that are no part of them."""

import cv2
import numpy as np
import pytest

from measure.field.ground.light import prepare
from measure.field.ground.phase_halo import without_phase_halos
from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture
from tests.measure.field.drawn_shapes import discs_of

_SIZE = (330, 430)
_PLACES = [
    (60 + 100 * i + 4 * j, 60 + 100 * j, 15 + 2 * ((i + 2 * j) % 4)) for i in range(4) for j in range(3)
]


def _discs(places=_PLACES, wider: float = 1.0) -> np.ndarray:
    return discs_of([(x, y, wider * radius) for x, y, radius in places], _SIZE)


def _picture(light: np.ndarray, noise: float = 1.5) -> Picture:
    light = cv2.GaussianBlur(light.astype(np.float32), (0, 0), 1.1)
    values = 255 * np.clip(light, 0, 1) ** (1 / 2.2) + np.random.default_rng(7).normal(0, noise, light.shape)
    grey = np.clip(np.round(values), 0, 255).astype(np.uint8)
    return Picture(np.repeat(grey[..., None], 3, axis=2), name="glows")


def _phase(cover: np.ndarray, given_back: float = 1.2, reach: float = 9.0) -> Picture:
    """Positive phase contrast: what the pieces take comes back as a glow as wide as the reach."""
    return _picture(0.35 * (1 - 0.6 * cover + 0.6 * given_back * cv2.GaussianBlur(cover, (0, 0), reach)))


def _counted(picture: Picture) -> np.ndarray:
    found = measure_field(picture, FieldSettings(), 1.0).particles
    return np.sort(found.diameter_px[found["set_aside"] == ""])


@pytest.mark.parametrize("reach", [7.0, 10.0])
@pytest.mark.parametrize("given_back", [0.7, 1.0, 1.4])
def test_pieces_end_at_the_step_and_their_glows_are_nothing(reach, given_back):
    counted = _counted(_phase(_discs(), given_back, reach))
    true = np.sort([2.0 * radius for _, _, radius in _PLACES])
    assert len(counted) == len(true)
    assert np.abs(counted / true - 1).max() < 0.05
    assert np.median(counted / true) == pytest.approx(1.0, abs=0.03)


def test_narrow_glows_are_told_by_an_edge_that_runs_between_pixels():
    prepared = prepare(_phase(_discs(), 1.0, 4.0))
    assert without_phase_halos(prepared).contrast == "glows"


def test_two_pieces_that_touch_in_one_glow_stay_two():
    pairs = [(x + d, y, 18) for x in (75, 215, 355) for y in (70, 170, 265) for d in (-18, 18)]
    counted = _counted(_phase(_discs(pairs)))
    assert len(counted) == len(pairs)
    assert np.median(counted) == pytest.approx(36.0, rel=0.04)


@pytest.mark.parametrize("blur", [0.0, 1.5])
def test_bright_rings_with_a_dark_hole_are_pieces_and_no_glows(blur):
    ring = _discs(wider=1.6) - _discs()
    light = 0.3 + 0.25 * ring - 0.15 * _discs()
    light = cv2.GaussianBlur(light.astype(np.float32), (0, 0), blur) if blur else light
    prepared = prepare(_picture(light))
    assert without_phase_halos(prepared) is prepared


def test_the_bright_fringe_of_a_sharpened_picture_is_left_to_other_steps():
    soft = cv2.GaussianBlur(_discs().astype(np.float32), (0, 0), 1.5)
    sharpened = soft + 0.8 * (soft - cv2.GaussianBlur(soft, (0, 0), 2.0))
    prepared = prepare(_picture(0.4 - 0.25 * sharpened))
    assert without_phase_halos(prepared) is prepared


def test_see_through_pieces_with_a_dark_rim_are_left_as_they_are():
    rim = _discs() - _discs(wider=0.8)
    prepared = prepare(_picture(0.45 - 0.25 * rim + 0.15 * _discs(wider=0.8)))
    assert without_phase_halos(prepared) is prepared


def test_the_light_given_is_not_changed():
    prepared = prepare(_phase(_discs()))
    before = prepared.delta.copy(), prepared.solid_distance.copy()
    assert without_phase_halos(prepared) is not prepared
    assert np.array_equal(prepared.delta, before[0])
    assert np.array_equal(prepared.solid_distance, before[1])


def test_a_field_of_pieces_in_glows_is_told_so():
    result = measure_field(_phase(_discs()), FieldSettings(), 1.0)
    assert sum("lie in glows" in words for words in result.quality.warnings) == 1
    assert (result.particles["kind_doubt"][result.particles["set_aside"] == ""] >= 0.5).all()


def test_glows_weigh_about_as_much_as_what_the_pieces_take():
    """A pile of bright grains was taken for the glows of the gaps in it, and lost."""
    from measure.field.ground.phase_halo import _given_back

    lightness = np.zeros((60, 80), np.float32)
    lightness[20:30, 20:30] = -10.0
    assert not _given_back(lightness, 2.0)
    lightness[15:35, 30:40] = 8.0  # 1.6 times as much
    assert _given_back(lightness, 2.0)
    lightness[:, 40:] = 30.0
    assert not _given_back(lightness, 2.0)
