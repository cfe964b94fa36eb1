"""Limits of counted shares, and how many pieces are above a size."""

import numpy as np
import pytest
from scipy import stats

from measure.errors import InvalidInput
from measure.sizes.above import pieces_above
from measure.sizes.sample import make_sample
from measure.sizes.shares import exact_limits, most_when_none, wilson_limits


def test_exact_limits():
    # Clopper and Pearson, Biometrika 26 (1934) 404; numbers worked out from the beta distribution
    assert exact_limits(3, 1000) == pytest.approx((0.000619, 0.008742), abs=1e-6)
    assert exact_limits(30, 1000) == pytest.approx((0.020330, 0.042551), abs=1e-6)
    for count, trials in ((0, 5), (1, 1), (7, 12), (12, 12)):
        found = stats.binomtest(count, trials).proportion_ci(0.95, "exact")
        assert exact_limits(count, trials) == pytest.approx((found.low, found.high), abs=1e-12)


def test_exact_limits_hold_the_share_in_at_least_95_of_100_cases_and_wilson_s_in_about_as_many():
    trials, share = 40, 0.03
    chance = stats.binom.pmf(np.arange(trials + 1), trials, share)
    exact, wilson = (
        sum(p for k, p in enumerate(chance) if limits(k, trials)[0] <= share <= limits(k, trials)[1])
        for limits in (exact_limits, wilson_limits)
    )
    assert exact >= 0.95
    assert wilson == pytest.approx(0.95, abs=0.04)


def test_wilson_limits():
    # Wilson, J. Am. Stat. Assoc. 22 (1927) 209 (score method; derived)
    assert wilson_limits(3, 1000) == pytest.approx((0.001021, 0.008783), abs=1e-6)
    assert wilson_limits(30, 1000) == pytest.approx((0.021094, 0.042503), abs=1e-6)
    assert wilson_limits(0, 10)[0] == pytest.approx(0.0, abs=1e-12)


def test_the_rule_of_three():
    # Hanley and Lippman-Hand, JAMA 249 (1983) 1743 (from memory); the exact value is derived
    assert most_when_none(300) == pytest.approx(0.009936, abs=1e-6)
    assert most_when_none(300) == pytest.approx(3 / 300, rel=0.01)
    assert (1 - most_when_none(7)) ** 7 == pytest.approx(0.05)


@pytest.mark.parametrize(("count", "trials"), [(-1, 5), (6, 5), (0, 0)])
def test_impossible_counts_are_refused(count, trials):
    for limits in (exact_limits, wilson_limits):
        with pytest.raises(InvalidInput, match="count from 0 up to the whole"):
            limits(count, trials)


def test_pieces_above_a_size():
    sample = make_sample(np.r_[np.full(997, 10.0), [40.0, 50.0, 60.0]])
    found = pieces_above(sample, 30.0)
    assert (found.number, found.pieces) == (3, 1000)
    assert found.words == (
        "3 of 1,000 pieces are above 30 µm: 0.3 % (95 %: 0.062 % to 0.87 % exactly, 0.1 % to 0.88 % "
        "after Wilson)."
    )
    assert pieces_above(sample, 55.0).words.startswith("1 of 1,000 pieces is above 55 µm: 0.1 %")
    none = pieces_above(make_sample(np.full(300, 10.0)), 30.0)
    assert none.words == "None of 300 pieces is above 30 µm: with 95 % confidence fewer than 0.99 % are."
    assert none.share_words == "fewer than 0.99 % of the pieces"
    assert pieces_above(make_sample(np.zeros(0)), 30.0) is None
    with pytest.raises(InvalidInput, match="must be above 0"):
        pieces_above(sample, 0.0)
