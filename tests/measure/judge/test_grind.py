"""Laws of grinding against closed forms, scipy's fits, and simulated mills."""

import math

import numpy as np
import pytest
from scipy.optimize import curve_fit

from measure.errors import InvalidInput
from measure.judge.grind import GrindPoint, fit_grind, step_no_longer_noticed
from measure.judge.grind_forecast import forecast
from measure.judge.grind_models import BOND, FIRST_ORDER, KICK, LINE, PLATEAU, RITTINGER, SIZE_LAWS, predict


def points(law, doses, sd=0.02, noise=None):
    noise = np.zeros(len(doses)) if noise is None else noise
    values = [law(t) * math.exp(e) for t, e in zip(doses, noise, strict=True)]
    return [
        GrindPoint(t, v, v * math.exp(-1.96 * sd), v * math.exp(1.96 * sd), f"{t}")
        for t, v in zip(doses, values, strict=True)
    ]


def rittinger(t):
    return 1 / (1 / 120 + (1 / 30 - 1 / 120) / 20 * t)


def plateau(t):
    return 12 + 108 * math.exp(-0.15 * t)


@pytest.mark.parametrize(
    ("law", "numbers", "doses", "expected"),
    [
        # Rittinger's law (new surface for energy) at constant power, x0 120, x(20) 30; derived values
        (RITTINGER, [120, 0.00125], [0, 5, 10, 20, 30, 40], [120, 68.5714, 48, 30, 21.8182, 17.1429]),
        # Bond's law at constant power, 1/sqrt(x) = 0.1 + 0.01 t; derived values
        (BOND, [100, 0.01], [0, 5, 10, 20, 30], [100, 44.4444, 25, 11.1111, 6.25]),
        # exponential approach to a plateau; derived values
        (PLATEAU, [12, 108, 0.15], [0, 5, 10, 20, 30], [120, 63.0156, 36.0981, 17.3770, 13.1998]),
        # first-order oversize; derived values
        (FIRST_ORDER, [0.4, 0.1], [0, 5, 10, 20, 30], [0.4, 0.24261, 0.14715, 0.05413, 0.01991]),
    ],
)
def test_laws_take_their_derived_values(law, numbers, doses, expected):
    found = predict(law, np.log([numbers]), np.array(doses, dtype=float))[0]
    assert found == pytest.approx(expected, rel=1e-3)
    # and backwards: the dose that gives each value
    for dose, value in zip(doses, found, strict=True):
        assert law.dose(np.array([numbers], dtype=float), value)[0] == pytest.approx(dose, abs=1e-6)


def test_ratio_of_grinding_energies_follows_rittinger():
    # energy 20 -> 10 over energy 100 -> 20 is 1.25 by Rittinger (.05 / .04), derived
    numbers = np.array([[1e9, 1.0]])
    energy = [RITTINGER.dose(numbers, x)[0] for x in (100.0, 20.0, 10.0)]
    assert (energy[2] - energy[1]) / (energy[1] - energy[0]) == pytest.approx(1.25, rel=1e-6)


def test_ratios_of_grinding_energies_by_bond_and_kick():
    # the same ratio by Bond (.926210 / 1.236068 per work index) and Kick (ln 2 / ln 5), derived
    for law, ratio in ((BOND, 0.749319), (LINE, 0.430677)):
        energy = [law.dose(np.array([[1000.0, 1.0]]), x)[0] for x in (100.0, 20.0, 10.0)]
        assert (energy[2] - energy[1]) / (energy[1] - energy[0]) == pytest.approx(ratio, rel=1e-5)
    # 1000 -> 100 um takes .683772 of the work index, E = 10 W (1 / sqrt(x) - 1 / sqrt(x0)), derived
    assert 10 * BOND.dose(np.array([[1000.0, 1.0]]), 100.0)[0] == pytest.approx(0.683772, rel=1e-5)


def bond(t):
    return (120**-0.5 + 0.012 * t) ** -2


