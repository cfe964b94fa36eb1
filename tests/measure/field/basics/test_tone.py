"""Where a picture was blurred, told from discs drawn both ways; and the sizes that follow from it."""

import cv2
import numpy as np
import pytest

from measure.field.basics.tone import decoded, encoded, light_weight
from measure.field.ground.light import prepare
from measure.field.pipeline import measure_field
from measure.model import FieldSettings, Picture
from tests.measure.field.drawn_shapes import grid_of_discs

GREYS = {"darker": (220, 120), "lighter": (40, 140), "white": (120, 235)}


def blurred_picture(cover, oil, piece, blur_px, in_light, noise=1.5) -> Picture:
    """Sharp pieces blurred in light (as a camera does) or in the stored values."""
    ends = np.array([np.broadcast_to(oil, 3), np.broadcast_to(piece, 3)]) / 255.0
    ends = decoded(ends) if in_light else ends
    mixed = ends[0] + cv2.GaussianBlur(cover, (0, 0), blur_px)[..., None] * (ends[1] - ends[0])
    stored = encoded(mixed) if in_light else mixed
    grain = np.random.default_rng(1).normal(0, noise, cover.shape)[..., None]
    return Picture(np.clip(np.round(stored * 255 + grain), 0, 255).astype(np.uint8), name="drawn.png")


def test_tone_curve_is_that_of_the_standard():
    # IEC 61966-2-1: V = 0.04045 is the end of the straight part; 0.21404 for 0.5 from memory
    assert decoded(np.array([0.0, 0.04045, 0.5, 1.0])) == pytest.approx([0, 0.0031308, 0.21404, 1], abs=2e-5)
    values = np.linspace(0, 1, 50)
    assert encoded(decoded(values)) == pytest.approx(values, abs=1e-4)


@pytest.mark.parametrize("name", sorted(GREYS))
@pytest.mark.parametrize("in_light", [True, False])
def test_tells_where_the_blur_mixed(name, in_light):
    picture = blurred_picture(grid_of_discs(34.0), *GREYS[name], 1.2, in_light)
    weight = prepare(picture).light_weight
    assert weight > 0.8 if in_light else weight < 0.2


def test_tells_nothing_of_a_sharp_or_empty_picture():
    cover = grid_of_discs(30.0)
    grey = blurred_picture(np.zeros_like(cover), 200, 100, 1.0, True)
    assert light_weight(grey.pixels, np.zeros(cover.shape, np.float32)) == 0.5
    colour = blurred_picture(np.zeros_like(cover), (200, 190, 160), 100, 1.0, True)
    assert light_weight(colour.pixels, np.zeros(cover.shape, np.float32)) == pytest.approx(0.95)
    faint = blurred_picture(cover, 200, 194, 1.0, True, noise=3.0)
    assert 0.2 < prepare(faint).light_weight < 0.97


@pytest.mark.parametrize("name", sorted(GREYS))
@pytest.mark.parametrize("in_light", [True, False])
def test_sizes_hold_whichever_way_the_blur_mixed(name, in_light):
    picture = blurred_picture(grid_of_discs(30.0), *GREYS[name], 1.2, in_light)
    diameter = measure_field(picture, FieldSettings(), 1.0).particles.diameter_px
    assert len(diameter) == 12
    assert np.median(diameter) == pytest.approx(30.0, rel=0.012)


def test_black_pieces_are_hardly_told_and_stay_within_their_doubt():
    # the edge of a black piece blurred in stored values looks like a shifted, narrower one blurred in light
    cover = grid_of_discs(30.0)
    diameter = []
    for in_light in (True, False):
        picture = blurred_picture(cover, 220, 12, 1.2, in_light)
        diameter.append(np.median(measure_field(picture, FieldSettings(), 1.0).particles.diameter_px))
    assert diameter[0] == pytest.approx(30.0, rel=0.012)
    assert diameter[1] == pytest.approx(30.0, rel=0.035)


def test_16_bit_and_turned_pictures_give_the_same():
    picture = blurred_picture(grid_of_discs(30.0), 220, 120, 1.2, False)
    light = prepare(picture)
    deep = picture.pixels.astype(np.uint16) * 257
    assert light_weight(deep, light.solid_distance) == pytest.approx(light.light_weight, abs=1e-3)
    turned = np.ascontiguousarray(np.rot90(picture.pixels))
    assert prepare(Picture(turned, name="turned.png")).light_weight == pytest.approx(0.0, abs=0.2)


@pytest.mark.parametrize("in_light", [True, False])
def test_brown_pieces_on_cream_keep_their_size(in_light):
    picture = blurred_picture(grid_of_discs(30.0), (226, 217, 188), (150, 90, 60), 2.0, in_light)
    diameter = measure_field(picture, FieldSettings(), 1.0).particles.diameter_px
    assert np.median(diameter) == pytest.approx(30.0, rel=0.01)


def test_a_profile_without_a_step_tells_no_asymmetry():
    from measure.field.basics.tone import _asymmetry

    flat = np.full((3, 41), 0.25)
    assert np.isnan(_asymmetry(flat, np.full(3, 60.0))).all()
