"""Pieces that noise drowns are found in the mean of many pixels; clear pictures stay as they are."""

import cv2
import numpy as np
import pytest

from measure.field.marks.strong_noise import NOTE, without_strong_noise
from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture

_DISCS = ((60, 60, 22), (100, 72, 20), (240, 60, 24), (70, 170, 20), (160, 180, 25), (197, 205, 19))


def discs(step: float, noise: float, seed: int = 1) -> np.ndarray:
    """Grey levels of dark discs, (M, N) of float."""
    mask = np.zeros((300, 300), np.float32)
    for x, y, r in _DISCS:
        cv2.circle(mask, (16 * x, 16 * y), 16 * r, 1.0, -1, cv2.LINE_AA, 4)
    rough = cv2.GaussianBlur(np.random.default_rng(seed).normal(0, 1, mask.shape), (0, 0), 0.7)
    return 130 - step * mask + rough * noise / rough.std()


def picture(grey: np.ndarray) -> Picture:
    return Picture(np.repeat(np.clip(grey, 0, 255).astype(np.uint8)[..., None], 3, axis=2), grey=True)


def test_discs_in_strong_noise_are_found_with_their_size_and_it_is_said():
    result = measure_field(picture(discs(30, 26)), FieldSettings(), 1.0)
    counted = np.sort(result.particles.diameter_px[result.particles["set_aside"] == ""])
    assert counted == pytest.approx(np.sort([2 * r for *_, r in _DISCS]), rel=0.12)
    assert NOTE in result.notes


def test_clear_blank_and_coloured_pictures_stay_as_they_are():
    coloured = picture(discs(40, 26)).pixels.copy()
    coloured[..., 2] //= 2
    for one in (picture(discs(40, 4)), picture(discs(0, 26)), Picture(coloured)):
        same, notes = without_strong_noise(one)
        assert same is one
        assert notes == ()


def test_what_is_left_out_is_not_spread():
    grey = discs(40, 26)
    plain, _ = without_strong_noise(picture(grey), (np.array([[0, 260], [300, 260], [300, 300], [0, 300]]),))
    grey[260:] = 0
    marked = picture(grey)
    done, _ = without_strong_noise(marked, (np.array([[0, 260], [300, 260], [300, 300], [0, 300]]),))
    assert np.array_equal(done.pixels[:260], plain.pixels[:260])
    assert np.array_equal(done.pixels[260:], marked.pixels[260:])
