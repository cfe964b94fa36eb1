"""Means and percentiles against worked examples and published tables."""

import csv
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from measure.errors import InvalidInput
from measure.sizes.distribution import (
    class_shares,
    cumulative,
    density,
    quantiles,
    quantity_name,
    size_classes,
    span,
)
from measure.sizes.grouped import GroupedCounts
from measure.sizes.moments import (
    geometric_mean,
    geometric_sd,
    moment_mean,
    number_sd,
    specific_surface,
)


@pytest.mark.parametrize(
    ("p", "q", "value"),
    [
        (0, -1, 1.636364),
        (0, 0, 1.817121),
        (1, 0, 2.0),
        (2, 0, 2.160247),
        (3, 0, 2.289428),
        (2, 1, 2.333333),
        (3, 1, 2.449490),
        (3, 2, 36 / 14),
        (4, 2, 2.645751),
        (4, 3, 98 / 36),
        (3, 3, 2.659111),
    ],
)
def test_three_sizes_of_equal_count(p, q, value):
    # ISO 9276-2 / ASTM E2578 definitions worked out for 3 x 1, 3 x 2 and 3 x 3
    d = np.array([1.0, 2.0, 3.0])
    assert moment_mean(d, p, q, np.full(3, 3.0)) == pytest.approx(value, abs=1e-6)
    assert moment_mean(np.repeat(d, 3), p, q) == pytest.approx(value, abs=1e-6)


def test_three_sizes_carry_the_published_volume_shares():
    # B. B. Weiner, "What is a discrete particle size distribution?" (2011): 75 % of the volume from the
    # largest third, less than 3 % from the smallest
    d = np.array([1.0, 2.0, 3.0])
    shares = class_shares(d, d**3, np.array([0.5, 1.5, 2.5, 3.5]))
    assert shares == pytest.approx([1 / 36, 8 / 36, 27 / 36])
    assert cumulative(d, d**3, [1.0, 2.0]) == pytest.approx([1 / 36, 9 / 36])


def test_five_sizes_with_counts():
    # power sums by hand: S1..S4 = 7900, 210500, 9092500, 538062500 for 500 pieces
    d, n = np.array([5.0, 10, 20, 40, 80]), np.array([100.0, 200, 150, 40, 10])
    found = [moment_mean(d, p, q, n) for p, q in ((1, 0), (2, 0), (3, 0), (2, 1), (3, 2), (4, 3))]
    assert found == pytest.approx([15.8, 20.518285, 26.296893, 26.645570, 43.194774, 59.176519], abs=1e-6)
    assert geometric_mean(d, n) == pytest.approx(12.483305, abs=1e-6)
    assert moment_mean(d, 0, -1, n) == pytest.approx(10.282776, abs=1e-6)
    assert number_sd(d, n, pieces=500) == pytest.approx(13.103565, abs=1e-6)
    assert specific_surface(d, n) == pytest.approx(6 / 43.194774, rel=1e-6)
    volume = 100 * cumulative(d, n * d**3, d)
    assert volume == pytest.approx([0.137476, 2.337091, 15.534781, 43.689854, 100.0], abs=1e-6)


def test_one_to_ten():
    d = np.arange(1.0, 11.0)
    found = [moment_mean(d, p, q) for p, q in ((1, 0), (2, 0), (3, 0), (2, 1), (3, 2), (4, 3), (0, 0))]
    assert found == pytest.approx(
        [5.5, 6.204837, 6.712873, 7.0, 3025 / 385, 25333 / 3025, 4.528729], abs=1e-6
    )
    assert number_sd(d) == pytest.approx(3.027650, abs=1e-6)


EDGES = np.array([0.5, 1, 1.5, 2, 2.5, 3, 3.5, 4.5, 6, 8, 10])
PERCENT = np.array([10.0, 15, 15, 10, 10, 10, 10, 10, 5, 5])


@pytest.mark.parametrize(
    ("within", "means", "sd", "sd_n1", "last_volume"),
    [
        ("arithmetic", (3.07500, 3.73162, 4.34908, 5.90743, 6.94026, 2.46052), 1.96594, 1.97265, 44.310),
        ("geometric", (3.04584, 3.70135, 4.31514, 5.86494, 6.89198, 2.42516), 1.98782, 1.99471, 44.527),
    ],
)
def test_ten_unequal_classes(within, means, sd, sd_n1, last_volume):
    # a textbook exercise in number per cent; the means worked out by hand with the two usual class middles
    g = GroupedCounts(EDGES, PERCENT, within)
    found = [g.mean(p, q) for p, q in ((1, 0), (2, 0), (3, 0), (3, 2), (4, 3), (0, 0))]
    assert found == pytest.approx(means, abs=1e-5)
    assert g.geometric_sd() == pytest.approx(sd, abs=1e-5)
    assert g.geometric_sd(pieces=100) == pytest.approx(sd_n1, abs=1e-5)
    assert 100 * g.shares(3)[-1] == pytest.approx(last_volume, abs=1e-3)


