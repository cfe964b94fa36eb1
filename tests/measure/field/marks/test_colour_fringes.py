"""Fringes of a lens that shows colours at different sizes; pictures are made here, so the truth is known."""

import cv2
import numpy as np
import pytest

from measure.field.marks.colour_fringes import fringes_note, fringes_of, without_fringes
from measure.field.pipeline import measure_field
from measure.model import KINDS, FieldSettings, Kind, Picture

_ROWS, _COLS = 480, 640
_NUT, _SKIN, _RIM = (150, 120, 70), (140, 70, 45), (60, 60, 60)


def _field(rng: np.random.Generator, shade: tuple[int, int, int] | None = None) -> np.ndarray:
    """Nut, skin and crystals on pale oil, and perhaps a coloured shade on one side of each."""
    big = np.full((2 * _ROWS, 2 * _COLS, 3), (226, 224, 214), np.uint8)
    for i, (row, col) in enumerate(np.ndindex(4, 5)):
        x, y = (int(v) for v in np.array([130 + 250 * col, 120 + 240 * row]) + rng.uniform(-40, 40, 2))
        r = int(rng.uniform(30, 60))
        if shade is not None:
            cv2.circle(big, (x + 12, y + 9), r, shade, -1, cv2.LINE_AA)
        if i % 3 == 2:
            cv2.rectangle(big, (x - r, y - r), (x + r, y + r), _RIM, 8, cv2.LINE_AA)
        else:
            cv2.circle(big, (x, y), r, (_NUT, _SKIN)[i % 3], -1, cv2.LINE_AA)
    picture = cv2.resize(cv2.GaussianBlur(big, (0, 0), 2.0), (_COLS, _ROWS), interpolation=cv2.INTER_AREA)
    noisy = picture + rng.normal(0, 2.0, picture.shape)
    return np.clip(np.round(noisy), 0, 255).astype(np.uint8)


def _magnified(pixels: np.ndarray, channel: int, larger: float) -> np.ndarray:
    x, y = 0.5 * (_COLS - 1), 0.5 * (_ROWS - 1)
    way = np.array([[1 + larger, 0, -larger * x], [0, 1 + larger, -larger * y]])
    out = pixels.copy()
    own = np.ascontiguousarray(pixels[..., channel])
    out[..., channel] = cv2.warpAffine(
        own, way, (_COLS, _ROWS), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
    )
    return out


@pytest.mark.parametrize("depth", [np.uint8, np.uint16])
def test_sizes_of_the_colours_are_measured_and_made_alike(depth: type) -> None:
    true = _field(np.random.default_rng(5))
    seen = _magnified(_magnified(true, 0, 0.006), 2, -0.004)
    seen = seen.astype(depth) * depth(257 if depth is np.uint16 else 1)

    even, fringes = without_fringes(seen)

    assert fringes is not None
    assert fringes.red[0] == pytest.approx(0.006, abs=4e-4)
    assert fringes.blue[0] == pytest.approx(-0.004, abs=4e-4)
    assert fringes.largest_px == pytest.approx(0.006 * np.hypot(_COLS, _ROWS) / 2, rel=0.08)
    assert "2.4 px" in fringes_note(fringes)
    inner = np.s_[20:-20, 20:-20, ::2]
    scale = 257 if depth is np.uint16 else 1
    before, after = (np.abs(p[inner] / scale - true[inner]).mean() for p in (seen, even))
    assert after < 0.7 * before  # what is left is the noise that the resampling smooths
    assert np.array_equal(even[..., 1], seen[..., 1])
    assert even.dtype == depth


@pytest.mark.parametrize("shade", [None, (200, 190, 160)])
def test_coloured_pieces_and_their_shades_are_no_fringes(shade: tuple[int, int, int] | None) -> None:
    seen = _field(np.random.default_rng(6), shade)

    even, fringes = without_fringes(seen)

    assert fringes is None
    assert even is seen


def test_a_shift_of_one_colour_alone_is_no_lens() -> None:
    seen = _field(np.random.default_rng(7))
    seen[..., 0] = np.roll(seen[..., 0], 2, axis=1)

    assert fringes_of(seen) is None


def test_a_grey_or_empty_picture_has_none() -> None:
    grey = np.repeat(_field(np.random.default_rng(8))[..., 1:2], 3, axis=2)

    assert fringes_of(grey) is None
    assert fringes_of(np.full((300, 300, 3), (200, 190, 180), np.uint8)) is None
    assert fringes_of(_field(np.random.default_rng(8))[:100, :100]) is None


def test_a_field_with_fringes_is_measured_without_them_and_says_so() -> None:
    seen = _magnified(_magnified(_field(np.random.default_rng(9)), 0, 0.008), 2, -0.008)

    result = measure_field(Picture(seen), FieldSettings(), 1.0)

    assert any("different sizes" in note for note in result.notes)
    counted = result.particles.select(result.particles["set_aside"] == "")
    assert len(counted) == 20
    rims = counted["kind"] == KINDS.index(Kind.SALT)
    assert rims.sum() == 6
