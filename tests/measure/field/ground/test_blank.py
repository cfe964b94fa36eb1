"""The light worked out from fields, against the lamp the fields were drawn with."""

from functools import cache

import cv2
import numpy as np
import pytest

from measure.errors import InvalidInput
from measure.field.ground.blank import blank_from_fields
from measure.field.pipeline import measure_field
from measure.flags import bits
from measure.model import FieldSettings, Picture
from measure.render import Recipe, render_blank, render_field
from measure.render.recipe import Arrangement, Camera, Light, Sizes

RECIPE = Recipe(
    width_px=360, height_px=270, sizes=Sizes(30.0, 1.4, 10.0, 70.0), arrangement=Arrangement(cover=0.07),
    light=Light(vignette=0.5, slope=0.4, tint=0.08),
)  # fmt: skip


@cache
def fields() -> tuple:
    return tuple(render_field(RECIPE, seed) for seed in range(5))


@cache
def true_blank() -> np.ndarray:
    quiet = Camera(full_well=1e8, read_noise=0.0)
    return render_blank(Recipe(**{**RECIPE.__dict__, "camera": quiet}), 0)


def pictures() -> list[Picture]:
    return [Picture(drawn.pixels, name=f"f{i}.png") for i, drawn in enumerate(fields())]


@cache
def made(count: int = 5):
    return blank_from_fields(pictures()[:count])


def light_error(blank: np.ndarray) -> np.ndarray:
    off = 2.2 * np.log(blank.astype(float) / true_blank())
    return np.abs(off - np.median(off.reshape(-1, 3), axis=0)).max(axis=2)


def test_the_lamp_is_found_between_the_pieces():
    blank = made()
    error = light_error(blank.pixels)
    left = np.quantile(light_error(np.full_like(blank.pixels, 200)), 0.95)
    assert left > 0.4  # the light itself is strong
    assert np.median(error) < 0.013
    assert np.quantile(error, 0.95) < 0.025
    assert blank.fields == ("f0.png", "f1.png", "f2.png", "f3.png", "f4.png")
    assert blank.seen_share > 0.98
    assert blank.spread < 0.05
    assert 0.6 < blank.unevenness < 1.4


def test_more_fields_leave_less_error():
    few = np.mean(light_error(made(3).pixels))
    assert np.mean(light_error(made().pixels)) < few


def test_sizes_with_it_are_those_with_the_true_blank():
    drawn = fields()[0]
    sizes = []
    for blank in (made().pixels, true_blank()):
        found = measure_field(
            Picture(drawn.pixels), FieldSettings(), RECIPE.um_per_px, blank=Picture(blank)
        ).particles
        sizes.append(found.diameter_px[found["flags"] & bits("touches_frame") == 0])
    assert len(sizes[0]) == len(sizes[1]) > 3
    assert np.abs(np.sort(sizes[0]) / np.sort(sizes[1]) - 1).max() < 0.02


def test_a_mark_that_stays_in_place_belongs_to_the_light():
    y, x = np.mgrid[:270, :360]
    shadow = 1.0 - 0.25 * (np.hypot(x - 120, y - 90) < 14).astype(np.float32)
    shadow = cv2.GaussianBlur(shadow, (0, 0), 3)[..., None]
    dusty = [Picture(np.rint(p.pixels * shadow).astype(np.uint8), name=p.name) for p in pictures()]
    clean, marked = made(), blank_from_fields(dusty)
    depth = marked.pixels[90, 120] / clean.pixels[90, 120].astype(float)
    assert depth == pytest.approx([0.75] * 3, abs=0.03)
    assert clean.fixed_share < 0.001
    assert marked.fixed_share > 0.003


def test_areas_left_out_are_no_light():
    barred = []
    for picture in pictures():
        pixels = picture.pixels.copy()
        pixels[240:, :120] = 255
        barred.append(Picture(pixels, name=picture.name))
    zone = np.array([[0, 240], [120, 240], [120, 270], [0, 270]], float)
    error = light_error(blank_from_fields(barred, zones=(zone,)).pixels)
    assert np.quantile(error[250:, :100], 0.9) < 0.2  # filled in from beside it; the bar itself is 1.6 off


def test_sixteen_bits_and_grey_are_taken():
    deep = [Picture(p.pixels.astype(np.uint16) * 257, 16, p.name) for p in pictures()[:3]]
    off = blank_from_fields(deep).pixels.astype(int) - made(3).pixels
    assert np.abs(off).max() <= 1


def test_what_cannot_be_is_refused_by_name():
    with pytest.raises(InvalidInput, match="3 fields or more, better 6; 2 given"):
        blank_from_fields(pictures()[:2])
    with pytest.raises(InvalidInput, match=r"small\.png is 100 x 90 px"):
        blank_from_fields([*pictures(), Picture(np.full((90, 100, 3), 200, np.uint8), name="small.png")])
    noise = np.random.default_rng(1).normal(0, 2, fields()[0].pixels.shape)
    again = np.clip(fields()[0].pixels + noise, 0, 255).astype(np.uint8)
    with pytest.raises(InvalidInput, match=r"f0\.png and again\.png show the same place"):
        blank_from_fields([*pictures()[:3], Picture(again, name="again.png")])
