import numpy as np
import pytest

from measure.field.kinds import kind_alike
from measure.field.kinds.kind_alike import among_alike, colour_share
from measure.field.kinds.kind_model import GROUPS, green_between
from measure.particles import make_particles

KERNEL, SKIN = GROUPS.index("kernel"), GROUPS.index("skin")
BROWN, TANNED = np.array([0.2, 0.3, 0.52]), np.array([0.2, 0.5, 0.62])


def pieces(densities):
    densities = np.asarray(densities, dtype=float)
    columns = {f"{c}_density": densities[:, i] for i, c in enumerate(("red", "green", "blue"))}
    square = np.array([[0, 0], [9, 0], [9, 9], [0, 9]], np.float32)
    return make_particles([square] * len(densities), **columns)


def chances(kernels):
    chance = np.zeros((len(kernels), len(GROUPS)))
    chance[:, KERNEL], chance[:, SKIN] = kernels, 1.0 - np.asarray(kernels)
    return chance


def test_where_green_stands_is_the_same_however_thick_a_piece_is_and_whatever_takes_all_colours_alike():
    for density in (BROWN, TANNED):
        thin, thick = green_between(np.array([density, 2.5 * density]))
        assert thick == pytest.approx(thin, abs=0.2 * abs(thin))
        shaded = green_between((density + 0.15)[None])[0]
        assert shaded == pytest.approx(thin, abs=1e-9)
    assert green_between(BROWN[None])[0] < -0.2
    assert green_between(TANNED[None])[0] > 0.2


def test_a_piece_of_odd_shape_goes_with_those_of_its_own_colour():
    found = pieces([BROWN] * 12 + [TANNED] * 6)
    # one brown piece looks like a skin by its shape, one tanned like a kernel
    changed = among_alike(chances([0.97] * 11 + [0.3] + [0.04] * 5 + [0.65]), found)
    assert all(changed[:12, KERNEL] > 0.5)
    assert all(changed[12:, SKIN] > 0.5)
    # a piece that is sure of itself stays what it is
    assert among_alike(chances([0.97] * 11 + [0.001]), pieces([BROWN] * 12))[11, SKIN] > 0.5


def test_how_much_of_a_density_is_colour_does_not_change_with_thickness_but_with_what_takes_all_colours():
    assert colour_share(2.5 * BROWN[None])[0] == pytest.approx(colour_share(BROWN[None])[0], abs=1e-9)
    assert colour_share(-BROWN[None])[0] == pytest.approx(colour_share(BROWN[None])[0], abs=1e-9)
    assert colour_share(BROWN[None] + 0.2)[0] < colour_share(BROWN[None])[0] - 0.15
    assert colour_share(np.array([[0.3, 0.3, 0.3]]))[0] == 0.0


def test_orange_skins_go_with_skins_as_clear_as_they_are_and_not_with_cloudy_kernels_as_yellow():
    cloudy, orange, red = (np.array(d) for d in ([0.28, 0.36, 0.50], [0.10, 0.19, 0.33], [0.11, 0.29, 0.37]))
    shares = np.linspace(0.0, 1.0, 12)[:, None]
    skins = (1.0 - shares) * orange + shares * red
    # the kernels' hue alone would make the orange ones kernels: green stands as far from red and blue there
    assert green_between(orange[None])[0] == pytest.approx(green_between(cloudy[None])[0], abs=0.05)
    own = [0.98] * 14 + [0.6, 0.6, 0.5] + [0.05] * 9
    changed = among_alike(chances(own), pieces(np.concatenate([np.tile(cloudy, (14, 1)), skins])))
    assert all(changed[:14, KERNEL] > 0.9)
    assert all(changed[14:, SKIN] > 0.5)


def test_a_field_of_one_kind_is_not_torn_and_numbers_bring_no_certainty():
    rng = np.random.default_rng(5)
    found = pieces(BROWN * rng.uniform(0.6, 1.4, (60, 1)) + rng.normal(0, 0.01, (60, 3)))
    own = rng.uniform(0.55, 0.9, 60)
    changed = among_alike(chances(own), found)
    assert all(changed[:, KERNEL] > 0.5)
    assert changed[:, KERNEL].max() <= own.max()
    assert np.allclose(changed.sum(axis=1), 1.0)


def test_grey_pieces_and_single_ones_stay_as_they_are():
    chance = chances([0.9, 0.9, 0.9, 0.9, 0.9, 0.2])
    assert np.array_equal(among_alike(chance, pieces([[0.3, 0.3, 0.3]] * 6)), chance)
    assert np.array_equal(among_alike(chance[-2:], pieces([BROWN] * 2)), chance[-2:])


def test_a_piece_does_not_hear_itself():
    found = pieces([BROWN] * 4 + [TANNED])
    alone = among_alike(chances([0.6, 0.6, 0.6, 0.6, 0.6]), found)
    # nobody of its colour: what it hears is its own colour's silence
    assert alone[4, KERNEL] == pytest.approx(0.6, abs=0.01)


def test_crowded_fields_are_heard_in_blocks_with_the_same_digits(monkeypatch: pytest.MonkeyPatch):
    rng = np.random.default_rng(8)
    found = pieces(
        np.concatenate([BROWN * rng.uniform(0.5, 1.5, (70, 1)), TANNED * rng.uniform(0.5, 1.5, (59, 1))])
    )
    own = chances(rng.uniform(0.1, 0.9, 129))
    whole = among_alike(own, found)
    monkeypatch.setattr(kind_alike, "_BLOCK", 64)
    assert np.array_equal(among_alike(own, found), whole)
