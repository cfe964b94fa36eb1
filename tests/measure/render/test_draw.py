"""Drawn fields: same seed same field, truth that is true, light that obeys Beer and Lambert."""

import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely

from measure.render import Recipe, render_blank, render_field
from measure.render.light import linear_of
from measure.render.recipe import Arrangement, Camera, Extras, KernelLook, Light, Sizes
from measure.render.recipes import CONDITIONS, HELD_OUT, TUNED, resized

PERFECT = Camera(blur_px=0.6, depth_um=0.0, full_well=1e9, read_noise=0.0)
STILL = Light(vignette=0, slope=0, tint=0, haze=0, veil=0, glare=0, oil=(230, 220, 200))
FLAT = KernelLook(edge_step=1.0, edge_line=0.0, texture=0.0, strength_spread=0.0, growth=0.0)


def small(**changes) -> Recipe:
    base = Recipe(width_px=320, height_px=240, sizes=Sizes(20.0, 1.4, 8.0, 40.0))
    return replace(base, **changes)


def test_same_seed_same_field_other_seed_other_field():
    recipe = small(extras=Extras(bubbles=1, fibres=1))
    one, two, other = render_field(recipe, 4), render_field(recipe, 4), render_field(recipe, 5)
    np.testing.assert_array_equal(one.pixels, two.pixels)
    assert [t.area_px2 for t in one.truth] == [t.area_px2 for t in two.truth]
    assert not np.array_equal(one.pixels, other.pixels)
    assert one.pixels.dtype == np.uint8
    assert one.pixels.shape == (240, 320, 3)


def test_truth_agrees_with_shapely():
    field = render_field(small(arrangement=Arrangement(cover=0.2, touch_share=0.4)), 1)
    assert len(field.truth) > 10
    frame = shapely.box(0, 0, 320, 240)
    for piece in field.truth:
        polygon = shapely.Polygon(piece.outline)
        assert polygon.is_valid
        assert piece.area_px2 == pytest.approx(polygon.area, rel=1e-9)
        assert piece.diameter_px == pytest.approx(np.sqrt(4 * polygon.area / np.pi))
        assert piece.touches_frame == (not frame.contains_properly(polygon))
        assert polygon.intersects(frame)


def test_pieces_apart_do_not_overlap_and_overlapping_ones_do():
    apart = render_field(small(arrangement=Arrangement(cover=0.15, gap_px=4.0)), 2).truth
    polygons = [shapely.Polygon(t.outline) for t in apart]
    gaps = [a.distance(b) for i, a in enumerate(polygons) for b in polygons[:i]]
    assert min(gaps) > 1.5
    assert all(t.hidden_share == 0 for t in apart)
    over = render_field(small(arrangement=Arrangement(cover=0.3, overlap_share=0.7)), 2).truth
    assert sum(t.hidden_share > 0.05 for t in over) >= 3


def test_touching_pieces_meet_within_a_pixel_or_two():
    truth = render_field(small(arrangement=Arrangement(cover=0.2, touch_share=1.0, press_px=0.0)), 3).truth
    polygons = [shapely.Polygon(t.outline) for t in truth]
    near = [min(a.distance(b) for b in polygons if b is not a) for a in polygons]
    assert np.median(near) < 1.5


def test_transmission_follows_beer_and_lambert():
    recipe = small(kernel=FLAT, kernel_share=1, skin_share=0, salt_share=0, light=STILL, camera=PERFECT)
    field = render_field(recipe, 6)
    piece = max((t for t in field.truth if not t.touches_frame), key=lambda t: t.area_px2)
    x, y = np.floor(np.array(shapely.Polygon(piece.outline).representative_point().coords[0])).astype(int)
    passed = linear_of(field.pixels[y, x]) / linear_of((230, 220, 200))
    # the absorbances of a piece vary by 5 % in colour
    np.testing.assert_allclose(-np.log(passed), FLAT.absorbance, rtol=0.2)


