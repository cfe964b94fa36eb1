import numpy as np
import pytest

from measure.field.kinds.kind_alike import among_alike
from measure.field.kinds.kind_clouds import MOST_SAY, by_clouds
from tests.measure.field.kinds.test_kind_alike import BROWN, KERNEL, SKIN, TANNED, chances, pieces


def around(density, count, seed, spread=0.01):
    rng = np.random.default_rng(seed)
    return density * rng.uniform(0.7, 1.3, (count, 1)) + rng.normal(0, spread, (count, 3))


def test_pieces_that_stand_apart_in_colour_are_skins_though_each_looks_a_little_more_like_a_kernel():
    found = pieces(np.concatenate([around(BROWN, 30, 1), around(TANNED, 12, 2)]))
    chance = chances([0.97] * 30 + [0.6] * 12)
    assert all(among_alike(chance, found)[30:, KERNEL] > 0.5)
    changed = by_clouds(chance, found)
    assert all(changed[:30, KERNEL] > 0.95)
    assert all(changed[30:, SKIN] > 0.5)
    assert np.allclose(changed.sum(axis=1), 1.0)


def test_where_green_stands_lower_in_what_looks_like_skin_the_clouds_say_nothing():
    found = pieces(np.concatenate([around(TANNED, 30, 1), around(BROWN, 12, 2)]))
    chance = chances([0.97] * 30 + [0.6] * 12)
    assert by_clouds(chance, found) == pytest.approx(chance, abs=1e-3)


@pytest.mark.parametrize("density", [BROWN, TANNED])
def test_a_field_of_one_kind_stays_one_whatever_the_odds_of_its_pieces(density):
    rng = np.random.default_rng(4)
    own = rng.uniform(0.55, 0.95, 60)
    changed = by_clouds(chances(own), pieces(around(density, 60, 3)))
    assert all(changed[:, KERNEL] > 0.5)
    assert changed[:, KERNEL] == pytest.approx(own, abs=0.05)


def test_clouds_add_no_more_than_their_say_and_leave_grey_and_few_pieces_alone():
    found = pieces(np.concatenate([around(BROWN, 30, 1), around(TANNED, 12, 2)]))
    chance = chances([0.97] * 30 + [0.68] * 11 + [0.9999])
    odds = np.log(by_clouds(chance, found)[:, KERNEL] / by_clouds(chance, found)[:, SKIN])
    assert odds[-1] >= 5.0 - MOST_SAY - 1e-6  # a single piece is never surer than that
    grey = pieces([[0.3, 0.3, 0.3]] * 6)
    assert np.array_equal(by_clouds(chances([0.9] * 6), grey), chances([0.9] * 6))
    assert np.array_equal(by_clouds(chance[:3], pieces([BROWN] * 3)), chance[:3])


def test_where_a_gap_parts_the_colours_its_sides_are_the_clouds():
    found = pieces(np.concatenate([around(BROWN, 30, 1, 0.004), around(TANNED, 12, 2, 0.004)]))
    chance = chances([0.985] * 30 + [0.86] * 12)  # the model takes none of them for skin
    changed = by_clouds(chance, found)
    assert all(changed[:30, KERNEL] > 0.985)
    assert all(changed[30:, SKIN] > 0.5)
    # where it thinks them alike, the higher green of one side is still a doubt
    alike = by_clouds(chances([0.985] * 30 + [0.98] * 12), found)
    assert all(alike[:30, KERNEL] > 0.985)
    assert all(alike[30:, KERNEL] < 0.9)
    # a gap that green does not cross parts nothing that the model thinks alike
    cloudy = pieces(np.concatenate([around(BROWN, 30, 1, 0.004), around(BROWN + 0.3, 12, 2, 0.004)]))
    assert all(by_clouds(chances([0.985] * 30 + [0.98] * 12), cloudy)[:, KERNEL] > 0.95)


def test_colours_that_run_on_without_a_gap_are_not_parted():
    share = np.linspace(0.0, 1.0, 60)
    mixed = np.concatenate([np.outer(1.0 - share, BROWN) + np.outer(share, TANNED)])
    chance = chances(1.0 / (1.0 + np.exp(-4.5 + 2.5 * share)))
    assert by_clouds(chance, pieces(mixed))[:, KERNEL] == pytest.approx(chance[:, KERNEL], abs=0.1)
