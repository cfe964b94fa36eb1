"""A fainter second picture over a field is taken off; fields whose pieces look alike stay as they are."""

import cv2
import numpy as np
import pytest

from measure.field.marks.ghosts import GHOST, find_shift, without_ghost
from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture

_SIZE = (600, 800)


def light(alike: bool = False) -> np.ndarray:
    """Light of oil with twenty pieces, (M, N, 3) float32; all alike on a lattice, or each of its own form."""
    rng = np.random.default_rng(4)
    pixels = np.full((*_SIZE, 3), (0.76, 0.72, 0.61), np.float32)
    places = [(90 + 150 * (i % 5), 80 + 140 * (i // 5)) for i in range(20)]
    for x, y in places:
        turn = np.linspace(0, 2 * np.pi, 9, endpoint=False)
        reach, colour = np.full(9, 17.0), (0.35, 0.22, 0.12)
        if not alike:
            x, y = x + rng.uniform(-35, 35), y + rng.uniform(-35, 35)
            reach = rng.uniform(9, 24) * rng.uniform(0.7, 1.2, 9)
            colour = (np.array([0.42, 0.27, 0.15]) * rng.uniform(0.6, 1.2)).tolist()
        corners = np.array([x, y]) + reach[:, None] * np.stack([np.cos(turn), np.sin(turn)], axis=1)
        cv2.fillPoly(pixels, [np.round(corners * 16).astype(np.int32)], colour, cv2.LINE_AA, 4)
    return cv2.GaussianBlur(pixels, (0, 0), 1.0)


def with_ghost(own: np.ndarray, right: float, down: float, share: float, blur: float = 1.0) -> np.ndarray:
    """Part of the light comes again, shifted; beyond the frame lies oil."""
    oil = own[0, 0]
    way = np.array([[1, 0, right], [0, 1, down]], float)
    again = cv2.warpAffine(own - oil, way, _SIZE[::-1]) + oil
    return (1 - share) * own + share * cv2.GaussianBlur(again, (0, 0), blur)


def stored(own: np.ndarray, most: int = 255) -> np.ndarray:
    """As a camera stores light, by a power of 1/2.2, with noise."""
    values = 255 * own ** (1 / 2.2) + np.random.default_rng(1).normal(0, 0.7, own.shape)
    return np.clip(np.rint(values * (most / 255)), 0, most).astype(np.uint8 if most == 255 else np.uint16)


def counted(pixels: np.ndarray):
    result = measure_field(Picture(pixels), FieldSettings(), 1.0)
    kept = result.particles["set_aside"] == ""
    return result, np.sort(result.particles.diameter_px[kept])


@pytest.mark.parametrize(
    ("right", "down", "share", "most"),
    [(60.5, 35.0, 0.14, 255), (-72.0, 11.0, 0.3, 255), (17.0, -14.0, 0.2, 255), (60.5, 35.0, 0.14, 65535)],
)
def test_a_ghost_is_told_and_taken_off(right, down, share, most):
    pixels = stored(with_ghost(light(), right, down, share), most)
    freed, ghost = without_ghost(pixels)
    assert ghost is not None
    assert abs(ghost.right_px - right) <= 0.75
    assert abs(ghost.down_px - down) <= 0.75
    # of the light of the first picture: the share that is thrown back over the one that is not
    np.testing.assert_allclose(ghost.share, share / (1 - share), rtol=0.15)
    true = stored((1 - share) * light() + share * light()[0, 0], most).astype(float)
    off = np.abs(freed - true) / (most / 255)
    assert np.quantile(off, 0.99) < 4.0


def test_likenesses_are_not_counted_and_pieces_keep_their_size():
    plain, sizes = counted(stored(light()))
    result, freed = counted(stored(with_ghost(light(), 50.0, -41.0, 0.25)))
    assert len(freed) == len(sizes)
    np.testing.assert_allclose(freed, sizes, rtol=0.05)
    assert not any(GHOST in note for note in plain.notes)
    told = [note for note in result.notes if note.startswith(GHOST)]
    assert len(told) == 1
    assert "50 px right, 41 px up" in told[0]


@pytest.mark.parametrize("alike", [False, True])
def test_pieces_that_look_alike_are_no_ghosts(alike):
    pixels = stored(light(alike))
    freed, ghost = without_ghost(pixels)
    assert freed is pixels
    assert ghost is None


def test_a_fainter_likeness_of_a_few_pieces_is_no_ghost():
    """A piece of the same form and fainter beside five of twenty: skins come in pairs too."""
    own = light()
    few = with_ghost(own, 55.0, 20.0, 0.3)
    mixed = own.copy()
    mixed[:150] = few[:150]
    assert find_shift(stored(mixed)) is None


def test_a_field_without_pieces_has_none():
    assert find_shift(stored(np.full((300, 400, 3), 0.6, np.float32))) is None
    assert find_shift(stored(np.full((40, 40, 3), 0.6, np.float32))) is None
