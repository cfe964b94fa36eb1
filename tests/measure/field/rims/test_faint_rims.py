"""Crystals whose rim is a faint line are found; specks are not."""

import cv2
import numpy as np
import pytest

from measure.field.components import find
from measure.field.ground.light import prepare
from measure.field.pipeline import measure_field
from measure.field.rims import known_rims
from measure.field.rims.faint_rims import faint_rims
from measure.model import FieldSettings, Picture

OIL = np.array([214.0, 206.0, 180.0])
PLACES = [(70, 60, 18, 10), (170, 70, 24, 40), (280, 60, 15, 75), (70, 170, 21, 25), (180, 180, 30, 60)]


def _picture(darker: float) -> Picture:
    """Five squares with a line round them, among specks as dark as the lines."""
    rng = np.random.default_rng(3)
    dark = np.zeros((240, 340), np.float32)
    for x, y, half, turn in PLACES:
        corners = cv2.boxPoints(((x, y), (2 * half, 2 * half), turn))
        points = np.round((corners - 0.5) * 16).astype(np.int32)
        cv2.polylines(dark, [points], True, 1.0, 2, cv2.LINE_AA, 4)
    for x, y in rng.uniform(4, (336, 236), (150, 2)):
        cv2.circle(dark, (int(x * 16), int(y * 16)), int(rng.uniform(0.6, 1.8) * 16), 1.0, -1, cv2.LINE_AA, 4)
    light = OIL * (1 - darker * cv2.GaussianBlur(dark, (0, 0), 1.2)[..., None])
    noise = rng.normal(0, 1.0, light.shape)
    return Picture(np.clip(np.rint(light + noise), 0, 255).astype(np.uint8), name="faint squares")


def _diameters() -> list[float]:
    particles = measure_field(_picture(0.045), FieldSettings(smallest_um=14.0), 1.0).particles
    wanted = particles.diameter_px >= 14.0
    assert not any(particles["set_aside"][wanted])
    return sorted(particles.diameter_px[wanted])


def test_faint_rims_are_found():
    true = sorted(2 * (half + 1) * 2 / np.sqrt(np.pi) for _, _, half, _ in PLACES)
    assert _diameters() == pytest.approx(true, rel=0.08)


def test_the_levels_alone_do_not_find_them(monkeypatch: pytest.MonkeyPatch):
    for module in (find, known_rims):
        monkeypatch.setattr(module, "faint_rims", lambda *_: [])
    assert len(_diameters()) < 3


def test_many_rims_of_one_strength_are_no_texture():
    """Their strongest places just reach the level, and specks of many heights look like a texture."""
    rng = np.random.default_rng(5)
    dark = np.zeros((420, 560), np.float32)
    for x, y in ((x, y) for x in range(50, 560, 80) for y in range(50, 420, 80)):
        half, turn = rng.uniform(10, 24), rng.uniform(0, 90)
        points = np.round((cv2.boxPoints(((x, y), (2 * half, 2 * half), turn)) - 0.5) * 16).astype(np.int32)
        cv2.polylines(dark, [points], True, float(rng.uniform(0.85, 1.15)), 2, cv2.LINE_AA, 4)
    light = OIL * (1 - 0.07 * cv2.GaussianBlur(dark, (0, 0), 1.0)[..., None])
    pixels = np.clip(np.rint(light + rng.normal(0, 1.0, light.shape)), 0, 255).astype(np.uint8)
    particles = measure_field(Picture(pixels, name="many"), FieldSettings(), 1.0).particles
    assert len(particles) == 35  # none before specks of closed lines were left out
    assert not any(particles["set_aside"])


def test_dark_lines_all_over_are_no_overflow():
    """Lines darker than 128 steps of an number of eight bits are still compared with their median."""
    stripes = np.full((60, 80, 3), 60, np.uint8)
    stripes[::4] = 220
    light = prepare(Picture(stripes, name="stripes"))
    assert faint_rims(light, np.zeros((60, 80), np.int32), 20.0) == []


def test_compressed_noise_has_no_rims():
    rng = np.random.default_rng(4)
    for _ in range(3):
        noisy = np.clip(np.rint(OIL + rng.normal(0, 3.0, (500, 500, 3))), 0, 255).astype(np.uint8)
        stored = cv2.imencode(".jpg", noisy, [cv2.IMWRITE_JPEG_QUALITY, 60])[1]
        light = prepare(Picture(cv2.imdecode(stored, cv2.IMREAD_COLOR), name="noise"))
        assert faint_rims(light, np.zeros((500, 500), np.int32), 38.0) == []
