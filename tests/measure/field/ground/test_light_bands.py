"""A lamp that flickers while the camera reads row by row: bands of light that are the same all along."""

import cv2
import numpy as np
import pytest

from measure.field.ground.light import prepare
from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture

HEIGHT, WIDTH = 420, 560
PLACES = [(90, 80), (240, 60), (420, 110), (130, 220), (330, 230), (480, 330), (80, 350), (250, 360)]


def _field(bands: float, *, turned: bool = False, bar: bool = False) -> Picture:
    """Eight pieces in light that comes and goes ``bands`` of it from row to row, as of mains light."""
    rng = np.random.default_rng(4)
    light = np.full((HEIGHT, WIDTH, 3), (0.78, 0.72, 0.58))
    for x, y in PLACES:
        piece = np.zeros((HEIGHT, WIDTH), np.uint8)
        cv2.circle(piece, (x, y), 22, 1, -1, cv2.LINE_AA)
        light[piece > 0] = (0.36, 0.25, 0.14)
    wave = 1.0 - bands * np.abs(np.sin(np.linspace(0.0, 3.5 * np.pi, HEIGHT)))
    light = cv2.GaussianBlur(light, (0, 0), 1.0) * wave[:, None, None]
    if bar:
        light[-60:] = 0.0
    light = light.transpose(1, 0, 2) if turned else light
    shown = 255.0 * light ** (1 / 2.2) + rng.normal(0.0, 1.5, light.shape)
    return Picture(np.clip(shown, 0, 255).astype(np.uint8))


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize("bands", [0.15, 0.35])
def test_bands_of_light_are_no_pieces_and_are_told(bands, turned):
    result = measure_field(_field(bands, turned=turned), FieldSettings(), 1.0)
    counted = result.particles["set_aside"] == ""
    assert counted.sum() == len(PLACES)
    assert np.allclose(result.particles.diameter_px[counted], 45.0, rtol=0.04)
    assert any("in bands across the field" in words for words in result.quality.warnings)


def test_the_light_lost_between_bands_is_what_was_drawn():
    assert prepare(_field(0.35)).bands == pytest.approx(0.35, abs=0.04)


@pytest.mark.parametrize("bar", [False, True])
def test_even_light_and_a_bar_along_the_picture_are_no_bands(bar):
    assert prepare(_field(0.0, bar=bar)).bands == 0.0


def test_rows_of_pieces_are_no_bands():
    rng = np.random.default_rng(1)
    shown = np.full((HEIGHT, WIDTH, 3), (200, 190, 165), float)
    for y in range(30, HEIGHT, 60):
        for x in range(20, WIDTH, 45):
            cv2.circle(shown, (x, y), 17, (150, 110, 70), -1, cv2.LINE_AA)
    pixels = np.clip(shown + rng.normal(0, 1.5, shown.shape), 0, 255).astype(np.uint8)
    assert prepare(Picture(pixels)).bands == 0.0
