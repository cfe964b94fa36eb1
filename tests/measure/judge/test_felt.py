"""Felt profiles, strays and the verdict."""

import math

import numpy as np
import pytest

from measure.errors import InvalidInput
from measure.judge.felt import FeltProfile, FeltRamp, profile_from_threshold
from measure.judge.felt_strays import body_end_um, find_strays, grams_examined, poisson_limits
from measure.judge.verdict import judged
from measure.model import KINDS, Kind
from measure.sizes.sample import make_sample


def _batch(median, sigma=1.5, fields=10, per_field=400, seed=0, between=0.03, extra=()):
    rng = np.random.default_rng(seed)
    shift = between * rng.standard_normal(fields)
    field = np.repeat(np.arange(fields), per_field)
    d = median * np.exp(shift[field] + math.log(sigma) * rng.standard_normal(len(field)))
    return make_sample(np.r_[d, extra], field=np.r_[field, np.zeros(len(extra), dtype=int)], smallest_um=2.0)


def test_ramp_is_straight_in_the_logarithm():
    ramp = FeltRamp(25.0, 100.0)
    assert ramp.probability(np.array([10.0, 25.0, 50.0, 100.0, 400.0])).tolist() == [0, 0, 0.5, 1, 1]
    slope = (ramp.probability(np.array([50.1])) - ramp.probability(np.array([50.0]))) / np.log(50.1 / 50)
    assert ramp.slope(np.array([50.0])) == pytest.approx(slope)
    assert ramp.slope(np.array([10.0, 300.0])).tolist() == [0, 0]


@pytest.mark.parametrize("sizes", [(0, 10), (10, 10), (30, 20), (-1, 5), (float("nan"), 5)])
def test_impossible_ramps_are_refused(sizes):
    with pytest.raises(InvalidInput, match="felt profile"):
        FeltRamp(*sizes)


def test_default_profile_is_cited_and_says_that_no_cut_off_is_universal():
    # the ramps must reach from the trade's 25-30 µm (common practice, no source) towards the 80 µm of Engelen
    # et al. 2005 and the 51 to 270 µm of Imai et al. 1999
    profile = FeltProfile()
    for kind in KINDS:
        ramp = profile[kind]
        assert ramp.none_um <= 30
        assert 60 <= ramp.all_um <= 230
        assert ramp.source
    text = " ".join(profile.describe())
    for words in ("Engelen", "Imai", "Tyle", "No cut-off is universal"):
        assert words in text


def test_profile_round_trip_and_editing():
    profile = FeltProfile().with_ramp(Kind.SALT, 15.0, 45.0, "our own trial")
    again = FeltProfile.from_json(profile.to_json())
    assert again == profile
    assert again[Kind.SALT].source == "our own trial"
    codes = np.array([KINDS.index(Kind.SALT), KINDS.index(Kind.KERNEL)])
    assert profile.probability(codes, np.array([45.0, 45.0]))[0] == 1.0
    assert profile.all_felt_um(codes).tolist() == [45.0, 100.0]
    for text in ("", "{}", '{"ramps": {"salt": {"none_um": 9}}}'):
        with pytest.raises(InvalidInput):
            FeltProfile.from_json(text)
    with pytest.raises(InvalidInput, match="felt shares"):
        FeltProfile(not_felt_share=0.3, felt_share=0.2)


def test_a_panel_replaces_the_ramp():
    profile = profile_from_threshold(
        FeltProfile(), 40.0, 1.5, kinds=(Kind.KERNEL,), source="tasting of 3 May"
    )
    ramp = profile[Kind.KERNEL]
    assert math.sqrt(ramp.none_um * ramp.all_um) == pytest.approx(40.0)
    # a straight ramp is a uniform distribution of thresholds: its sd is the half-width over sqrt 3
    assert math.log(ramp.all_um / ramp.none_um) / math.sqrt(12) == pytest.approx(math.log(1.5))
    assert profile.from_tasting
    assert profile[Kind.SALT] == FeltProfile()[Kind.SALT]
    with pytest.raises(InvalidInput):
        profile_from_threshold(FeltProfile(), 0.0, 1.5, kinds=(Kind.KERNEL,), source="")
    with pytest.raises(InvalidInput):
        profile_from_threshold(FeltProfile(), 40.0, 0.9, kinds=(Kind.KERNEL,), source="")


