"""A straight edge of shade over a field changes neither what is oil nor the kinds of pieces."""

import cv2
import numpy as np
import pytest

from measure.field.ground.light import prepare
from measure.field.kinds.kinds import table_of
from measure.field.kinds.measure_outlines import measure_outlines
from measure.field.pipeline import measure_field
from measure.model import KINDS, FieldSettings, Picture

ROWS, COLS = 480, 640


def lumps(seed=0, count=24):
    """Linear light of brown lumps in pale oil, and their middles and radii."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[:ROWS, :COLS] + 0.5
    light = np.ones((ROWS, COLS, 3)) * np.array([0.72, 0.66, 0.5])
    middles = []
    for i in range(count):
        cx, cy, radius = 55 + 105 * (i % 6), 60 + 118 * (i // 6), float(rng.uniform(12, 24))
        phase = rng.uniform(0, 2 * np.pi)
        angle = np.arctan2(y - cy, x - cx)
        away = np.hypot(x - cx, y - cy) / (radius + 1.6 * np.cos(3 * angle + phase) + np.cos(5 * angle))
        depth = np.sqrt(np.clip(1.0 - away**2, 0.0, 1.0))[..., None]
        light *= 10.0 ** (-depth * np.array([0.18, 0.32, 0.55]))
        middles.append((cx, cy, radius))
    return light, middles


def shaded(light, away, width_px, share):
    """Picture of light of which a share is lost where `away` is negative."""
    left = 1.0 - share / (1.0 + np.exp(np.clip(away / (width_px / 4.4), -60, 60)))
    seen = cv2.GaussianBlur(light * left[..., None], (0, 0), 0.9)
    pixels = 255.0 * seen ** (1 / 2.2) + np.random.default_rng(1).normal(0, 1.0, light.shape)
    return Picture(np.clip(pixels, 0, 255).round().astype(np.uint8))


def slanted(turn, offset):
    y, x = np.mgrid[:ROWS, :COLS] + 0.5
    return (x - COLS / 2) * np.cos(turn) + (y - ROWS / 2) * np.sin(turn) - offset


@pytest.mark.parametrize("width_px", [1.3, 9.0, 26.0])
@pytest.mark.parametrize(("turn", "offset"), [(0.7, 30.0), (3.2, -60.0)])
def test_the_oil_is_the_same_on_both_sides_of_an_edge_of_shade(turn, offset, width_px):
    light, middles = lumps()
    away = slanted(turn, offset)
    seen = prepare(shaded(light, away, width_px, 0.3))
    assert seen.shade == pytest.approx(0.3, abs=0.03)
    y, x = np.mgrid[:ROWS, :COLS] + 0.5
    oil = np.all([np.hypot(x - cx, y - cy) > radius + 8 for cx, cy, radius in middles], axis=0)
    calm = cv2.GaussianBlur(seen.delta[..., 0], (0, 0), 1.5)[oil]
    assert np.quantile(np.abs(calm), 0.99) < 1.5  # the step itself is 12
    assert prepare(shaded(light, away, width_px, 0.0)).shade == 0.0


@pytest.mark.parametrize("share", [0.3, 0.45])
def test_pieces_and_their_kinds_are_what_they_are_without_the_shade(share):
    light, _ = lumps()
    found = measure_field(shaded(light, slanted(0.7, 30.0), 9.0, share), FieldSettings(), 1.0)
    plain = measure_field(shaded(light, slanted(0.7, 30.0), 9.0, 0.0), FieldSettings(), 1.0)
    assert len(plain.particles) == len(found.particles) == 24
    assert {KINDS[k] for k in plain.particles["kind"]} == {"kernel"}
    assert {KINDS[k] for k in found.particles["kind"]} == {"kernel"}
    both = [np.sort(result.particles.diameter_px) for result in (plain, found)]
    assert np.abs(both[1] / both[0] - 1.0).max() < 0.04
    assert any("edge of shade" in words for words in found.quality.warnings)
    assert not any("edge of shade" in words for words in plain.quality.warnings)


def test_a_band_of_shade_has_two_edges():
    light, _ = lumps()
    band = np.abs(slanted(0.7, 0.0)) - 110.0
    found = measure_field(shaded(light, band, 2.0, 0.3), FieldSettings(), 1.0)
    assert len(found.particles) == 24


def test_a_thread_across_the_field_and_a_coloured_half_are_no_shade():
    light, _ = lumps()
    assert prepare(shaded(light, np.abs(slanted(0.7, 0.0)) - 10.0, 2.0, 0.4)).shade == 0.0
    left = 1.0 - np.array([0.0, 0.15, 0.5]) / (1.0 + np.exp(np.clip(slanted(0.0, 5.0), -60, 60)))[..., None]
    assert prepare(shaded(light * left, slanted(0.0, 5.0), 2.0, 0.0)).shade == 0.0


def test_one_strip_of_brighter_ground_does_not_say_where_the_light_comes_from():
    light, middles = lumps()
    x = np.arange(COLS)[None, :] + 0.5
    light = light * np.where(x < 26, 1.4, 1.0)[..., None]
    picture = shaded(light, slanted(0.7, 30.0), 2.0, 0.0)
    t = np.linspace(0, 2 * np.pi, 80, endpoint=False)
    outlines = [np.c_[cx + r * np.cos(t), cy + r * np.sin(t)] for cx, cy, r in middles]
    strip = np.array([[0, 0], [26, 0], [26, ROWS], [0, ROWS]], float)
    seen = prepare(picture)
    found = measure_outlines([np.float32(o) for o in (*outlines, strip)], picture, seen)
    change = found["lightness_step"] * found["area_px2"]
    assert change[-1] > 0.25 * np.abs(change).sum()
    assert table_of(found) == "colour on bright"
    # nor does one that lies within the frame
    inner = np.array([[4, 4], [26, 4], [26, ROWS - 4], [4, ROWS - 4]], float)
    found = measure_outlines([np.float32(o) for o in (*outlines, inner)], picture, seen)
    assert table_of(found) == "colour on bright"
    assert {KINDS[k] for k in found["kind"][:-1]} == {"kernel"}


@pytest.mark.parametrize("away_px", [90.0, 110.0])
def test_an_edge_along_the_frame_whose_far_side_is_hardly_seen_gives_no_piece(away_px):
    rng = np.random.default_rng(1)
    beyond = 1.0 / (1.0 + np.exp((np.arange(800) - away_px) / 6.0))
    even = np.array([210.0, 200.0, 170.0]) * ((1.0 - 0.3 * beyond) ** (1 / 2.2))[:, None]
    shown = even[None] + rng.normal(0.0, 1.5, (600, 800, 3))
    result = measure_field(Picture(shown.astype(np.uint8)), FieldSettings(), 1.0)
    assert not (result.particles["set_aside"] == "").any()
