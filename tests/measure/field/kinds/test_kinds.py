from dataclasses import replace

import cv2
import numpy as np
import pytest
from shapely import LineString

from measure.field.edges.features import feature_columns
from measure.field.edits import edits
from measure.field.ground.light import prepare
from measure.field.kinds.kind_model import built_in, to_numbers
from measure.field.kinds.kinds import (
    bubble_form,
    crystal_form,
    decide,
    dust_form,
    fibre_form,
    group_chances,
    table_of,
    tag,
)
from measure.field.kinds.measure_outlines import measure_outlines
from measure.flags import FLAGS
from measure.model import KINDS, Picture
from measure.render.draw import render_field
from measure.render.recipe import Arrangement, Extras, Light, Recipe
from tests.benchmarks.fit_kinds import chances
from tests.benchmarks.kind_samples import Sample

FOOD = ("kernel", "skin", "salt")


@pytest.fixture(scope="module")
def drawn():
    """One drawn field with its whole pieces; the model was fitted on variations of such looks."""
    recipe = Recipe(
        width_px=800,
        height_px=640,
        um_per_px=0.8,
        arrangement=Arrangement(cover=0.09),
        extras=Extras(bubbles=4, fibres=2, fibre_length_um=(120.0, 220.0), fibre_width_um=(5.0, 8.0)),
    )
    field = render_field(recipe, 77)
    whole = [p for p in field.truth if not p.touches_frame and p.diameter_px > 9 and p.hidden_share < 0.02]
    kinds = np.array([KINDS.index(p.kind) if p.kind in FOOD else 3 for p in whole])
    return field.pixels, [p.outline for p in whole], kinds, [p.kind for p in whole]


def measured(pixels, outlines, grey=False):
    picture = Picture(np.clip(pixels, 0, 255).round().astype(np.uint8), grey=grey)
    return measure_outlines(outlines, picture, prepare(picture))


def test_kinds_are_right_on_a_drawn_field(drawn):
    pixels, outlines, kinds, _ = drawn
    found = measured(pixels.astype(float), outlines)
    right = found["kind"] == kinds
    assert len(kinds) > 60
    assert right.mean() >= 0.94
    sure = found["kind_doubt"] < 0.1
    assert sure.mean() > 0.7
    assert right[sure].mean() >= 0.95


def test_the_fit_of_the_tables_judges_pieces_as_the_program_does(drawn):
    pixels, outlines, kinds, _ = drawn
    found = measured(pixels.astype(float), outlines)
    sample = Sample("drawn", "bright", False, False, True, kinds, found)
    kind, doubt, _ = decide(chances(built_in("colour on bright"), sample))
    assert np.array_equal(kind, found["kind"])
    assert doubt == pytest.approx(found["kind_doubt"], abs=1e-6)


@pytest.mark.parametrize("gain", [(1.0, 1.0, 0.85), (0.85, 1.0, 1.0), (0.5, 0.5, 0.5), (0.87, 0.75, 0.75)])
def test_white_balance_and_brightness_do_not_change_kinds(drawn, gain):
    pixels, outlines, kinds, _ = drawn
    found = measured(pixels * np.array(gain), outlines)
    assert (found["kind"] == kinds).mean() >= 0.92


def test_an_underexposed_field_keeps_its_kinds(drawn):
    pixels, outlines, kinds, _ = drawn
    # a twentieth of the light, in the picture's own scale: the oil is as dark as a dark ground may be
    found = measured(pixels * 0.05 ** (1 / 2.2), outlines)
    assert table_of(found) == "colour on bright"
    assert (found["kind"] == kinds).mean() >= 0.92


@pytest.fixture(scope="module")
def lit_from_above():
    """A field on a grey plate lit from above, its whole pieces."""
    light = Light(oil=(135.0, 133.0, 128.0), dark_ground=True, haze=0.4, haze_contrast=0.1)
    recipe = Recipe(
        width_px=800, height_px=640, um_per_px=0.8, light=light, extras=Extras(bubbles=0, fibres=0)
    )
    field = render_field(replace(recipe, arrangement=Arrangement(cover=0.09)), 78)
    whole = [p for p in field.truth if not p.touches_frame and p.diameter_px > 12 and p.hidden_share < 0.02]
    kinds = np.array([KINDS.index(p.kind) for p in whole])
    return field.pixels, [p.outline for p in whole], kinds


