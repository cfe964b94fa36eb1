import numpy as np
import pytest

from measure.field.kinds.kind_lamp import BURNT, MOST_SAY, by_lamp
from measure.field.kinds.kind_model import GROUPS
from measure.particles import make_particles

KERNEL, SKIN, SALT = (GROUPS.index(name) for name in ("kernel", "skin", "salt"))
GROUND = np.array([0.004, 0.0035, 0.003])
LAMP = np.array([1.0, 0.9, 0.8])  # which the ground does not tell: glass and dust give it another colour
PALE = np.array([1.0, 0.86, 0.6])  # what a grainy kernel leaves of it


def shining(light):
    """Pieces that add that linear light, (K, 3), to a dark ground."""
    whole = np.asarray(light, dtype=float) + GROUND
    names = ("red", "green", "blue")
    columns = {f"{c}_density": -np.log10(whole[:, i] / GROUND[i]) for i, c in enumerate(names)}
    columns |= {c: 255.0 * whole[:, i] ** (1 / 2.2) for i, c in enumerate(names)}
    square = np.array([[0, 0], [9, 0], [9, 9], [0, 9]], np.float32)
    return make_particles([square] * len(whole), **columns)


def field(last, lump=PALE, crystals=6):
    """Sure crystals and sure kernels, some brighter than others, and one piece that may be either."""
    rng = np.random.default_rng(5)
    level = rng.uniform(0.1, 0.5, (crystals + 9, 1))
    colour = np.array([LAMP] * crystals + [LAMP * lump] * 9) * np.exp(rng.normal(0, 0.01, (crystals + 9, 3)))
    found = shining(np.concatenate([level * colour, [last]]))
    chance = np.zeros((len(found), len(GROUPS)))
    chance[:crystals, SALT], chance[crystals:-1, KERNEL] = 0.95, 0.95
    chance[:crystals, KERNEL], chance[crystals:-1, SALT] = 0.05, 0.05
    chance[-1, [KERNEL, SKIN, SALT]] = 0.5, 0.1, 0.4
    return by_lamp(chance, found), chance


@pytest.mark.parametrize("level", [0.05, 0.2, 0.6])
def test_what_shines_as_the_crystals_do_is_salt_and_what_shines_as_the_kernels_do_is_none(level):
    assert field(level * LAMP)[0][-1, SALT] > 0.8
    after, before = field(level * LAMP * PALE)
    assert after[-1, SALT] < 0.1
    assert after[-1, KERNEL] / after[-1, SKIN] == pytest.approx(5.0)
    assert after.sum(axis=1) == pytest.approx(before.sum(axis=1))


def test_colour_says_only_so_much():
    after = field(0.2 * LAMP)[0][-1]
    assert after[SALT] / (after[KERNEL] + after[SKIN]) <= np.exp(MOST_SAY) * 0.4 / 0.6 + 1e-9


def test_a_piece_that_burns_out_or_hardly_shines_shows_no_colour():
    for light in (1.05 * BURNT * LAMP, 0.001 * LAMP):
        after, before = field(light)
        assert after[-1] == pytest.approx(before[-1])


def test_white_kernels_and_fields_with_hardly_a_crystal_say_nothing():
    for after, before in (field(0.2 * LAMP, lump=np.ones(3)), field(0.2 * LAMP, crystals=2)):
        assert after == pytest.approx(before)


def test_light_that_comes_through_the_field_tells_nothing_of_the_kind(monkeypatch):
    monkeypatch.setitem(globals(), "GROUND", 100.0 * GROUND)
    after, before = field(0.2 * LAMP)
    assert after == pytest.approx(before)


def test_no_pieces_give_nothing():
    empty = np.zeros((0, len(GROUPS)))
    assert by_lamp(empty, make_particles([])).shape == empty.shape
