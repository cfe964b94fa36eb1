"""A strip of words under a picture is told from fields that are dark, light or end in a large piece."""

import cv2
import numpy as np
import pytest

from measure.field.marks.own_marks import are_by_itself, mark_zones
from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture
from measure.scale.drawn_strip import drawn_strips

_ROWS, _COLS, _STRIP = 420, 640, 60


def smear(grey: int = 150, piece: int = 90, noise: float = 3.0) -> np.ndarray:
    """Grains on an even ground, two of them at the lower edge, (M, N, 3) of uint8."""
    pixels = np.full((_ROWS, _COLS, 3), grey, np.float32)
    for x, y, r in (
        (90, 120, 22),
        (200, 250, 30),
        (420, 90, 18),
        (520, 180, 26),
        (60, 330, 15),
        (300, 410, 40),
    ):
        cv2.ellipse(pixels, (x, y), (r, r - 5), x % 180, 0, 360, (piece,) * 3, -1, cv2.LINE_AA)
    pixels = cv2.GaussianBlur(pixels, (0, 0), 1.0)
    pixels += np.random.default_rng(3).normal(0, noise, pixels.shape)
    return np.clip(pixels, 0, 255).astype(np.uint8)


def strip(ground: int = 0, words: int = 255, table: bool = True) -> np.ndarray:
    """Two rows of words in cells, (M, N, 3) of uint8."""
    pixels = np.full((_STRIP, _COLS, 3), ground, np.uint8)
    tone = (words,) * 3
    for x, upper, lower in ((12, "Date", "12:46"), (130, "Lens", "x 10"), (250, "Pass", "three")):
        cv2.putText(pixels, upper, (x, 22), cv2.FONT_HERSHEY_SIMPLEX, 0.6, tone, 1, cv2.LINE_AA)
        cv2.putText(pixels, lower, (x, 52), cv2.FONT_HERSHEY_SIMPLEX, 0.6, tone, 1, cv2.LINE_AA)
        if table:
            cv2.line(pixels, (x + 98, 0), (x + 98, _STRIP), tone, 1)
    if table:
        cv2.line(pixels, (0, 29), (_COLS, 29), tone, 1)
    cv2.rectangle(pixels, (420, 40), (600, 46), tone, -1)
    return pixels


def under(picture: np.ndarray, below: np.ndarray, quality: int | None = None) -> Picture:
    pixels = np.vstack([picture, below])
    if quality is not None:
        _, data = cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, quality])
        pixels = cv2.imdecode(data, cv2.IMREAD_COLOR)
    return Picture(pixels)


@pytest.mark.parametrize("quality", [None, 80])
@pytest.mark.parametrize("tones", [(0, 255), (255, 0), (235, 20)])
def test_a_strip_below_or_above_is_found_to_the_row(tones: tuple[int, int], quality: int | None):
    (found,) = drawn_strips(under(smear(), strip(*tones), quality))
    np.testing.assert_allclose(found[:, 1], [_ROWS - 3, _ROWS - 3, _ROWS + _STRIP, _ROWS + _STRIP], atol=1)
    assert found[:, 0].tolist() == [0, _COLS, _COLS, 0]
    (above,) = drawn_strips(under(strip(*tones), smear(), quality))
    np.testing.assert_allclose(above[:, 1], [0, 0, _STRIP + 3, _STRIP + 3], atol=1)


def test_a_strip_below_a_piece_of_its_own_tone_is_found():
    picture = smear()
    cv2.ellipse(picture, (430, 400), (90, 60), 0, 0, 360, (0, 0, 0), -1)
    assert len(drawn_strips(under(picture, strip()))) == 1


@pytest.mark.parametrize(
    "pixels",
    [
        smear(),
        smear(20, 240),  # a dark ground
        smear(255, 0, 0.0),  # drawn discs on white
        np.vstack([smear(), smear(20, 240)[:_STRIP]]),  # ends in a dark field with noise
        np.vstack([smear(), np.zeros((_STRIP, _COLS, 3), np.uint8)]),  # without words it is an even border
        np.vstack([smear(0, 255, 0.0), strip()]),  # nothing tells where the strip begins
        np.zeros((12, 30, 3), np.uint8),
    ],
)
def test_a_field_has_no_strip(pixels: np.ndarray):
    assert drawn_strips(Picture(pixels)) == ()


def test_nothing_is_counted_in_a_strip_and_it_is_one_mark():
    picture = under(smear(), strip(0, 255))
    (mark,) = mark_zones(picture)
    assert are_by_itself(picture, (mark,)) == [True]
    settings = FieldSettings()
    result, plain = measure_field(picture, settings, 0.5), measure_field(Picture(smear()), settings, 0.5)
    counted = [one.particles["set_aside"] == "" for one in (result, plain)]
    assert counted[0].sum() == counted[1].sum() >= 5
    assert (result.particles["centre_y_px"] < _ROWS).all()
    kept = measure_field(picture, settings, 0.5, border=False)
    assert kept.particles["centre_y_px"].max() > _ROWS
    assert any("as was asked for" in note for note in kept.notes)


def test_sixteen_bits_tell_the_same():
    eight = under(smear(), strip())
    (found,) = drawn_strips(Picture(eight.pixels.astype(np.uint16) * 257))
    np.testing.assert_array_equal(found, drawn_strips(eight)[0])
