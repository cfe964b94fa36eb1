import numpy as np
import pytest

from measure.errors import InvalidInput
from measure.judge.spot_check import agreement, choose_blind

# Peak expiratory flow, l/min, of 17 people by two meters: table 1 of Bland and Altman (1986), first readings
LARGE = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
MINI = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]


def test_the_worked_example_of_bland_and_altman():
    # the paper: mean difference -2.1, s 38.8, limits -79.7 and 75.5 with a factor of 2; standard error of the
    # mean 9.4, its interval -22.0 to 17.8; of a limit 16.3 (from sqrt(3/n) s), t 2.12 at 16 degrees
    found = agreement(MINI, LARGE)
    assert found.pairs == 17
    assert found.bias == pytest.approx(-2.1, abs=0.05)
    assert found.standard_deviation == pytest.approx(38.8, abs=0.05)
    assert found.bias_interval == pytest.approx((-22.0, 17.8), abs=0.1)
    assert found.lower == pytest.approx(-2.1 - 1.96 * 38.8, abs=0.1)
    assert found.upper == pytest.approx(-2.1 + 1.96 * 38.8, abs=0.1)
    half = (found.upper_interval[1] - found.upper_interval[0]) / 2
    # with the exact standard error, which the paper rounds to sqrt(3/n) s: 16.3 x 2.12 = 34.5
    assert half == pytest.approx(34.5, rel=0.03)


def test_intervals_cover_the_truth_as_often_as_they_say():
    rng = np.random.default_rng(4)
    hits = np.zeros(3)
    trials = 400
    for _ in range(trials):
        hand = rng.uniform(20, 60, 15)
        found = agreement(hand, hand + rng.normal(0.5, 2.0, 15))
        for i, (interval, truth) in enumerate(
            [
                (found.bias_interval, 0.5),
                (found.lower_interval, 0.5 - 1.96 * 2.0),
                (found.upper_interval, 0.5 + 1.96 * 2.0),
            ]
        ):
            hits[i] += interval[0] <= truth <= interval[1]
    assert hits / trials == pytest.approx([0.95] * 3, abs=0.035)


def test_relative_differences_are_ratios():
    rng = np.random.default_rng(2)
    hand = rng.lognormal(3, 0.5, 40)
    found = agreement(hand, hand * 1.03 * np.exp(rng.normal(0, 0.02, 40)), relative=True)
    assert found.bias == pytest.approx(0.03, abs=0.008)
    assert found.lower < found.bias < found.upper
    assert found.difference.shape == (40,)
    assert "larger" in found.text
    assert "%" in found.text


def test_a_bias_that_grows_shows_as_trend():
    hand = np.linspace(10, 90, 30)
    found = agreement(hand, hand * 1.1 + np.sin(np.arange(30)))
    assert found.trend_interval[0] > 0
    assert found.trend == pytest.approx(0.1 / 1.05, rel=0.1)
    flat = agreement([20, 20, 20], [20, 20, 20])
    assert np.isnan(flat.trend)


def test_no_bias_is_said_to_be_none_shown():
    rng = np.random.default_rng(8)
    hand = rng.uniform(20, 60, 30)
    noise = rng.normal(0, 1, 30)
    found = agreement(hand, hand + noise - noise.mean() + 0.01)
    assert "no bias" in found.text


def test_bad_pairs_are_refused():
    for hand, tool, words in (
        ([1, 2, 3], [1, 2], "pairs"),
        ([1, 2], [1, 2], "at least 3"),
        ([1, 2, 0], [1, 2, 3], "above zero"),
        ([1, 2, np.nan], [1, 2, 3], "above zero"),
    ):
        with pytest.raises(InvalidInput, match=words):
            agreement(hand, tool)
    with pytest.raises(InvalidInput, match="confidence"):
        agreement([1, 2, 3], [1, 2, 3], confidence=95)


def test_the_blind_draw_is_fair_repeatable_and_skips_what_is_done():
    labels = list(range(100, 140))
    assert choose_blind(labels, 10, 3) == choose_blind(labels, 10, 3)
    assert not set(choose_blind(labels, 40, 3, already=[100, 101])) & {100, 101}
    assert len(choose_blind(labels, 90, 1)) == 40
    drawn = np.bincount([v - 100 for s in range(600) for v in choose_blind(labels, 10, s)], minlength=40)
    # each is drawn 150 times on average; five standard deviations either way
    assert abs(drawn - 150).max() < 5 * np.sqrt(600 * 0.25 * 0.75)
    with pytest.raises(InvalidInput, match="at least one"):
        choose_blind(labels, 0, 1)
