"""Tissue that scatters is crossed by dark and bright lines and is filled; crystals and stains are not.

Light bent away is missing in one place and arrives in another (phase objects; common practice, no source).
"""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from measure.field.ground.light import prepare
from measure.field.ground.scatter import without_scatter
from measure.field.pipeline import measure_field
from measure.flags import bits
from measure.model import KINDS, FieldSettings, Kind, Picture

SHAPE = (260, 320)


def _grains(scale_px: float, seed: int) -> np.ndarray:
    """Noise of one scale, mean 0, sd 1."""
    raw = np.random.default_rng(seed).normal(size=SHAPE)
    band = cv2.GaussianBlur(raw, (0, 0), scale_px) - cv2.GaussianBlur(raw, (0, 0), 2 * scale_px)
    return band / band.std()


def _picture(light: np.ndarray) -> Picture:
    """Take a picture of relative light."""
    values = 190 * light + np.random.default_rng(9).normal(0, 1.0, SHAPE)
    return Picture(np.repeat(np.clip(values, 0, 255).astype(np.uint8)[..., None], 3, axis=2), name="slide 7")


def _away(x: float, y: float) -> np.ndarray:
    rows, cols = np.indices(SHAPE) + 0.5
    return np.hypot(cols - x, rows - y)


def _tissue(at: list[tuple[float, float, float]]) -> np.ndarray:
    """Relative light of round pieces of tissue: grains within, a dark rim broken by bright places."""
    light = np.ones(SHAPE)
    for k, (x, y, radius) in enumerate(at):
        away = _away(x, y)
        light += 0.16 * _grains(1.7, 40 + k) * (away < radius - 2)
        light -= (
            0.3 * np.exp(-(((away - radius + 2) / 1.6) ** 2)) * (0.6 + 0.4 * np.sign(_grains(3.0, 70 + k)))
        )
    return cv2.GaussianBlur(light, (0, 0), 0.9)


def _counted(picture: Picture) -> np.ndarray:
    particles = measure_field(picture, FieldSettings(smallest_um=12.0), 1.0).particles
    return np.sort(particles.diameter_px[particles["set_aside"] == ""])


@pytest.mark.parametrize("radius", [16, 34, 55])
def test_a_piece_crossed_by_dark_and_bright_lines_is_one_tone_up_to_its_rim(radius) -> None:
    light = prepare(_picture(_tissue([(160, 130, radius)])))
    level = without_scatter(light)
    inside, outside = _away(160, 130) < radius - 6, _away(160, 130) > radius + 9
    assert (light.delta[..., 0][inside] > 2).mean() > 0.05
    assert level.delta[..., 0][inside].max() < 0.6 * level.delta[..., 0].min() < -2
    assert np.array_equal(level.delta[outside], light.delta[outside])
    assert _counted(_picture(_tissue([(160, 130, radius)]))) == pytest.approx([2 * radius - 1.2], rel=0.06)


def test_two_pieces_of_tissue_that_touch_stay_two() -> None:
    found = _counted(_picture(_tissue([(100, 130, 36), (168, 130, 31)])))
    assert found == pytest.approx([62, 72], rel=0.09)


@pytest.mark.parametrize("side", [30, 60])
def test_a_crystal_is_even_between_its_edges_and_stays_as_it_is(side) -> None:
    rows, cols = np.indices(SHAPE) + 0.5
    edge = np.maximum(np.abs(cols - 160), np.abs(rows - 130)) - side / 2
    crystal = 1 - 0.4 * np.exp(-((edge / 1.8) ** 2)) + 0.12 * np.exp(-(((np.abs(edge) - 4.0) / 1.5) ** 2))
    light = prepare(_picture(crystal))
    assert without_scatter(light) is light


