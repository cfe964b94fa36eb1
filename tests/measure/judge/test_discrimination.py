"""Panel statistics against published tables; scipy's tail sums as a second route."""

import math

import pytest
from scipy import stats

from measure.errors import InvalidInput
from measure.judge.discrimination import (
    GUESS,
    difference_test,
    fewest_correct,
    most_correct_for_similarity,
    power,
    trials_needed,
)

# Minimum correct triangle answers at 10, 5, 1 and 0.1 %: FAO, Manuals of food quality control, Appendix
# (table of the triangle test); 0 where the table has none.
TRIANGLE = """
5: 4,4,5,0 | 6: 5,5,6,0 | 7: 5,5,6,7 | 8: 5,6,7,8 | 9: 6,6,7,8 | 10: 6,7,8,9 | 11: 7,7,8,10 | 12: 7,8,9,10 |
13: 8,8,9,11 | 14: 8,9,10,11 | 15: 8,9,10,12 | 16: 9,9,11,12 | 17: 9,10,11,13 | 18: 10,10,12,13 |
19: 10,11,12,14 | 20: 10,11,13,14 | 21: 11,12,13,15 | 22: 11,12,14,15 | 23: 12,12,14,16 | 24: 12,13,15,16 |
25: 12,13,15,17 | 26: 13,14,15,17 | 27: 13,14,16,18 | 28: 14,15,16,18 | 29: 14,15,17,19 | 30: 14,15,17,19 |
31: 15,16,18,20 | 32: 15,16,18,20 | 33: 15,17,18,21 | 34: 16,17,19,21 | 35: 16,17,19,22 | 36: 17,18,20,22 |
42: 19,20,22,25 | 48: 21,22,25,27 | 54: 23,25,27,30 | 60: 26,27,30,33 | 66: 28,29,32,35 | 72: 30,32,34,38 |
78: 32,34,37,40 | 84: 35,36,39,43 | 90: 37,38,42,45 | 96: 39,41,44,48
"""
ROWS = [
    (int(row.split(":")[0]), [int(v) for v in row.split(":")[1].split(",")]) for row in TRIANGLE.split("|")
]


@pytest.mark.parametrize(("trials", "fewest"), ROWS, ids=[str(r[0]) for r in ROWS])
def test_triangle_table(trials, fewest):
    for alpha, expected in zip((0.10, 0.05, 0.01, 0.001), fewest, strict=True):
        assert fewest_correct("triangle", trials, alpha=alpha) == (expected or trials + 1)


def test_triangle_of_three_and_four_needs_all():
    assert fewest_correct("triangle", 3) == 3
    assert fewest_correct("triangle", 4) == 4


def test_paired_table_by_exact_tails():
    one_sided = {8: 7, 10: 9, 12: 10, 15: 12, 18: 13, 20: 15, 24: 17, 30: 20, 36: 24, 40: 26, 44: 28, 60: 37}
    two_sided = {8: 8, 10: 9, 12: 10, 15: 12, 20: 15, 24: 18, 30: 21, 36: 25, 40: 27, 50: 33, 60: 39}
    for trials, k in one_sided.items():
        assert fewest_correct("paired", trials) == k
        assert stats.binom.sf(k - 1, trials, 0.5) <= 0.05 < stats.binom.sf(k - 2, trials, 0.5)
    for trials, k in two_sided.items():
        assert fewest_correct("paired", trials, two_sided=True) == k


def test_iso_5495_amd_1_one_sided_example():
    # ISO 5495:2005/Amd 1:2016, B.5.2: 21 of 30, p_d 0.4, s_d 0.167, lower limit 0.125
    result = difference_test("paired", 30, 21)
    assert result.discriminators == pytest.approx(0.4)
    assert result.discriminators_error == pytest.approx(0.167, abs=5e-4)
    assert result.discriminators_low == pytest.approx(0.125, abs=1e-3)


def test_iso_5495_amd_1_two_sided_example():
    # ISO 5495:2005/Amd 1:2016, B.5.2: 32 of 44, p_d 0.45, s_d 0.134, limits 0.19 and 0.71 (p_d rounded first)
    result = difference_test("paired", 44, 32, two_sided=True)
    assert result.discriminators == pytest.approx(0.4545, abs=1e-4)
    assert result.discriminators_error == pytest.approx(0.134, abs=5e-4)
    assert result.discriminators_low == pytest.approx(0.191, abs=1e-3)
    assert result.discriminators_high == pytest.approx(0.718, abs=1e-3)