def test_the_line_between_class_limits_is_named_because_it_matters():
    g = GroupedCounts(EDGES, PERCENT, "arithmetic")
    wanted = [0.1, 0.5, 0.9]
    assert g.quantiles(wanted, 0) == pytest.approx([1.0, 2.5, 6.0])
    assert g.quantiles(wanted, 3) == pytest.approx([3.56804, 7.45417, 9.54864], abs=1e-5)
    assert g.quantiles(wanted, 3, logarithmic=True) == pytest.approx([3.56036, 7.39593, 9.50888], abs=1e-5)
    assert span(*g.quantiles(wanted, 3)) == pytest.approx(0.80232, abs=1e-5)


def test_published_drop_table(real_pictures):
    # ASTM E799, worked example: 6,109 drops in 14 classes, means as the standard states them (rounded to 10
    # um there)
    rows = _rows(real_pictures / "psd_tables" / "astm_e799_drop_example.csv")
    g = GroupedCounts(np.r_[rows[:, 0], rows[-1, 1]], rows[:, 2], "even")
    assert g.counts.sum() == 6109
    published = {
        (1, 0): 1459.4,
        (2, 0): 1646.6,
        (3, 0): 1832.4,
        (2, 1): 1857.8,
        (3, 1): 2053.3,
        (3, 2): 2269.3,
        (4, 3): 2670.8,
    }
    for (p, q), value in published.items():
        assert g.mean(p, q) == pytest.approx(value, abs=0.06), (p, q)
    # the published shares are printed to 0.001 % and cumulate rounding; all but the first agree to that
    assert 100 * g.shares(3) == pytest.approx(rows[:, 3], abs=6e-4)
    middle = GroupedCounts(g.edges, g.counts, "arithmetic")
    assert middle.mean(3, 2) == pytest.approx(2250.9, abs=0.1)
    assert middle.mean(4, 3) == pytest.approx(2638.5, abs=0.1)


def test_published_thousand_counts(real_pictures):
    # B. B. Weiner (2011): 1,000 particles in 10 classes; d10 3.9, d25 5.8, d50 9.0, d75 13.9, d90 21 read
    # from a graph
    rows = _rows(real_pictures / "psd_tables" / "discrete_1000_counts.csv")
    g = GroupedCounts(np.r_[rows[:, 0], rows[-1, 1]], rows[:, 2])
    assert 100 * g.cumulative(0)[1:] == pytest.approx(rows[:, 3], abs=1e-9)
    d10, d25, d50, d75, d90 = g.quantiles([0.1, 0.25, 0.5, 0.75, 0.9], 0)
    assert (d10, d25, d50, d75, d90) == pytest.approx((3.9, 5.8, 9.0, 13.9, 21.0), abs=0.06)
    assert d90 - d10 == pytest.approx(17.1, abs=0.1)
    assert span(d10, d50, d90) == pytest.approx(1.90, abs=0.015)
    assert d75 / d25 == pytest.approx(2.40, abs=0.01)


def _rows(path):
    if not path.is_file():
        pytest.skip(f"{path.name} is not here")
    with path.open(newline="") as file:
        return np.array([[float(v) for v in row] for row in list(csv.reader(file))[1:]])


_SIZES = st.lists(st.floats(0.5, 500.0), min_size=2, max_size=30)


@settings(max_examples=60, deadline=None)
@given(_SIZES, st.floats(0.1, 20.0))
def test_laws_of_means(sizes, factor):
    # ordering, scaling and replication hold for any data
    d = np.array(sizes)
    orders = ((1, 0), (2, 0), (3, 0), (3, 2), (4, 3))
    means = np.array([moment_mean(d, p, q) for p, q in orders])
    assert np.all(np.diff(means) >= -1e-9 * means[-1])
    assert [moment_mean(factor * d, p, q) for p, q in orders] == pytest.approx(factor * means)
    assert [moment_mean(d, p, q, np.full(len(d), 7.0)) for p, q in orders] == pytest.approx(means)


@settings(max_examples=60, deadline=None)
@given(_SIZES, st.integers(2, 5), st.sampled_from([0, 3]))
def test_replication_does_not_move_percentiles(sizes, times, r):
    d = np.array(sizes)
    p = [0.05, 0.1, 0.5, 0.9, 0.95]
    once = quantiles(d, d**r, p)
    assert quantiles(np.tile(d, times), np.tile(d, times) ** r, p) == pytest.approx(once)
    assert quantiles(d, times * d**r, p) == pytest.approx(once)
    assert np.all(np.diff(once) >= 0)
    assert once[0] >= d.min()
    assert once[-1] <= d.max()


