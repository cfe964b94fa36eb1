"""Traces of strong compression are taken out of a picture, and of no other."""

import cv2
import numpy as np
import pytest

from measure.field.kinds.measure_outlines import measure_outlines
from measure.field.marks.jpeg_blocks import COMPRESSED, compression_of, without_blocks
from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture

_SIZE = (480, 640)
_GRAINS = ((90, 85, 22), (220, 240, 26), (420, 110, 17), (560, 330, 24), (150, 400, 9), (365, 395, 11))
# first steps of ITU-T T.81, tables K.1 and K.2, in the order across
_FIRST = ((16, 11, 10), (17, 18, 24))


def smear(more: int = 0) -> np.ndarray:
    """Oil with angular dark grains, and so many more anywhere, blurred, with noise, (M, N, 3)."""
    rng = np.random.default_rng(5)
    pixels = np.full((*_SIZE, 3), (226, 220, 205), np.float32)
    for x, y, r in (*_GRAINS, *rng.uniform((0, 0, 5), (*_SIZE[::-1], 25), (more, 3))):
        turn = np.linspace(0, 2 * np.pi, 7, endpoint=False) + rng.uniform(0, 0.8, 7)
        corners = np.array([x, y]) + r * np.stack([np.cos(turn), np.sin(turn)], axis=1)
        colour = rng.uniform((60, 40, 20), (150, 110, 90)).tolist()
        cv2.fillPoly(pixels, [np.round(corners).astype(np.int32)], colour, cv2.LINE_AA)
    pixels = cv2.GaussianBlur(pixels, (0, 0), 0.9) + rng.normal(0, 1.0, pixels.shape)
    return np.clip(pixels, 0, 255).astype(np.uint8)


def stored(pixels: np.ndarray, quality: int, sampled: str = "420") -> np.ndarray:
    """Pixels as they come back from a JPEG file."""
    how = [
        cv2.IMWRITE_JPEG_QUALITY,
        quality,
        cv2.IMWRITE_JPEG_SAMPLING_FACTOR,
        getattr(cv2, f"IMWRITE_JPEG_SAMPLING_FACTOR_{sampled}"),
    ]
    done, data = cv2.imencode(".jpg", pixels[..., ::-1], how)
    assert done
    return np.ascontiguousarray(cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1])


def counted(pixels: np.ndarray) -> int:
    found = measure_field(Picture(pixels), FieldSettings(), 1.0).particles
    return int((found["set_aside"] == "").sum())


@pytest.mark.parametrize(
    ("sampled", "rows_cols"), [("444", (1, 1)), ("422", (1, 2)), ("420", (2, 2))], ids=str
)
@pytest.mark.parametrize("quality", [35, 60])
def test_how_a_cut_out_of_a_picture_was_compressed_is_told_from_its_pixels(quality, sampled, rows_cols):
    told = compression_of(np.ascontiguousarray(stored(smear(60), quality, sampled)[5:, 3:]))
    # quality as the free encoder of the Independent JPEG Group counts it, jcparam.c: from memory
    percent = 5000 // quality if quality < 50 else 200 - 2 * quality
    for steps, first in zip((told.light, told.colour), _FIRST, strict=True):
        wanted = [(step * percent + 50) // 100 for step in first]
        assert np.abs(steps[0, :3] - wanted).max() <= 1
    assert told.sampled == rows_cols
    assert (told.corner[0] % 8, told.corner[1] % 8) == (3, 5)


@pytest.mark.parametrize(
    "pixels",
    [
        smear(),
        stored(smear(), 80),
        stored(np.full((*_SIZE, 3), 200, np.uint8), 20),
        stored(cv2.GaussianBlur(smear(), (0, 0), 40), 90),
        cv2.resize(stored(smear(), 30), None, fx=0.7, fy=0.7, interpolation=cv2.INTER_AREA),
        smear().astype(np.uint16) * 257,
        smear()[:20, :20],
    ],
    ids=["not stored", "hardly", "flat", "smooth", "in another size", "16 bits", "tiny"],
)
def test_other_pictures_stay_as_they_are(pixels):
    assert without_blocks(pixels) is pixels


@pytest.mark.parametrize("quality", [25, 40, 70])
def test_a_picture_is_nearer_to_what_was_stored(quality):
    true = smear(60)
    seen = stored(true, quality)

    def error(pixels: np.ndarray) -> float:
        return float(np.sqrt(np.mean((pixels.astype(float) - true) ** 2)))

    assert error(without_blocks(seen)) < 0.98 * error(seen)


def test_strips_are_not_seen(monkeypatch):
    seen = stored(smear(), 30)
    whole = without_blocks(seen)
    monkeypatch.setattr("measure.field.marks.jpeg_blocks._STRIP_ROWS", 64)
    np.testing.assert_array_equal(without_blocks(seen), whole)


def test_blocks_beside_pieces_are_no_pieces():
    seen = stored(smear(), 22)
    result = measure_field(Picture(seen), FieldSettings(), 1.0)
    assert int((result.particles["set_aside"] == "").sum()) == len(_GRAINS)
    assert COMPRESSED in result.notes
    assert COMPRESSED not in measure_field(Picture(smear()), FieldSettings(), 1.0).notes


def test_kinds_are_read_from_the_picture_as_stored(monkeypatch):
    read = []
    monkeypatch.setattr(
        "measure.field.pipeline.measure_outlines",
        lambda outlines, picture, *rest: (
            read.append(picture.pixels) or measure_outlines(outlines, picture, *rest)
        ),
    )
    seen = stored(smear(), 30)
    measure_field(Picture(seen), FieldSettings(), 1.0)
    np.testing.assert_array_equal(read[0], seen)
