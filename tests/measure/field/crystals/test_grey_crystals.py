"""Crystals lit from below: facets of every grey, found by their lack of colour."""

import cv2
import numpy as np
import pytest

from measure.field.crystals.grey_crystals import _ends_at_sides, _stands_out, grey_crystals, with_crystals
from measure.field.pipeline import measure_field
from measure.model import KINDS, FieldSettings, Picture

OIL = np.array([214.0, 206.0, 180.0])
KERNEL = np.array([0.66, 0.58, 0.45])  # share of each colour that it lets through
FINE = 8


def _polygon(passed: np.ndarray, points: np.ndarray, share: np.ndarray | float) -> None:
    inside = np.zeros(passed.shape[:2], np.uint8)
    cv2.fillPoly(inside, [np.round(points * FINE).astype(np.int32)], 1)
    passed[inside > 0] *= share


def _picture(turn: float) -> Picture:
    """A box of 60 x 44 px with black ends, pale sides and a grey wedge; a kernel against it."""
    passed = np.ones((130 * FINE, 170 * FINE, 3), np.float32)
    c, s = np.cos(turn), np.sin(turn)
    place = np.array([[c, s], [-s, c]])

    def at(*corners: tuple[float, float]) -> np.ndarray:
        return np.array(corners) @ place + [70, 65]

    for left, right, share in ((-30, -20, 0.12), (20, 30, 0.2)):
        _polygon(passed, at((left, -22), (right, -22), (right, 22), (left, 22)), share)
    _polygon(passed, at((-20, -22), (4, -22), (-20, 0)), 0.93)
    for side in (-22.0, 20.5):
        _polygon(passed, at((-20, side), (20, side), (20, side + 1.5), (-20, side + 1.5)), 0.85)
    angles = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    oval = np.stack([17 * np.cos(angles), 21 * np.sin(angles)], axis=1)
    _polygon(passed, oval @ place + at((46.5, 0.0)), KERNEL)
    light = cv2.resize(OIL.astype(np.float32) * passed, (170, 130), interpolation=cv2.INTER_AREA)
    light = cv2.GaussianBlur(light, (0, 0), 0.9) + np.random.default_rng(2).normal(0, 1.3, light.shape)
    return Picture(np.clip(np.rint(light), 0, 255).astype(np.uint8), name="box")


@pytest.mark.parametrize("turn", [0.3, 1.0, 2.2])
def test_facets_of_many_greys_are_one_crystal_beside_the_kernel(turn: float):
    particles = measure_field(_picture(turn), FieldSettings(), 1.0).particles
    counted = particles["set_aside"] == ""
    kinds = [KINDS[k].value for k in particles["kind"][counted]]
    assert sorted(kinds) == ["kernel", "salt"]
    areas = dict(zip(kinds, particles["area_px2"][counted], strict=True))
    assert areas["salt"] == pytest.approx(60 * 44, rel=0.06)
    assert areas["kernel"] == pytest.approx(np.pi * 17 * 21, rel=0.06)


def test_what_is_found_already_stays():
    clear = np.zeros((40, 60), np.int32)
    clear[5:35, 5:29] = 1
    clear[5:35, 31:55] = 2
    both = np.zeros_like(clear)
    both[5:35, 5:55] = 1
    assert np.array_equal(with_crystals(clear, both), clear)


def test_a_crystal_takes_the_place_of_its_parts():
    clear = np.zeros((40, 60), np.int32)
    clear[8:12, 8:50] = 1
    clear[2:8, 2:8] = 2
    whole = np.zeros_like(clear)
    whole[8:35, 8:52] = 1
    labels = with_crystals(clear, whole)
    assert labels.max() == 2
    assert np.array_equal(labels > 0, (whole > 0) | (clear == 2))


def test_oil_among_kernels_is_no_crystal():
    """A gap has corners and straight ends, as a crystal does, but no sides of its own."""
    place = np.zeros((70, 90), np.uint8)
    place[15:55, 20:70] = 1
    sides = place.copy()
    sides[17:53, 22:68] = 0
    kernels = np.zeros_like(place)
    kernels[:14, 20:70] = kernels[56:, 20:70] = 1
    assert _stands_out(place, place | kernels, sides, 3.0)
    only_one = sides.copy()
    only_one[18:] = 0
    assert not _stands_out(place, place | kernels, only_one, 3.0)


