"""The sentences that make a reader careful."""

import numpy as np
import pytest

from measure.sizes.cautions import cautions, largest_share, volume_note
from measure.sizes.sample import make_sample
from measure.sizes.summary import summarise


def _careful(d, **more):
    cover = more.pop("cover", None)
    d = np.asarray(d, dtype=float)
    return " | ".join(cautions(make_sample(d, field=np.arange(len(d)) % 6, **more), cover=cover))


def test_one_piece_that_holds_most_of_the_volume():
    # ten pieces by hand: the single 55 carries 76.855 % of the volume
    text = _careful([4, 6, 8, 9, 12, 15, 18, 22, 30, 55])
    assert "The largest piece alone carries 77 % of the volume" in text


def test_a_few_pieces_that_hold_half_of_it():
    d = np.r_[np.full(500, 10.0), np.full(4, 50.0)]
    assert "The 4 largest pieces carry half of the volume" in _careful(d)
    assert "carry half" not in _careful(np.full(500, 10.0))


def test_a_row_that_stands_for_many_pieces_is_not_one_large_piece():
    # 5, 10, 20, 40, 80 µm, counted 100, 200, 150, 40, 10 times: ten pieces carry 56 % of the volume, nine of
    # them half of it (100 % - 43.689854 % is theirs together)
    d, count = np.array([5.0, 10, 20, 40, 80]), np.array([100.0, 200, 150, 40, 10])
    text = " | ".join(cautions(make_sample(d, count=count)))
    assert "largest piece alone" not in text
    assert "carry half" not in text  # nine pieces of five hundred are more than one in a hundred
    many = " | ".join(cautions(make_sample(d, count=count * [10, 1, 1, 1, 1])))
    assert "The 9 largest pieces carry half of the volume" in many
    one = " | ".join(cautions(make_sample(d, count=np.array([100.0, 200, 150, 1, 1]))))
    assert "The largest piece alone carries 26 % of the volume" in one  # 512,000 of 1,988,500
    assert largest_share(make_sample(d, count=count)) == pytest.approx(0.056310, abs=1e-5)


def test_sizes_in_another_unit_are_asked_about():
    assert "were they in millimetres?" in _careful([0.012, 0.02, 0.035])
    assert "were they in nanometres?" in _careful([12_000, 20_000, 35_000])
    assert "unit of the sizes" not in _careful([0.3, 20, 1500])


def test_shares_in_per_cent_are_no_counts():
    text = " | ".join(cautions(make_sample(np.array([5.0, 10, 20]), count=np.array([10.5, 39.5, 50]))))
    assert "parts of pieces, such as 10.5: if these are per cent" in text
    assert "per cent" not in _careful([5, 10, 20], count=np.array([10.0, 40, 50]))


def test_numbers_near_the_lower_limit():
    d = np.r_[np.full(20, 10.5), np.full(180, 30.0)]
    assert "10 % of the pieces lie between the lower limit of 10 µm and 12.5 µm" in _careful(
        d, smallest_um=10.0
    )
    assert "lower limit" not in _careful(d, smallest_um=5.0)


def test_cover_and_frame_and_scale():
    d = np.full(400, 10.0)
    assert "18 % touch another by chance" in _careful(d, cover=0.05)
    assert "chance" not in _careful(d, cover=0.012)
    assert "stands for up to 2.0 pieces" in _careful(d, frame_weight=np.r_[2.0, np.ones(399)])
    assert "known to 6.0 %" in _careful(d, scale_relative_uncertainty=0.03)


def test_sizes_without_any_spread():
    assert "All pieces counted are of the same size" in _careful(np.full(500, 10.0))
    assert "same size" not in _careful(np.r_[np.full(499, 10.0), 10.01])
    assert "same size" not in _careful([10.0])


def test_weights_no_frame_correction_gives():
    d = np.full(400, 10.0)
    assert "2 pieces have frame weights below 1" in _careful(d, frame_weight=np.r_[0.5, 0.9, np.ones(398)])
    assert "1 piece has a frame weight below 1" in _careful(d, frame_weight=np.r_[0.5, np.ones(399)])


def test_left_out_pieces_are_told_with_their_reasons():
    sample = make_sample(np.full(400, 10.0), left_out={"meets the frame": 3, "with a count of 0": 1})
    told = "Left out of the figures: 3 (meets the frame), 1 (with a count of 0)."
    assert told in summarise(sample, resamples=0).notes


def test_few_pieces_and_few_fields():
    assert "Only 12 pieces are counted" in _careful(np.full(12, 10.0))
    assert "Only 1 piece is counted" in _careful([10.0])
    three = make_sample(np.full(900, 10.0), field=np.arange(900) % 3)
    assert any("Only 3 fields" in text for text in cautions(three))


def test_a_sound_sample_gives_no_caution():
    rng = np.random.default_rng(0)
    assert _careful(20 * np.exp(0.2 * rng.standard_normal(2000)), smallest_um=5.0) == ""


@pytest.mark.parametrize("kind", [0, 1])
def test_volume_models_are_told(kind):
    d = np.full(400, 60.0)
    sample = make_sample(d, field=np.arange(400) % 6, kind=np.full(400, kind))
    assert ("Volumes follow the model of each kind" in volume_note(sample)) == (kind == 1)
    assert volume_note(sample) in ("", *summarise(sample, resamples=0).notes)
