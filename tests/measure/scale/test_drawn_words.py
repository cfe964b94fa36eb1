"""Words burnt into a picture before it was compressed, which leaves no exact tone and joins letters."""

import cv2
import numpy as np
import pytest

from measure.field.marks.own_marks import mark_zones
from measure.model import Picture
from measure.scale.drawn_words import compressed_words

_SIZE = (720, 960)


def _ground() -> np.ndarray:
    """Oil with specks, two pieces near its lower edge, and noise."""
    rng = np.random.default_rng(4)
    pixels = np.full((*_SIZE, 3), (203.0, 198.0, 186.0)) + rng.normal(0, 2.0, (*_SIZE, 3))
    for x, y in rng.uniform(0, (960, 720), (60, 2)):
        cv2.circle(pixels, (round(x), round(y)), int(rng.integers(2, 6)), (150, 128, 92), -1, cv2.LINE_AA)
    cv2.ellipse(pixels, (300, 690), (40, 25), 20, 0, 360, (120, 80, 50), -1, cv2.LINE_AA)
    cv2.ellipse(pixels, (700, 660), (30, 25), 70, 0, 360, (160, 140, 100), -1, cv2.LINE_AA)
    return cv2.GaussianBlur(pixels, (0, 0), 0.9)


def _compressed(pixels: np.ndarray, quality: int) -> Picture:
    stored = cv2.imencode(
        ".jpg", np.clip(pixels, 0, 255).astype(np.uint8)[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality]
    )
    return Picture(np.ascontiguousarray(cv2.imdecode(stored[1], cv2.IMREAD_COLOR)[..., ::-1]))


@pytest.mark.parametrize("quality", [80, 92])
@pytest.mark.parametrize("colour", [(255, 220, 40), (255, 255, 255), (10, 10, 10)])
@pytest.mark.parametrize("y", [40, 700])
def test_a_time_burnt_in_before_compression_is_left_out(quality: int, colour: tuple[int, ...], y: int):
    pixels = _ground()
    pixels = (0.7 * pixels if colour == (255, 255, 255) else pixels).astype(np.uint8)
    written = pixels.copy()
    cv2.putText(written, "12:41:07 pass 3", (420, y), cv2.FONT_HERSHEY_SIMPLEX, 0.9, colour, 2, cv2.LINE_AA)
    at = np.argwhere((written != pixels).any(axis=2))[:, ::-1]

    zones = mark_zones(_compressed(written, quality))

    assert len(zones) == 1
    assert zones[0].min(axis=0) == pytest.approx(at.min(axis=0) - 3, abs=4)
    assert zones[0].max(axis=0) == pytest.approx(at.max(axis=0) + 3, abs=4)


def test_pieces_in_a_row_fibres_and_hollow_crystals_are_no_words():
    pixels = _ground()
    for x in range(60, 900, 34):
        cv2.ellipse(pixels, (x, 40), (10, 12), 0, 0, 360, (120, 80, 50), -1, cv2.LINE_AA)
    cv2.polylines(
        pixels, [np.array([[500, 640], [620, 650], [760, 642]])], False, (90, 70, 60), 4, cv2.LINE_AA
    )
    for x in (380, 420, 455):
        cv2.rectangle(pixels, (x, 690), (x + 22, 710), (70, 70, 70), 2, cv2.LINE_AA)

    assert compressed_words(_compressed(pixels, 80)) == ()
    assert compressed_words(_compressed(pixels, 50)) == ()
    assert compressed_words(Picture(np.clip(pixels, 0, 255).astype(np.uint8))) == ()


def test_three_large_crystals_in_a_row_are_no_words():
    # each as high as the next by chance, with thin rims and facets that cross a row as often as letters do
    pixels = np.full((*_SIZE, 3), (203.0, 198.0, 186.0))
    for x in (200, 268, 336):
        cv2.rectangle(pixels, (x, 30), (x + 58, 92), (70, 70, 70), 2, cv2.LINE_AA)
        cv2.line(pixels, (x + 20, 30), (x + 26, 92), (90, 90, 90), 2, cv2.LINE_AA)
        cv2.line(pixels, (x + 40, 92), (x + 36, 30), (90, 90, 90), 2, cv2.LINE_AA)
    pixels += np.random.default_rng(6).normal(0, 2.0, pixels.shape)
    assert compressed_words(Picture(np.clip(pixels, 0, 255).astype(np.uint8))) == ()