def test_kinds_are_right_where_light_comes_from_above_on_a_grey_plate(lit_from_above):
    pixels, outlines, kinds = lit_from_above
    found = measured(pixels.astype(float), outlines)
    assert table_of(found) == "colour on bright, lighter"
    right = found["kind"] == kinds
    assert len(kinds) > 40
    assert right.mean() >= 0.9
    assert right[found["kind_doubt"] < 0.1].mean() >= 0.95
    # as pieces that take light away they would be judged by colours that mean something else
    assert tag(found, table="colour on bright")["kind_doubt"].mean() > found["kind_doubt"].mean() + 0.02


def test_a_dark_piece_alone_is_judged_as_its_field_is(lit_from_above):
    pixels, outlines, kinds = lit_from_above
    picture = Picture(pixels)
    light = prepare(picture)
    field = measure_outlines(outlines, picture, light)
    darkest = int(field["lightness_step"].argmin())
    assert field["lightness_step"][darkest] < 0
    assert table_of(field.select(np.array([darkest]))) == "colour on bright"
    drawn = edits.draw(field, light, picture, outlines[darkest]).added
    assert drawn["kind"][0] == field["kind"][darkest] == kinds[darkest]
    assert drawn["kind_doubt"][0] == pytest.approx(field["kind_doubt"][darkest], abs=0.05)


def test_bubbles_and_fibres_are_set_aside_with_the_reason(drawn):
    pixels, outlines, _, names = drawn
    found = measured(pixels.astype(float), outlines)
    for name, reason in (("bubble", "air bubble"), ("fibre", "fibre")):
        rows = [i for i, n in enumerate(names) if n == name]
        assert rows
        assert all(found["set_aside"][rows] == reason)
        assert all(found["flags"][rows] & FLAGS[name].bit)
    food = [i for i, n in enumerate(names) if n in FOOD]
    assert (found["set_aside"][food] != "").mean() < 0.02


def test_without_colour_the_doubt_is_higher(drawn):
    pixels, outlines, kinds, _ = drawn
    grey = np.repeat((pixels @ np.array([0.299, 0.587, 0.114]))[..., None], 3, axis=2)
    found, coloured = measured(grey, outlines, grey=True), measured(pixels.astype(float), outlines)
    assert found["kind_doubt"].mean() > coloured["kind_doubt"].mean()
    sure = found["kind_doubt"] < 0.1
    assert (found["kind"] == kinds)[sure].mean() >= 0.93


def test_a_rim_over_another_piece_makes_a_crystal_only_where_there_is_another(drawn):
    pixels, outlines, kinds, _ = drawn
    found = measured(pixels.astype(float), outlines)
    row = int(np.flatnonzero(kinds == KINDS.index("salt"))[0])
    flags = np.zeros(len(found), dtype=np.int64)
    flags[row] = FLAGS["rim_only"].bit | FLAGS["overlap"].bit
    alone = found.replaced(flags=flags)
    assert not crystal_form(alone)[1].any()
    other = alone.select(np.array([row, row]))
    beside = replace(other, outlines=(alone.outlines[row], alone.outlines[row] + np.float32(3.0)))
    assert crystal_form(beside)[1].all()


def test_things_like_no_food_stay_counted_with_a_high_doubt():
    # opaque black discs on white, as on a printed reference plate
    y, x = np.mgrid[:300, :300] + 0.5
    pixels = np.full((300, 300, 3), 255.0)
    t = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    outlines = []
    for cx, cy in [(50, 50), (150, 60), (240, 70), (60, 160), (150, 170), (230, 220), (70, 250)]:
        pixels[np.hypot(x - cx, y - cy) < 20] = 0
        outlines.append(np.c_[cx + 20 * np.cos(t), cy + 20 * np.sin(t)])
    found = measured(pixels, outlines, grey=True)
    assert all(found["set_aside"] == "")
    assert found["kind_doubt"].min() > 0.3


