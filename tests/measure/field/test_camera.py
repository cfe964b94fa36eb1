"""A folder that plays a camera, what a scale is tied to, and the live meters."""

from pathlib import Path

import cv2
import numpy as np
import pytest

from measure.errors import InvalidInput
from measure.field.camera import CameraSetting, DeviceCamera, FolderCamera, refuse_setting
from measure.field.live import flickers, look_live, sharpness
from measure.model import Scale


def grains(blur: float) -> np.ndarray:
    rng = np.random.default_rng(1)
    pixels = np.full((300, 400, 3), (225, 215, 185), np.float32)
    for x, y, r in ((80, 80, 20), (200, 150, 30), (320, 90, 25), (300, 240, 15)):
        cv2.circle(pixels, (x, y), r, (150, 100, 60), -1, cv2.LINE_AA)
    pixels = cv2.GaussianBlur(pixels, (0, 0), blur) + rng.normal(0, 2, pixels.shape)
    return np.clip(pixels, 0, 255).astype(np.uint8)


def test_a_folder_plays_a_camera(tmp_path: Path):
    for place, blur in enumerate((1.0, 3.0)):
        cv2.imwrite(str(tmp_path / f"{place}.png"), grains(blur)[..., ::-1])
    camera = FolderCamera(tmp_path)
    first, second, third = camera.read(), camera.read(), camera.read()
    assert np.array_equal(first, grains(1.0))
    assert np.array_equal(first, third)
    assert not np.array_equal(first, second)
    assert camera.size == (400, 300)
    with pytest.raises(InvalidInput):
        FolderCamera(tmp_path / "nowhere")


def test_a_camera_that_is_not_there_is_one_sentence():
    with pytest.raises(InvalidInput, match="There is no camera 98"):
        DeviceCamera(97)


def test_focus_meter_falls_with_blur_and_ignores_noise():
    found = [sharpness(grains(blur)) for blur in (0.7, 1.5, 3.0, 6.0)]
    assert found == sorted(found, reverse=True)
    rng = np.random.default_rng(2)
    noise = np.clip(rng.normal(200, 4, (300, 400, 3)), 0, 255).astype(np.uint8)
    assert sharpness(noise) < 0.2 * found[2]


def test_live_look_finds_pieces_and_cover():
    look = look_live(grains(1.0))
    assert len(look.outlines) == 4
    true = np.pi * (20**2 + 30**2 + 25**2 + 15**2) / (300 * 400)
    assert look.cover == pytest.approx(true, rel=0.08)
    assert look.clipped < 0.01


def test_a_frame_of_another_setting_is_refused_with_the_reason():
    setting = CameraSetting("camera 1", "MJPG", 1600, 1200, "10x")
    scale = Scale(0.5, zoom="10x", width_px=1600, height_px=1200)
    assert refuse_setting(setting, scale, setting.words()) == ""
    assert refuse_setting(setting, None) == ""
    assert "640 x 480" in refuse_setting(CameraSetting("camera 1", "MJPG", 640, 480, "10x"), scale)
    assert "40x" in refuse_setting(CameraSetting("camera 1", "MJPG", 1600, 1200, "40x"), scale)
    other = CameraSetting("camera 2", "MJPG", 1600, 1200, "10x")
    assert "tied to camera 1" in refuse_setting(other, scale, setting.words())


def test_flicker_is_told_from_noise_and_drift():
    rng = np.random.default_rng(4)
    noise = 200 + rng.normal(0, 0.4, 20)
    assert not flickers(noise)
    assert not flickers(np.linspace(180, 200, 20))
    assert flickers(noise + 6 * np.sin(np.arange(20) * 1.9))
    assert not flickers([200, 220, 200, 220, 200])  # too few to tell
