"""Colour that compression spills beside pieces is set aside; pieces of colour alone are counted."""

import cv2
import numpy as np
import pytest

from measure.field.ground.light import prepare
from measure.field.pipeline import measure_field
from measure.field.whole_field.colour_blocks import REASON, colour_block_px
from measure.model import FieldSettings, Picture
from measure.particles import Particles


def _stored(pixels: np.ndarray, quality: int, sampling: int) -> np.ndarray:
    settings = [cv2.IMWRITE_JPEG_QUALITY, quality, cv2.IMWRITE_JPEG_SAMPLING_FACTOR, sampling]
    _, data = cv2.imencode(".jpg", pixels[..., ::-1], settings)
    return np.ascontiguousarray(cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1])


def _field(colour: tuple[float, ...], speck: tuple[float, ...] | None = None) -> np.ndarray:
    """Twelve pieces on pale oil, and a small one beside each."""
    light = np.full((420, 540, 3), (224.0, 206.0, 152.0), np.float32)
    rng = np.random.default_rng(8)
    for row in range(3):
        for col in range(4):
            x, y = (int(v) for v in np.array([80 + 125 * col, 80 + 130 * row]) + rng.integers(-8, 9, 2))
            cv2.ellipse(light, (x, y), (34, 24), float(rng.uniform(0, 180)), 0, 360, colour, -1)
            if speck is not None:
                cv2.circle(light, (x + 48, y), 8, speck, -1)
    light = cv2.GaussianBlur(light, (0, 0), 0.9) + rng.normal(0, 1.5, light.shape)
    return np.clip(light, 0, 255).astype(np.uint8)


def _found(pixels: np.ndarray) -> Particles:
    return measure_field(Picture(pixels), FieldSettings(), 1.0).particles


@pytest.mark.parametrize(
    ("sampling", "block"),
    [(cv2.IMWRITE_JPEG_SAMPLING_FACTOR_420, 16), (cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444, 8)],
)
def test_blocks_of_colour_are_seen_wherever_the_picture_begins(sampling, block):
    pixels = _stored(_field((190.0, 158.0, 92.0)), 50, sampling)
    for part in (pixels, pixels[5:, 11:]):
        assert colour_block_px(prepare(Picture(np.ascontiguousarray(part))).delta) == block


def test_a_picture_stored_whole_has_no_blocks():
    assert colour_block_px(prepare(Picture(_field((190.0, 158.0, 92.0)))).delta) == 0
    assert colour_block_px(np.zeros((20, 30, 3), np.float32)) == 0


def test_spilled_colour_is_set_aside():
    found = _found(_stored(_field((190.0, 140.0, 72.0)), 30, cv2.IMWRITE_JPEG_SAMPLING_FACTOR_420))
    spilled = found["set_aside"] == REASON
    assert spilled.any()
    assert (found["set_aside"] == "").sum() == 12
    assert found.diameter_px[found["set_aside"] == ""].min() > 50.0


def test_small_pieces_of_colour_alone_stay_counted_where_all_are_such():
    """In a field of pieces as bright as the oil, colour is what tells them."""
    colour = (206.0, 203.0, 228.0)
    found = _found(_stored(_field(colour, colour), 75, cv2.IMWRITE_JPEG_SAMPLING_FACTOR_420))
    assert not (found["set_aside"] == REASON)[found.diameter_px > 13.0].any()
    assert (found["set_aside"] == "").sum() >= 24


def test_a_small_dark_piece_beside_a_large_one_stays_counted():
    pixels = _field((190.0, 140.0, 72.0), (196.0, 172.0, 108.0))
    found = _found(_stored(pixels, 50, cv2.IMWRITE_JPEG_SAMPLING_FACTOR_420))
    assert ((found["set_aside"] == "") & (found.diameter_px < 22.0)).sum() == 12