@pytest.mark.parametrize(
    ("number", "low", "high"),
    [
        (0, 0.0, 3.689),
        (1, 0.0253, 5.572),
        (3, 0.619, 8.767),
        (5, 1.623, 11.668),
        (10, 4.795, 18.390),
        (30, 20.24, 42.83),
        (100, 81.36, 121.63),
        (400, 361.8, 441.2),
    ],
)
def test_exact_poisson_limits(number, low, high):
    # Garwood, Biometrika 28 (1936) 437
    assert poisson_limits(number) == pytest.approx((low, high), rel=1e-3, abs=1e-4)
    with pytest.raises(InvalidInput):
        poisson_limits(-1)


def test_strays_lie_beyond_the_body_and_are_felt():
    sample = _batch(12.0, extra=(150.0, 180.0))
    strays = find_strays(sample, FeltProfile())
    assert strays.number == 2
    assert strays.rows.tolist() == [4000, 4001]
    assert (strays.low, strays.high) == pytest.approx(poisson_limits(2))
    assert strays.per_gram is None
    # Clopper and Pearson, Biometrika 26 (1934) 404, of 2 in 4002
    assert strays.words.endswith(", 0.0061 % to 0.18 % of the pieces.")
    # a coarse body is no stray, however much of it is felt
    assert find_strays(_batch(80.0), FeltProfile()).number == 0
    # a fine grind has an outlier, but nobody feels it
    assert find_strays(_batch(4.0, extra=(40.0,)), FeltProfile()).number == 0


def test_body_of_log_normal_sizes_ends_at_three_and_a_half_deviations():
    sample = _batch(12.0, per_field=20_000, between=0.0)
    assert math.log(body_end_um(sample) / 12) / math.log(1.5) == pytest.approx(3.5, abs=0.05)
    assert math.isnan(body_end_um(make_sample(np.array([]))))


def test_grams_and_strays_per_gram():
    # a hundred fields of 1.2 mm by 0.9 mm, 50 µm thick, are 5.4 mm^3; undiluted paste of 1.1 g/cm^3
    area = 100 * 1200 * 900.0
    assert grams_examined(area, 50.0, 0.0) == pytest.approx(5.4e-3 * 1.1)
    # 99 parts of oil by mass: masses add and volumes add
    grams = grams_examined(area, 50.0, 99.0)
    assert grams / 1.1 + 99 * grams / 0.915 == pytest.approx(5.4e-3)
    strays = find_strays(_batch(12.0, extra=(150.0,)), FeltProfile(), grams=grams)
    assert strays.per_gram == pytest.approx((1 / grams, strays.low / grams, strays.high / grams))
    assert "per gram" in strays.words
    for wrong in ((0, 50, 9), (area, 0, 9), (area, 50, -1), (area, 50, math.nan)):
        with pytest.raises(InvalidInput):
            grams_examined(*wrong)


def test_fine_grind_is_not_felt_and_coarse_is():
    fine = judged(_batch(7.0), resamples=200)[1]
    assert fine.word == "not felt"
    assert fine.high <= fine.profile.not_felt_share
    coarse = judged(_batch(25.0), resamples=200)[1]
    assert coarse.word == "felt"
    assert coarse.low >= coarse.profile.felt_share
    assert coarse.sentence.startswith("Felt:")
    assert coarse.decides == ""


