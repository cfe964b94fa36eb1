"""Best-estimate thresholds and the psychometric function against worked cases and known truth."""

import numpy as np
import pytest

from measure.errors import InvalidInput
from measure.judge.psychometric import fit_psychometric
from measure.judge.threshold import group_threshold, individual_threshold

LEVELS = (10, 14.142, 20, 28.284, 40, 56.569, 80)
# worked by hand with the rule of ASTM E679 (rule from memory)
CASES = {
    "0011111": 16.818, "0001111": 23.784, "0100111": 33.636, "1111111": 8.409,
    "0000011": 47.568, "0010111": 33.636, "0000111": 33.636, "0101111": 23.784,
}  # fmt: skip


def _answers(text):
    return [c == "1" for c in text]


@pytest.mark.parametrize(("text", "expected"), CASES.items())
def test_individual_best_estimate(text, expected):
    assert individual_threshold(LEVELS, _answers(text)) == pytest.approx(expected, rel=1e-3)


def test_group_best_estimate():
    answers = {str(i): _answers(t) for i, t in enumerate(CASES)}
    result = group_threshold(LEVELS, answers)
    assert result.group == pytest.approx(24.8372, rel=1e-4)
    assert result.log10_sd == pytest.approx(0.233697, abs=1e-5)
    assert result.group_low < result.group < result.group_high
    assert result.beyond == ("3",)


def test_top_level_missed_lies_beyond():
    result = group_threshold(LEVELS, {"a": _answers("0101110")})
    assert result.group == pytest.approx(80 * np.sqrt(80 / 56.569), rel=1e-4)
    assert result.beyond == ("a",)
    assert np.isnan(result.log10_sd)


def test_bad_series_are_refused():
    with pytest.raises(InvalidInput, match="ascending series"):
        group_threshold((10, 10, 20), {"a": [True] * 3})
    with pytest.raises(InvalidInput, match="2 answers for 3 levels"):
        group_threshold((10, 20, 40), {"a": [True, False]})
    with pytest.raises(InvalidInput, match="No assessor"):
        group_threshold((10, 20, 40), {})


# Public worked data of a two-alternative experiment, 100 answers a level; estimates derived by maximum
# likelihood with a general optimiser
X, N, K = (0.01, 0.02, 0.04, 0.08, 0.16), (100,) * 5, (58, 62, 78, 85, 95)


@pytest.mark.parametrize(
    ("shape", "lapse", "location", "slope", "log_likelihood"),
    [
        ("weibull", 0.0, 0.0625752, 0.907909, -249.83524),
        ("weibull", 0.01, 0.0594320, 0.937978, -249.80847),
        ("logistic", 0.0, 0.0384066, 1.425100, -249.77273),
    ],
)
def test_psychometric_oracle(shape, lapse, location, slope, log_likelihood):
    fit = fit_psychometric(X, N, K, guess=0.5, lapse=lapse, shape=shape)
    assert fit.location == pytest.approx(location, rel=1e-4)
    assert fit.slope == pytest.approx(slope, rel=1e-4)
    assert fit.log_likelihood == pytest.approx(log_likelihood, abs=1e-4)
    assert fit.threshold_low < fit.threshold < fit.threshold_high
    assert fit.felt(np.array([fit.threshold]))[0] == pytest.approx(0.5)


def test_threshold_is_unbiased_over_200_panels():
    rng, x = np.random.default_rng(3), np.array([10, 14, 20, 28, 40, 56, 80.0])
    chance = 1 / 3 + (2 / 3 - 0.02) / (1 + (x / 27.0) ** -3.5)
    fits = [
        fit_psychometric(x, [40] * 7, rng.binomial(40, chance), guess=1 / 3, refits=40, seed=i)
        for i in range(200)
    ]
    assert np.median([f.threshold for f in fits]) == pytest.approx(27.0, rel=0.05)
    assert np.exp(np.mean(np.log([f.threshold for f in fits]))) == pytest.approx(27.0, rel=0.05)


def test_a_curve_that_cannot_carry_a_threshold_says_so():
    flat = fit_psychometric((10, 20, 40), (30, 30, 30), (10, 11, 10), guess=1 / 3, refits=50)
    assert flat.warnings
    with pytest.raises(InvalidInput, match="three or more sizes"):
        fit_psychometric((10, 20), (5, 5), (1, 2), guess=0.5)
    with pytest.raises(InvalidInput, match="ascend"):
        fit_psychometric((20, 10, 40), (5, 5, 5), (1, 2, 3), guess=0.5)
    with pytest.raises(InvalidInput, match="between 0 and"):
        fit_psychometric((10, 20, 40), (5, 5, 5), (1, 2, 6), guess=0.5)
    with pytest.raises(InvalidInput, match="leave room"):
        fit_psychometric((10, 20, 40), (5, 5, 5), (1, 2, 3), guess=0.5, lapse=0.6)
    with pytest.raises(InvalidInput, match="not known"):
        fit_psychometric((10, 20, 40), (5, 5, 5), (1, 2, 3), guess=0.5, shape="step")