@pytest.mark.parametrize("doses", [(0, 2, 4, 6), (1, 3, 6)])
def test_a_mill_of_bond_s_law_is_not_said_to_level_off(doses):
    curve = fit_grind(points(bond, doses, 0.025))
    assert curve.best.law is BOND
    found = forecast(curve, bond(12.0))
    assert found.dose == pytest.approx(12.0, rel=1e-3)
    assert found.low <= 12 <= found.high
    assert found.plateau == 0
    assert "plateau" not in found.sentence


@pytest.mark.parametrize("fall", [0.05, 0.12])
def test_a_mill_of_kick_s_law_lies_within_the_laws_there_are(fall):
    curve = fit_grind(points(lambda t: 120 * math.exp(-fall * t), (0, 2, 4, 6), 0.025))
    assert curve.best.law is KICK
    found = forecast(curve, 120 * math.exp(-fall * 9))
    assert found.low <= 9 <= found.high


def test_laws_that_never_level_off_share_one_voice():
    # a level curve is described by all laws alike, but for the third number of the one with a plateau
    level = [GrindPoint(t, 40.0, 38.0, 42.0) for t in (1, 2, 4, 6)]
    weights = {f.law: f.weight for f in fit_grind(level, draws=50).fits}
    falling = sum(weights[law] for law in SIZE_LAWS if law is not PLATEAU)
    assert falling == pytest.approx(1 / (1 + math.exp(-1)), abs=1e-3)


def test_exact_data_give_the_law_back():
    curve = fit_grind(points(rittinger, [0, 5, 10, 20, 30]), unit="minutes", draws=200)
    assert curve.best.law is RITTINGER
    assert curve.best.parameters["x0"] == pytest.approx(120, rel=1e-6)
    assert curve.best.parameters["c"] == pytest.approx(0.00125, rel=1e-6)
    curve = fit_grind(points(plateau, [0, 5, 10, 20, 30]), unit="minutes", draws=200)
    assert curve.best.law is PLATEAU
    assert curve.best.parameters["x_inf"] == pytest.approx(12, rel=1e-5)
    assert curve.best.parameters["k"] == pytest.approx(0.15, rel=1e-5)


def test_noisy_fit_and_its_spread_agree_with_scipy():
    doses = [0.0, 4, 8, 12, 18, 24, 30, 40]
    noise = 0.03 * np.random.default_rng(5).standard_normal(8)
    data = points(plateau, doses, 0.03, noise)
    curve = fit_grind(data, unit="minutes", draws=1500)
    fit = next(f for f in curve.fits if f.law is PLATEAU)

    def model(t, a, b, c):
        return np.log(np.exp(a) + np.exp(b - np.exp(c) * t))

    theta, covariance = curve_fit(
        model, doses, np.log([p.value for p in data]), p0=[2.5, 4.6, -1.9], sigma=np.full(8, 0.03),
        absolute_sigma=True,
    )  # fmt: skip
    assert fit.log_parameters[0] == pytest.approx(theta, abs=1e-4)
    wider = max(1.0, math.sqrt(fit.chi_squared / 5))
    assert fit.drawn.std(axis=0) == pytest.approx(wider * np.sqrt(np.diag(covariance)), rel=0.15)


def test_aicc_is_the_published_formula_and_missing_where_it_does_not_exist():
    curve = fit_grind(points(rittinger, [0, 5, 10, 20, 30], 0.05, [0.02, -0.03, 0.01, 0.02, -0.02]), draws=50)
    for fit in curve.fits:
        k, n = len(fit.law.parameters), 5
        assert fit.aicc == pytest.approx(fit.chi_squared + 2 * k + 2 * k * (k + 1) / (n - k - 1))
    assert sum(f.weight for f in curve.fits) == pytest.approx(1)
    few = fit_grind(points(rittinger, [0, 5, 10]), draws=50)
    assert all(math.isnan(f.aicc) for f in few.fits)
    assert any("fourth batch" in w for w in few.warnings)