def test_kinds_set_by_hand_stay(drawn):
    pixels, outlines, _, _ = drawn
    found = measured(pixels.astype(float), outlines[:10])
    hand = found.replaced(kind=np.full(10, 2), kind_by_hand=True, set_aside="mine")
    again = tag(hand)
    assert all(again["kind"] == 2)
    assert all(again["kind_doubt"] == 0)
    assert all(again["set_aside"] == "mine")


def test_chances_add_up_and_nothing_gives_nothing(drawn):
    pixels, outlines, _, _ = drawn
    found = measured(pixels.astype(float), outlines)
    assert np.allclose(group_chances(found).sum(axis=1), 1.0)
    assert len(measured(pixels.astype(float), [])) == 0


def test_density_follows_the_law_of_beer_and_lambert():
    # a disc passing half the linear light has density log10(2) whatever the lamp
    y, x = np.mgrid[:120, :120] + 0.5
    t = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    outline = np.c_[60 + 25 * np.cos(t), 60 + 25 * np.sin(t)].astype(np.float32)
    for lamp in ((0.7, 0.6, 0.5), (0.3, 0.3, 0.3), (0.25, 0.5, 0.6)):
        linear = np.where((np.hypot(x - 60, y - 60) < 25)[..., None], 0.5, 1.0) * np.array(lamp)
        coded = np.where(linear > 0.0031308, 1.055 * linear ** (1 / 2.4) - 0.055, 12.92 * linear) * 255
        noisy = coded + np.random.default_rng(0).normal(0, 1.0, coded.shape)
        picture = Picture(np.clip(noisy, 0, 255).round().astype(np.uint8))
        columns = feature_columns([outline], picture, prepare(picture))
        for name in ("red_density", "green_density", "blue_density", "core_green_density"):
            assert columns[name][0] == pytest.approx(np.log10(2.0), abs=0.015)


def disc_or_shape(points, inside, shade, size=140, grey=True, more=()):
    """Measure a drawn shape and further outlines; enough ordinary lumps lie beside to make it a field."""
    y, x = np.mgrid[:size, : size * 3] + 0.5
    light = np.where(inside(x, y), shade(x, y), 1.0)
    outlines = [np.asarray(points, dtype=np.float32)]
    grain = 1.0 + 2.0 * cv2.GaussianBlur(np.random.default_rng(3).normal(0, 1.0, light.shape), (0, 0), 2.0)
    t = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    for i, (cx, cy) in enumerate([(170, 30), (230, 40), (300, 30), (180, 100), (240, 105), (320, 100)]):
        radius = 18 + 2.5 * np.cos(3 * t + i) + 1.5 * np.cos(5 * t + 2 * i)
        angle = np.arctan2(y - cy, x - cx)
        away = np.hypot(x - cx, y - cy) / (18 + 2.5 * np.cos(3 * angle + i) + 1.5 * np.cos(5 * angle + 2 * i))
        lump = 10.0 ** (-0.5 * grain * np.sqrt(np.clip(1.0 - away**2, 0.0, 1.0)))
        light = np.where(away < 1.0, lump, light)
        outlines.append(np.c_[cx + radius * np.cos(t), cy + radius * np.sin(t)])
    light = cv2.GaussianBlur(light, (0, 0), 0.9) * 0.65
    pixels = np.repeat((255.0 * light ** (1 / 2.2))[..., None], 3, axis=2)
    pixels = pixels + np.random.default_rng(1).normal(0, 1.2, light.shape)[..., None]
    return measured(pixels, [*outlines, *more], grey=grey)


def circle(radius, cx=70.0, cy=70.0):
    t = np.linspace(0, 2 * np.pi, max(40, int(2 * np.pi * radius)), endpoint=False)
    return np.c_[cx + radius * np.cos(t), cy + radius * np.sin(t)]


