"""A band darker than both sides tells two pieces; a crack, a slope or even tone along a cut does not."""

import cv2
import numpy as np
import pytest

from measure.field.whole_field.dark_bands import band_between

_SHAPE = (70, 100)


def _oval(x: int, y: int = 35) -> np.ndarray:
    mask = np.zeros(_SHAPE, np.uint8)
    cv2.ellipse(mask, (x, y), (26, 24), 0, 0, 360, 1, -1)
    return mask


def _halves(left: np.ndarray, right: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    both, columns = left | right, np.arange(_SHAPE[1])
    return both * (columns < 50).astype(np.uint8), both * (columns >= 50).astype(np.uint8)


def _delta(density: np.ndarray, noise: float = 0.8) -> np.ndarray:
    seen = cv2.GaussianBlur(density.astype(np.float32), (0, 0), 1.2)
    seen += np.random.default_rng(5).normal(0, noise / 20, _SHAPE).astype(np.float32)
    return seen[..., None] * np.array([-20.0, 8.0, 3.0], np.float32)


def test_where_two_pieces_lie_over_one_another_a_band_is_seen():
    left, right = _oval(31), _oval(69)
    assert band_between(*_halves(left, right), _delta(left + 0.9 * right), 3.0)


def test_raised_borders_that_meet_are_a_band():
    left, right = _oval(27), _oval(73)
    rims = sum(
        part * 1.0 + 0.4 * (part - cv2.erode(part, np.ones((9, 9), np.uint8))) for part in (left, right)
    )
    assert band_between(*_halves(left, right), _delta(rims), 3.0)


@pytest.mark.parametrize("kind", ["even", "crack", "slope", "spot", "one side"])
def test_one_piece_that_was_cut_shows_none(kind: str):
    body = cv2.dilate(_oval(36) | _oval(64), np.ones((5, 5), np.uint8)).astype(np.float32)
    columns = np.arange(_SHAPE[1])
    density = {
        "even": body,
        "crack": body * (1.0 + 0.5 * (columns == 50)),
        "slope": body * (0.7 + 0.006 * columns),
        "spot": body + 0.5 * (np.hypot(columns - 50, np.arange(_SHAPE[0])[:, None] - 35) < 9),
        "one side": body * (1.0 + 0.4 * (columns >= 47)),
    }[kind]
    parts = _halves(*(half.astype(np.uint8) for half in (body * (columns < 50), body * (columns >= 50))))
    assert not band_between(*parts, _delta(density), 3.0)


def test_what_is_too_small_tells_nothing():
    specks = np.zeros((2, *_SHAPE), np.uint8)
    specks[0, 30:33, 30:33], specks[1, 30:33, 33:36] = 1, 1
    assert not band_between(*specks, _delta(specks.sum(axis=0)), 3.0)


def test_the_fold_of_a_ragged_skin_is_none():
    left, right = _oval(31), _oval(69)
    for x in (20, 34, 66, 80):  # torn
        left[:26, x - 3 : x + 3] = right[:26, x - 3 : x + 3] = 0
    assert not band_between(*_halves(left, right), _delta(left + 0.9 * right), 3.0)
