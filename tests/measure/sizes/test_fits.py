"""Log-normal and Rosin-Rammler-Weibull fits against closed forms and drawn data."""

import math

import numpy as np
import pytest

from measure.errors import InvalidInput
from measure.sizes.fits import (
    LogNormalFit,
    WeibullFit,
    fit_log_normal,
    fit_log_normal_counts,
    fit_weibull,
    weibull_through,
)
from measure.sizes.grouped import GroupedCounts
from measure.sizes.sample import make_sample


@pytest.mark.parametrize(
    ("median", "sigma", "values"),
    [
        (1, 2.0, (0.61850, 1.27154, 1.61681, 2.05583, 2.61406, 3.32388, 4.22644, 5.37407)),
        (10, 1.6, (8.01794, 11.16782, 12.47203, 13.92854, 15.55515, 17.37172, 19.40043, 21.66606)),
        (8, 2.2, (4.29640, 10.91649, 14.89621, 20.32678, 27.73712, 37.84898, 51.64723, 70.47578)),
    ],
)
def test_hatch_choate(median, sigma, values):
    # Hatch and Choate, J. Franklin Inst. 207 (1929) 369; factors as in ISO 9276-5
    fit = LogNormalFit(median, sigma, 0.0, 0.0, "")
    found = [fit.mode_um, *(fit.mean_um(p, q) for p, q in ((1, 0), (2, 0), (3, 0), (3, 1), (3, 2)))]
    found += [fit.percentile_um(50, 3), fit.mean_um(4, 3)]
    assert found == pytest.approx(values, abs=6e-6)


def test_log_normal_percentiles_by_volume():
    fit = LogNormalFit(8, 2.2, 0.0, 0.0, "")
    assert [fit.percentile_um(p, 3) for p in (10, 50, 90)] == pytest.approx(
        [18.80246, 51.64723, 141.86634], abs=1e-4
    )
    one = LogNormalFit(1, 2, 0.0, 0.0, "")
    assert [one.percentile_um(p, 3) for p in (10, 90)] == pytest.approx([1.738557, 10.274477], abs=1e-5)


@pytest.mark.parametrize(
    ("size", "n", "x10", "x50", "x90", "span", "d43", "d32"),
    [
        (100, 1.0, 10.53605, 69.31472, 230.25851, 3.169925, 100.0, math.nan),
        (100, 1.5, 22.30755, 78.32198, 174.37215, 1.941532, 90.27453, 37.32822),
        (100, 2.0, 32.45928, 83.25546, 151.74271, 1.432740, 88.62269, 56.41896),
        (60, 1.2, 9.19848, 44.20850, 120.22580, 2.511447, 56.43935, 10.77912),
        (40, 1.8, 11.45785, 32.63095, 63.57567, 1.597190, 35.57147, 20.07132),
    ],
)
def test_rosin_rammler_weibull(size, n, x10, x50, x90, span, d43, d32):
    # ISO 9276-3 form 1 - Q_3 = exp(-(x/x')^n); moments by the gamma function
    fit = WeibullFit(size, n, 0.0, 0.0, "")
    assert [fit.percentile_um(p) for p in (10, 50, 90)] == pytest.approx([x10, x50, x90], abs=1e-4)
    assert fit.span == pytest.approx(span, abs=1e-6)
    assert fit.volume_mean_um() == pytest.approx(d43, abs=1e-5)
    assert fit.sauter_mean_um() == pytest.approx(d32, abs=1e-5, nan_ok=True)


def test_two_sieve_points_are_undersize_points():
    # Rosin-Rammler example of an engineering handbook table: 90 % passes 850 µm and 30 % passes 212 µm
    fit = weibull_through((850, 0.90), (212, 0.30))
    assert (fit.exponent, fit.size_um) == pytest.approx((1.343004, 456.7866), abs=1e-4)
    # read as "retained" the shares would fall with size, which no curve does
    with pytest.raises(InvalidInput, match="rise"):
        weibull_through((850, 0.10), (212, 0.70))


def _drawn(rng, n, median=12.0, sigma=1.7):
    return median * np.exp(math.log(sigma) * rng.standard_normal(n))