@pytest.mark.parametrize("bright", [0.2, 0.4, 0.8])
def test_a_black_disc_with_a_bright_middle_is_a_bubble_however_wide_that_is(bright):
    # air in oil sends all light aside but where the ray goes nearly straight through the middle
    radius = 26.0

    def shade(x, y):
        away = np.hypot(x - 70, y - 70) / radius
        return 0.06 + 0.9 * np.exp(-((away / bright) ** 4))

    found = disc_or_shape(circle(radius), lambda x, y: np.hypot(x - 70, y - 70) < radius, shade)
    assert found["set_aside"][0] == "air bubble"
    assert all(found["set_aside"][1:] == "")


def bubble_beside(cut, dark=0.85):
    """An air bubble with a grey ring and a middle brighter than the oil, seen as far right as `cut`."""

    def inside(x, y):
        return np.hypot(x - 70, y - 70) < 26.0

    def shade(x, y):
        away = np.hypot(x - 70, y - 70) / 26.0
        ring = dark / (1.0 + np.exp(-(away - 0.78) / 0.03))
        light = 1.0 - ring + 0.25 * np.exp(-((away / 0.35) ** 2))
        return np.where((x > cut) & (away < 1.0), 1.0, light)

    t = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    points = circle(26.0)
    points = np.c_[np.minimum(70 + 26.0 * np.cos(t), cut), 70 + 26.0 * np.sin(t)] if cut < 96 else points
    return disc_or_shape(points, inside, shade)


def test_a_middle_brighter_than_the_oil_is_as_hollow_as_can_be():
    found = bubble_beside(96, dark=0.5)
    assert 0.1 < found["rim_density"][0] < 0.3
    assert found["centre_density"][0] < -0.05
    assert bubble_form(found)[0][0]
    assert found["set_aside"][0] == "air bubble"


def test_a_bubble_of_which_a_part_is_covered_still_shows_its_arc():
    found = bubble_beside(86)
    could, sure = bubble_form(found)
    assert could[0]
    # a black ring on so exact an arc is nothing else, whatever the model thinks; a grey one may be
    assert sure[0]
    assert not sure[1:].any()
    assert found["set_aside"][0] == "air bubble"
    assert not bubble_form(bubble_beside(86, dark=0.4))[1][0]
    # a half disc is too little, and round lumps are not hollow
    assert not bubble_form(bubble_beside(72))[0][0]
    assert not could[1:].any()


def test_a_square_crystal_with_grey_facets_is_no_bubble():
    def shade(x, y):
        u, v = np.abs(x - 70) / 26, np.abs(y - 70) / 26
        facet = np.where(u > v, 0.25, np.where(y < 70, 0.4, 0.55))
        return np.where(np.maximum(u, v) < 0.55, 0.97, facet)

    side = np.linspace(-26, 26, 40, endpoint=False)
    ring = np.concatenate(
        [
            np.c_[side, -26 + 0 * side],
            np.c_[26 + 0 * side, side],
            np.c_[-side, 26 + 0 * side],
            np.c_[-26 + 0 * side, -side],
        ]
    )
    found = disc_or_shape(ring + 70, lambda x, y: (np.abs(x - 70) < 26) & (np.abs(y - 70) < 26), shade)
    assert found["set_aside"][0] == ""
    assert not found["flags"][0] & FLAGS["bubble"].bit
    assert KINDS[found["kind"][0]] == "salt"


@pytest.mark.parametrize("turn", [0.0, 1.5, 4.5])
def test_a_thread_is_a_fibre_however_it_is_bent(turn):
    s = np.linspace(-0.5, 0.5, 200)
    line = np.cumsum(np.c_[np.cos(turn * s), np.sin(turn * s)], axis=0) * (110.0 / 200)
    line = line - (line.max(axis=0) + line.min(axis=0)) / 2 + 70
    band = LineString(line).buffer(3.0, cap_style="flat")
    points = np.array(band.exterior.segmentize(0.8).coords)[:-1]
    mask = np.zeros((140, 420), np.uint8)
    cv2.fillPoly(mask, [np.round((points - 0.5) * 16).astype(np.int32)], 1, shift=4)
    found = disc_or_shape(points, lambda x, y: mask > 0, lambda x, y: 0.55 + 0 * x)
    assert found["set_aside"][0] == "fibre"
    assert all(found["set_aside"][1:] == "")