def test_either_side_counts_where_no_direction_was_expected():
    # the same numbers as above, the other way round
    one, other = (difference_test("paired", 44, k, two_sided=True) for k in (32, 12))
    assert one.significant
    assert other.significant
    assert (other.p_value, other.needed) == (one.p_value, one.needed)
    assert (other.discriminators, other.d_prime) == (one.discriminators, one.d_prime)
    assert not difference_test("paired", 44, 12).significant
    for k in range(45):  # what is called significant is what the p-value says
        found = difference_test("paired", 44, k, two_sided=True)
        assert found.significant == (found.p_value <= 0.05)


@pytest.mark.parametrize(("correct", "low", "high"), [(10, 0.05**0.1, 1.0), (0, 0.0, 1 - 0.05**0.1)])
def test_limits_where_all_or_none_are_right(correct, low, high):
    # Clopper and Pearson, Biometrika 26 (1934) 404: the normal approximation would give no width at all
    found = difference_test("triangle", 10, correct)
    limits = [(v - 1 / 3) * 1.5 for v in (low, high)]
    assert [found.discriminators_low, found.discriminators_high] == pytest.approx(limits)


def test_triangle_example_with_d_prime():
    # derived: exact binomial and the delta method
    result = difference_test("triangle", 30, 16)
    assert result.p_value == pytest.approx(stats.binom.sf(15, 30, 1 / 3))
    assert result.d_prime == pytest.approx(1.638313, abs=1e-5)
    assert result.d_prime_standard_error == pytest.approx(0.464232, abs=1e-4)
    assert result.significant
    assert not difference_test("triangle", 30, 14).significant


def test_chocolate_fineness_experiment():
    # Breen et al., Scientific Reports 9 (2019), 17 of 20 and 12 of 24 right at 19 against 26 um;
    # p-values derived here, taking the test as forced choice between two
    assert difference_test("paired", 20, 17).p_value == pytest.approx(0.001288, abs=1e-6)
    assert difference_test("paired", 24, 12).p_value == pytest.approx(0.5806, abs=1e-4)
    assert difference_test("paired", 44, 29).d_prime == pytest.approx(0.5798, abs=1e-4)


def test_below_guessing_has_no_sensitivity():
    result = difference_test("triangle", 30, 8)
    assert result.d_prime == 0
    assert math.isnan(result.d_prime_standard_error)


def test_power_and_numbers_needed():
    assert [trials_needed("triangle", p) for p in (0.2, 0.3, 0.4, 0.5)] == [94, 42, 25, 16]
    assert power("triangle", 42, 0.3) >= 0.8
    assert most_correct_for_similarity("triangle", 30, 0.3) == 11
    assert most_correct_for_similarity("triangle", 60, 0.3) == 25


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("square", 10, 5), "not known"),
        (("triangle", 0, 0), "at least one answer"),
        (("triangle", 10, 11), "not possible"),
        (("triangle", 10, -1), "not possible"),
    ],
)
def test_impossible_entries_are_refused(arguments, words):
    with pytest.raises(InvalidInput, match=words):
        difference_test(*arguments)
    with pytest.raises(InvalidInput, match="alpha"):
        difference_test("triangle", 10, 5, alpha=0.7)
    with pytest.raises(InvalidInput, match="share of discriminators"):
        trials_needed("triangle", 0)
    with pytest.raises(InvalidInput, match=r"2,000"):
        trials_needed("triangle", 0.001)


@pytest.mark.parametrize("method", ["paired", "triangle"])
@pytest.mark.parametrize("two_sided", [False, True])
def test_the_p_value_is_that_of_an_exact_binomial_test(method, two_sided):
    """Against the routine of a library; Clopper and Pearson, Biometrika 26 (1934) 404, for the tails."""
    side = "two-sided" if two_sided else "greater"
    for trials in (1, 7, 30):
        for correct in range(trials + 1):
            exact = stats.binomtest(correct, trials, GUESS[method], alternative=side).pvalue
            found = difference_test(method, trials, correct, two_sided=two_sided).p_value
            assert found == pytest.approx(exact, rel=1e-9)
