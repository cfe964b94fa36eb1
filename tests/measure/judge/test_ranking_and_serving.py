"""Ranking statistics against scipy, and balanced, blind, repeatable serving plans."""

from collections import Counter

import numpy as np
import pytest
from scipy import stats

from measure.errors import InvalidInput
from measure.judge.ranking import rank_test
from measure.judge.serving import make_servings

NAMES = ("pass 1", "pass 3", "pass 6")


def test_friedman_agrees_with_scipy_also_with_ties():
    rng = np.random.default_rng(5)
    scores = rng.integers(1, 5, size=(12, 4)).astype(float)
    ranks = stats.rankdata(scores, axis=1)
    ours = rank_test(ranks, ("a", "b", "c", "d"))
    theirs = stats.friedmanchisquare(*scores.T)
    assert ours.friedman == pytest.approx(theirs.statistic)
    assert ours.friedman_p == pytest.approx(theirs.pvalue)


def test_page_follows_the_expected_order():
    ranks = np.array([[3, 2, 1], [3, 2, 1], [2, 3, 1], [3, 2, 1], [3, 1, 2], [3, 2, 1]], dtype=float)
    right = rank_test(ranks, NAMES, expected=("pass 6", "pass 3", "pass 1"))
    wrong = rank_test(ranks, NAMES, expected=NAMES)
    assert right.page_p < 0.01 < 0.9 < wrong.page_p
    # L = sum of expected rank times rank sum, by hand: 1*7 + 2*12 + 3*17
    assert right.page == 1 * 7 + 2 * 12 + 3 * 17


def test_no_ranking_is_refused():
    with pytest.raises(InvalidInput, match="Row 2"):
        rank_test(np.array([[1, 2, 3], [1, 1, 3]]), NAMES)
    with pytest.raises(InvalidInput, match="two assessors"):
        rank_test(np.array([[1, 2, 3]]), NAMES)
    with pytest.raises(InvalidInput, match="every sample once"):
        rank_test(np.array([[1, 2]]), NAMES)
    with pytest.raises(InvalidInput, match="expected order"):
        rank_test(np.array([[1, 2, 3], [1, 2, 3]]), NAMES, expected=("x", "y", "z"))


def test_triangle_orders_are_balanced_and_codes_blind():
    people = tuple(f"taster {i}" for i in range(1, 13))
    plan = make_servings("triangle", ("pass 3", "pass 6"), people, seed=11)
    assert set(Counter(s.samples for s in plan).values()) == {2}
    for plate in plan:
        assert len(set(plate.codes)) == 3
        assert all(100 < int(c) < 1000 for c in plate.codes)
        odd = plate.samples[plate.codes.index(plate.answer)]
        assert plate.samples.count(odd) == 1
    assert plan == make_servings("triangle", ("pass 3", "pass 6"), people, seed=11)
    assert plan != make_servings("triangle", ("pass 3", "pass 6"), people, seed=12)


def test_paired_answer_is_the_first_named():
    for plate in make_servings("paired", ("pass 1", "pass 6"), ("a", "b", "c"), rounds=2, seed=1):
        assert plate.samples[plate.codes.index(plate.answer)] == "pass 1"


def test_series_ascends_against_the_reference():
    plan = make_servings("series", ("smooth", "20", "28", "40"), ("a", "b"), seed=2)
    assert len(plan) == 6
    assert [next(s for s in p.samples if s != "smooth") for p in plan[:3]] == ["20", "28", "40"]
    assert all(p.samples.count("smooth") == 2 for p in plan)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("guessing", ("a", "b"), ("x",)), "not known"),
        (("triangle", ("a", "b", "c"), ("x",)), "exactly 2 samples"),
        (("triangle", ("a", "a"), ("x",)), "named once"),
        (("triangle", ("a", "b"), ()), "at least one assessor"),
    ],
)
def test_plans_that_do_not_fit(arguments, words):
    with pytest.raises(InvalidInput, match=words):
        make_servings(*arguments, seed=1)
    with pytest.raises(InvalidInput, match="rounds"):
        make_servings("paired", ("a", "b"), ("x",), rounds=0, seed=1)