def test_a_bit_cut_off_a_thread_goes_with_it_and_a_piece_beside_it_does_not():
    def box(x0, y0, x1, y1):
        return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]], np.float32)

    thread, bit, beside = box(10, 60, 110, 68), box(110.5, 60, 134, 68), box(60, 69, 76, 94)

    def shade(x, y):
        return np.where(y > 68.5, 0.2, 0.55)

    def inside(x, y):
        in_beside = (x > 60) & (x < 76) & (y > 69) & (y < 94)
        return ((x > 10) & (x < 134) & (y > 60) & (y < 68)) | in_beside

    found = disc_or_shape(thread, inside, shade, more=[bit, beside])
    assert list(found["set_aside"][[0, -2]]) == ["fibre", "fibre"]
    assert all(found["set_aside"][1:-2] == "")
    assert found["set_aside"][-1] == ""


def test_a_ragged_lump_with_as_long_an_outline_is_no_fibre():
    t = np.linspace(0, 2 * np.pi, 700, endpoint=False)
    radius = 36 + 12 * np.cos(17 * t) + 4 * np.cos(29 * t)
    lump = np.c_[70 + radius * np.cos(t), 70 + radius * np.sin(t)]
    mask = np.zeros((140, 420), np.uint8)
    cv2.fillPoly(mask, [np.round((lump - 0.5) * 16).astype(np.int32)], 1, shift=4)
    found = disc_or_shape(lump, lambda x, y: mask > 0, lambda x, y: 0.5 + 0 * x)
    could, _ = fibre_form(found)
    assert found["perimeter_px"][0] ** 2 / (4 * found["area_px2"][0]) > 7
    assert not could[0]
    assert found["set_aside"][0] != "fibre"


def test_a_grainy_lump_is_a_kernel_on_a_grey_camera():
    # densest in the middle and grainy, without any colour: no sheet, no crystal
    found = disc_or_shape(circle(20), lambda x, y: np.hypot(x - 70, y - 70) < 20, lambda x, y: 0.5 + 0 * x)
    right = (found["kind"] == KINDS.index("kernel"))[1:]
    assert right.sum() >= 5
    assert all(found["kind_doubt"][1:][~right] > 0.3)


def test_a_model_learned_with_fewer_descriptors_still_tags(drawn):
    pixels, outlines, kinds, _ = drawn
    found = measured(pixels.astype(float), outlines)
    table = table_of(found)
    older, few = to_numbers(built_in(table)), 15
    rows, columns = np.triu_indices(len(older["mean"]))
    products = (rows < few) & (columns < few)
    kept = np.r_[np.arange(1 + few), 1 + len(older["mean"]) + np.flatnonzero(products)]
    older["weights"] = np.array(older["weights"])[:, kept].tolist()
    older["inverse"] = built_in(table).inverse[:, :few, :few].tolist()
    older |= {name: np.array(older[name])[..., :few].tolist() for name in ("mean", "scale", "centre")}
    again = tag(found, {"tables": {table: older}})
    assert np.isin(again["kind"], [0, 1, 2, 3]).all()
    assert (again["kind"] == kinds).mean() > 0.5


def test_a_black_compact_piece_stays_counted_with_a_doubt():
    t = np.linspace(0, 2 * np.pi, 7)[:-1]
    block = np.c_[70 + 17 * np.cos(t), 70 + 15 * np.sin(t)]
    mask = np.zeros((140, 420), np.uint8)
    cv2.fillPoly(mask, [np.round((block - 0.5) * 16).astype(np.int32)], 1, shift=4)
    found = disc_or_shape(block, lambda x, y: mask > 0, lambda x, y: 0.02 + 0 * x)
    could, sure = dust_form(found)
    assert not could[0]
    assert not sure.any()
    assert found["set_aside"][0] == ""
    assert found["kind_doubt"][0] > 0.1
