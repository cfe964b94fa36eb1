"""Bodies in oblique light that fade into the ground towards the lamp, or get brighter than it."""

import cv2
import numpy as np
import pytest

from measure.field.ground import fading_sides
from measure.field.ground.fading_sides import without_fading_sides
from measure.field.ground.light import prepare
from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture

_SIZE, _RADIUS_PX, _GROUND = 380, 20.0, 170.0
_CENTRES = [(x, y) for x in (60, 150, 240, 320) for y in (60, 150, 240, 320)]


def _picture(angle: float, dark: float, bright: float, shadow: float = 0.0) -> Picture:
    """Round grey bodies whose tone runs from dark to bright along an angle; a shadow may lie beyond them."""
    rng = np.random.default_rng(1)
    y, x = np.mgrid[:_SIZE, :_SIZE] + 0.5
    grey = np.full((_SIZE, _SIZE), _GROUND)
    for cx, cy in _CENTRES:
        along = ((x - cx) * np.cos(angle) + (y - cy) * np.sin(angle)) / _RADIUS_PX
        if shadow:
            moved = np.hypot(x - cx - 8 * np.cos(angle), y - cy - 8 * np.sin(angle))
            grey -= shadow * np.clip((_RADIUS_PX + 2 - moved) / 5, 0, 1)
        covered = np.clip(_RADIUS_PX + 0.5 - np.hypot(x - cx, y - cy), 0, 1)
        grey = grey * (1 - covered) + covered * (_GROUND + np.interp(along, [-1, 1], [-dark, bright]))
    grey = cv2.GaussianBlur(grey, (0, 0), 0.8) + rng.normal(0, 1.0, grey.shape)
    stored = np.clip(np.round(grey), 0, 255).astype(np.uint8)
    return Picture(np.repeat(stored[..., None], 3, axis=2), name="drawn", grey=True)


@pytest.mark.parametrize("angle", [0.0, 2.4])
@pytest.mark.parametrize("bright", [-5.0, 12.0])
def test_the_side_towards_the_lamp_is_of_the_body(angle: float, bright: float):
    found = measure_field(_picture(angle, 90.0, bright), FieldSettings(), 1.0).particles
    counted = found.diameter_px[found["set_aside"] == ""]
    assert len(counted) == len(_CENTRES)
    assert np.median(counted) == pytest.approx(2 * _RADIUS_PX, rel=0.06)


def test_even_bodies_stay_as_they_are():
    light = prepare(_picture(0.0, 60.0, -60.0))
    assert without_fading_sides(light) is light


def test_even_bodies_with_a_shadow_stay_as_they_are():
    light = prepare(_picture(0.0, 90.0, -90.0, shadow=35.0))
    assert without_fading_sides(light) is light


@pytest.mark.parametrize("radius_px", [60.0, 12.0])
def test_a_large_field_is_told_by_its_large_bodies_reduced_or_by_the_small_ones_of_its_middle(
    monkeypatch: pytest.MonkeyPatch, radius_px: float
):
    share = radius_px / _RADIUS_PX
    small = cv2.resize(
        _picture(0.0, 90.0, 12.0).pixels, None, fx=share, fy=share, interpolation=cv2.INTER_AREA
    )
    repeats = round(4 / share)
    light = prepare(Picture(np.tile(small, (repeats, repeats, 1)), name="drawn", grey=True))
    monkeypatch.setattr(fading_sides, "WORK_PX", 150_000)
    changed = without_fading_sides(light)
    grown = np.count_nonzero(changed.delta[..., 0] < light.delta[..., 0] - 5)
    body_px2 = np.pi * radius_px**2
    assert grown > 0.1 * body_px2 * len(_CENTRES) * repeats**2
