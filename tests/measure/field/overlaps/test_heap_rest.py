"""What a heap leaves of the pieces it replaces (Beer-Lambert law for their tones, from memory)."""

import cv2
import numpy as np
import pytest

from measure.field.components import cut_body
from measure.field.overlaps import heaps
from measure.field.overlaps.heap_rest import with_rest
from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture

OIL = np.array([226.0, 214.0, 184.0])
SMALL, LARGE = (80, 56, 20, 0.5), (112, 90, 36, 1.5)  # centre, radius and turn


def _disc(cx: float, cy: float, radius: float, shape: tuple[int, int] = (180, 220)) -> np.ndarray:
    y, x = np.mgrid[: shape[0], : shape[1]]
    return np.clip(radius + 0.5 - np.hypot(x + 0.5 - cx, y + 0.5 - cy), 0, 1)


def _lump(cx: float, cy: float, radius: float, turn: float) -> np.ndarray:
    """A piece that is not round."""
    y, x = np.mgrid[:180, :220]
    angle = np.arctan2(y + 0.5 - cy, x + 0.5 - cx)
    reach = radius * (1 + 0.1 * np.cos(3 * angle + turn) + 0.05 * np.cos(5 * angle + 1))
    return np.clip(reach + 0.5 - np.hypot(x + 0.5 - cx, y + 0.5 - cy), 0, 1)


def _picture() -> Picture:
    """A small piece over a large one that is thicker on its far side."""
    thick = 1.0 + 1.0 * (np.mgrid[:180, :220][1] > 128)
    absorbed = 0.8 * _lump(*SMALL) + _lump(*LARGE) * thick
    light = OIL * np.exp(-absorbed[..., None] * np.array([0.15, 0.18, 0.25]))
    stored = cv2.GaussianBlur(light, (0, 0), 0.9) + np.random.default_rng(3).normal(0, 1.0, light.shape)
    return Picture(np.clip(np.rint(stored), 0, 255).astype(np.uint8), name="thick side")


def test_a_part_that_fills_a_hollow_belongs_to_the_piece():
    whole = (_disc(60, 60, 40, (120, 120)) > 0.5).astype(np.uint8)
    bite = whole * (_disc(90, 60, 16, (120, 120)) > 0.5)
    given = with_rest([whole & (1 - bite)], bite, 40.0)[0]
    assert np.count_nonzero(given != whole) < 0.01 * np.count_nonzero(whole)


def test_a_part_that_stands_out_is_a_piece_of_its_own():
    whole = (_disc(50, 60, 30, (120, 120)) > 0.5).astype(np.uint8)
    lobe = (_disc(88, 60, 12, (120, 120)) > 0.5).astype(np.uint8) & (1 - whole)
    assert (with_rest([whole], lobe, 40.0)[0] == whole).all()


def test_specks_are_left_as_they_are():
    whole = (_disc(60, 60, 40, (120, 120)) > 0.5).astype(np.uint8)
    speck = whole * (_disc(60, 60, 2, (120, 120)) > 0.5)
    hollow = whole & (1 - speck)
    assert (with_rest([hollow], speck, 400.0)[0] == hollow).all()


def test_a_thicker_side_is_no_piece_of_its_own():
    assert _sizes() == pytest.approx([2 * SMALL[2], 2 * LARGE[2]], rel=0.05)


def test_without_it_the_thicker_side_would_be_one(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(heaps, "with_rest", lambda pieces, rest, least: pieces)
    # the small piece can be cut off along its edge as well, which leaves no heap
    monkeypatch.setattr(cut_body, "cut_by_steps", lambda mask, *_: (mask > 0).astype(np.int32))
    assert _sizes() != pytest.approx([2 * SMALL[2], 2 * LARGE[2]], rel=0.05)


def _sizes() -> list[float]:
    return sorted(measure_field(_picture(), FieldSettings(), 1.0).particles.diameter_px.tolist())
