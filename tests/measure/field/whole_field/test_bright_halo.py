"""A bright ring round a dark piece is bent light: the piece is measured without it."""

import cv2
import numpy as np
import pytest

from measure.field.ground.light import prepare
from measure.field.pipeline import measure_field
from measure.field.whole_field.bright_halo import halo_of, without_bright_halos
from measure.model import FieldSettings, Picture
from tests.measure.field.drawn_shapes import discs_of

SIZE = (420, 560)
PLACES = [(70 + 105 * i, 70 + 95 * j) for i in range(5) for j in range(4)]
OIL = 0.6  # linear light


def _discs(radius: float) -> np.ndarray:
    return discs_of([(x, y, radius) for x, y in PLACES], SIZE)


def _picture(radius: float, dark: float, ring: float, rim: bool) -> Picture:
    """Twenty grey discs, or only their rims, with light thrown outwards to 6 px from their edge."""
    piece = _discs(radius)
    taken = piece - _discs(radius - 3.0) if rim else piece
    light = OIL - dark * taken + ring * (_discs(radius + 6.0) - piece)
    light = cv2.GaussianBlur(light.astype(np.float32), (0, 0), 1.2)
    values = 255 * np.clip(light, 0, 1) ** (1 / 2.2) + np.random.default_rng(0).normal(0, 1.2, SIZE)
    grey = np.clip(np.round(values), 0, 255).astype(np.uint8)
    return Picture(np.dstack([grey] * 3), name="halo")


def _sizes(picture: Picture) -> np.ndarray:
    particles = measure_field(picture, FieldSettings(), 1.0).particles
    return particles.diameter_px[particles["set_aside"] == ""]


@pytest.mark.parametrize(
    ("radius", "dark", "rim"), [(8.0, 0.15, False), (10.0, 0.15, True), (14.0, 0.2, True)]
)
def test_a_ring_of_bent_light_is_none_of_the_piece(radius, dark, rim):
    sizes = _sizes(_picture(radius, dark, 0.8 * dark, rim))
    assert len(sizes) == len(PLACES)
    assert np.abs(sizes / (2 * radius) - 1.0).max() < 0.13  # with the ring it was 40 to 75 % too large


def test_a_bright_piece_with_a_dark_middle_is_none():
    y, x = np.mgrid[:80, :80].astype(np.float32)
    away = np.hypot(x - 40, y - 40)
    bright = np.where(away < 30, 30.0, 0.0)
    delta = np.dstack([np.where(away < 12, -12.0, bright), 0 * away, 0 * away]).astype(np.float32)
    assert halo_of(away < 30, delta) is None  # the ring is stronger than what it goes round


def test_a_ring_must_go_round_and_have_the_colour_of_the_oil():
    y, x = np.mgrid[:80, :80].astype(np.float32)
    away = np.hypot(x - 40, y - 40)
    step = np.where(away < 18, -20.0, np.where(away < 26, 10.0, 0.0)).astype(np.float32)
    low, none = away < 26, 0 * step
    halo = halo_of(low, np.dstack([step, none, none]))
    assert halo is not None
    assert not halo[away < 18].any()
    assert halo[(away > 20) & (away < 26)].all()
    half = np.where((away >= 18) & (x > 40), 0.0, step)
    assert halo_of(low & ((away < 18) | (x <= 40)), np.dstack([half, none, none])) is None
    red = np.where(away < 18, 0.0, np.where(away < 26, 12.0, 0.0)).astype(np.float32)
    assert halo_of(low, np.dstack([step, red, none])) is None  # a coloured margin is a piece


def test_a_light_without_such_rings_is_left_as_it_is():
    light = prepare(_picture(12.0, 0.25, 0.0, False))
    assert without_bright_halos(light) is light
