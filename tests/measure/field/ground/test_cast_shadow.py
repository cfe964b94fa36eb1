"""Shadows thrown on a plate are taken for the plate; what is dark for other reasons is kept."""

import cv2
import numpy as np
import pytest

from measure.field.ground.cast_shadow import without_cast_shadow
from measure.field.ground.light import prepare
from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture
from measure.particles import Particles

_SIDE = 640
_WHITE, _GREEN = (0.62, 0.61, 0.58), (0.10, 0.26, 0.13)  # linear light
_KERNEL = np.array([0.50, 0.38, 0.20])
_PLACES = [(x, y) for y in (80, 240, 400, 560) for x in (80, 240, 400, 560)]
_RADIUS = 24.0
_TINT = np.array([0.97, 1.0, 1.05])  # of the light that reaches into shadow


_WHOLE = np.s_[:_SIDE, :_SIDE]
_AROUND_PX = 90  # from the middle of a piece, where its shadows have ended with their blur


def _disc(x: float, y: float, radius: float, window=_WHOLE) -> np.ndarray:
    row, col = (np.arange(side.start or 0, side.stop) + 0.5 for side in window)
    return np.clip(radius - np.hypot(col - x, row[:, None] - y) + 0.5, 0.0, 1.0)


def _about(x: float, y: float) -> tuple[slice, slice]:
    """Rows and columns about a piece, beyond which it changes nothing."""
    rows, cols = (slice(max(0, int(v) - _AROUND_PX), min(_SIDE, int(v) + _AROUND_PX)) for v in (y, x))
    return rows, cols


def _shadow(x: float, y: float, ways, soft_px: float, share: float) -> np.ndarray:
    """Light that gets to the plate about a piece whose shadows reach so far, (M, N, 3)."""
    window = _about(x, y)
    light = np.ones((*_disc(x, y, _RADIUS, window).shape, 3))
    for way in ways:
        moved = [_disc(x + t * way[0], y + t * way[1], _RADIUS, window) for t in np.linspace(0, 1, 9)]
        reach = cv2.GaussianBlur(np.max(moved, axis=0), (0, 0), soft_px)
        light -= (share * reach)[..., None] * (2.0 - _TINT)
    return np.clip(light, 0.05, 1.0)


def _field(plate, ways, soft_px=1.0, share=0.6, places=_PLACES, lit=0.0) -> np.ndarray:
    """Kernels on a plate, each with its shadows; linear light. Lit more on one side by such a share."""
    light = np.ones((_SIDE, _SIDE, 3)) * plate
    for x, y in places:
        light[_about(x, y)] *= _shadow(x, y, ways, soft_px, share)
    for k, (x, y) in enumerate(places):
        window = _about(x, y)
        cover = _disc(x, y, _RADIUS, window)[..., None]
        slope = 1.0 - lit * (np.arange(window[1].start, window[1].stop) - x)[None, :, None] / _RADIUS
        own = _KERNEL * (0.8 + 0.03 * k) * np.clip(slope, 0.1, 2.0)
        light[window] = light[window] * (1 - cover) + cover * own
    return light


def _picture(light: np.ndarray) -> Picture:
    light = cv2.GaussianBlur(light, (0, 0), 1.1)
    light = light + np.random.default_rng(3).normal(0, 0.003, light.shape)
    return Picture(np.round(255 * np.clip(light, 0, 1) ** (1 / 2.2)).astype(np.uint8), name="plate")


def _measured(light: np.ndarray) -> Particles:
    return measure_field(_picture(light), FieldSettings(), 1.0).particles


def _counted(particles: Particles) -> np.ndarray:
    return particles.diameter_px[particles["set_aside"] == ""]


@pytest.mark.parametrize(
    ("ways", "soft_px", "plate"),
    [([(26, 10)], 1.0, _GREEN), ([(26, 10)], 4.0, _WHITE), ([(24, 8), (-20, 14)], 1.5, _WHITE)],
    ids=["hard", "soft", "two lamps"],
)
def test_pieces_end_where_their_shadow_begins(plate, ways, soft_px):
    counted = _counted(_measured(_field(plate, ways, soft_px, share=0.6 / len(ways))))
    assert len(counted) == len(_PLACES)
    assert counted == pytest.approx(2 * _RADIUS, rel=0.05)


def test_what_was_taken_out_is_told():
    result = measure_field(_picture(_field(_WHITE, [(26, 10)])), FieldSettings(), 1.0)
    assert any("throw shadows" in words for words in result.quality.warnings)
    plain = measure_field(_picture(_field(_WHITE, [])), FieldSettings(), 1.0)
    assert not any("throw shadows" in words for words in plain.quality.warnings)


def test_a_piece_lit_from_one_side_stays_whole_where_the_tone_of_the_plate_runs_through_it():
    counted = _counted(_measured(_field((0.33, 0.33, 0.33), [(26, 4)], lit=0.7)))
    assert len(counted) == len(_PLACES)
    assert counted == pytest.approx(2 * _RADIUS, rel=0.06)


def test_neighbours_are_not_joined_by_shadow():
    places = [(x + way * 38, y) for x in (120, 320, 520) for y in (100, 300, 500) for way in (-1, 1)]
    counted = _counted(_measured(_field(_WHITE, [(30, 0)], places=places)))
    assert len(counted) == len(places)
    assert counted == pytest.approx(2 * _RADIUS, rel=0.05)


