import numpy as np
import pytest

from measure.field.kinds.kind_form import (
    COLOURS,
    colourless,
    dark_food,
    food_without_colour,
    form_scores,
    hue_of,
    over_food,
)
from measure.field.kinds.kind_model import DESCRIPTORS, GROUPS
from measure.field.kinds.kinds import group_chances
from tests.measure.field.kinds.test_kind_hues import BEIGE, BLACK, GREEN, field

DUST, KERNEL, SKIN, SALT = (GROUPS.index(name) for name in ("dust", "kernel", "skin", "salt"))


@pytest.fixture(scope="module")
def black_and_beige():
    return field(BEIGE, BLACK)


def test_form_alone_does_not_see_colour():
    values = np.random.default_rng(1).normal(size=(5, len(DESCRIPTORS)))
    other = values.copy()
    for name in COLOURS:
        other[:, DESCRIPTORS.index(name)] += 1.0
    assert np.array_equal(colourless(values), colourless(other))
    assert not np.array_equal(values, other)
    kept = [i for i, name in enumerate(DESCRIPTORS) if name not in COLOURS]
    assert np.array_equal(colourless(values)[:, kept], values[:, kept])


def test_lumps_have_more_the_form_of_kernels_than_sheets_of_the_same_field():
    for lumps, sheets in ((GREEN, BEIGE), (BEIGE, GREEN)):
        found, is_lump = field(lumps, sheets, seed=8)
        scores = form_scores(found)
        lean = np.clip(scores[:, KERNEL] - scores[:, SKIN], -5, 5)
        assert lean[is_lump].mean() > lean[~is_lump].mean() + 0.5


def test_hue_is_that_of_a_pigment_whatever_its_thickness():
    pigment = np.array([0.1, 0.4, 0.5])
    thick = np.array([[0.3], [1.0], [3.0]]) * pigment
    assert np.ptp(hue_of(thick), axis=0) == pytest.approx(0.0, abs=0.06)
    assert hue_of(np.full((1, 3), 0.4)) == pytest.approx(0.0)
    assert hue_of(np.zeros((1, 3))) == pytest.approx(0.0)


def test_several_black_pieces_of_the_form_of_food_are_no_dust(black_and_beige):
    found, is_lump = black_and_beige
    black = np.flatnonzero(~is_lump)
    chance = group_chances(found)
    chance[black] = 0.0
    chance[black, DUST] = 1.0
    changed = dark_food(chance, found)
    assert changed[black, DUST] == pytest.approx(0.0)
    assert changed.sum(axis=1) == pytest.approx(1.0)
    # two are odd ones
    few = np.concatenate([np.flatnonzero(is_lump), black[:2]])
    assert np.array_equal(dark_food(chance[few], found.select(few)), chance[few])


def test_black_sheets_are_no_crystals(black_and_beige):
    found, is_lump = black_and_beige
    chance = group_chances(found)
    chance[~is_lump] = 0.0
    chance[~is_lump, KERNEL] = 1.0
    told = food_without_colour(chance, found)
    assert told[~is_lump].mean() > 0.8
    assert not told[is_lump].any()
    assert over_food(form_scores(found.select(~is_lump)), "salt").mean() < -3.0
    few = np.flatnonzero(~is_lump)[:4]
    assert not food_without_colour(chance[few], found.select(few)).any()
