"""Pieces that go on inside their neighbours, where absorbances add (Beer-Lambert law, from memory)."""

import cv2
import numpy as np
import pytest
from shapely import LineString, Polygon

from measure.field.basics.outline import area
from measure.field.overlaps.going_on import going_on

ROUND = np.linspace(0, 2 * np.pi, 120, endpoint=False)
COLOUR = np.array([0.30, 0.36, 0.50], np.float32)


def _disc(x: float, y: float, radius: float) -> np.ndarray:
    return np.stack([x + radius * np.cos(ROUND), y + radius * np.sin(ROUND)], axis=1)


def _cover(outline: np.ndarray) -> np.ndarray:
    """Mask of a polygon in a crop of 120 x 160 px, its edge as soft as a lens makes it."""
    fine = np.zeros((480, 640), np.uint8)
    cv2.fillPoly(fine, [np.round(outline * 4 - 0.5).astype(np.int32)], 1)
    mean = cv2.resize(fine.astype(np.float32), (160, 120), interpolation=cv2.INTER_AREA)
    return cv2.GaussianBlur(mean, (0, 0), 1.0)


def _less(outline: np.ndarray, other: np.ndarray) -> np.ndarray:
    """What a cut along the edge of the other leaves of an outline."""
    return np.asarray(Polygon(outline).difference(Polygon(other)).exterior.coords)[:-1]


def _noisy(density: np.ndarray) -> np.ndarray:
    return (density + np.random.default_rng(3).normal(0, 0.01, density.shape)).astype(np.float32)


def _rim(outline: np.ndarray, inner: np.ndarray) -> np.ndarray:
    return (_cover(outline) - _cover(inner))[..., None] * np.float32(0.5) * np.ones(3, np.float32)


def _square(x: float, y: float, half: float) -> np.ndarray:
    return np.array([[x - half, y - half], [x + half, y - half], [x + half, y + half], [x - half, y + half]])


def test_the_hidden_part_of_a_cut_piece_is_given_back():
    left, right = _disc(55, 60, 30), _disc(95, 60, 24)
    density = _noisy(_cover(left)[..., None] * COLOUR + _cover(right)[..., None] * 1.2 * COLOUR)
    seen = _less(right, left)
    changed, gone = going_on([left, seen], [False, False], density, 50.0)
    assert set(changed) == {1}
    assert not gone
    assert area(changed[1]) == pytest.approx(np.pi * 24**2, rel=0.04)
    assert area(seen) < 0.9 * np.pi * 24**2


def test_pieces_side_by_side_stay_as_they_are():
    left, right = _disc(50, 60, 30), _disc(104, 60, 23)
    density = _noisy(_cover(left)[..., None] * COLOUR + _cover(right)[..., None] * 1.2 * COLOUR)
    assert going_on([left, right], [False, False], density, 50.0) == ({}, set())


def test_a_neighbour_dark_in_many_places_hides_nothing_for_sure():
    """What is as dense as the piece beside it here and there is its own mottle, also where they meet."""
    left, right = _disc(55, 60, 40), _disc(115, 60, 18)
    spots = sum(_cover(_disc(x, y, 7)) for x in (26, 42, 58, 74, 89) for y in (42, 60, 78))
    density = _noisy((_cover(left) + spots * _cover(left) + _cover(right))[..., None] * COLOUR)
    assert going_on([left, right], [False, False], density, 50.0) == ({}, set())


def test_a_body_goes_on_behind_the_rim_of_a_crystal():
    crystal, body = _square(60, 60, 34), _disc(100, 60, 24)
    density = _noisy(_rim(crystal, _square(60, 60, 30)) + _cover(body)[..., None] * COLOUR)
    seen = _less(body, crystal)
    strip = _square(92, 60, 2) * [1, 3] - [0, 120]
    changed, gone = going_on([crystal, seen, strip], [True, False, False], density, 50.0)
    assert set(changed) == {1}
    assert area(changed[1]) == pytest.approx(np.pi * 24**2, rel=0.04)
    assert gone == {2}  # a splinter of what both have in common


def test_a_clear_crystal_beside_a_body_holds_nothing_of_it():
    crystal, body = _square(60, 60, 34), _disc(119, 60, 24)
    density = _noisy(_rim(crystal, _square(60, 60, 30)) + _cover(body)[..., None] * COLOUR)
    assert going_on([crystal, body], [True, False], density, 50.0) == ({}, set())


def test_what_goes_on_in_a_streaked_neighbour_is_read_across_its_colour():
    """A skin's folds are as dense as the faint piece over it, but of its own colour."""
    host, faint = _disc(60, 60, 40), _disc(108, 60, 24)
    red, streaks = np.array([0.4, 1.2, 1.6], np.float32), 1.0 + 0.25 * np.sin(np.arange(120) / 2.5)
    body = _cover(host) * streaks[:, None].astype(np.float32)
    density = _noisy(body[..., None] * red + _cover(faint)[..., None] * np.float32([0.28, 0.42, 0.62]))
    seen = _less(faint, host)
    changed, _ = going_on([host, seen], [False, False], density, 50.0)
    assert set(changed) == {1}
    assert area(changed[1]) == pytest.approx(np.pi * 24**2, rel=0.04)
    assert area(seen) < 0.9 * np.pi * 24**2


def _corner_under_a_rim(colour: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A crystal with a wide rim, what is seen of a body whose end lies under it, and their density."""
    crystal, body = _square(60, 60, 34), _disc(109, 60, 22)
    density = _noisy(_rim(crystal, _square(60, 60, 26)) + _cover(body)[..., None] * colour)
    return crystal, _less(body, crystal), density


def test_a_coloured_body_is_told_under_the_rim_itself():
    """A rim takes light of all colours alike."""
    crystal, seen, density = _corner_under_a_rim(np.array([0.28, 0.44, 0.66], np.float32))
    changed, _ = going_on([crystal, seen], [True, False], density, 50.0)
    assert set(changed) == {1}
    assert area(changed[1]) == pytest.approx(np.pi * 22**2, rel=0.03)
    assert area(seen) < 0.94 * np.pi * 22**2


def test_a_grey_body_is_not_told_under_a_grey_rim():
    crystal, seen, density = _corner_under_a_rim(np.full(3, 0.44, np.float32))
    assert going_on([crystal, seen], [True, False], density, 50.0) == ({}, set())


def _bent_strip(width: float) -> np.ndarray:
    """A strip that comes down from above and turns aside within the disc below."""
    centre = LineString([(84, 2), (84, 50), (80, 60), (72, 66), (62, 68)])
    return np.asarray(centre.buffer(width / 2, cap_style="flat").exterior.coords)[:-1]


@pytest.mark.parametrize(("colour", "found"), [((0.12, 0.40, 0.52), True), ((0.26, 0.32, 0.44), False)])
def test_a_strip_that_bends_within_a_neighbour_is_told_by_its_colour(colour, found):
    """Of the neighbour's own colour it may be a fold or a thicker place of it."""
    host, strip = _disc(70, 70, 38), _bent_strip(14)
    strip_density = _cover(strip)[..., None] * np.array(colour, np.float32)
    density = _noisy(_cover(host)[..., None] * COLOUR + strip_density)
    seen = _less(strip, host)
    changed, _ = going_on([host, seen], [False, False], density, 50.0)
    assert set(changed) == ({1} if found else set())
    if found:
        assert area(changed[1]) == pytest.approx(area(strip), rel=0.06)