def test_forecast_of_an_exact_rittinger_mill():
    curve = fit_grind(points(rittinger, [0, 5, 10, 20, 30, 40, 50], 0.005), unit="minutes")
    found = forecast(curve, 12.0)
    # (1/12 - 1/120) / .00125 = 60
    assert found.dose == pytest.approx(60, rel=1e-3)
    assert found.more == pytest.approx(10, abs=0.1)
    assert found.low < 60 < found.high
    assert forecast(curve, 50.0).sentence.startswith("50 µm is reached already")


def test_target_below_the_plateau_is_not_reachable():
    curve = fit_grind(points(plateau, [0, 5, 10, 15, 20, 30, 40]), unit="minutes")
    found = forecast(curve, 10.0)
    assert found.reachable is False
    assert math.isinf(found.dose)
    assert found.sentence.startswith("Not reachable on this mill: plateau at 12 µm")
    above = forecast(curve, 14.0)
    assert above.reachable is True
    assert above.dose == pytest.approx(-math.log(2 / 108) / 0.15, rel=1e-3)


def test_passes_are_whole():
    curve = fit_grind(points(lambda t: 1 / (1 / 100 + 0.004 * t), [1, 2, 3, 5, 7, 9], 0.005))
    found = forecast(curve, 20.0)
    assert found.dose == pytest.approx(10.0, rel=1e-3)
    assert "1 more pass after 9 passes" in found.sentence
    assert "." not in found.sentence.split("more pass")[0]


def test_two_points_give_a_line_and_a_warning_and_no_promise():
    curve = fit_grind(points(rittinger, [0, 10]), unit="minutes")
    assert [f.law.name for f in curve.fits] == ["line"]
    assert "promises nothing" in curve.warnings[0]
    found = forecast(curve, 20.0)
    assert found.reachable is None
    assert math.isnan(found.low)
    assert "no forecast" in found.sentence
    assert np.isnan(curve.band(np.array([5.0]))).all()
    assert curve.values(np.array([0.0, 10.0])) == pytest.approx([120, 48], rel=1e-6)


def test_shares_follow_first_order_oversize():
    data = points(lambda t: 0.4 * math.exp(-0.1 * t), [0, 5, 10, 20, 30])
    curve = fit_grind(data, unit="minutes", is_share=True, draws=300)
    assert curve.best.law is FIRST_ORDER
    assert curve.best.parameters["S"] == pytest.approx(0.1, rel=1e-6)
    found = forecast(curve, 0.01)
    assert found.dose == pytest.approx(math.log(40) / 0.1, rel=1e-3)
    assert "1 %" in found.sentence


def test_step_no_longer_noticed_is_where_one_pass_buys_less_than_seventeen_per_cent():
    curve = fit_grind(points(rittinger, [0, 5, 10, 20, 30]), unit="minutes", draws=50)
    # (1/x0 + c (t + 5)) / (1/x0 + c t) < 1.17 where t > 5 / .17 - 120^-1 / .00125 = 22.7
    assert step_no_longer_noticed(curve, 5.0) == 25.0
    assert math.isnan(step_no_longer_noticed(curve, 5.0, most=3))


def test_scatter_beyond_the_intervals_widens_the_band():
    doses = [1, 2, 3, 4, 6, 8]
    noise = 0.15 * np.array([1, -1, 1, -1, 1, -1])
    calm = fit_grind(points(rittinger, doses, 0.02), draws=300)
    wild = fit_grind(points(rittinger, doses, 0.02, noise), draws=300)
    low, high = calm.band(np.array([5.0]))
    wild_low, wild_high = wild.band(np.array([5.0]))
    assert np.log(wild_high / wild_low) > 3 * np.log(high / low)
    assert any("scatter more" in w for w in wild.warnings)


def test_batches_coarser_with_grinding_are_pointed_out():
    curve = fit_grind(points(lambda t: 20 + t, [1, 2, 3]), draws=50)
    assert any("mix-up" in w for w in curve.warnings)


