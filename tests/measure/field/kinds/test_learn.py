import json
from dataclasses import replace

import numpy as np
import pytest

from measure.field.ground.light import prepare
from measure.field.kinds.kinds import tag
from measure.field.kinds.learn import forget, learn, preview
from measure.field.kinds.measure_outlines import measure_outlines
from measure.model import KINDS, Picture
from measure.render.draw import render_field
from measure.render.recipe import Arrangement, Recipe

FOOD = ("kernel", "skin", "salt")


def measured(recipe, seed):
    field = render_field(recipe, seed)
    whole = [p for p in field.truth if not p.touches_frame and p.diameter_px > 9 and p.hidden_share < 0.02]
    picture = Picture(field.pixels)
    found = measure_outlines([p.outline for p in whole], picture, prepare(picture))
    return found, np.array([KINDS.index(p.kind) if p.kind in FOOD else 3 for p in whole])


@pytest.fixture(scope="module")
def roasted():
    """Three fields of flat reddish kernels among yellower skins: colour and form both speak for the other."""
    base = Recipe(width_px=560, height_px=440, um_per_px=0.8, arrangement=Arrangement(cover=0.10))
    flat = {"growth": 0.0, "texture": 0.05, "edge_step": 1.0, "edge_line": 0.0, "roughness": 0.2}
    kernel = replace(base.kernel, absorbance=(0.5, 1.15, 1.1), **flat)
    skin = replace(base.skin, absorbance=(0.5, 0.8, 1.3), strength=1.3, streaks=0.4)
    recipe = replace(base, kernel=kernel, skin=skin)
    return [measured(recipe, seed) for seed in (5, 6, 7)]


def tagged(found, truth, count, seed=0):
    """Tags as a user gives them: on wrong pieces first, and a few right ones confirmed."""
    wrong = np.flatnonzero(found["kind"] != truth)
    right = np.flatnonzero(found["kind"] == truth)
    rng = np.random.default_rng(seed)
    rows = np.concatenate([rng.permutation(wrong)[: count - count // 3], rng.permutation(right)])[:count]
    hand = np.zeros(len(found), bool)
    hand[rows] = True
    return found.replaced(kind=np.where(hand, truth, found["kind"]), kind_by_hand=hand)


def share_right(found, truth):
    free = ~found["kind_by_hand"].astype(bool)
    return (found["kind"] == truth)[free].mean()


def test_six_tags_on_one_field_better_the_others(roasted):
    first, truth = roasted[0]
    fields = {1: tagged(first, truth, 6), 2: roasted[1][0], 3: roasted[2][0]}
    found = learn(fields)
    assert found.tags == 6
    assert found.model is not None
    before = np.mean([share_right(p, t) for p, t in roasted[1:]])
    after = np.mean([share_right(tag(p, found.model), t) for p, t in roasted[1:]])
    assert before < 0.9
    assert after > before + 0.03


def test_twenty_tags_on_two_fields_better_the_third_more(roasted):
    fields = {i: tagged(*roasted[i], 10, seed=i) for i in (0, 1)}
    fields[2] = roasted[2][0]
    found = learn(fields)
    third, truth = roasted[2]
    assert share_right(tag(third, found.model), truth) > share_right(third, truth) + 0.04
    assert found.right_after > found.right_before
    assert str(found.tags) in found.text


def test_the_preview_is_what_applying_does_and_hand_tags_stay(roasted):
    fields = {i: tagged(*roasted[i], 8, seed=i) for i in (0, 1)}
    found = learn(fields)
    assert found.changes
    for number, particles in fields.items():
        new = tag(particles, found.model)
        changed = {c.label: (c.kind_from, c.kind_to) for c in found.changes if c.field == number}
        rows = np.flatnonzero(new["kind"] != particles["kind"])
        assert set(changed) == set(particles["label"][rows].tolist())
        for row in rows:
            label = int(particles["label"][row])
            assert changed[label] == (particles["kind"][row], new["kind"][row])
        hand = particles["kind_by_hand"].astype(bool)
        assert (new["kind"][hand] == particles["kind"][hand]).all()


def test_the_model_is_plain_numbers_and_can_be_forgotten(roasted):
    fields = {0: tagged(*roasted[0], 8)}
    found = learn(fields)
    again = json.loads(json.dumps(found.model))
    third = roasted[2][0]
    applied = tag(third, again)
    assert (applied["kind"] == tag(third, found.model)["kind"]).all()
    back = forget({2: applied})
    assert {c.label for c in back} == {c.label for c in preview({2: third}, found.model)}
    assert (tag(applied)["kind"] == third["kind"]).all()


def test_too_few_tags_teach_nothing(roasted):
    found = learn({0: tagged(*roasted[0], 2)})
    assert found.model is None
    assert found.changes == ()
    assert "at least" in found.text.lower()
    assert learn({}).model is None


def test_tags_that_only_confirm_change_nothing():
    found, _ = measured(Recipe(width_px=560, height_px=440, um_per_px=0.8), 9)
    hand = np.zeros(len(found), bool)
    hand[:8] = True
    outcome = learn({1: found.replaced(kind_by_hand=hand)})
    assert outcome.model is None
    assert "Nothing changes" in outcome.text


def test_one_slip_of_the_hand_wrecks_nothing(roasted):
    first, truth = roasted[0]
    given = tagged(first, truth, 9)
    hand = np.flatnonzero(given["kind_by_hand"])
    kinds = given["kind"].copy()
    kinds[hand[0]] = (kinds[hand[0]] + 1) % 3
    found = learn({0: given.replaced(kind=kinds)})
    for particles, true in roasted[1:]:
        assert share_right(tag(particles, found.model), true) >= share_right(particles, true) - 0.02
