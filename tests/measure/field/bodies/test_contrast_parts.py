"""Pale pieces that lie against dark ones, and pale streaks inside a dark one."""

import cv2
import numpy as np
import pytest

from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture

OIL = np.array([222.0, 212.0, 184.0])


def _picture(strength: np.ndarray) -> Picture:
    """Picture of absorbing pieces, given as the share of light they keep back."""
    strength = cv2.GaussianBlur(strength.astype(np.float32), (0, 0), 1.0)
    noise = np.random.default_rng(5).normal(0, 1.2, (*strength.shape, 3))
    return Picture(
        np.clip(np.rint(OIL * (1 - strength[..., None]) + noise), 0, 255).astype(np.uint8), name="pale"
    )


def _disc(centre: tuple[float, float], radius: float) -> np.ndarray:
    y, x = np.mgrid[:150, :220] + 0.5
    return np.clip(radius + 0.5 - np.hypot(x - centre[0], y - centre[1]), 0, 1)


def _diameters(picture: Picture) -> np.ndarray:
    return np.sort(measure_field(picture, FieldSettings(), 1.0).particles.diameter_px)


@pytest.mark.parametrize("pale", [0.1, 0.13, 0.16, 0.2, 0.26])
def test_a_pale_piece_against_a_dark_one_keeps_its_size(pale):
    strength = np.maximum(0.42 * _disc((80, 75), 45), pale * _disc((143, 75), 18.5))
    assert _diameters(_picture(strength)) == pytest.approx([37, 90], rel=0.05)


def test_a_cloudy_pale_piece_against_a_dark_one_is_one():
    cloud = cv2.GaussianBlur(np.random.default_rng(2).normal(0, 1, (150, 220)), (0, 0), 5.0)
    pale = (0.16 + 0.03 * cloud / cloud.std()) * _disc((143, 75), 20.5)
    strength = np.maximum(0.42 * _disc((80, 75), 44), pale)
    assert _diameters(_picture(strength)) == pytest.approx([41, 88], rel=0.06)


@pytest.mark.parametrize("width_px", [4, 9, 14])
def test_a_pale_streak_inside_a_dark_piece_is_part_of_it(width_px):
    body = 0.42 * _disc((110, 75), 50)
    body[60:90, 110 - width_px // 2 : 110 + (width_px + 1) // 2] = 0.17
    assert _diameters(_picture(body)) == pytest.approx([100], rel=0.03)


@pytest.mark.parametrize(("dark", "pale"), [(0.42, 0.24), (0.42, 0.28), (0.6, 0.32), (0.6, 0.4)])
def test_a_thinning_piece_whose_top_alone_is_half_as_dark_as_its_neighbour_is_found(dark, pale):
    y, x = np.mgrid[:150, :220] + 0.5
    thinning = np.sqrt(np.clip(1 - np.hypot(x - 125, y - 75) / 10, 0, 1))
    strength = np.maximum(dark * _disc((70, 75), 45), pale * thinning)
    assert _diameters(_picture(strength)) == pytest.approx([17.5, 90], rel=0.05)
