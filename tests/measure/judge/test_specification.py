"""A specification held against a batch, by guard band."""

import math

import numpy as np
import pytest

from measure.errors import InvalidInput
from measure.judge.felt_strays import poisson_limits
from measure.judge.specification import PIECES_ABOVE, Clause, Specification, check
from measure.sizes.sample import make_sample
from measure.sizes.summary import summarise

GRIND = Specification(
    "smooth spread", (Clause("volume.x90_um", 60.0), Clause(PIECES_ABOVE, 1.0, size_um=250.0))
)


@pytest.fixture(scope="module")
def batch():
    rng = np.random.default_rng(0)
    d = 12 * np.exp(0.4 * rng.standard_normal(4000))
    sample = make_sample(d, field=np.repeat(np.arange(10), 400))
    return sample, summarise(sample, resamples=200)


def test_guard_band(batch):
    # JCGM 106: accept only when the whole interval is inside, reject only when it is wholly outside
    sample, summary = batch
    low, high = summary.interval("volume.x90_um")
    outcomes = {}
    for limit in (high * 1.01, (low + high) / 2, low * 0.99):
        outcome, results = check(Specification("", (Clause("volume.x90_um", limit),)), sample, summary)
        outcomes[limit] = outcome
        assert results[0].reason
        assert bool(results[0].decides) == (outcome == "undecided")
    assert list(outcomes.values()) == ["passes", "undecided", "fails"]


def test_coarse_pieces_per_gram(batch):
    sample, summary = batch
    only = Specification("", (GRIND.clauses[1],))
    outcome, results = check(only, sample, summary)
    assert outcome == "undecided"
    assert "dilution" in results[0].decides
    assert "none seen (fewer than" in results[0].reason
    assert "% of the pieces), but how much paste" in results[0].reason
    # with none seen, the upper limit is 3.689 pieces (Garwood 1936): 3.7 g must be clean for
    # "fewer than 1 per gram"
    assert check(only, sample, summary, grams=3.0)[0] == "undecided"
    assert check(only, sample, summary, grams=3.7)[0] == "passes"
    seen = make_sample(np.r_[sample.diameter_um, 300.0, 400.0, 500.0])
    low = poisson_limits(3)[0]
    assert check(only, seen, summary, grams=low * 0.99)[0] == "fails"
    assert check(only, seen, summary, grams=low * 1.01)[0] == "undecided"


def test_all_requirements_together(batch):
    sample, summary = batch
    assert check(GRIND, sample, summary, grams=10.0)[0] == "passes"
    assert check(GRIND, sample, summary)[0] == "undecided"
    strict = Specification("", (Clause("volume.x90_um", 5.0), *GRIND.clauses))
    assert check(strict, sample, summary, grams=10.0)[0] == "fails"
    assert check(Specification("", ()), sample, summary)[0] == "undecided"


def test_without_an_interval_nothing_passes():
    sample = make_sample(np.array([5.0]))
    outcome, results = check(
        Specification("", (Clause("volume.x90_um", 60.0),)), sample, summarise(sample, resamples=50)
    )
    assert outcome == "undecided"
    assert "no interval" in results[0].reason


def test_the_scale_alone_may_leave_it_open():
    rng = np.random.default_rng(1)
    d = 12 * np.exp(0.3 * rng.standard_normal(20_000))
    sample = make_sample(d, field=np.arange(20_000) % 40, scale_relative_uncertainty=0.05)
    summary = summarise(sample, resamples=100)
    limit = summary.value("volume.x50_um") * 1.03
    _, results = check(Specification("", (Clause("volume.x50_um", limit),)), sample, summary)
    assert "scale" in results[0].decides


def test_round_trip_and_words():
    assert Specification.from_json(GRIND.to_json()) == GRIND
    assert [c.words for c in GRIND.clauses] == [
        "x₉₀ by volume at most 60 µm",
        "fewer than 1 piece above 250 µm per gram",
    ]
    for text in ("", "{}", '{"name": "x", "clauses": [{"figure": "span"}]}'):
        with pytest.raises(InvalidInput):
            Specification.from_json(text)


@pytest.mark.parametrize(
    ("figure", "limit", "size"),
    [
        ("volume.x90_um", 0.0, None),
        ("volume.x90_um", math.nan, None),
        (PIECES_ABOVE, 1.0, None),
        (PIECES_ABOVE, 1.0, -5.0),
    ],
)
def test_impossible_requirements_are_refused(figure, limit, size):
    with pytest.raises(InvalidInput):
        Clause(figure, limit, size)


def test_an_unknown_figure_is_named(batch):
    sample, summary = batch
    with pytest.raises(InvalidInput, match=r"volume\.x77_um"):
        check(Specification("", (Clause("volume.x77_um", 60.0),)), sample, summary)
