"""Newton's rings are taken off a picture; round pieces, rows and streaks are none."""

import cv2
import numpy as np
import pytest

from measure.field.marks.newton_rings import RINGS, find_middle, without_rings
from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture

_SIZE = (600, 800)
_GRAINS = ((120, 110, 24), (300, 440, 28), (600, 150, 20), (690, 480, 30), (420, 250, 17), (180, 330, 22))


def field() -> np.ndarray:
    """Oil with grains, (M, N, 3) float32."""
    pixels = np.full((*_SIZE, 3), (222, 214, 192), np.float32)
    for x, y, r in _GRAINS:
        turn = np.linspace(0, 2 * np.pi, 40, endpoint=False)
        reach = r * (1 + 0.12 * np.sin(3 * turn + x))
        corners = np.array([x, y]) + reach[:, None] * np.stack([np.cos(turn), np.sin(turn)], axis=1)
        cv2.fillPoly(pixels, [np.round(corners).astype(np.int32)], (150, 110, 80), cv2.LINE_AA)
    return pixels


def distance(x: float, y: float) -> np.ndarray:
    rows, cols = np.mgrid[: _SIZE[0], : _SIZE[1]].astype(np.float32)
    return np.hypot(rows - y, cols - x)


def ringed(pixels: np.ndarray, x: float, y: float, strength: float) -> np.ndarray:
    """Rings of three colours; with the square of the distance they follow faster and fade."""
    order = (distance(x, y) / 110.0) ** 2
    fade = np.exp(-order / 12.0)
    waves = [1.0 + strength * fade * np.cos(2 * np.pi * order * rate) for rate in (1.0, 1.2, 1.45)]
    return pixels * np.stack(waves, axis=2)


def stored(pixels: np.ndarray, most: int = 255) -> np.ndarray:
    blurred = cv2.GaussianBlur(pixels.astype(np.float32), (0, 0), 1.0)
    blurred = blurred + np.random.default_rng(3).normal(0, 1.0, blurred.shape)
    values = np.clip(np.rint(blurred * (most / 255)), 0, most)
    return values.astype(np.uint8 if most == 255 else np.uint16)


@pytest.mark.parametrize(("x", "y"), [(300.0, 350.0), (860.0, -60.0)], ids=["within", "beyond the frame"])
def test_rings_are_not_counted_and_pieces_keep_their_size(x, y):
    plain = measure_field(Picture(stored(field())), FieldSettings(), 1.0)
    result = measure_field(Picture(stored(ringed(field(), x, y, 0.08))), FieldSettings(), 1.0)
    sizes = [np.sort(r.particles.diameter_px[r.particles["set_aside"] == ""]) for r in (plain, result)]
    assert len(sizes[0]) == len(_GRAINS)
    assert len(sizes[1]) == len(_GRAINS)
    np.testing.assert_allclose(sizes[1], sizes[0], rtol=0.03)
    told = [note for note in result.notes if note.startswith(RINGS)]
    assert len(told) == 1
    assert not any(note.startswith(RINGS) for note in plain.notes)


@pytest.mark.parametrize("most", [255, 65535])
def test_the_light_under_rings_comes_back(most):
    freed, rings = without_rings(stored(ringed(field(), 330.0, 280.0, 0.1), most))
    assert rings is not None
    assert np.hypot(rings.x_px - 330, rings.y_px - 280) < 2.0
    oil = (np.abs(field() - field()[0, 0]).max(axis=2) < 1) & (distance(330.0, 280.0) > 30)
    oil &= distance(330.0, 280.0) < 300
    off = (freed[oil].astype(float) / (most / 255) - field()[0, 0]).std()
    assert off < 0.45 * (stored(ringed(field(), 330.0, 280.0, 0.1))[oil] - field()[0, 0]).std()


def round_pieces() -> np.ndarray:
    """Discs that stand round one place: their sides point anywhere."""
    pixels = field()
    for k in range(14):
        at = np.array([400, 300]) + 190 * np.array([np.cos(k * 0.449), np.sin(k * 0.449)])
        cv2.circle(pixels, np.round(at).astype(int).tolist(), 22, (150, 110, 80), -1, cv2.LINE_AA)
    return pixels


def streaks() -> np.ndarray:
    rows = cv2.GaussianBlur(np.random.default_rng(2).normal(0, 1, (_SIZE[0], 1)), (1, 0), 0, sigmaY=4.0)
    return field() * (1 + 0.03 * rows / rows.std())[..., None].astype(np.float32)


@pytest.mark.parametrize("draw", [field, round_pieces, streaks])
def test_what_is_no_ring_stays(draw):
    pixels = stored(draw())
    freed, rings = without_rings(pixels)
    assert rings is None
    assert freed is pixels


def test_nothing_is_looked_for_where_there_is_nothing():
    assert find_middle(np.full((200, 300, 3), 200, np.uint8)) is None
    assert find_middle(stored(field())[:30, :40]) is None
