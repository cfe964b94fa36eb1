"""A panel's limit that is known roughly: told in words, and in the interval the verdict rests on."""

import math

import numpy as np
import pytest

from measure.errors import InvalidInput
from measure.judge.felt import FELT_SHARE, FeltProfile, profile_from_threshold
from measure.judge.panel_limit import shares_at_ends
from measure.judge.panel_session_words import PanelLimit
from measure.judge.verdict import judged
from measure.model import Kind
from measure.sizes.sample import make_sample

_TASTED = (Kind.KERNEL, Kind.SKIN, Kind.OTHER)


@pytest.fixture(scope="module")
def sample():
    d = 30 * np.exp(0.4 * np.random.default_rng(2).standard_normal(3000))
    return make_sample(d, field=np.arange(3000) % 8, smallest_um=5.0)


def _profile(interval_um=None) -> FeltProfile:
    return profile_from_threshold(
        FeltProfile(), 40.0, 1.3, kinds=_TASTED, source="autumn panel", interval_um=interval_um
    )


def test_a_limit_known_well_changes_next_to_nothing_and_a_rough_one_leaves_it_undecided(sample):
    summary, sure = judged(sample, _profile((39.9, 40.1)))
    assert sure.word == "felt"
    bare, _ = judged(sample, _profile())
    assert summary.interval(FELT_SHARE) == pytest.approx(bare.interval(FELT_SHARE), rel=0.02)
    summary, rough = judged(sample, _profile((15.0, 110.0)))
    assert rough.share == sure.share
    assert rough.word == "undecided"
    assert (rough.low, rough.high) == summary.interval(FELT_SHARE)
    assert "More answers of the panel" in rough.decides
    told = rough.reasons[-1]
    assert told.startswith("That panel's limit is known as 15 to 110 µm only, too roughly for most verdicts")
    assert "which the interval holds" in told
    # the budget names it first, and what makes it smaller
    first = summary.budget(FELT_SHARE)[0]
    assert (first.source, first.remedy) == ("limit of the panel", "more answers of the panel near its limit")
    assert all(row.source != "limit of the panel" for row in summary.budget("volume.x50_um"))


def test_the_widened_interval_is_the_root_of_the_sum_of_squares_on_the_angle(sample):
    profile = _profile((30.0, 52.0))
    bare, _ = judged(sample, _profile())
    summary, _ = judged(sample, profile)
    low_end, high_end = shares_at_ends(sample, profile)
    assert low_end > summary.value(FELT_SHARE) > high_end

    def angle(share: float) -> float:
        return math.asin(math.sqrt(share))

    here = angle(bare.value(FELT_SHARE))
    # JCGM 100:2008, 5.1.2: independent parts add as squares
    down = math.hypot(here - angle(bare.interval(FELT_SHARE)[0]), here - angle(high_end))
    up = math.hypot(angle(bare.interval(FELT_SHARE)[1]) - here, angle(low_end) - here)
    expected = (math.sin(here - down) ** 2, math.sin(here + up) ** 2)
    assert summary.interval(FELT_SHARE) == pytest.approx(expected)


def test_the_limit_stays_with_the_profile_and_goes_with_a_kind_set_by_hand():
    profile = _profile((30.0, 52.0))
    again = FeltProfile.from_json(profile.to_json())
    assert again == profile
    assert again.limit_um == (40.0, 30.0, 52.0)
    moved = profile.with_limit_at(80.0)
    assert moved[Kind.KERNEL].none_um == pytest.approx(2 * profile[Kind.KERNEL].none_um)
    assert moved[Kind.SALT] == profile[Kind.SALT]
    by_hand = profile.with_ramp(Kind.SKIN, 10.0, 20.0)
    assert by_hand.with_limit_at(80.0)[Kind.SKIN] == by_hand[Kind.SKIN]
    with pytest.raises(InvalidInput):
        FeltProfile(limit_um=(10.0, 20.0, 30.0))


def test_a_profile_kept_without_its_interval_says_so(sample):
    _, found = judged(sample, _profile(), resamples=50)
    assert "was not kept" in found.reasons[-1]


def test_the_limit_says_how_well_it_is_known():
    rough, sure = (PanelLimit(40.0, low, 130.0, 1.3, "panel") for low in (12.0, 60.0))
    assert rough.rough
    assert not sure.rough
    assert "anything from 12 to 130 µm (95 %), so wide that most verdicts will stay undecided" in rough.words
    assert "The interval of the felt share holds that too" in sure.words