@pytest.mark.parametrize("limit", [0.0, 6.0, 12.0])
def test_log_normal_found_again_behind_a_lower_limit(limit):
    rng = np.random.default_rng(4)
    d = _drawn(rng, 30_000)
    sample = make_sample(d[d >= limit], smallest_um=limit if limit else math.nan)
    fit = fit_log_normal(sample)
    # at a limit on the median about 1.5 % of chance error is left; ignoring the cut would give 20.5 µm and
    # 1.38
    assert fit.median_um == pytest.approx(12.0, rel=0.03)
    assert fit.sigma_g == pytest.approx(1.7, rel=0.015)
    assert "within chance" in fit.words


def test_weights_stand_for_pieces():
    rng = np.random.default_rng(5)
    d = _drawn(rng, 3000)
    twice = fit_log_normal(make_sample(np.r_[d, d]))
    weighted = fit_log_normal(make_sample(d, count=np.full(3000, 2.0)))
    assert weighted.median_um == pytest.approx(twice.median_um)
    assert weighted.sigma_g == pytest.approx(twice.sigma_g)


def test_a_distribution_of_another_form_is_said_not_to_fit():
    rng = np.random.default_rng(6)
    two_humps = np.r_[_drawn(rng, 2000, 6.0, 1.15), _drawn(rng, 2000, 40.0, 1.15)]
    assert "do not follow" in fit_log_normal(make_sample(two_humps)).words
    by_volume = make_sample(two_humps, volume_um3=np.ones(4000))
    assert "do not follow" in fit_weibull(by_volume).words


def test_weibull_found_again_behind_a_lower_limit():
    rng = np.random.default_rng(7)
    # pieces drawn by volume: each then stands for one unit of it
    x = 40 * rng.weibull(1.8, 40_000)
    x = x[x >= 8]
    fit = fit_weibull(make_sample(x, volume_um3=np.ones(len(x)), smallest_um=8.0))
    assert fit.size_um == pytest.approx(40.0, rel=0.015)
    assert fit.exponent == pytest.approx(1.8, rel=0.02)
    assert "within chance" in fit.words


def test_weibull_without_a_limit_against_a_reference_library():
    from scipy.stats import weibull_min

    x = 25 * np.random.default_rng(8).weibull(2.4, 500)
    fit = fit_weibull(make_sample(x, volume_um3=np.ones(500)))
    shape, _, scale = weibull_min.fit(x, floc=0)
    assert (fit.exponent, fit.size_um) == pytest.approx((shape, scale), rel=1e-3)


def test_counts_in_classes(real_pictures):
    path = real_pictures / "psd_tables" / "gravel_template_counts.csv"
    if not path.is_file():
        pytest.skip("the gravel counts are not here")
    # Rice and Church (1996): 3,574 river gravels through templates, skewed on a logarithmic axis
    rows = np.loadtxt(path, delimiter=",", skiprows=1)
    counts = GroupedCounts(np.r_[rows[:, 0], rows[-1, 1]], rows[:, 3])
    assert counts.counts.sum() == 3574
    fit = fit_log_normal_counts(counts)
    assert "do not follow" in fit.words
    # grouped maximum likelihood of a normal in ln x stays near the moments of the class middles
    assert fit.median_um == pytest.approx(
        GroupedCounts(counts.edges, counts.counts, "geometric").mean(0, 0), rel=0.03
    )


def test_drawn_counts_in_classes_are_found_again():
    rng = np.random.default_rng(9)
    d = _drawn(rng, 20_000)
    edges = np.r_[8.0, np.geomspace(10, 200, 14)]
    counts, _ = np.histogram(d, edges)
    fit = fit_log_normal_counts(GroupedCounts(edges, counts))
    assert (fit.median_um, fit.sigma_g) == pytest.approx((12.0, 1.7), rel=0.03)


def test_too_few_sizes_are_refused():
    sample = make_sample(np.array([3.0, 3.0, 4.0]))
    for fit in (fit_log_normal, fit_weibull):
        with pytest.raises(InvalidInput, match="three different sizes"):
            fit(sample)