def test_lines_of_facets_on_one_side_of_a_crystal_are_no_grains() -> None:
    """A rim broken on one side and two facets that end before it: few lines, and an even face beside them."""
    rows, cols = np.indices(SHAPE) + 0.5
    turn = np.deg2rad(12)
    along = np.cos(turn) * (cols - 160) + np.sin(turn) * (rows - 130)
    across = np.cos(turn) * (rows - 130) - np.sin(turn) * (cols - 160)
    edge = np.maximum(np.abs(along) - 17, np.abs(across) - 18)
    broken = (along > 9) & (np.abs(across) < 8)
    rim = 0.25 * np.exp(-((edge / 1.6) ** 2)) * np.where(broken, 0.1, 1.0)
    facets = 0.08 * np.exp(-(((np.abs(across) - 8) / 1.4) ** 2)) * (np.abs(along) < 12)
    gleam = 0.07 * np.exp(-(((edge + 4.0) / 1.5) ** 2)) * (edge < 0)
    light = prepare(_picture(cv2.GaussianBlur(1 - rim - facets + gleam, (0, 0), 0.7)))
    assert without_scatter(light) is light


def test_bits_of_sides_about_the_light_they_bend_inwards_are_no_tissue() -> None:
    """A box with leaning sides, chipped at all corners: bits of dark, and their light in the middle."""
    rows, cols = np.indices(SHAPE) + 0.5
    across, down = np.abs(cols - 160), np.abs(rows - 130)
    side, way = np.maximum(across, down), np.minimum(across, down)
    chipped = way < 4
    dark = 0.28 * np.exp(-(((side - 11) / 3.0) ** 2)) * chipped
    bright = 0.3 * np.exp(-(((side - 5) / 2.2) ** 2)) * chipped
    light = prepare(_picture(cv2.GaussianBlur(1 - dark + bright, (0, 0), 1.0)))
    assert without_scatter(light) is light


def test_what_only_takes_light_stays_as_it_is_however_mottled() -> None:
    stain = 1 - (_away(160, 130) < 45) * np.clip(0.3 + 0.08 * _grains(2.0, 5), 0.08, 1)
    light = prepare(_picture(cv2.GaussianBlur(stain, (0, 0), 1.0)))
    assert without_scatter(light) is light


def _brown_grains(spacing_px: float) -> Picture:
    """Cocoa grains side by side, darkest in their own colour, as a camera shows them that sharpens edges."""
    rng = np.random.default_rng(3)
    taken = np.zeros(SHAPE)
    for row, col in np.ndindex(5, 6):
        x, y = 110 + spacing_px * (col + 0.5 * (row % 2)), 95 + 0.87 * spacing_px * row
        x, y = np.array([x, y]) + rng.uniform(-1.5, 1.5, 2)
        taken = np.maximum(taken, rng.uniform(0.3, 1.1) * (_away(x, y) < rng.uniform(5.5, 8.0)))
    light = cv2.GaussianBlur(np.exp(-taken[..., None] * [0.6, 0.8, 1.05]), (0, 0), 1.2)
    light += 1.2 * (light - cv2.GaussianBlur(light, (0, 0), 2.5))
    values = 190 * light + np.random.default_rng(9).normal(0, 1.0, light.shape)
    return Picture(np.clip(values, 0, 255).astype(np.uint8), name="slide 8")


@pytest.mark.parametrize("spacing_px", [15.5, 17])
def test_brown_grains_with_oil_between_take_light_and_are_no_tissue(spacing_px) -> None:
    """What is bent away is missing in all colours alike; these are coloured where they are dark."""
    picture = _brown_grains(spacing_px)
    light = prepare(picture)
    assert without_scatter(light) is light
    assert len(_counted(picture)) >= 18


def test_pieces_of_tissue_are_flagged_and_no_crystals() -> None:
    particles = measure_field(
        _picture(_tissue([(100, 130, 40)])), FieldSettings(smallest_um=12.0), 1.0
    ).particles
    row = int(np.argmax(particles.diameter_px))
    assert particles["flags"][row] & bits("scatters")
    assert KINDS[particles["kind"][row]] is not Kind.SALT


def test_what_fills_the_picture_or_its_crop_is_no_error() -> None:
    rows, cols = np.indices(SHAPE)
    whole = 1 + 0.25 * _grains(1.7, 3)
    without_scatter(prepare(_picture(whole)))
    corner = np.where((rows < 100) & (cols < 120), 1 + 0.25 * _grains(1.7, 3), 1.0)
    light = prepare(_picture(corner))
    small = replace(light, delta=light.delta[:90, :100], solid_distance=light.solid_distance[:90, :100] + 9)
    assert without_scatter(small).delta.shape == (90, 100, 3)
