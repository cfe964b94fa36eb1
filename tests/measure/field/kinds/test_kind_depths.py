"""Kernels and skins of a grey picture: told by groups of depth, or in doubt."""

import numpy as np
import pytest

from measure.field.kinds.kind_depths import GREY, by_depths
from measure.field.kinds.kinds import table_of, tag
from measure.model import KINDS, Kind
from tests.measure.field.kinds import test_kind_hues as hues
from tests.measure.field.kinds.test_kind_alike import chances

KERNEL, SKIN = KINDS.index(Kind.KERNEL), KINDS.index(Kind.SKIN)


@pytest.fixture
def grey_oil(monkeypatch):
    monkeypatch.setattr(hues, "OIL", np.full(3, 0.55))


def strength(value):
    return np.full(3, value)


@pytest.mark.parametrize(("lumps", "sheets"), [(0.25, 1.3), (1.5, 0.25)], ids=["dark sheets", "dark lumps"])
def test_which_of_two_depths_is_the_kernels_is_told_by_how_they_thicken(grey_oil, lumps, sheets):
    found, is_lump = hues.field(strength(lumps), strength(sheets))
    assert table_of(found) == GREY
    # pieces of which tables say nothing
    chance = by_depths(chances([0.5] * len(found)), found)
    right = (chance[:, KERNEL] > chance[:, SKIN]) == is_lump
    assert right.mean() > 0.9
    assert np.allclose(chance.sum(axis=1), 1.0)


def test_pieces_of_one_depth_are_not_sure_by_their_own_structure(grey_oil):
    found, _ = hues.field(strength(0.6), strength(0.6))
    own = chances(np.full(len(found), 0.99))
    told = by_depths(own, found)
    assert (told[:, KERNEL] > told[:, SKIN]).all()
    assert (told[:, SKIN] > 0.1).all()
    # nor is one alone
    single = by_depths(own[:1], found.select(np.arange(1)))
    assert 0.2 < 1.0 - single[0, [KERNEL, SKIN]].max() < 0.4


def test_grey_fields_are_judged_by_it(grey_oil):
    found, is_lump = hues.field(strength(0.6), strength(0.6), seed=8)
    seen = tag(found)
    right = seen["kind"] == np.where(is_lump, KERNEL, SKIN)
    sure = seen["kind_doubt"] < 0.1
    assert (right | ~sure).all()