def test_three_batches_coarser_again_give_no_sure_plateau():
    # an exact fit is impossible, though there are as many batches as numbers in the law
    data = [GrindPoint(t, v, v / 1.1, v * 1.1, f"pass {t}") for t, v in ((1, 60), (3, 30), (6, 45))]
    curve = fit_grind(data)
    assert "'pass 6' is coarser than 'pass 3', which was ground less; look for a mix-up." in curve.warnings
    assert any("scatter more" in text for text in curve.warnings)
    seen = forecast(curve, 28)
    assert seen.reachable is None
    assert seen.plateau_low < 28 < seen.plateau_high
    # within their intervals nothing is said
    calm = [GrindPoint(t, v, v / 1.3, v * 1.3, f"pass {t}") for t, v in ((1, 60), (3, 30), (6, 32))]
    assert not any("mix-up" in text or "scatter" in text for text in fit_grind(calm).warnings)


def three(values, factor=1.1):
    return [
        GrindPoint(t, v, v / factor, v * factor, f"pass {t}") for t, v in zip((1, 3, 6), values, strict=True)
    ]


def test_a_number_that_cannot_be_told_has_no_about_before_it():
    found = forecast(fit_grind(three((40, 39.5, 39), 1.05)), 25)
    assert found.reachable is None
    assert "mill: more than 60 more passes after 6 passes" in found.sentence


@pytest.mark.parametrize("nudge", [0.0, 1e-12, -1e-9, 1e-7])
def test_sizes_that_rise_are_said_not_to_fall_whatever_the_last_digit_of_the_fit(nudge):
    # no law here can rise, so each ends level, at a slope whose digits mean nothing
    exact, nudged = (
        forecast(fit_grind(three([v * (1 + part) for v in (30, 40, 60)])), 25) for part in (0.0, nudge)
    )
    assert math.isinf(exact.dose)
    assert exact.reachable is None
    # drawn about a level curve, half of the batches fall and half rise
    assert exact.never == pytest.approx(0.5, abs=0.03)
    assert exact.sentence == (
        "Probably not reachable on this mill: the size does not fall with grinding; 53 % of the curves that "
        "fit never reach 25 µm. A further batch, ground longer, would tell."
    )
    assert (nudged.never, nudged.sentence) == (exact.never, exact.sentence)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        ([GrindPoint(1, 50, 40, 60, "a")], "two or more different passes"),
        ([GrindPoint(1, 50, 40, 60, "a"), GrindPoint(1, 40, 30, 50, "b")], "two or more"),
        ([GrindPoint(math.nan, 50, 40, 60, "a"), GrindPoint(1, 40, 30, 50, "b")], "'a' has no passes"),
        ([GrindPoint(1, math.nan, 40, 60, "a"), GrindPoint(2, 40, 30, 50, "b")], "'a' has no size"),
    ],
)
def test_nonsense_is_refused(data, words):
    with pytest.raises(InvalidInput, match=words):
        fit_grind(data)


@pytest.mark.parametrize(("is_share", "target"), [(False, 0.0), (False, -3.0), (True, 1.0)])
def test_impossible_targets_are_refused(is_share, target):
    data = [GrindPoint(1, 0.5, 0.4, 0.6), GrindPoint(2, 0.4, 0.3, 0.5), GrindPoint(3, 0.3, 0.2, 0.4)]
    with pytest.raises(InvalidInput, match="target"):
        forecast(fit_grind(data, is_share=is_share, draws=50), target)


def test_simulated_mills_are_covered():
    # a small version of tests/benchmarks/judge_coverage.py
    rng = np.random.default_rng(11)
    doses = [1, 2, 3, 4, 6, 8]
    true = (1 / 25 - 1 / 120) / 0.003
    inside = []
    for seed in range(60):
        data = points(lambda t: 1 / (1 / 120 + 0.003 * t), doses, 0.04, 0.04 * rng.standard_normal(6))
        found = forecast(fit_grind(data, draws=200, seed=seed), 25.0)
        inside.append(found.low <= true <= found.high)
    assert np.mean(inside) >= 0.88
