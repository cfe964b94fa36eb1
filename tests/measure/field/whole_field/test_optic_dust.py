"""What lies on the optics or is mirrored by them; pictures are made here, so what is true is known."""

import cv2
import numpy as np
import pytest

from measure.field.pipeline import measure_field
from measure.field.whole_field.optic_dust import (
    DUST,
    LAMPS,
    burnt_lamps,
    dust_like,
    lamps_like,
    set_aside_optics,
)
from measure.model import FieldSettings, Picture
from measure.particles import Particles, make_particles

_OIL = np.array([226.0, 224.0, 214.0])
_GROUND = np.full((600, 800, 3), 200, np.uint8)
_NUT, _GREY = (165, 130, 75), (60, 60, 60)


def _field() -> Picture:
    """Nine pieces of nut, a hollow crystal and, at 230, 170, the shadow of dust on the optics."""
    big = np.zeros((600, 900, 3), np.float32) + _OIL.astype(np.float32)
    for i, (x, y) in enumerate((x, y) for y in (90, 280, 480) for x in (120, 620, 800)):
        cv2.ellipse(big, (x, y), (34 + 3 * (i % 4), 28), 40.0 * i, 0, 360, _NUT, -1, cv2.LINE_AA)
    cv2.rectangle(big, (330, 440), (420, 520), _GREY, 6, cv2.LINE_AA)
    spot = np.zeros(big.shape[:2], np.float32)
    cv2.circle(spot, (460, 340), 40, 1.0, -1)
    big *= 1.0 - 0.1 * cv2.GaussianBlur(spot, (0, 0), 6.0)[..., None]
    small = cv2.resize(cv2.GaussianBlur(big, (0, 0), 1.6), (450, 300), interpolation=cv2.INTER_AREA)
    noisy = small + np.random.default_rng(3).normal(0, 1.5, (*small.shape[:2], 1))
    return Picture(np.clip(np.round(noisy), 0, 255).astype(np.uint8))


@pytest.fixture(scope="module")
def measured() -> Particles:
    return measure_field(_field(), FieldSettings(), 1.0).particles


def test_a_soft_grey_spot_among_coloured_pieces_is_dust(measured: Particles) -> None:
    dust = np.flatnonzero(measured["set_aside"] == DUST)

    assert len(dust) == 1
    assert measured["centre_x_px"][dust[0]] == pytest.approx(230, abs=2)
    assert measured["centre_y_px"][dust[0]] == pytest.approx(170, abs=2)
    assert (measured["set_aside"] == "").sum() == 10


@pytest.mark.parametrize(
    "change",
    [
        {"blue_density": 0.2},  # a colour of its own
        {"feret_max_px": 60.0},
        {"lightness_step": 9.0},  # bright
        {"lightness_step": -30.0},  # as dark as the pieces
        {"perimeter_px": 200.0},  # a ragged outline
        {"texture": 5.0},
        {"rim_lightness_step": -20.0},
        {"edge_width_px": 1.5},
    ],
)
def test_what_a_piece_shows_of_its_own_makes_it_no_dust(
    measured: Particles, change: dict[str, float]
) -> None:
    dust = measured["set_aside"] == DUST
    plain = measured.replaced(set_aside="")
    assert dust_like(plain)[dust].all()

    (name, value), column = next(iter(change.items())), measured[next(iter(change))].copy()
    column[dust] = value

    assert not dust_like(plain.replaced(**{name: column})).any()


def test_where_all_pieces_are_grey_a_grey_one_is_no_dust(measured: Particles) -> None:
    grey = measured.replaced(set_aside="", green_red_step=0.0, blue_yellow_step=0.0)

    assert not dust_like(grey).any()


def _spots(places: np.ndarray, size_px: float | np.ndarray = 20.0, light: float = 40.0) -> Particles:
    size = np.broadcast_to(np.asarray(size_px, float), len(places))
    turn = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    rim = np.column_stack([np.cos(turn), np.sin(turn)])
    return make_particles(
        [place + 0.5 * s * rim for place, s in zip(places, size, strict=True)],
        label=np.arange(len(places)) + 1,
        centre_x_px=places[:, 0],
        centre_y_px=places[:, 1],
        area_px2=np.pi / 4 * size**2,
        perimeter_px=np.pi * size,
        lightness_step=light,
        green_red_step=0.0,
        blue_yellow_step=0.0,
    )


def _on_circle(count: int, radius: float = 120.0) -> np.ndarray:
    turn = 0.3 + 2 * np.pi * np.arange(count) / count
    return np.array([400.0, 300.0]) + radius * np.column_stack([np.cos(turn), np.sin(turn)])


@pytest.mark.parametrize("hidden", [0, 2])
def test_bright_spots_at_even_steps_round_a_circle_are_mirrored_lamps(hidden: int) -> None:
    lamps = _on_circle(8)[hidden:]
    others = np.array([[60.0, 70.0], [700.0, 90.0], [420.0, 310.0]])

    told = set_aside_optics(_spots(np.vstack([lamps, others]), 20.0), _GROUND)

    assert (told["set_aside"][: len(lamps)] == LAMPS).all()
    assert (told["set_aside"][len(lamps) :] == "").all()


def test_pieces_that_stand_otherwise_are_no_lamps() -> None:
    ring = _on_circle(8)
    uneven = np.random.default_rng(2).uniform(50, 750, (10, 2))
    net = np.array([[80.0 + 70 * i + 35 * (j % 2), 80.0 + 60 * j] for i in range(5) for j in range(5)])

    assert lamps_like(_spots(ring)).all()
    assert not lamps_like(_spots(ring, light=-40.0)).any()
    assert not lamps_like(_spots(ring, np.array([12, 30, 20, 45, 15, 26, 36, 60.0]))).any()
    assert not lamps_like(_spots(uneven)).any()
    assert not lamps_like(_spots(net)).any()
    assert not lamps_like(_spots(_on_circle(8, 27.0))).any()  # they touch: a rosette
    assert not lamps_like(_spots(ring[:5])).any()


def _shining(places: np.ndarray, sizes: np.ndarray, value: int = 255) -> np.ndarray:
    pixels = _GROUND.copy()
    for (x, y), size in zip(places, sizes, strict=True):
        cv2.circle(pixels, (round(x), round(y)), round(0.5 * size), (value,) * 3, -1, cv2.LINE_AA)
    return pixels


@pytest.mark.parametrize("count", [5, 7])
def test_unequal_spots_burnt_out_on_one_ring_are_mirrored_lamps(count: int) -> None:
    away = np.random.default_rng(1).uniform(0.95, 1.05, (count, 1))
    ring = np.array([400.0, 300.0]) + away * (_on_circle(count) - [400.0, 300.0])
    size = np.linspace(13.0, 30.0, count)
    spots = _spots(ring, size)

    assert burnt_lamps(spots, _shining(ring, size)).all()
    assert burnt_lamps(spots, _shining(ring, size).astype(np.uint16) * 257).all()
    assert not burnt_lamps(spots, _shining(ring, size, 235)).any()  # bright, but not burnt out
    assert not burnt_lamps(spots, _shining(ring, 0.3 * size)).any()  # only their middles are
    assert not burnt_lamps(_spots(ring[1:], size[1:]), _shining(ring[1:4], size[1:4])).any()


def test_burnt_out_pieces_that_lie_anyhow_are_no_lamps() -> None:
    for seed in range(20):
        places = np.random.default_rng(seed).uniform(50, 550, (9, 2))
        size = np.linspace(13.0, 30.0, 9)
        assert not burnt_lamps(_spots(places, size), _shining(places, size)).any()
