import numpy as np
import pytest

from measure.field.features import feature_columns
from measure.field.kinds import group_chances, tag
from measure.field.light import prepare
from measure.field.measure_outlines import measure_outlines
from measure.flags import FLAGS
from measure.model import KINDS, Picture
from measure.render.draw import render_field
from measure.render.recipe import Arrangement, Extras, Recipe

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


@pytest.mark.parametrize("gain", [(1.0, 1.0, 0.85), (0.85, 1.0, 1.0), (0.5, 0.5, 0.5), (0.87, 0.75, 0.75)])
def test_white_balance_and_brightness_do_not_change_kinds(drawn, gain):
    pixels, outlines, kinds, _ = drawn
    found = measured(pixels * np.array(gain), outlines)
    assert (found["kind"] == kinds).mean() >= 0.92


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