@pytest.mark.parametrize(("noise", "count"), [(0.3, 1), (0.8, 0)])
def test_sides_no_clearer_than_noise_make_no_crystal(noise: float, count: int):
    """What compression or a shadow leaves among pieces closes now and then, but reaches no piece's level."""
    delta = np.zeros((80, 90, 3), np.float32)
    delta[20:60, 20:70, 0] = -5.0
    delta[23:57, 23:67, 0] = 0.0
    delta[5:8, 5:8] = (-20.0, 6.0, 15.0)
    low = delta[..., 0] < -1.0
    found = grey_crystals(delta, -delta[..., 0] / noise, 7.0, low, np.array([82.0, 0.0, 10.0]), 2.5, 50.0)
    assert found.max() == count


OIL_LAB = np.array([82.0, 0.0, 10.0])
DARK_LAB = np.array([8.0, 0.0, 0.0])


def _found(delta: np.ndarray, oil_lab: np.ndarray) -> np.ndarray:
    low = np.abs(delta).max(axis=2) > 1.0
    return grey_crystals(delta, np.abs(delta).max(axis=2) / 0.3, 7.0, low, oil_lab, 2.5, 80.0)


def _box(delta: np.ndarray, x: int, y: int, wide: int, high: int, side: float, inside: float) -> None:
    """A crystal seen by its sides, with a pale inside."""
    delta[y : y + high, x : x + wide] = (side, 0.0, 0.0)
    delta[y + 3 : y + high - 3, x + 3 : x + wide - 3] = (inside, 0.0, 0.0)


def test_a_pale_coloured_piece_is_no_crystal():
    """Each pixel has less colour than noise may have; together they tell."""
    delta = np.zeros((70, 90, 3), np.float32)
    _box(delta, 20, 15, 46, 36, -8.0, -3.5)
    assert _found(delta, OIL_LAB).max() == 0  # nothing is coloured there
    delta[5:8, 5:8] = (-20.0, 6.0, 15.0)
    assert _found(delta, OIL_LAB).max() == 1
    delta[15:51, 20:66] += (0.0, 0.4, 1.0)
    delta[15:51, 20:66] *= (1.0, 1.3, 1.3)
    assert _found(delta, OIL_LAB).max() == 0


def test_specks_of_colour_make_no_holes_in_a_crystal():
    """Compression colours small blocks of a faint inside on a dark ground."""
    delta = np.zeros((80, 90, 3), np.float32)
    _box(delta, 20, 15, 46, 44, 30.0, 8.0)
    for x, y in ((24, 20), (24, 40), (45, 22), (50, 42), (34, 48)):
        delta[y : y + 7, x : x + 7, 2] = 5.0
    found = _found(delta, DARK_LAB)
    assert found.max() == 1
    assert np.count_nonzero(found) == pytest.approx(46 * 44, rel=0.05)


def test_crystals_that_touch_with_their_sides_are_two():
    delta = np.zeros((110, 120, 3), np.float32)
    _box(delta, 10, 12, 50, 60, 30.0, 8.0)
    _box(delta, 60, 40, 45, 50, 45.0, 9.0)
    delta[2:5, 2:5] = (30.0, 9.0, 25.0)
    found = _found(delta, DARK_LAB)
    areas = sorted(np.bincount(found.ravel())[1:].tolist())
    assert areas == pytest.approx([45 * 50, 50 * 60], rel=0.1)


def test_a_part_of_a_crystal_has_no_side_where_the_rest_begins():
    whole = np.zeros((70, 100), np.uint8)
    whole[10:60, 10:90] = 1
    half = whole.copy()
    half[:, 50:] = 0
    steep = np.random.default_rng(3).uniform(0.5, 1.0, whole.shape).astype(np.float32)
    assert not _ends_at_sides(half, whole, steep, 2.0)
    steep[:, 46:54] = 3.0
    assert _ends_at_sides(half, whole, steep, 2.0)


def _box_of(middle: float, end: float) -> np.ndarray:
    """Difference from the oil of a box, with the lightness of its middle and of one end."""
    delta = np.zeros((70, 110, 3), np.float32)
    delta[15:55, 20:90] = (middle, 0.6, 0.6)
    delta[15:55, 76:90, 0] = end
    return cv2.GaussianBlur(delta, (0, 0), 0.8)


@pytest.mark.parametrize(("middle", "end", "count"), [(-20.0, -66.0, 1), (-66.0, -20.0, 0)])
def test_a_nearly_black_grain_that_shines_at_one_end_is_no_crystal(middle: float, end: float, count: int):
    """A crystal has black facets beside clear ones, and not hardly anything else."""
    delta = _box_of(middle, end)
    field = np.linalg.norm(delta, axis=2)
    labels = grey_crystals(delta, field * 10, 7.0, field > 2.0, np.array([80.0, 0.0, 0.0]), 2.2, 60.0)
    assert labels.max() == count