def test_percentiles_agree_with_a_reference_library_for_plain_pieces():
    # numpy's "hazen" plotting position is the middle rule when no sizes are equal
    d = np.random.default_rng(3).lognormal(3, 0.5, 501)
    p = np.linspace(0.01, 0.99, 25)
    assert quantiles(d, np.ones(501), p) == pytest.approx(np.quantile(d, p, method="hazen"))


def test_no_pieces_have_no_figures():
    none = np.array([])
    assert math.isnan(moment_mean(none, 4, 3))
    assert math.isnan(geometric_sd(none))
    assert np.isnan(quantiles(none, none, [0.5])).all()
    assert np.isnan(cumulative(none, none, [1.0])).all()
    assert geometric_sd(np.array([5.0])) == 1.0
    assert number_sd(np.array([5.0])) == 0.0


def test_preferred_series_and_even_classes():
    # ISO 3, series R10 and R20
    r20 = size_classes(1.0, 10.0, series="R20")
    assert r20[[0, 1, 7, 19, 20]].tolist() == [1.0, 1.12, 2.24, 9.0, 10.0]
    assert np.max(np.abs(r20 / 10 ** (np.arange(len(r20)) / 20) - 1)) < 0.013
    log = size_classes(2.0, 32.0, series="log", classes=4)
    assert log == pytest.approx([2, 4, 8, 16, 32])
    assert size_classes(2.0, 10.0, series="linear", classes=4) == pytest.approx([2, 4, 6, 8, 10])
    assert len(size_classes(5.0, 5.0)) >= 2


@pytest.mark.parametrize(("low", "high"), [(0.0, 1.0), (5.0, 2.0), (-1.0, 3.0), (float("nan"), 3.0)])
def test_impossible_class_limits_are_refused(low, high):
    with pytest.raises(InvalidInput, match="limits"):
        size_classes(low, high)


def test_unknown_series_and_no_classes_are_refused():
    with pytest.raises(InvalidInput, match="R10"):
        size_classes(1, 2, series="R7")
    with pytest.raises(InvalidInput, match="one size class"):
        size_classes(1, 2, series="log", classes=0)


@pytest.mark.parametrize("r", [0, 1, 2, 3])
def test_density_integrates_to_one(r):
    # ISO 9276-1: the area under q_r over x, and under q*_r over ln x, is one
    rng = np.random.default_rng(r)
    d = rng.lognormal(2.5, 0.6, 2000)
    edges = size_classes(float(d.min()), float(d.max()))
    shares = class_shares(d, d**r, edges)
    assert shares.sum() == pytest.approx(1.0)
    assert (density(edges, shares) * np.diff(edges)).sum() == pytest.approx(1.0)
    assert (density(edges, shares, logarithmic=True) * np.diff(np.log(edges))).sum() == pytest.approx(1.0)
    assert quantity_name(r) in ("number", "length", "area", "volume")


def test_the_largest_piece_on_the_last_limit_is_not_lost():
    assert class_shares(np.array([1.0, 2.0]), np.ones(2), np.array([1.0, 1.5, 2.0])).tolist() == [0.5, 0.5]


@pytest.mark.parametrize(
    ("edges", "counts"),
    [([1, 2], [1, 2]), ([2, 1], [1]), ([-1, 2], [1]), ([1, 2], [0]), ([1, 2], [-1]), ([1, math.nan], [1])],
)
def test_impossible_counts_in_classes_are_refused(edges, counts):
    with pytest.raises(InvalidInput):
        GroupedCounts(edges, counts)


def test_unknown_way_inside_a_class_is_refused():
    with pytest.raises(InvalidInput, match="even"):
        GroupedCounts([1, 2], [1], "somehow")


def test_even_spread_in_a_class_against_many_single_sizes():
    g = GroupedCounts([2.0, 5.0, 9.0], [300, 200])
    fine = np.r_[np.linspace(2, 5, 300_001), np.linspace(5, 9, 200_001)]
    for p, q in ((0, 0), (3, 3), (0, -1), (3, 2)):
        assert g.mean(p, q) == pytest.approx(moment_mean(fine, p, q), rel=1e-4), (p, q)


def test_a_first_class_from_zero_has_no_logarithm():
    with pytest.raises(InvalidInput, match="no logarithm"):
        GroupedCounts([0, 1, 2], [1, 1]).quantiles([0.5], 0, logarithmic=True)
    assert GroupedCounts([0, 1, 2, 3], [0, 1, 1]).quantiles([0.0, 0.5], 0).tolist() == [1.0, 2.0]
