"""Scratches of the glass are taken off a picture; sides of crystals, fibres and grain are not."""

import cv2
import numpy as np
import pytest

from measure.field.marks.scratches import SCRATCHES, find_scratches, without_scratches
from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture

_SIZE = (600, 800)
_GRAINS = ((120, 110, 24), (300, 440, 28), (600, 150, 20), (690, 480, 30), (420, 250, 17))


def field(seed: int = 3) -> np.ndarray:
    """Oil with round dark grains, (M, N, 3) float32."""
    rng = np.random.default_rng(seed)
    pixels = np.full((*_SIZE, 3), (226, 220, 205), np.float32)
    for x, y, r in _GRAINS:
        turn = np.linspace(0, 2 * np.pi, 40, endpoint=False)
        reach = r * (1 + 0.1 * np.sin(3 * turn + rng.uniform(0, 6)))
        corners = np.array([x, y]) + reach[:, None] * np.stack([np.cos(turn), np.sin(turn)], axis=1)
        cv2.fillPoly(pixels, [np.round(corners).astype(np.int32)], (150, 110, 80), cv2.LINE_AA)
    return pixels


def scratched(pixels: np.ndarray, start, end, depth: float, seed: int, bend: float = 0.0) -> np.ndarray:
    """Draw dashes of 15 to 60 px between two places, a line bent by so many px in its middle."""
    rng, drawn = np.random.default_rng(seed), np.zeros(pixels.shape[:2], np.float32)
    start, end = np.array(start, float), np.array(end, float)
    way = (end - start) / np.hypot(*(end - start))
    at, length = 0.0, float(np.hypot(*(end - start)))
    while at < length:
        s = np.linspace(at, min(at + rng.uniform(15, 60), length), 12)
        off = 4 * bend * s / length * (1 - s / length)
        points = start + s[:, None] * way + off[:, None] * [-way[1], way[0]]
        cv2.polylines(drawn, [np.round(points * 16).astype(np.int32)], False, 1.0, 3, cv2.LINE_AA, 4)
        at = float(s[-1]) + rng.uniform(8, 40)
    return pixels + depth * drawn[..., None]


def stored(pixels: np.ndarray, noise: float = 1.0) -> np.ndarray:
    blurred = cv2.GaussianBlur(pixels, (0, 0), 1.1)
    blurred = blurred + np.random.default_rng(9).normal(0, noise, pixels.shape)
    return np.clip(np.rint(blurred), 0, 255).astype(np.uint8)


def measured(pixels: np.ndarray):
    result = measure_field(Picture(pixels), FieldSettings(), 1.0)
    return result, result.particles["set_aside"] == ""


@pytest.mark.parametrize("depth", [-45.0, 24.0], ids=["dark", "bright"])
def test_dashes_of_a_scratch_are_not_counted_and_pieces_stay_as_they_are(depth):
    pixels = scratched(field(), (0, 60), (799, 560), depth, 1)
    pixels = scratched(pixels, (30, 590), (760, 20), depth, 2, bend=25.0)
    plain, plain_kept = measured(stored(field()))
    result, kept = measured(stored(pixels))
    assert plain_kept.sum() == len(_GRAINS)
    assert kept.sum() == len(_GRAINS)
    sizes = [np.sort(r.particles.diameter_px[k]) for r, k in ((plain, plain_kept), (result, kept))]
    np.testing.assert_allclose(sizes[1], sizes[0], rtol=0.04)
    assert any(note.startswith(SCRATCHES) and "(2 of them)" in note for note in result.notes)


def test_a_picture_of_many_px_and_of_16_bits_is_freed_of_them_too():
    small = stored(scratched(field(), (0, 60), (799, 560), -45.0, 1), 0.0)
    large = cv2.resize(small, None, fx=4, fy=4, interpolation=cv2.INTER_CUBIC).astype(np.uint16) * 257
    freed, count = without_scratches(large)
    assert count == 1
    oil = np.median(large[..., 1])
    strip = freed[600:1000, 640:1200, 1]  # away from grains
    assert strip.min() > oil - 257 * 14


def test_four_dashes_in_a_row_are_enough():
    pixels = field()
    for left in (80, 200, 320, 440):
        cv2.line(pixels, (left, 380), (left + 80, 380), (180, 175, 160), 2, cv2.LINE_AA)
    assert len(find_scratches(stored(pixels))) == 1


def fibre() -> np.ndarray:
    x = np.linspace(80, 700, 200)
    way = np.stack([x, 300 + 90 * np.sin(x / 90)], axis=1)
    pixels = field()
    cv2.polylines(pixels, [np.round(way).astype(np.int32)], False, (180, 172, 160), 4, cv2.LINE_AA)
    return pixels


def crystals() -> np.ndarray:
    rng, pixels = np.random.default_rng(7), field()
    for _ in range(60):
        box = cv2.boxPoints(
            (rng.uniform((20, 20), (780, 580)).tolist(), rng.uniform(20, 45, 2).tolist(), rng.uniform(0, 90))
        )
        cv2.polylines(pixels, [np.round(box).astype(np.int32)], True, (150, 146, 138), 2, cv2.LINE_AA)
    return pixels


def short_scratch() -> np.ndarray:
    return scratched(field(), (200, 330), (330, 300), -45.0, 3)


def grain() -> np.ndarray:
    rows = np.random.default_rng(2).normal(0, 20, (_SIZE[0], 1, 1)).astype(np.float32)
    return field() + rows


def slits() -> np.ndarray:
    """Bright slits between round pieces in rows."""
    y, x = np.mgrid[: _SIZE[0], : _SIZE[1]]
    inside = (x % 50 - 25) ** 2 + (y % 50 - 25) ** 2 < 21**2
    return np.where(inside[..., None], np.float32((150, 110, 80)), np.float32((226, 220, 205)))


@pytest.mark.parametrize("draw", [field, slits, fibre, crystals, short_scratch, grain])
def test_what_is_no_scratch_stays(draw):
    pixels = stored(draw())
    if draw is not grain:
        assert find_scratches(pixels) == []
    freed, count = without_scratches(pixels)
    assert (count == 0) == (freed is pixels)


def test_nothing_is_looked_for_in_a_tiny_picture():
    assert find_scratches(stored(field())[:60, :60]) == []
