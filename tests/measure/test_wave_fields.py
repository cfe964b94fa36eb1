"""Fields imaged by partially coherent light: what optics says of gratings, edges and slabs, and the truth."""

import numpy as np
import pytest
from shapely.geometry import Polygon

from tests.benchmarks.wave_fields import draw as drawing
from tests.benchmarks.wave_fields.draw import draw
from tests.benchmarks.wave_fields.imaging import BANDS_UM, FINE, Optics, Slice, expose
from tests.benchmarks.wave_fields.looks import HELD, LOOKS, REPORT_SEEDS, TUNE_SEEDS, Look
from tests.benchmarks.wave_fields.solids import SALT, make

SIDE = 96  # px of the camera


def _slice(path_um: np.ndarray | float = 0.0, depth: np.ndarray | float = 0.0) -> Slice:
    fine = (SIDE * FINE, SIDE * FINE)
    depths = np.broadcast_to(np.asarray(depth, np.float32), fine)[..., None] * np.ones(3, np.float32)
    return Slice(0.0, np.broadcast_to(np.asarray(path_um, np.float32), fine).copy(), depths)


def _light(one: Slice, **optics) -> np.ndarray:
    return expose([one], Optics(**{"points": 12, **optics}), np.random.default_rng(1))


def test_four_conditions_and_all_report_seeds_are_held_back() -> None:
    assert len(HELD) == 4
    assert set(HELD) < set(LOOKS)
    assert not set(TUNE_SEEDS) & set(REPORT_SEEDS)


@pytest.mark.parametrize("condenser", [(0.0, 0.1), (0.0, 0.95), (0.6, 0.9)])
def test_clear_oil_is_1_and_an_even_slab_takes_what_beer_and_lambert_say(condenser) -> None:
    assert _light(_slice(), condenser=condenser) == pytest.approx(1.0, abs=1e-4)
    assert _light(_slice(0.2, 0.7), condenser=condenser) == pytest.approx(np.exp(-0.7), abs=1e-4)


def test_a_ring_of_light_beyond_the_pupil_leaves_clear_oil_dark() -> None:
    assert _light(_slice(), condenser=(1.15, 1.4), na=0.16).max() < 1e-6


@pytest.mark.parametrize(("share", "seen"), [(0.8, True), (1.25, False)])
def test_a_grating_is_resolved_up_to_the_apertures_of_objective_and_condenser_together(share, seen) -> None:
    """The finest period is lambda / (NA + NA of the condenser) (Abbe; Born & Wolf, from memory)."""
    na, sigma, px = 0.2, 0.6, 0.5
    for colour, band in enumerate(BANDS_UM):
        wave = max(band) if seen else min(band)
        periods = round(share * na * (1 + sigma) / wave * SIDE * px)
        x = np.arange(SIDE * FINE) / (SIDE * FINE)
        grating = np.broadcast_to(0.5 + 0.5 * np.cos(2 * np.pi * periods * x), (SIDE * FINE, SIDE * FINE))
        light = _light(_slice(0.0, grating), na=na, condenser=(0, sigma), px_um=px, chroma_um=0, points=60)
        contrast = np.ptp(light[..., colour]) / light[..., colour].mean()
        assert (contrast > 0.02) == seen
        assert seen or contrast < 1e-3


@pytest.mark.parametrize(("focus_um", "brighter_inside"), [(12.0, True), (-12.0, False)])
def test_the_bright_line_moves_into_the_denser_medium_as_the_focus_is_raised(
    focus_um, brighter_inside
) -> None:
    """Becke's rule (handbooks of optical mineralogy, from memory)."""
    y, x = (np.indices((SIDE * FINE, SIDE * FINE)) - SIDE * FINE / 2) / FINE
    away = np.hypot(x, y)
    path = 0.12 * np.clip(20.5 - away, 0, 1)  # a thin disc of higher index
    light = _light(_slice(path), condenser=(0, 0.15), focus_um=focus_um, chroma_um=0)[..., 1]
    near = np.hypot(*(np.indices((SIDE, SIDE)) - SIDE / 2 + 0.5))
    inside, outside = (light[(near > a) & (near < b)].mean() for a, b in ((15.5, 19.5), (20.5, 24.5)))
    assert (inside > outside) == brighter_inside
    assert abs(inside - outside) > 0.01


@pytest.mark.parametrize("name", ["kernel", "skin", "salt", "sugar", "bubble", "fibre"])
def test_a_body_lies_within_its_outline(name) -> None:
    body = make(name, 24.0, 0.4, 0.7, np.random.default_rng(3))
    shape = Polygon(body.outline)
    assert shape.is_valid
    covered = np.count_nonzero(np.abs(body.path_um) > 1e-6)
    assert covered == pytest.approx(shape.area, rel=0.12)
    if name != "fibre":
        assert np.sqrt(4 * shape.area / np.pi) * 0.4 == pytest.approx(24.0, rel=0.35)


def test_a_crystal_that_lies_flat_is_as_thick_as_a_cuboid() -> None:
    body = make("salt", 30.0, 0.4, 0.7, np.random.default_rng(8))
    assert 0.5 * 26 < body.path_um.max() / SALT < 2.2 * 26


def test_a_small_field_has_its_truth_and_is_the_same_again(monkeypatch) -> None:
    look = Look({"kernel": 0.6, "salt": 0.4}, median_px=34, spread=0.2, optics=Optics(points=6))
    monkeypatch.setitem(drawing.LOOKS, "small", look)
    field = draw("small", 5, 240)
    assert field.pixels.shape == (180, 240, 3)
    asked = [t for t in field.truth if not t.fair]
    assert len(asked) >= 2
    for piece in asked:
        assert Polygon(piece.outline).is_valid
        x, y = np.array(Polygon(piece.outline).exterior.interpolate(0).coords[0]).astype(int)
        near = field.pixels[max(0, y - 5) : y + 6, max(0, x - 5) : x + 6, 1].astype(float)
        assert np.ptp(near) > 12  # an edge is seen where the truth says that one is
    assert np.array_equal(field.pixels, draw("small", 5, 240).pixels)