def test_blur_moves_light_but_loses_none():
    recipe = small(kernel=FLAT, kernel_share=1, skin_share=0, salt_share=0, light=STILL)
    lost = []
    for blur in (0.5, 3.0):
        camera = replace(PERFECT, blur_px=blur)
        pixels = render_field(replace(recipe, camera=camera, arrangement=Arrangement(pieces=3)), 8).pixels
        lost.append((linear_of((230, 220, 200)) - linear_of(pixels))[30:-30, 30:-30].sum())
    assert lost[0] > 50
    assert lost[1] == pytest.approx(lost[0], rel=0.08)


@pytest.mark.parametrize("blur", [0.6, 2.0])
def test_the_light_a_piece_takes_lies_where_its_outline_says(blur):
    recipe = small(
        kernel=FLAT,
        kernel_share=1,
        skin_share=0,
        salt_share=0,
        light=STILL,
        # a little noise, so that whole grey levels average out
        camera=replace(PERFECT, blur_px=blur, full_well=40_000.0),
        arrangement=Arrangement(pieces=6, gap_px=30.0),
        sizes=Sizes(20.0, 1.2, 14.0, 30.0),
    )
    field = render_field(recipe, 9)
    well_inside = shapely.box(10, 10, 310, 230)
    whole = [t for t in field.truth if well_inside.contains(shapely.Polygon(t.outline))]
    assert len(whole) >= 2
    lost = 1.0 - linear_of(field.pixels[..., 2]) / linear_of(200.0)
    y, x = np.mgrid[0:240, 0:320] + 0.5
    for piece in whole:
        polygon = shapely.Polygon(piece.outline)
        left, top, right, bottom = polygon.buffer(10).bounds
        here = np.where((x > left) & (x < right) & (y > top) & (y < bottom), lost, 0.0)
        depth = np.mean(here[shapely.contains_xy(polygon.buffer(-4), x, y)])
        assert here.sum() / depth == pytest.approx(piece.area_px2, rel=0.01)
        assert (here * x).sum() / here.sum() == pytest.approx(polygon.centroid.x, abs=0.05)
        assert (here * y).sum() / here.sum() == pytest.approx(polygon.centroid.y, abs=0.05)


def test_srgb_curve_at_a_known_point():
    # IEC 61966-2-1: the encoded value 0.5 stands for linear 0.2140
    assert float(linear_of(np.array(127.5))) == pytest.approx(0.2140, abs=1e-4)


def test_blank_has_the_light_of_its_fields_and_no_pieces():
    light = Light(vignette=0.3, slope=0.2, haze=0.0, veil=0.0)
    recipe = small(light=light, arrangement=Arrangement(pieces=1))
    blank = render_blank(recipe, 1).astype(float)
    field = render_field(recipe, 2).pixels.astype(float)
    assert np.median(np.abs(blank - field)) < 3.0
    assert np.ptp(blank[::20, ::20].mean(axis=2)) > 15


def test_dark_ground_shows_bright_pieces():
    recipe = small(
        light=Light(oil=(34, 30, 27), dark_ground=True), kernel_share=1, skin_share=0, salt_share=0
    )
    field = render_field(recipe, 3)
    piece = max((t for t in field.truth if not t.touches_frame), key=lambda t: t.area_px2)
    x, y = np.floor(np.array(shapely.Polygon(piece.outline).representative_point().coords[0])).astype(int)
    assert field.pixels[y, x].mean() > 2 * np.median(field.pixels)


def test_conditions_are_many_and_each_can_be_drawn_small():
    assert len(TUNED) >= 12
    assert len(HELD_OUT) >= 4
    assert not set(TUNED) & set(HELD_OUT)
    for name in CONDITIONS:
        field = render_field(resized(CONDITIONS[name], 400), 1)
        assert field.pixels.shape[1] == 400
        assert len(field.truth) > 0


def test_drawing_shares_nothing_with_measuring():
    code = (
        "import sys, measure.render.samples;"
        "print([m for m in sys.modules if m.startswith('measure.') and not m.startswith('measure.render')])"
    )
    root = Path(__file__).resolve().parents[3]
    done = subprocess.run([sys.executable, "-c", code], cwd=root, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
