"""Lines of a counting net and of an eyepiece scale are taken off the picture; nothing else is."""

import cv2
import numpy as np
import pytest

from measure.field.marks.ruled_lines import find_lines
from measure.field.marks.taken_off import without_lines
from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture

_SIZE = (600, 800)
_GRAINS = ((100, 105, 20), (230, 260, 26), (420, 120, 17), (560, 330, 24), (660, 480, 21), (330, 455, 22))


def smear(lines: tuple[tuple[int, int, int, int], ...] = (), seed: int = 4) -> np.ndarray:
    """Oil with grains and a clear crystal, thin lines over it, blurred, with noise, (M, N, 3)."""
    rng = np.random.default_rng(seed)
    pixels = np.full((*_SIZE, 3), (226, 219, 202), np.float32)
    for x, y, r in _GRAINS:
        cv2.circle(pixels, (x, y), r, (150, 110, 60), -1, cv2.LINE_AA)
    cv2.rectangle(pixels, (480, 190), (540, 240), (165, 160, 148), 3)
    lay = np.full(_SIZE, 255, np.uint8)
    for x0, y0, x1, y1 in lines:
        cv2.line(lay, (x0, y0), (x1, y1), 150, 1, cv2.LINE_AA)
    pixels *= lay[..., None].astype(np.float32) / 255
    pixels = cv2.GaussianBlur(pixels, (0, 0), 0.9) + rng.normal(0, 1.5, pixels.shape)
    return np.clip(pixels, 0, 255).astype(np.uint8)


def net() -> tuple[tuple[int, int, int, int], ...]:
    """A slightly turned net of squares of 110 px, from frame to frame."""
    level = tuple((-50, y, 850, y + 36) for y in range(60, 560, 110))
    return level + tuple((x, -50, x - 28, 650) for x in range(100, 760, 110))


def scale() -> tuple[tuple[int, int, int, int], ...]:
    """A level line of 600 px with ticks of several lengths every 12 px, above it."""
    ticks = tuple((100 + 12 * k, 262, 100 + 12 * k, 262 - (18 if k % 10 == 0 else 9)) for k in range(51))
    return ((100, 262, 700, 262), *ticks)


def counted(pixels: np.ndarray) -> tuple[list[tuple[float, float, float]], tuple[str, ...]]:
    result = measure_field(Picture(pixels), FieldSettings(), 0.5)
    found = result.particles
    keep = found["set_aside"] == ""
    columns = (found["centre_x_px"][keep], found["centre_y_px"][keep], found.diameter_px[keep])
    return sorted(zip(*(c.tolist() for c in columns), strict=True)), result.notes


def test_pieces_under_a_net_are_whole_and_its_squares_are_none():
    plain, said = counted(smear())
    ruled, notes = counted(smear(net()))
    assert not any("counting net" in note for note in said)
    assert sum("counting net" in note for note in notes) == 1
    assert len(ruled) == len(plain) == len(_GRAINS) + 1
    for one, two in zip(plain, ruled, strict=True):
        assert two[:2] == pytest.approx(one[:2], abs=2)
        assert two[2] == pytest.approx(one[2], rel=0.06)


def test_every_line_is_found_and_taken_off():
    cleaned, notes = without_lines(Picture(smear(net())))
    assert f"({len(net())} of them)" in notes[0]
    left = cv2.absdiff(cleaned.pixels, smear()).max(axis=2)
    oil = smear().min(axis=2) > 185
    assert np.quantile(left[oil], 0.999) < 14  # noise of two pictures


def test_a_deep_picture_keeps_its_depth():
    pixels = smear(net()).astype(np.uint16) * 257
    cleaned, notes = without_lines(Picture(pixels))
    assert (len(notes), cleaned.pixels.dtype) == (1, np.uint16)


@pytest.mark.parametrize("seed", range(3))
def test_a_picture_without_a_net_is_left_as_it_is(seed: int):
    picture = Picture(smear(seed=seed))
    assert without_lines(picture) == (picture, ())


def test_lines_that_end_at_corners_or_stand_alone_are_no_net():
    pixels = smear()
    cv2.rectangle(pixels, (60, 50), (740, 550), (140, 134, 120), 2)  # sides of a huge crystal
    assert find_lines(pixels) == []
    assert find_lines(smear(((-20, 200, 820, 260),))) == []


def test_a_dense_heap_holds_no_lines():
    rng = np.random.default_rng(1)
    pixels = smear()
    for x, y, r in zip(
        rng.integers(0, 800, 900), rng.integers(0, 600, 900), rng.integers(4, 14, 900), strict=True
    ):
        cv2.circle(pixels, (int(x), int(y)), int(r), (150, 110, 60), 1, cv2.LINE_AA)
    assert find_lines(pixels) == []


def test_pieces_under_a_scale_are_whole_and_gaps_between_its_ticks_are_none():
    plain, _ = counted(smear())
    ruled, notes = counted(smear(scale()))
    assert sum("scale of the eyepiece" in note for note in notes) == 1
    assert len(ruled) == len(plain)
    for one, two in zip(plain, ruled, strict=True):
        assert two[:2] == pytest.approx(one[:2], abs=2)
        assert two[2] == pytest.approx(one[2], rel=0.06)


def test_a_long_line_without_even_ticks_is_no_scale():
    rng = np.random.default_rng(7)
    hairs = tuple((x, 262, x, 250) for x in (100 + 590 * rng.random(45)).astype(int).tolist())
    for lines in (((100, 262, 700, 262),), ((100, 262, 700, 262), *hairs)):
        picture = Picture(smear(lines))
        assert without_lines(picture) == (picture, ())
