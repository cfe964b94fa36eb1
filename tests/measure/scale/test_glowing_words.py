"""Small coloured words that resizing has run together."""

import cv2
import numpy as np
import pytest

from measure.field.marks.own_marks import mark_zones
from measure.model import Picture
from measure.scale.glowing_words import glowing_words

_OIL = (188.0, 178.0, 150.0)


def _stored(pixels: np.ndarray, quality: int = 60) -> Picture:
    pixels = pixels + np.random.default_rng(2).normal(0, 3.0, pixels.shape)
    coded = cv2.imencode(
        ".jpg", np.clip(pixels, 0, 255).astype(np.uint8)[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality]
    )[1]
    return Picture(np.ascontiguousarray(cv2.imdecode(coded, cv2.IMREAD_COLOR)[..., ::-1]))


def _written(colour: tuple[int, int, int], y: int) -> np.ndarray:
    """A date of letters ten rows high, first written large and then made smaller with the picture."""
    large = np.full((1440, 1920, 3), _OIL).astype(np.uint8)
    cv2.putText(
        large, "2026-06-16 13:54:19", (60, 3 * y), cv2.FONT_HERSHEY_SIMPLEX, 1.3, colour, 4, cv2.LINE_AA
    )
    small = cv2.resize(large.astype(np.float32), (640, 480), interpolation=cv2.INTER_AREA)
    return cv2.GaussianBlur(small, (0, 0), 0.7)


@pytest.mark.parametrize("colour", [(255, 230, 30), (255, 150, 20)])
@pytest.mark.parametrize("y", [24, 462])
def test_a_small_date_is_left_out(colour: tuple[int, int, int], y: int):
    pixels = _written(colour, y)
    at = np.argwhere(np.abs(pixels - _OIL).max(axis=2) > 40)[:, ::-1]

    zones = mark_zones(_stored(pixels))

    assert len(zones) == 1
    assert zones[0].min(axis=0) == pytest.approx(at.min(axis=0) - 3, abs=6)
    assert zones[0].max(axis=0) == pytest.approx(at.max(axis=0) + 3, abs=6)


def test_pieces_beside_one_another_are_no_words():
    pixels = np.full((480, 640, 3), _OIL)
    for x in range(40, 600, 17):  # skins in a row
        cv2.ellipse(pixels, (x, 460), (6, 5), 0, 0, 360, (150, 84, 40), -1, cv2.LINE_AA)
    for x in range(40, 600, 90):  # crystals with glints
        cv2.rectangle(pixels, (x, 20), (x + 30, 44), (120, 115, 100), 2, cv2.LINE_AA)
        cv2.rectangle(pixels, (x + 4, 24), (x + 26, 40), (235, 228, 205), 2, cv2.LINE_AA)
    cv2.line(pixels, (300, 60), (420, 64), (120, 80, 140), 5, cv2.LINE_AA)
    assert glowing_words(_stored(pixels)) == ()


def test_a_coloured_scale_bar_with_ticks_is_no_word():
    """Its box would leave out what lies between the ticks and is measured through the thin line."""
    pixels = np.full((480, 640, 3), _OIL)
    cv2.circle(pixels, (560, 440), 14, (110, 90, 105), -1, cv2.LINE_AA)
    for end in (460, 563):
        cv2.line(pixels, (end, 443), (end, 434), (40, 230, 60), 2)
    cv2.line(pixels, (460, 443), (563, 443), (40, 230, 60), 2)
    assert glowing_words(_stored(cv2.GaussianBlur(pixels, (0, 0), 0.6), 80)) == ()
