"""Food without colour and crystals: told by structure where a field holds several, whatever the hue."""

import numpy as np
import pytest

from measure.field.kinds.kind_model import GROUPS
from measure.field.kinds.kind_structure import cloudy, lump_odds, structure_of
from measure.field.kinds.kinds import group_chances, table_of, tag
from measure.flags import bits
from measure.particles import make_particles
from tests.measure.field.kinds.test_kind_hues import BEIGE, KERNEL, REDDISH, SKIN, field

GREY = np.array([0.5, 0.5, 0.5])
SALT = GROUPS.index("salt")
SQUARE = np.array([[0, 0], [20, 0], [20, 20], [0, 20]], np.float32)


def test_lumps_without_colour_are_no_crystals():
    found, is_lump = field(GREY, REDDISH)
    taken_for_salt = group_chances(found)[is_lump, SALT] > 0.5
    assert taken_for_salt.mean() > 0.2
    right = found["kind"] == np.where(is_lump, KERNEL, SKIN)
    assert right.mean() > 0.95
    assert right[found["kind_doubt"] < 0.1].mean() > 0.97


def test_structure_knows_no_hue():
    found, _ = field(GREY, REDDISH)
    table = table_of(found)
    swapped = found.replaced(
        **{f"{part}{a}_density": found[f"{part}{b}_density"] for part in ("", "core_")
           for a, b in (("red", "blue"), ("blue", "red"))}
    )  # fmt: skip
    assert structure_of(swapped, table) == pytest.approx(structure_of(found, table), abs=1e-9)
    assert not np.allclose(group_chances(swapped, None, table), group_chances(found, None, table), atol=0.1)


def all_salt(lumps, crystals):
    """Chances of pieces taken for salt, some of which are lumps by their structure, and plain particles."""
    count = lumps + crystals
    chance = np.full((count, len(GROUPS)), 0.01)
    chance[:, SALT] = 0.95
    structure = np.full((count, len(GROUPS)), 0.01)
    structure[:lumps, 0], structure[lumps:, SALT] = 0.95, 0.95
    return chance, structure, make_particles([SQUARE] * count, area_px2=400.0)


def test_several_lumps_are_taken_back_from_salt_and_an_odd_one_is_not():
    chance, structure, plain = all_salt(8, 20)
    changed, food = cloudy(chance, structure, plain)
    assert np.allclose(changed.sum(axis=1), chance.sum(axis=1))
    assert all(changed[:8, 0] > 0.7)
    assert all(changed[8:, SALT] > 0.9)
    assert all(food[:8] > 0.7)
    changed, food = cloudy(*all_salt(1, 20))
    assert changed[0, SALT] > 0.7
    assert food[0] < 0.3


def test_what_was_found_as_a_clear_rim_is_not_asked():
    chance, structure, plain = all_salt(8, 20)
    rims = plain.replaced(flags=np.full(28, bits("rim_only")))
    changed, food = cloudy(chance, structure, rims)
    assert np.array_equal(changed, chance)
    assert not food.any()
    none = plain.select(np.zeros(0, int))
    assert cloudy(chance[:0], structure[:0], none)[0].shape == (0, len(GROUPS))


def test_odds_of_lumps_are_bounded():
    odds = lump_odds(np.array([[1.0, 0, 0, 0, 0, 0], [0, 1.0, 0, 0, 0, 0], [0.3, 0.3, 0.4, 0, 0, 0]]))
    assert odds == pytest.approx([5.0, -5.0, 0.0])


def test_sheets_without_colour_beside_browned_kernels_are_no_crystals():
    found, is_lump = field(BEIGE, GREY)
    right = found["kind"] == np.where(is_lump, KERNEL, SKIN)
    assert right.mean() > 0.95
    assert right[found["kind_doubt"] < 0.1].mean() > 0.97


def test_a_field_of_white_kernels_alone_is_food():
    found, is_lump = field(GREY, GREY * 0.8)
    lumps = found.select(np.flatnonzero(is_lump))
    assert (tag(lumps)["kind"] == KERNEL).mean() > 0.9
