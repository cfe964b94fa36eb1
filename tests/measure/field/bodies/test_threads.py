"""Threads that run from piece to piece, and thin things that are none."""

import numpy as np
import pytest

from measure.field.bodies.threads import is_band, threads_between
from measure.field.pipeline import measure_field
from measure.field.whole_field.halo import THREAD
from measure.model import FieldSettings
from tests.measure.field.drawn_shapes import cover_of, picture_of

_CENTRES = [(60.0, 50.0), (150.0, 58.0), (236.0, 44.0), (70.0, 150.0), (160.0, 142.0), (240.0, 155.0)]
_RADIUS = 22.0


def _discs(x, y):
    return np.logical_or.reduce([(x - cx) ** 2 + (y - cy) ** 2 < _RADIUS**2 for cx, cy in _CENTRES])


def _lines(x, y, half=1.2):
    rows = (np.abs(y - 52 - 0.02 * x) < half) | (np.abs(y - 148) < half)
    across = np.abs(x - 61 - 0.09 * (y - 50)) < half
    return (rows & (x > 60) & (x < 236)) | (across & (y > 50) & (y < 150))


def test_pieces_on_threads_are_counted_each_by_itself_and_the_threads_not():
    cover = cover_of(lambda x, y: _discs(x, y) | _lines(x, y), (200, 300))
    found = measure_field(picture_of(cover), FieldSettings(), 1.0).particles
    counted = np.flatnonzero(found["set_aside"] == "")
    assert found.diameter_px[counted] == pytest.approx([2 * _RADIUS] * 6, rel=0.04)
    assert THREAD in found["set_aside"]


def _strong(inside) -> np.ndarray:
    return (cover_of(inside, (200, 300)) > 0.5).astype(np.uint8)


def test_a_thread_between_two_discs_is_one():
    strong = _strong(lambda x, y: _discs(x, y) | ((np.abs(y - 54) < 1.5) & (x > 60) & (x < 150)))
    threads = threads_between(strong, 3.0)
    assert threads.max() == 1
    xs = np.nonzero(threads)[1]
    assert xs.min() == pytest.approx(82, abs=4)
    assert xs.max() == pytest.approx(128, abs=4)


@pytest.mark.parametrize(
    "inside",
    [
        lambda x, y: (np.hypot(x - 150, y - 100) < 60) & (np.hypot(x - 150, y - 100) > 57),  # a rim
        lambda x, y: (np.abs(y - 100) < 1.5) & (x > 20) & (x < 280),  # a thread alone
        lambda x, y: _discs(x, y) | ((np.abs(y - 54) < 1.5) & (x > 60) & (x < 115)),  # it ends in the oil
        lambda x, y: (np.hypot(x - 100, y - 100) < 22) | (np.hypot(x - 148, y - 100) < 22),  # a short gap
    ],
)
def test_rims_loose_ends_and_pieces_side_by_side_are_no_threads(inside):
    assert not threads_between(_strong(inside), 3.0).any()


def _band_strong(inside) -> np.ndarray:
    y, x = np.mgrid[:60, :240] + 0.5
    return inside(x, y).astype(np.uint8)


@pytest.mark.parametrize(
    ("inside", "is_one"),
    [
        (lambda x, y: (abs(y - 30) < 9) & (abs(y - 30) > 2.5) & (abs(x - 120) < 80), True),  # hollow
        (lambda x, y: (abs(y - 30 - 6 * np.sin(x / 60)) < 8) & (abs(x - 120) < 80), True),
        (lambda x, y: np.hypot((x - 40) % 20 - 10, y - 30) < 10.5 * (abs(x - 120) < 80), False),
        (lambda x, y: (abs(y - 30) < 12) & (abs(x - 120) < 30), False),  # not long
    ],
)
def test_an_even_band_is_one_whatever_its_inside_shows(inside, is_one):
    assert is_band(_band_strong(inside), 3.0) == is_one
