"""Ratios and differences between batches, against closed forms and a second route."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from measure.errors import InvalidInput
from measure.judge.agreement import compare_tables
from measure.judge.agreement_words import agreement_lines
from measure.judge.compare import compare_batches
from measure.judge.compare_batches import (
    BatchSizes,
    batches_from_table,
    differences,
    on_common_range,
    volume_model_words,
    with_own_names,
)
from measure.judge.compare_pairs import WEBER_FRACTION, Ratio, ShareDifference
from measure.judge.compare_words import figure_words, ratio_sentence, sentences, share_sentence
from measure.judge.felt_strays import Strays
from measure.model import Kind
from measure.sizes.sample import make_sample
from measure.sizes.volume import VolumeModels


def batch(
    name: str, factor: float, *, fields: int = 12, seed: int = 1, scale: str = "z", **options
) -> BatchSizes:
    rng = np.random.default_rng(seed)
    d = factor * 20 * np.exp(0.4 * rng.standard_normal(fields * 60))
    sample = make_sample(d, field=np.repeat(np.arange(fields), 60), smallest_um=2.0, **options)
    return BatchSizes(name, sample, scale)


def test_ratio_of_a_batch_and_the_same_batch_grown_is_the_growth():
    a, b = batch("coarse", 2.0), batch("fine", 1.0)
    found = compare_batches([a, b], resamples=300)
    for row in found.ratios:
        assert row.ratio == pytest.approx(2.0, rel=1e-9)
        assert row.low < 2.0 < row.high
    assert found.pairs == 1
    assert found.single_confidence == 0.95


def test_interval_of_a_mean_agrees_with_welch_on_field_logarithms():
    # second route: equal fields, so the ratio of means is near the ratio of geometric means of field means
    a, b = batch("a", 1.3, fields=20, seed=3), batch("b", 1.0, fields=20, seed=4)
    row = compare_batches([a, b], figures=("number.mean_um",), resamples=2000).ratio(
        "a", "b", "number.mean_um"
    )
    logs = [np.log([x.sample.diameter_um[x.sample.field == f].mean() for f in range(20)]) for x in (a, b)]
    limits = stats.ttest_ind(*logs, equal_var=False).confidence_interval(0.95)
    # the unseen coarse piece and skewness are ours alone, so only about as wide
    assert math.log(row.high / row.low) == pytest.approx(limits.high - limits.low, rel=0.2)
    assert math.log(row.low) == pytest.approx(limits.low, abs=0.02)


def test_shared_scale_cancels_and_different_scales_add():
    def pair(scale_b):
        a = batch("a", 1.0, seed=1, scale="z", scale_relative_uncertainty=0.05)
        b = batch("b", 1.0, seed=2, scale=scale_b, scale_relative_uncertainty=0.05)
        return compare_batches([a, b], resamples=300).ratio("a", "b", "volume.x50_um")

    def bare():
        return compare_batches([batch("a", 1.0, seed=1), batch("b", 1.0, seed=2)], resamples=300)

    without = bare().ratio("a", "b", "volume.x50_um")
    together, apart = pair("z"), pair("other")
    assert together.low == pytest.approx(without.low, rel=1e-6)
    extra = 1.959964 * math.hypot(0.05, 0.05)
    down = math.hypot(math.log(without.ratio / without.low), extra)
    assert math.log(apart.ratio / apart.low) == pytest.approx(down, rel=1e-3)


def test_many_pairs_are_widened_by_bonferroni():
    three = [batch("a", 1.0, seed=1), batch("b", 1.5, seed=2), batch("c", 2.0, seed=3)]
    two = compare_batches(three[:2], resamples=300).ratio("a", "b", "volume.x50_um")
    found = compare_batches(three, resamples=300)
    assert found.pairs == 3
    assert found.single_confidence == pytest.approx(1 - 0.05 / 3)
    wide = found.ratio("a", "b", "volume.x50_um")
    assert wide.low < two.low
    assert wide.high > two.high
    assert "all 3 pairs" in found.notes[0]
    assert len(compare_batches(three, resamples=100, pairing="next").shares) == 2


def test_felt_share_difference_has_the_sign_of_the_change():
    found = compare_batches([batch("coarse", 3.0), batch("fine", 1.0, seed=9)], resamples=300)
    row = found.shares[0]
    assert row.difference == pytest.approx(row.first_share - row.second_share)
    assert row.low < row.difference < row.high
    assert row.shown
    assert "change of −" in share_sentence(row)


def test_where_nothing_is_felt_no_change_is_spoken_of():
    row = ShareDifference("pass 3", "pass 6", "", 0.0, 0.0, 0.0, -0.0, 0.0)
    assert share_sentence(row) == (
        "Next to nothing of a size that is felt was counted in pass 3 or in pass 6."
    )


def test_kinds_are_compared_where_both_hold_enough():
    kinds = np.tile([0, 0, 1], 240)
    a = batch("a", 2.0, kind=kinds)
    b = batch("b", 1.0, kind=kinds)
    rows = [r for r in compare_batches([a, b], figures=("number.x50_um",), resamples=200).ratios if r.kind]
    assert {r.kind for r in rows} == {"kernel", "skin"}
    assert all(r.ratio == pytest.approx(2.0, rel=1e-6) for r in rows)


def test_different_limits_are_named_and_the_common_range_mends_them():
    a = batch("a", 1.0)
    b = replace(batch("b", 1.0, seed=2), sample=batch("b", 1.0, seed=2).sample.at_least(12.0))
    found = compare_batches([a, b], resamples=100)
    assert "common range, from 12 µm" in found.warnings[0]
    mended = compare_batches([a, b], resamples=100, common_range=True)
    assert not any("lower limits differ" in w for w in mended.warnings)
    assert all(x.sample.smallest_um == 12.0 and x.sample.diameter_um.min() >= 12.0 for x in mended.batches)


def test_scales_and_volume_models_that_differ_are_named():
    a, b = batch("a", 1.0), batch("b", 1.0, scale="other")
    assert any("same scale" in w for w in differences([a, b]))
    kinds = np.full(720, 2)
    cube = batch("a", 1.0, kind=kinds)
    sphere = batch("b", 1.0, kind=kinds, volume_um3=np.pi / 6 * batch("b", 1.0).sample.diameter_um ** 3)
    assert volume_model_words(cube.sample) == {"salt": "cube"}
    assert volume_model_words(sphere.sample) == {"salt": "sphere"}
    flake = batch("c", 3.0, kind=np.full(720, 1))
    assert volume_model_words(flake.sample) == {"skin": "flake 12 µm thick"}
    with pytest.raises(InvalidInput, match="salt follows different models"):
        compare_batches([cube, sphere], resamples=100)


def test_a_fine_batch_of_small_flakes_compares_with_a_coarse_one():
    # a flake never holds more than the sphere, so flakes below 18 µm look like spheres
    kinds = np.full(720, 1)
    coarse, fine = batch("coarse", 4.0, kind=kinds), batch("fine", 0.2, kind=kinds)
    assert fine.sample.diameter_um.max() < 18 < coarse.sample.diameter_um.max()
    assert volume_model_words(fine.sample) == {"skin": "sphere"}
    assert compare_batches([coarse, fine], resamples=100).ratios
    # spheres all through, or flakes of another thickness, are refused still
    spheres = batch("s", 4.0, kind=kinds, volume_um3=np.pi / 6 * batch("s", 4.0).sample.diameter_um ** 3)
    models = VolumeModels().with_model(Kind.SKIN, "flake", 20.0)
    thick = make_sample(coarse.sample.diameter_um, kind=kinds, field=coarse.sample.field, models=models)
    for other in (spheres, replace(coarse, name="thick", sample=thick)):
        with pytest.raises(InvalidInput, match="skin follows different models"):
            compare_batches([coarse, other], resamples=100)


def test_batches_come_out_of_a_table_by_name():
    columns = {
        "batch": np.array(["one", "one", "two"], dtype=object),
        "area_equivalent_diameter_um": np.array([10.0, 12.0, 8.0]),
        "um_per_px": np.array([0.5, 0.5, 0.5]),
    }
    found = batches_from_table(columns, "file")
    assert [b.name for b in found] == ["one", "two"]
    assert found[0].scale == found[1].scale == "0.5 µm per px"
    del columns["batch"]
    assert batches_from_table(columns, "file")[0].name == "file"
    assert [b.name for b in with_own_names([*found, found[0]])] == ["one", "two", "one (2)"]


def test_sentence_reads_as_a_miller_would_say_it():
    row = Ratio("pass 3", "pass 6", "volume.x90_um", "", 60.0, 31.6, 1.9, 1.6, 2.3)
    assert ratio_sentence(row) == (
        "pass 6 is 1.9 times finer than pass 3 in x_{90,3}, 1.6 to 2.3; "
        "a difference a taster can just notice starts near 17 %."
    )
    turned = Ratio("pass 6", "pass 3", "volume.x90_um", "", 31.6, 60.0, 1 / 1.9, 1 / 2.3, 1 / 1.6)
    assert ratio_sentence(turned) == ratio_sentence(row)
    small = Ratio("a", "b", "volume.x90_um", "", 60.0, 55.0, 1.09, 1.05, 1.13)
    assert "too little to notice" in ratio_sentence(small)
    none = Ratio("a", "b", "volume.x90_um", "kernel", 60.0, 60.0, 1.0, 0.8, 1.25)
    assert ratio_sentence(none).startswith("No difference in x_{90,3} of kernel is shown")
    assert figure_words("number.geometric_mean_um") == "geometric mean"
    bare = ShareDifference("a", "b", "", 0.2, 0.1, 0.1, math.nan, math.nan)
    assert "no interval" in share_sentence(bare)


def test_weber_fraction_is_the_published_one():
    # Breen et al., Scientific Reports 2019: Weber fraction about .17 for particle size in chocolate
    assert WEBER_FRACTION == 0.17
    assert Ratio("a", "b", "f", "", 2, 1, 2.0, 1.18, 3.0).noticeable is True
    assert Ratio("a", "b", "f", "", 1, 1, 1.0, 0.9, 1.1).noticeable is False
    assert Ratio("a", "b", "f", "", 1, 1, 1.2, 0.9, 1.5).noticeable is None


def test_one_field_a_batch_still_gives_an_interval_and_a_warning():
    found = compare_batches([batch("a", 2.0, fields=1), batch("b", 1.0, fields=1, seed=2)], resamples=200)
    assert math.isfinite(found.ratio("a", "b", "number.x50_um").low)
    assert any("Only one field" in w for w in found.warnings)
    assert sentences(found, "volume.x90_um")


@pytest.mark.parametrize(
    ("batches", "options", "words"),
    [
        ([batch("a", 1.0)], {}, "two or more"),
        ([batch("a", 1.0), batch("a", 1.0)], {}, "name of its own"),
        ([batch("a", 1.0), batch("b", 1.0)], {"pairing": "odd"}, "pairing"),
        ([batch("a", 1.0), batch("b", 1.0)], {"figures": ("volume.x0_um",)}, "percentile"),
        ([batch("a", 1.0), batch("b", 1.0)], {"figures": ("volume.y",)}, "no figure"),
    ],
)
def test_nonsense_is_refused(batches, options, words):
    with pytest.raises(InvalidInput, match=words):
        compare_batches(batches, resamples=20, **options)


def test_common_range_without_pieces_is_refused():
    tiny = BatchSizes("tiny", make_sample(np.array([3.0, 4.0]), smallest_um=2.0), "z")
    coarse = replace(batch("a", 1.0), sample=batch("a", 1.0).sample.at_least(30.0))
    with pytest.raises(InvalidInput, match="'tiny' has no piece above 30"):
        on_common_range([tiny, coarse])


def test_no_sentence_holds_a_power_of_ten():
    # all felt against none: a hundred points
    words = share_sentence(ShareDifference("a", "b", "", 1.0, 0.0, 1.0, 0.996, 1.0))
    assert words == "Felt share 0 % in b against 100 % in a: a change of −100 points (−100 to −100)."
    same = share_sentence(ShareDifference("a", "b", "", 0.02, 0.02, 0.0, -0.28, 0.28))
    assert "a change of 0 points (−28 to +28), so none is shown" in same
    strays = Strays(250, 220.0, 283.0, 100.0, np.zeros(250, dtype=int), 1e-4)
    assert "expect 220 to 280, that is 2,200,000 to 2,800,000 per gram" in strays.words


def test_tables_of_other_pictures_are_doubted():
    rng = np.random.default_rng(1)
    x, y, d = rng.uniform(0, 4000, 70), rng.uniform(0, 3000, 70), rng.lognormal(3, 0.3, 70)
    tables = [
        {
            "field": np.full(70, "a", dtype=object), "kind": np.full(70, "kernel", dtype=object),
            "area_equivalent_diameter_um": d * scale, "um_per_px": np.full(70, 0.5),
            "centre_x_px": np.where(np.arange(70) < 25, x, x + shift), "centre_y_px": y,
        }
        for scale, shift in ((1.0, 0.0), (2.5, 9000.0))
    ]  # fmt: skip
    lines = list(agreement_lines(compare_tables(*tables)))
    assert "are these tables of the same pictures?" in lines[2]
    assert "x₅₀ by number: " in lines[-3]
    assert not any("e+" in line or "x_{" in line for line in lines)
    assert not any("same pictures" in line for line in agreement_lines(compare_tables(tables[0], tables[0])))


def test_a_ratio_of_two_pieces_has_no_interval_of_eleven_digits():
    few = BatchSizes("few", make_sample(np.array([10.0, 12.0])), "z")
    many = BatchSizes("many", make_sample(np.full(3, 10.0)), "z")
    found = compare_batches((few, many), confidence=0.999)  # as with many pairs together
    row = next(r for r in found.ratios if r.figure == "volume.x90_um")
    assert row.ratio == pytest.approx(1.2)
    assert math.isnan(row.low)
    assert math.isnan(row.high)
    said = ratio_sentence(row)
    assert said.startswith("Whether few and many differ in x_{90,3} cannot be judged: few over many is 1.20")
    far = Ratio("coarse", "fine", "volume.x90_um", "", 9e9, 1.0, 9e9, 2e6, 4e13)
    assert "over 1000 times finer than coarse in x_{90,3}, over 1000 to over 1000" in ratio_sentence(far)