def test_a_grey_piece_with_nothing_before_it_is_kept():
    light = _field(_WHITE, [(26, 10)], places=_PLACES[:-1])
    light[540:580, 540:580] *= 0.4
    found = _measured(light)
    near = np.hypot(found["centre_x_px"] - 560, found["centre_y_px"] - 560) < 5
    assert found.diameter_px[near & (found["set_aside"] == "")] == pytest.approx(
        [40 * np.sqrt(4 / np.pi)], rel=0.03
    )


@pytest.mark.parametrize("rim", [0.0, 0.6])
def test_a_field_without_shadows_to_one_side_is_left_as_it_is(rim):
    """Rims of pieces lit from below are as dark and neutral, and go all round."""
    light = np.ones((_SIDE, _SIDE, 3)) * _WHITE
    for x, y in _PLACES:
        light *= (1 - rim * _disc(x, y, _RADIUS + 6))[..., None]
    for x, y in _PLACES:
        cover = _disc(x, y, _RADIUS)[..., None]
        light = light * (1 - cover) + cover * _KERNEL
    light = prepare(_picture(light))
    assert without_cast_shadow(light) is light


def test_a_thin_margin_of_the_pieces_colour_is_no_shadow():
    """Pieces that fade out on one side keep their colour there."""
    light = np.ones((_SIDE, _SIDE, 3)) * _WHITE
    for x, y in _PLACES:
        beside = 0.35 * _disc(x + 10, y, _RADIUS)[..., None]
        light = light * (1 - beside) + beside * _KERNEL
        cover = _disc(x, y, _RADIUS)[..., None]
        light = light * (1 - cover) + cover * _KERNEL
    light = prepare(_picture(light))
    assert without_cast_shadow(light) is light


def test_pictures_without_colour_and_without_pieces_are_left():
    for pixels in (np.full((64, 64, 3), 200, np.uint8), np.full((1, 1, 3), 90, np.uint8)):
        light = prepare(Picture(pixels))
        assert without_cast_shadow(light) is light


def test_of_a_piece_with_rags_of_colour_nothing_is_taken_for_shadow():
    """Grey but for a stain in it, it would be cut where the stain ends."""
    light = _field(_WHITE, [(26, 10)], places=_PLACES[:-1])
    grey, stain = _disc(560, 560, 34.0)[..., None], _disc(546, 552, 12.0) - _disc(552, 556, 10.0)
    light = light * (1 - grey) + grey * 0.3 * np.array(_WHITE)
    light *= 1 - np.clip(stain, 0, 1)[..., None] * np.array([0.0, 0.02, 0.12])
    found = _measured(light)
    near = np.hypot(found["centre_x_px"] - 560, found["centre_y_px"] - 560) < 5
    assert found.diameter_px[near & (found["set_aside"] == "")] == pytest.approx([68.0], rel=0.03)


def test_large_pieces_are_told_at_reduced_size():
    places = [(x, y) for x, y in _PLACES if x < 480 and y < 480]
    light = _field(_GREEN, [(26, 10)], places=places)[:480, :480]
    counted = _counted(_measured(cv2.resize(light, None, fx=3.0, fy=3.0, interpolation=cv2.INTER_CUBIC)))
    assert len(counted) == len(places)
    assert counted == pytest.approx(6 * _RADIUS, rel=0.03)


def test_a_grey_crystal_is_found_without_its_own_shadow():
    light = _field((0.4, 0.4, 0.4), [(26, 0)], places=_PLACES[:-1])
    light[540:580, 540:606] *= 1.0 - 0.6 * (2.0 - _TINT)
    light[540:580, 540:580] = 0.28
    found = _measured(light)
    near = np.hypot(found["centre_x_px"] - 560, found["centre_y_px"] - 560) < 30
    own = np.flatnonzero(near & (found["set_aside"] == ""))
    assert len(own) == 1
    assert found.diameter_px[own[0]] == pytest.approx(40 * np.sqrt(4 / np.pi), rel=0.06)
    assert found["centre_x_px"][own[0]] == pytest.approx(560, abs=2)


def test_the_black_side_of_a_grain_is_no_shadow():
    """Nearly black grains on a light plate: brown where the lamp reaches, without colour elsewhere."""
    light = np.ones((_SIDE, _SIDE, 3)) * _WHITE
    for x, y in _PLACES:
        window = _about(x, y)
        light[window] *= _shadow(x, y, [(7.0, 5.0)], 2.0, 0.3)
        cover = _disc(x, y, _RADIUS, window)[..., None]
        slope = (np.arange(window[1].start, window[1].stop) - x)[None, :, None] / _RADIUS
        own = 0.012 + np.array([0.045, 0.03, 0.016]) * np.clip(0.4 - slope, 0.0, 1.4)
        light[window] = light[window] * (1 - cover) + cover * own
    particles = measure_field(_picture(light), FieldSettings(), 1.0).particles
    whole = np.pi * _RADIUS**2
    assert particles["area_px2"] == pytest.approx([whole] * len(_PLACES), rel=0.08)
