"""How sure kinds may be: what tells them apart differs from mill to mill, and one hue may hold both."""

import numpy as np
import pytest

from measure.field.kinds.kind_groups import Told, kernel_odds
from measure.field.kinds.kind_sure import LEAST, of_only_hue, singly, sure_odds, within
from measure.field.kinds.kind_told import FORM_APARTS, lumps_of
from measure.field.kinds.kinds import tag
from tests.measure.field.kinds.test_kind_hues import BEIGE, GREEN, KERNEL, REDDISH, field

SURE = np.log(9.0)  # odds of a doubt of a tenth


def form(*value):
    return Told(np.array(value), np.full(len(value), 0.5), -0.3, 1.5, 0.8, FORM_APARTS)


def test_a_small_difference_is_not_as_sure_as_it_would_be_if_kinds_always_differed_as_much():
    small = form(0.3, -0.4)
    plain, cautious = (kernel_odds(np.zeros(2), small, cautious=c) for c in (False, True))
    assert plain[0] > SURE
    assert 0.3 < cautious[0] < 0.8 * plain[0]
    # a large one is as sure either way
    assert all(kernel_odds(np.zeros(2), form(1.2, -1.6), cautious=True) * [1.0, -1.0] > SURE)


def test_a_hue_of_its_own_is_not_sure_by_what_tables_say_of_it():
    known, none = np.array([1.0, 1.0]), np.zeros(2)
    lean = np.array([5.0, -5.0])
    assert all(np.abs(sure_odds(lean, known, [form(-0.3, -0.3)])) < SURE)
    assert all(np.abs(sure_odds(lean, none, [form(-0.3, -0.3)])) < 0.1)
    assert all(sure_odds(lean, known, [form(0.6, -1.0)]) * [1.0, -1.0] > SURE)


def test_what_overrules_a_known_hue_is_less_sure_and_turns_nothing_by_that():
    lean, known = np.array([-5.0, 5.0]), np.ones(2)
    told = [form(1.2, -1.6)]
    unknown, overruled = sure_odds(lean, np.zeros(2), told), sure_odds(lean, known, told)
    assert all(overruled * unknown > 0.0)
    assert all(np.abs(overruled) < np.abs(unknown) - 1.0)
    # by little it is neither
    assert np.allclose(sure_odds(lean, known, [form(0.6, -1.0)]), 0.0)


def test_an_only_hue_is_sure_where_its_table_and_its_form_agree():
    told = [form(1.6), Told(np.array([0.5]), np.array([0.2]), 0.15, 0.35, 0.15)]
    assert sure_odds(np.array([4.5]), np.ones(1), told)[0] > SURE
    assert sure_odds(np.array([4.5]), np.zeros(1), told)[0] < SURE
    assert sure_odds(np.array([4.5]), np.ones(1), [form(0.2)])[0] < SURE


def test_odds_stay_within_what_is_borne_out():
    odds = np.array([-4.0, -0.3, 0.5, 4.0])
    assert np.allclose(within(odds, 2.0), [-LEAST, -0.3, 0.5, 2.0])
    assert np.allclose(within(odds, -3.0), [-3.0, -0.3, 0.5, LEAST])


def test_what_looks_less_like_its_only_hue_is_less_sure():
    lumps = np.array([3.0, 3.0, 3.0, 0.0])
    found = of_only_hue(np.full(4, 4.0), 3.0, lumps, np.ones(4))
    assert np.allclose(found[:3], 3.0)
    assert found[3] == pytest.approx(3.0 - 2.25)


def test_a_piece_heard_alone_is_sure_of_a_known_hue_alone():
    odds = np.array([4.0, 4.0, -4.0])
    assert np.allclose(singly(odds, np.array([1.0, 0.0, 0.0]), np.array([0.5, 5.0, 5.0])), [3.5, 1.0, -LEAST])


def test_middles_of_lumps_are_denser_than_their_cores_and_those_of_sheets_are_not():
    found, is_lump = field(REDDISH, BEIGE)
    inward = lumps_of(found, np.ones(len(found))).inward
    assert inward[is_lump].mean() > 0.02
    assert abs(inward[~is_lump].mean()) < 0.02


def test_few_pieces_of_a_strange_hue_are_doubted_but_not_where_one_is_drawn_by_hand():
    found, is_lump = field(GREEN, BEIGE)
    few = found.select(np.flatnonzero(is_lump)[:4])
    assert all(tag(few)["kind"] == KERNEL)
    assert all(tag(few)["kind_doubt"] > 0.1)
    assert all(tag(few, None, "colour on bright")["kind_doubt"] < 0.1)
