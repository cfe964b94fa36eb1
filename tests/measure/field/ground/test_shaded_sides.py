"""Opaque pieces lit from one side: their shaded sides fade into the ground, and are told by their colour."""

import cv2
import numpy as np
import pytest

from measure.field.ground.light import Light, prepare
from measure.field.ground.shaded_sides import without_shaded_sides
from measure.model import Picture

_SIZE, _RADIUS_PX = 320, 20.0
_CENTRES = [(x, y) for x in (60, 150, 240) for y in (60, 150, 240)]
_DARK, _GREY = 0.08, 0.45  # light that the ground sends
_PALE = np.array([0.5, 0.38, 0.2])


def _picture(ground: float, way: tuple[float, float], pale: np.ndarray = _PALE) -> Picture:
    """Round pieces, full of light, that darken to nothing towards where the light goes."""
    rng = np.random.default_rng(0)
    y, x = np.mgrid[:_SIZE, :_SIZE] + 0.5
    shown = np.full((_SIZE, _SIZE, 3), ground)
    for cx, cy in _CENTRES:
        along = ((x - cx) * way[0] + (y - cy) * way[1]) / _RADIUS_PX
        covered = np.clip(_RADIUS_PX + 0.5 - np.hypot(x - cx, y - cy), 0, 1)[..., None]
        lit = np.clip(0.95 - 0.85 * along, 0.12, 1.1)[..., None]
        shown = shown * (1 - covered) + covered * lit * pale
    shown = cv2.GaussianBlur(shown, (0, 0), 0.8)
    stored = 255 * np.clip(shown, 0, 1) ** (1 / 2.2) + rng.normal(0, 0.7, shown.shape)
    return Picture(np.clip(np.round(stored), 0, 255).astype(np.uint8), name="drawn")


def _covered_px(light: Light) -> float:
    """Pixels of a piece at half of the height of its middle, the mean of all pieces."""
    height = np.linalg.norm(cv2.GaussianBlur(light.delta, (0, 0), 0.8), axis=2)
    middle = np.median([height[y - 8 : y + 8, x - 8 : x + 8] for x, y in _CENTRES])
    return float((height > 0.5 * middle).sum() / len(_CENTRES))


@pytest.mark.parametrize("way", [(1.0, 0.0), (-0.7, 0.7)])
def test_the_shaded_side_of_a_pale_piece_on_dark_ground_is_its_own(way):
    light = prepare(_picture(_DARK, way))
    level = without_shaded_sides(light)
    true = np.pi * _RADIUS_PX**2
    assert _covered_px(light) < 0.93 * true  # what fades away is lost
    assert _covered_px(level) == pytest.approx(true, rel=0.035)


def test_pieces_lit_from_all_sides_stay_as_they_are():
    light = prepare(_picture(_DARK, (0.0, 0.0)))
    assert without_shaded_sides(light) is light


def test_pieces_that_the_light_passes_stay_as_they_are():
    """On bright ground, nowhere lighter than it: what is darker on one side is thicker there."""
    light = prepare(_picture(0.9, (1.0, 0.0), _PALE * 0.9))
    assert without_shaded_sides(light) is light


def test_grey_pieces_stay_as_they_are():
    """No colour tells how much of a pixel they cover."""
    light = prepare(_picture(_DARK, (1.0, 0.0), np.full(3, 0.4)))
    assert without_shaded_sides(light) is light


def test_the_side_of_a_piece_the_tone_of_the_ground_runs_through_is_lit():
    light = prepare(_picture(_GREY, (1.0, 0.0), _PALE * 1.1))
    level = without_shaded_sides(light)
    x, y = _CENTRES[4]
    side = np.s_[y - 4 : y + 4, x + 13 : x + 17]
    assert light.delta[side][..., 0].mean() < -18
    assert level.delta[side][..., 0].mean() > -10
