"""Hues of a field parted at slanted gaps, and what a clear hue says for its pieces."""

import numpy as np

from measure.field.kinds.kind_groups import hue_groups, spoken_for


def test_a_gap_that_lies_aslant_of_hue_and_depth_parts_two_kinds():
    # skins deepen with their hue where they are folded, kernels with their size: long clouds side by side
    rng = np.random.default_rng(0)
    along = np.c_[rng.normal(0.0, 1.6, 60), rng.normal(0.0, 0.4, 60)]
    one = along.copy()
    along[30:, 1] += 3.2
    turn = np.deg2rad(25.0)
    aslant, third = (
        np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]]),
        rng.normal(0, 0.5, 60),
    )
    groups = hue_groups(np.c_[along @ aslant, third], np.ones(60))
    assert sorted(sorted(g.tolist()) for g in groups) == [list(range(30)), list(range(30, 60))]
    # one such cloud is not parted
    assert len(hue_groups(np.c_[one @ aslant, third], np.ones(60))) == 1


def test_a_piece_of_a_hue_that_is_surely_skins_is_a_skin_in_doubt_whatever_its_table_says():
    own = np.array([-4.0, -3.0, -3.5, -2.0, -3.0, 1.5, 0.2])
    odds = spoken_for(own, own, np.ones(7), -5.0, 1.0)
    assert (odds < 0.0).all()
    assert np.array_equal(odds[:5], own[:5])  # what is surer by itself stays so
    assert (odds[5:] >= -2.0).all()  # a doubt of 0.12 and more
    assert odds[5] > odds[6]
    # one that is far off the others is not carried along
    assert spoken_for(np.array([5.0]), np.append(own, 5.0), np.ones(8), -5.0, 1.0)[-1] > odds[5]
    # and a hue of which little is known says nothing
    assert np.array_equal(spoken_for(own, own, np.ones(7), -1.8, 1.0), own)


def test_strange_kernels_speak_for_their_hue():
    own = np.array([4.0, 3.0, 2.0, -1.0])
    odds = spoken_for(own, own, np.ones(4), 4.0, 0.0)
    assert np.allclose(odds, -spoken_for(-own, -own, np.ones(4), -4.0, 0.0))
    assert odds[3] > 0.0


def test_few_sheets_among_known_kernels_stay_skins_and_many_are_kernels():
    few = np.array([4.0] * 9 + [-1.0])
    assert np.array_equal(spoken_for(few, few, np.ones(10), 5.0, 1.0), few)
    many = np.array([2.0] * 6 + [-1.0] * 4)
    assert (spoken_for(many, many, np.ones(10), 5.0, 1.0) > 0.0).all()


def test_a_hue_in_which_tables_firmly_see_two_kinds_is_left_as_it_is():
    own = np.array([-4.5] * 6 + [4.0] * 4)
    assert np.array_equal(spoken_for(own, own, np.ones(10), -6.0, 1.0), own)
