"""Kinds of hues that no fit has seen, where light comes from above: lumps are shaded, sheets are flat."""

from dataclasses import replace

import numpy as np
import pytest

from measure.field.ground.light import prepare
from measure.field.kinds.kind_structure import shines
from measure.field.kinds.measure_outlines import measure_outlines
from measure.model import KINDS, Picture
from measure.particles import make_particles
from measure.render.draw import render_field
from measure.render.recipe import Arrangement, Extras, Light, Recipe

DARK, PLATE = (34.0, 30.0, 27.0), (135.0, 133.0, 128.0)
WHITE, TAN, PALE, DEEP_RED = (0.75, 0.78, 0.74), (0.5, 0.45, 0.3), (0.62, 0.62, 0.62), (0.38, 0.15, 0.07)


@pytest.mark.parametrize(
    ("ground", "kernels", "skins"),
    [(DARK, WHITE, DEEP_RED), (DARK, PALE, TAN), (PLATE, PALE, TAN)],
    ids=["white and red in dark field", "pale and tan in dark field", "pale and tan on a plate"],
)
def test_white_kernels_are_no_crystals_and_pale_skins_no_kernels(ground, kernels, skins):
    light = Light(oil=ground, dark_ground=True, haze=0.4, haze_contrast=0.1)
    base = Recipe(width_px=620, height_px=480, um_per_px=0.8, light=light, arrangement=Arrangement(cover=0.1))
    look = replace(base, kernel_share=0.45, skin_share=0.35, extras=Extras())
    look = replace(look, kernel=replace(base.kernel, reflect=kernels), skin=replace(base.skin, reflect=skins))
    field = render_field(look, 3)
    whole = [p for p in field.truth if not p.touches_frame and p.diameter_px > 9 and p.hidden_share < 0.02]
    picture = Picture(field.pixels)
    found = measure_outlines([p.outline for p in whole], picture, prepare(picture))
    right = found["kind"] == np.array([KINDS.index(p.kind) for p in whole])
    assert right.mean() > 0.9
    sure = found["kind_doubt"] < 0.1
    assert sure.any()
    assert right[sure].mean() > 0.95


@pytest.mark.parametrize(("density", "expected"), [(-1.1, True), (-0.4, False)])
def test_pieces_on_a_dim_plate_do_not_shine_as_in_dark_field(density, expected):
    square = np.array([[0, 0], [20, 0], [20, 20], [0, 20]], np.float32)
    columns = {f"core_{name}_density": density for name in ("red", "green", "blue")}
    assert shines(make_particles([square] * 8, area_px2=400.0, **columns)) is expected
