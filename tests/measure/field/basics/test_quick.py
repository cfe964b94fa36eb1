"""Quick median, percentile and length against the reference library, to the last digit."""

import numpy as np
import pytest

from measure.field.basics import quick


@pytest.mark.parametrize("kind", [np.float32, np.float64])
def test_equal_to_the_reference_library(kind):
    rng = np.random.default_rng(3)
    for count in [*range(1, 40), 500, 501]:
        values = rng.normal(size=count).astype(kind)
        assert quick.median(values) == float(np.median(values))
        for percent in (0.5, 25, 60, 75, 80, 85, 99.5):
            assert quick.percentile(values, percent) == float(np.percentile(values, percent))


@pytest.mark.parametrize("count", [30_001, 40_000, 99_999])
@pytest.mark.parametrize("kind", [np.float32, np.float64, np.uint8])
def test_many_values_are_told_from_those_between_bounds(count, kind):
    rng = np.random.default_rng(count)
    even = (100.0 + 30.0 * rng.standard_t(3, count)).clip(0, 255).astype(kind)
    few_tones = rng.choice(np.array([0, 7, 200], kind), count)
    # every 16th value, which tells the bounds, is unlike all others: the bounds are wrong
    misleading = even.copy()
    misleading[::16] = 250
    for values in (even, np.sort(even), np.sort(even)[::-1], few_tones, misleading, np.full(count, kind(3))):
        assert quick.median(values) == float(np.median(values))
        for percent in (0, 0.001, 5, 50, 95, 99.99, 100):
            reference = np.percentile(values if kind is not np.uint8 else values.astype(float), percent)
            assert quick.percentile(values, percent) == float(reference)


def test_values_are_left_as_they_are():
    values = np.array([3.0, 1.0, 2.0])
    quick.median(values)
    quick.percentile(values, 80)
    assert values.tolist() == [3.0, 1.0, 2.0]


@pytest.mark.parametrize("kind", [np.float32, np.float64])
@pytest.mark.parametrize("shape", [(0, 3), (1, 3), (7, 3), (15_000, 3), (40, 50, 3)])
def test_lengths_are_those_of_the_reference_library(kind: type, shape: tuple[int, ...]):
    colours = np.random.default_rng(4).normal(0.0, 30.0, shape).astype(kind)
    found = quick.length(colours)
    assert found.dtype == kind
    assert np.array_equal(found, np.linalg.norm(colours, axis=-1))


@pytest.mark.parametrize("count", [1, 2, 3, 17, 1001, 20_000])
@pytest.mark.parametrize("kind", [np.float32, np.float64])
def test_means_are_those_of_the_library_to_the_last_digit(count: int, kind: type) -> None:
    colours = np.random.default_rng(count).normal(20.0, 30.0, (count, 3)).astype(kind)
    np.testing.assert_array_equal(quick.mean_colour(colours), colours.mean(axis=0))
    np.testing.assert_array_equal(quick.mean_channel(colours), colours.mean(axis=1))
    assert quick.mean_colour(colours).dtype == quick.mean_channel(colours).dtype == kind


@pytest.mark.parametrize("kind", [np.uint8, np.int8, np.uint16])
def test_middles_of_whole_numbers_do_not_run_over(kind):
    top = np.iinfo(kind).max
    values = np.array([0, top - 1, top, top], kind)
    assert quick.median(values) == top - 0.5
    assert quick.percentile(values, 50) == top - 0.5
    assert quick.percentile(np.array([np.iinfo(kind).min, top], kind), 25) == pytest.approx(
        np.percentile(np.array([np.iinfo(kind).min, top], float), 25)
    )


@pytest.mark.parametrize("count", [1, 2, 3, 40, 41, 1500, 1501, 4000])
@pytest.mark.parametrize("kind", [np.float32, np.float64])
def test_colours_are_worked_out_as_the_library_does(count: int, kind: type) -> None:
    rng = np.random.default_rng(count)
    colours = rng.normal(0.0, 20.0, (count, 3)).astype(kind)
    middle = quick.median_colour(colours)
    np.testing.assert_array_equal(middle, np.median(colours, axis=0))
    np.testing.assert_array_equal(quick.less(colours, middle), colours - middle)
    weight = rng.random(count).astype(kind)
    np.testing.assert_array_equal(
        quick.weighted_colour(colours, weight), np.average(colours, axis=0, weights=weight)
    )
    assert quick.quantile(colours[:, 0], 0.7) == float(np.quantile(colours[:, 0], 0.7))


@pytest.mark.parametrize("share", [0.0, 0.4, 1.0])
def test_colours_are_taken_and_set_where_they_are_marked(share: float) -> None:
    rng = np.random.default_rng(6)
    whole = rng.normal(size=(31, 44, 3)).astype(np.float32)
    for colours in (whole, whole[3:20, 5:30], whole[..., ::-1]):
        where = rng.random(colours.shape[:2]) < share
        found = quick.colours_at(colours, where)
        np.testing.assert_array_equal(found, colours[where])
        assert found.flags.c_contiguous
    wanted, where = whole.copy(), rng.random(whole.shape[:2]) < share
    wanted[where] *= 2
    quick.set_colours(whole, where, 2 * quick.colours_at(whole, where))
    np.testing.assert_array_equal(whole, wanted)


@pytest.mark.parametrize("count", [1, 2, 3, 40, 1500, 1501, 20_000])
@pytest.mark.parametrize("kind", [np.float32, np.float64])
def test_middle_colours_are_those_of_the_library_to_the_last_digit(count: int, kind: type) -> None:
    colours = np.random.default_rng(count).normal(20.0, 30.0, (count, 3)).astype(kind)
    kept = colours.copy()
    middle = quick.median_colour(colours)
    np.testing.assert_array_equal(middle, np.median(colours, axis=0))
    assert middle.dtype == kind
    np.testing.assert_array_equal(colours, kept)


@pytest.mark.parametrize("kind", [np.float32, np.float64])
def test_norms_and_turns_are_those_of_the_library(kind: type) -> None:
    colours = np.random.default_rng(5).normal(0.0, 30.0, (40, 3)).astype(kind)
    for vector in (*colours, colours[:, 1]):
        assert quick.norm(vector) == float(np.linalg.norm(vector))
    for by in (-2, -1, 1, 2):
        np.testing.assert_array_equal(quick.turned(colours, by), np.roll(colours, by, axis=0))


@pytest.mark.parametrize("kind", [np.float32, np.float64, np.int64])
def test_two_percentiles_at_once_are_those_of_one_after_the_other(kind: type) -> None:
    rng = np.random.default_rng(6)
    for count in (1, 2, 3, 40, 1500, 1501, 20_000):
        values = (100.0 * rng.normal(size=count)).astype(kind)
        for first, second in ((0.5, 99.5), (10, 90), (25, 10)):
            expected = quick.percentile(values, first), quick.percentile(values, second)
            assert quick.percentiles(values, first, second) == expected
            assert expected == (float(np.percentile(values, first)), float(np.percentile(values, second)))


@pytest.mark.parametrize("count", [0, 1, 7, 3000])
def test_sums_of_colours_are_those_of_the_reference_library(count):
    colours = np.random.default_rng(5).normal(size=(count, 3)).astype(np.float32)
    assert (quick.summed(colours) == colours.sum(axis=0)).all()
