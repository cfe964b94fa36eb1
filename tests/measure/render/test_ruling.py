"""Rulings: lines lie where the geometry says, and the ink lies on the lines."""

from dataclasses import replace

import numpy as np
import pytest

from measure.render import Ruling, render_ruling
from measure.render.recipe import Camera, Light

CLEAN = Ruling(
    width_px=400,
    height_px=300,
    um_per_px=0.5,
    tick_um=(40.0, 60.0, 80.0),
    digits=False,
    dust=0,
    scratches=0,
    light=Light(vignette=0, slope=0, tint=0),
    camera=Camera(full_well=1e9, read_noise=0.0),
    bit_depth=16,
)


@pytest.mark.parametrize("angle", [0.0, 12.0, -37.5, 90.0, 151.0])
def test_neighbouring_lines_are_one_division_apart(angle):
    drawn = render_ruling(replace(CLEAN, angle_deg=angle, um_per_px=0.613), 1)
    direction = np.array([np.cos(np.deg2rad(angle)), np.sin(np.deg2rad(angle))])
    along = drawn.lines[:, :2] @ direction
    np.testing.assert_allclose(np.diff(along), np.diff(drawn.index) * 10.0 / 0.613, atol=1e-9)
    across = (drawn.lines[:, 2:] - drawn.lines[:, :2]) @ direction
    np.testing.assert_allclose(across, 0.0, atol=1e-9)
    length = np.hypot(*(drawn.lines[:, 2:] - drawn.lines[:, :2]).T) * 0.613
    expected = np.select([drawn.index % 10 == 0, drawn.index % 5 == 0], [80.0, 60.0], 40.0)
    np.testing.assert_allclose(length, expected, rtol=1e-9)


def test_ink_lies_on_the_lines_to_a_hundredth_of_a_pixel():
    drawn = render_ruling(CLEAN, 2)
    light = (drawn.pixels[..., 1] / 65535.0) ** 2.2
    foot = drawn.lines[:, 1].min()
    rows = slice(int(foot) - 40, int(foot) - 10)
    dark = light.max() - light[rows].mean(axis=0)
    centres = np.arange(dark.size) + 0.5
    for x in drawn.lines[2:-2, 0]:
        near = np.abs(centres - x) < 7
        assert np.sum(dark[near] * centres[near]) / np.sum(dark[near]) == pytest.approx(x, abs=0.02)


def test_part_in_view_gives_only_lines_in_view():
    drawn = render_ruling(replace(CLEAN, first_division=0.0), 1)
    assert drawn.index[0] == 0
    assert drawn.index[-1] < 25
    assert drawn.lines[0, 0] == pytest.approx(200.0)


def test_bright_lines_depths_and_unpacking():
    pixels, um_per_px = render_ruling(replace(CLEAN, bright_on_dark=True, bit_depth=8, grey=True), 1)
    assert um_per_px == 0.5
    assert pixels.dtype == np.uint8
    np.testing.assert_array_equal(pixels[..., 0], pixels[..., 2])
    assert np.median(pixels) < 100 < pixels.max()
    assert render_ruling(CLEAN, 1).pixels.dtype == np.uint16


def test_same_seed_same_ruling():
    dirty = replace(CLEAN, dust=5, scratches=2, digits=True, defects=0.3, base_line=True)
    np.testing.assert_array_equal(render_ruling(dirty, 3).pixels, render_ruling(dirty, 3).pixels)
    assert not np.array_equal(render_ruling(dirty, 3).pixels, render_ruling(dirty, 4).pixels)
