"""Clear pieces in oblique light beside pieces that take light away."""

import cv2
import numpy as np
import pytest

from measure.field.ground.light import prepare
from measure.field.ground.one_sided import without_one_sided
from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture

_HIGH, _WIDE = 480, 640
_ROOM = [(75 + 98 * i + 9 * (j % 2), 70 + 112 * j) for j in range(4) for i in range(6)]
_CLEAR = {at: 34.0 + 5.0 * (k % 4) for k, at in enumerate(_ROOM) if k % 3}
_BROWN = {at: 30.0 + 6.0 * (k % 3) for k, at in enumerate(_ROOM) if k % 3 == 0}


def _squares(sides, bevel_px: float) -> np.ndarray:
    """Height of flat-topped squares, each turned another way, twice as fine as the picture."""
    y, x = np.mgrid[: _HIGH * 2, : _WIDE * 2] / 2.0 + 0.25
    height = np.zeros(x.shape)
    for k, ((cx, cy), side) in enumerate(sides.items()):
        turn = 0.37 * k
        along = np.abs((x - cx) * np.cos(turn) + (y - cy) * np.sin(turn))
        across = np.abs((y - cy) * np.cos(turn) - (x - cx) * np.sin(turn))
        height = np.maximum(height, np.clip(side / 2 - np.maximum(along, across), 0.0, bevel_px))
    return height


def _field(angle: float | None, fainter: float = 0.3) -> Picture:
    """Squares whose slopes turn light away from the lens, on one side only or on all, and brown discs."""
    gy, gx = np.gradient(_squares(_CLEAR, 4.0), 0.5)
    slope = np.hypot(gx, gy) if angle is None else gx * np.cos(angle) + gy * np.sin(angle)
    lost = np.where(slope > 0, 0.45 * slope, 0.45 * fainter * slope)
    light = np.repeat((1.0 - lost)[..., None], 3, axis=2)
    y, x = np.mgrid[: _HIGH * 2, : _WIDE * 2] / 2.0 + 0.25
    for (cx, cy), across in _BROWN.items():
        light[np.hypot(x - cx, y - cy) < across / 2] *= (0.7, 0.5, 0.3)
    light = cv2.resize(0.55 * light, (_WIDE, _HIGH), interpolation=cv2.INTER_AREA)
    light = cv2.GaussianBlur(light, (0, 0), 0.9)
    values = 255 * light ** (1 / 2.2) + np.random.default_rng(3).normal(0, 1.5, light.shape)
    return Picture(np.clip(values, 0, 255).astype(np.uint8), name="oblique")


def _sizes(picture: Picture, places) -> np.ndarray:
    """Size found at each place over the true one; 0 where no one piece or more than one is counted."""
    found = measure_field(picture, FieldSettings(), 1.0).particles
    found = found.select(found["set_aside"] == "")
    middles = np.array([outline.mean(axis=0) for outline in found.outlines])
    sizes = []
    for at, true in places.items():
        near = np.flatnonzero(np.hypot(*(middles - at).T) < 0.7 * true)
        sizes.append(found.diameter_px[near[0]] / true if len(near) == 1 else 0.0)
    return np.array(sizes)


@pytest.mark.parametrize("angle", [0.2, 1.9, -2.4])
def test_crystals_dark_on_one_side_are_whole(angle):
    seen = _sizes(_field(angle), {at: np.sqrt(4 / np.pi) * side for at, side in _CLEAR.items()})
    assert np.count_nonzero(seen == 0) == 0
    assert np.median(seen) == pytest.approx(1.0, abs=0.05)
    assert np.abs(seen - 1).max() < 0.15


def test_pieces_that_take_light_stay_as_they_are_and_the_field_says_how_it_is_lit():
    picture = _field(0.2)
    assert _sizes(picture, _BROWN) == pytest.approx(1.0, abs=0.06)
    words = measure_field(picture, FieldSettings(), 1.0).quality.warnings
    assert sum("Light comes from one side" in word for word in words) == 1


@pytest.mark.parametrize(
    "picture", [_field(None), _field(0.2, fainter=0.0)], ids=["all round", "never bright"]
)
def test_light_from_all_sides_is_left_alone(picture):
    light = prepare(picture)
    assert without_one_sided(light) is light
