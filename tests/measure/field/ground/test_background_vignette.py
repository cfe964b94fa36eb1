"""Light that falls off steeply towards the frame, as through an eyepiece, is no piece and hides none."""

import cv2
import numpy as np

from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture

HEIGHT, WIDTH = 600, 800
OIL = np.array([0.72, 0.68, 0.55])
PASSED = np.array([0.6, 0.5, 0.35])


def _picture(light: np.ndarray) -> Picture:
    """Forty-eight brown ovals in a field of this light, (M, N) linear."""
    rng = np.random.default_rng(1)
    cover = np.zeros((HEIGHT, WIDTH), np.float32)
    for x, y in ((60 + 97 * i, 55 + 98 * j) for i in range(8) for j in range(6)):
        axes = (int(rng.uniform(12, 26) * 16), int(rng.uniform(10, 20) * 16))
        turn = rng.uniform(0, 180)
        cv2.ellipse(cover, (x * 16, y * 16), axes, turn, 0, 360, 1.0, -1, cv2.LINE_AA, 4)
    cover = cv2.GaussianBlur(cover, (0, 0), 1.0)[..., None]
    linear = OIL * light[..., None] * (1 - (1 - PASSED) * cover)
    values = 255 * linear ** (1 / 2.2) + rng.normal(0, 1.2, linear.shape)
    return Picture(np.clip(np.rint(values), 0, 255).astype(np.uint8), name="vignette")


def _counted(picture: Picture) -> np.ndarray:
    particles = measure_field(picture, FieldSettings(), 1.0).particles
    return particles.diameter_px[particles["set_aside"] == ""]


def test_dark_corners_are_oil():
    y, x = np.mgrid[:HEIGHT, :WIDTH]
    away = np.hypot((x - 0.45 * WIDTH) / (0.55 * WIDTH), (y - 0.52 * HEIGHT) / (0.62 * HEIGHT))
    sizes = _counted(_picture(1 - 0.8 * (np.minimum(away, 1.35) / 1.35) ** 4))
    assert len(sizes) == 48
    assert sizes.max() < 45  # the corners were pieces of up to 83 px


def test_a_dim_rim_all_round_does_not_swallow_the_field():
    y, x = np.mgrid[:HEIGHT, :WIDTH]
    inwards = np.minimum(np.minimum(x, WIDTH - 1 - x), np.minimum(y, HEIGHT - 1 - y))
    sizes = _counted(_picture(0.45 + 0.55 * np.clip(inwards / 25.0, 0, 1)))
    assert np.count_nonzero(sizes < 45) == 48