def test_felt_share_is_the_volume_weighted_mean_of_the_profile():
    sample = _batch(15.0)
    profile = FeltProfile()
    v = sample.diameter_um**3
    by_hand = v @ profile.probability(sample.kind, sample.diameter_um) / v.sum()
    assert judged(sample, profile, resamples=50)[1].share == pytest.approx(by_hand)


def test_between_the_limits_it_is_borderline_or_undecided():
    # x_{90,3} about 37 µm: between 2 and 10 per cent are felt
    many = judged(_batch(17.0, sigma=1.4, fields=40, per_field=1000, between=0.0), resamples=200)[1]
    assert many.word == "borderline"
    few = judged(_batch(13.5, sigma=1.5, fields=4, per_field=100, between=0.2), resamples=200)[1]
    assert few.word == "undecided"
    assert "more field" in few.decides
    assert "tasting" in few.decides


def test_a_stray_spoils_a_fine_grind():
    found = judged(_batch(6.0, sigma=1.35, per_field=3000, extra=(110.0,)), resamples=200)[1]
    assert found.strays.number == 1
    assert found.word in ("borderline", "undecided")
    assert any("stray" in reason for reason in found.reasons)


@pytest.mark.parametrize(("pieces", "word"), [(1, "undecided"), (60, "undecided"), (0, "undecided")])
def test_too_few_pieces_decide_nothing(pieces, word):
    found = judged(make_sample(np.full(pieces, 5.0)), resamples=100)[1]
    assert found.word == word
    assert found.sentence


def test_the_scale_moves_the_felt_share():
    from dataclasses import replace

    sample = _batch(15.0)
    sure, unsure = (
        judged(replace(sample, scale_relative_uncertainty=u), resamples=100)[0].uncertainties["felt.share"]
        for u in (0.0, 0.05)
    )
    assert sure.scale == 0.0
    # d share / d ln x is the mean slope of the ramp; on the angle it is divided by 2 sqrt(p (1 - p))
    v, p = sample.quantity(3), judged(sample, resamples=0)[0].value("felt.share")
    slope = v @ FeltProfile().slope(sample.kind, sample.diameter_um) / v.sum()
    assert unsure.scale == pytest.approx(0.05 * slope / 2 / math.sqrt(p * (1 - p)), rel=0.02)
    assert unsure.high > sure.high


def test_the_kind_that_is_felt_is_named():
    d = np.r_[np.full(900, 10.0), np.full(100, 70.0)]
    kinds = np.r_[np.zeros(900, dtype=int), np.full(100, KINDS.index(Kind.SALT))]
    sample = make_sample(d, kind=kinds, field=np.arange(1000) % 5)
    reasons = " ".join(judged(sample, resamples=100)[1].reasons)
    assert "100 % of what is felt is salt" in reasons


def test_an_interval_whose_ends_read_alike_is_said_once():
    _, fine = judged(_batch(5.0, sigma=1.2))
    assert "(95 %: 0 %)" in fine.sentence
    assert fine.reasons[0].startswith("The felt share, 0 %, is held against")


def test_without_a_piece_nothing_is_said_of_strays():
    _, none = judged(make_sample(np.zeros(0), field=np.zeros(0, dtype=int)))
    assert none.word == "undecided"
    assert not any("stray" in reason for reason in none.reasons)
    assert none.decides.startswith("Fields with pieces in them")


def test_pieces_left_out_are_named_where_none_is_counted():
    none = make_sample(np.zeros(0), field=np.zeros(0, dtype=int), left_out={"dust": 30, "fibre": 7})
    _, found = judged(none)
    assert found.decides.startswith("The 37 pieces left out of the figures, if some should count; or fields")


def test_where_one_piece_holds_the_volume_it_is_its_like_that_decides():
    d = np.r_[np.random.default_rng(1).lognormal(2.5, 0.4, 3000), 900.0]
    _, found = judged(make_sample(d, field=np.arange(len(d)) % 6))
    assert found.word == "undecided"
    assert "until several pieces like the largest are met, which alone carries 99 %" in found.decides
