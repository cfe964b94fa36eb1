"""The coarse end continued: its fit, how far it may go, and that intervals of few pieces hold."""

import math
from statistics import NormalDist

import numpy as np
import pytest

from measure.judge.felt import FELT_SHARE, FeltProfile
from measure.sizes.coarse_tail import coarse_tail, continued
from measure.sizes.figures import figures, ladder_figures
from measure.sizes.sample import make_sample
from measure.sizes.summary import summarise


def _log_normal(seed: int, pieces: int, sigma: float, fields: int = 8):
    rng = np.random.default_rng(seed)
    return make_sample(
        12 * np.exp(sigma * rng.standard_normal(pieces)), field=rng.integers(0, fields, pieces)
    )


def test_the_fit_is_the_likeliest_curve_and_its_limit_that_of_the_likelihood():
    from scipy.optimize import brentq, minimize_scalar

    sample = _log_normal(1, 900, 0.5)
    tail = coarse_tail(sample)
    assert len(tail.rows) == 120  # 4 sqrt(900)
    assert np.array_equal(np.sort(np.r_[tail.rows, tail.below]), np.arange(900))
    d = np.sort(sample.diameter_um)
    cut, coarse = math.log(d[-121]), np.log(d[-120:])
    score = NormalDist().inv_cdf(1 - 120 / 900)

    def against(s):  # pieces above the cut by their sizes, the curve held to the share above it
        return (np.log(s) + ((coarse - (cut - score * s)) / s) ** 2 / 2).sum()

    best = minimize_scalar(against, bounds=(0.05, 3), method="bounded", options={"xatol": 1e-9})
    assert tail.spread == pytest.approx(best.x, rel=1e-5)
    limit = brentq(lambda s: against(s) - best.fun - 3.841459 / 2, best.x, 3)  # chi-squared, from tables
    assert tail.spread_high == pytest.approx(limit, rel=1e-4)


def test_the_continued_curve_of_many_pieces_is_their_own():
    # a log-normal batch continued as one keeps the figures of its distribution (Hatch and Choate 1929)
    sample = _log_normal(2, 40_000, 0.45)
    tail = coarse_tail(sample)
    found = ladder_figures(continued(sample, tail, tail.spread), np.ones((1, 1)))
    for name, power in (("volume.x50_um", 3.0), ("means_um.D[4,3]", 3.5), ("means_um.D[3,2]", 2.5)):
        assert found[name][0] == pytest.approx(12 * math.exp(power * 0.45**2), rel=0.02), name
    assert found["volume.x90_um"][0] == pytest.approx(12 * math.exp(3 * 0.45**2 + 1.281552 * 0.45), rel=0.02)


def test_shares_and_flakes_follow_their_kind():
    rng = np.random.default_rng(3)
    d = 20 * np.exp(0.4 * rng.standard_normal(400))
    kind = rng.integers(0, 3, 400)
    volume = np.where(kind == 1, 12 * math.pi / 4 * d**2, math.pi / 6 * d**3)  # flakes of 12 um
    sample = make_sample(d, kind=kind, volume_um3=volume, field=np.arange(400) % 5)
    tail = coarse_tail(sample)
    rules = {FELT_SHARE: FeltProfile().probability, "flakes": lambda k, _d: (k == 1).astype(float)}
    ladder = continued(sample, tail, tail.spread, rules)
    found, plain = ladder_figures(ladder, np.ones((1, 1))), figures(sample, shares=rules)
    for name in rules:
        assert found[name][0] == pytest.approx(plain[name], rel=0.15), name
    assert ladder.number.sum() == pytest.approx(400)
    wide = ladder_figures(continued(sample, tail, 2 * tail.spread, rules), np.ones((1, 1)))
    assert wide["flakes"][0] < 0.5 * plain["flakes"]  # spheres grow with the cube
    only = make_sample(d, kind=np.ones(400, dtype=int), volume_um3=12 * math.pi / 4 * d**2)
    tail = coarse_tail(only)
    volumes = continued(only, tail, tail.spread).volume[0]
    sizes = continued(only, tail, tail.spread).size_um
    numbers = continued(only, tail, tail.spread).number[0]
    assert volumes == pytest.approx(numbers * 12 * math.pi / 4 * sizes**2)


@pytest.mark.parametrize("sizes", [[], [5.0], [5.0] * 40, [4.0, 5, 6, 7], [5.0] * 30 + [6.0]])
def test_too_few_sizes_tell_of_no_spread(sizes):
    assert coarse_tail(make_sample(np.array(sizes, dtype=float))) is None


def test_rows_that_stand_for_many_pieces_count_as_those():
    sample = _log_normal(4, 900, 0.5)
    d = np.round(np.log(sample.diameter_um), 2)
    logs, count = np.unique(d, return_counts=True)
    one, many = coarse_tail(make_sample(np.exp(d))), coarse_tail(make_sample(np.exp(logs), count=count))
    assert many.spread == pytest.approx(one.spread, rel=0.03)
    assert many.spread_high == pytest.approx(one.spread_high, rel=0.04)


def test_figures_of_single_pieces_keep_their_intervals(monkeypatch):
    sample = _log_normal(5, 240, 0.6)
    found = summarise(sample, resamples=200)
    monkeypatch.setattr("measure.sizes.intervals.coarse_tail", lambda _sample: None)
    before = summarise(sample, resamples=200)
    for name in before.uncertainties:
        same = found.interval(name) == before.interval(name)
        assert same if name.startswith("number.") or name == "means_um.D[1,0]" else True, name
        assert found.interval(name)[0] == before.interval(name)[0]
        assert not found.interval(name)[1] < before.interval(name)[1]
    assert found.interval("volume.x90_um")[1] > before.interval("volume.x90_um")[1]
    assert found.uncertainties["volume.x90_um"].unseen > before.uncertainties["volume.x90_um"].unseen


def test_few_pieces_of_a_wide_spread_hold_the_truth(monkeypatch):
    # closed forms of the log-normal distribution (Hatch and Choate 1929); eight fields of 25 pieces. With
    # fields drawn anew and one more piece alone 49 of these 60 intervals of D[4,3] and 47 of x90,3 held it
    s = math.log(1.8)
    truth = {
        "volume.x90_um": 12 * math.exp(3 * s * s + 1.2815516 * s),
        "means_um.D[4,3]": 12 * math.exp(3.5 * s * s),
    }
    held = dict.fromkeys(truth, 0)
    for seed in range(60):
        summary = summarise(_log_normal(100 + seed, 200, s), resamples=60, seed=seed)
        for name, true in truth.items():
            low, high = summary.interval(name)
            held[name] += low <= true <= high
    assert min(held.values()) >= 56
