import numpy as np
import pytest

from measure.field.kinds.kind_colourless import AGAINST, MOVED, with_colour, without_colour
from measure.field.kinds.kind_model import GROUPS
from measure.flags import bits
from measure.particles import make_particles
from tests.measure.field.kinds.test_kind_alike import BROWN, KERNEL, SKIN, chances

SALT = GROUPS.index("salt")


def pieces(densities):
    densities = np.asarray(densities, dtype=float)
    names = ("red", "green", "blue")
    columns = {f"{part}{c}_density": densities[:, i] for part in ("", "core_") for i, c in enumerate(names)}
    columns |= {f"{part}_density": densities.mean(axis=1) for part in ("rim", "centre")}
    square = np.array([[0, 0], [9, 0], [9, 9], [0, 9]], np.float32)
    return make_particles([square] * len(densities), **columns)


def last_of(density, usual=BROWN, count=8):
    """Chances of a piece of that density and no sure kind beside sure kernels."""
    found = pieces([usual * (0.6 + 0.1 * k) for k in range(count)] + [density])
    before = chances([0.97] * count + [0.7])
    after = without_colour(before, found)
    assert np.array_equal(after[:-1], before[:-1])
    assert after.sum(axis=1) == pytest.approx(1.0)
    return after[-1]


def test_a_piece_without_colour_beside_coloured_kernels_is_salt():
    for density in ([0.2, 0.2, 0.21], [0.5, 0.5, 0.52], [-0.2, -0.2, -0.19]):
        assert last_of(density)[SALT] == pytest.approx(MOVED)


@pytest.mark.parametrize(
    "density",
    [
        0.3 * BROWN,  # thin, of the kernels' colour
        0.5 * BROWN + 0.3,  # shaded
        [1.2, 1.2, 1.2],  # burnt
        [0.03, 0.03, 0.03],  # too faint to tell
    ],
)
def test_what_is_thin_shaded_black_or_faint_is_left_alone(density):
    assert last_of(density)[[KERNEL, SKIN, SALT]] == pytest.approx([0.7, 0.3, 0.0])


def test_where_kernels_show_no_colour_or_are_few_a_lack_of_it_tells_nothing():
    assert last_of([0.2, 0.2, 0.2], usual=np.array([0.3, 0.3, 0.31]))[SALT] == 0.0
    assert last_of([0.2, 0.2, 0.2], count=4)[SALT] == 0.0


def odds_of_salt(density, flags=0, usual=BROWN, count=8):
    """Natural logarithm of what the odds of salt lose beside sure kernels."""
    found = pieces([usual * (0.6 + 0.1 * k) for k in range(count)] + [density])
    marked = np.zeros(count + 1, dtype=np.int64)
    marked[-1] = flags
    before = chances([0.97] * count + [0.7])
    before[-1] *= 0.1
    before[-1, SALT] = 0.9
    after = with_colour(before, found.replaced(flags=marked))
    assert after.sum(axis=1) == pytest.approx(1.0)
    odds = [np.log(c[-1, SALT] / (1.0 - c[-1, SALT])) for c in (before, after)]
    return odds[0] - odds[1]


def test_a_piece_with_as_much_colour_as_the_kernels_is_less_likely_salt():
    for density in (0.3 * BROWN, 0.7 * BROWN + 0.05):
        assert odds_of_salt(density) == pytest.approx(AGAINST)
    assert 0.0 < odds_of_salt(0.4 * BROWN + 0.3) < AGAINST


def test_what_has_no_colour_of_its_own_is_not_asked():
    assert odds_of_salt(np.array([0.2, 0.2, 0.21])) == pytest.approx(0.0)
    assert odds_of_salt(0.7 * BROWN, flags=bits("overlap")) == pytest.approx(0.0)
    assert odds_of_salt(-0.7 * BROWN) == pytest.approx(0.0)  # takes the place of coloured oil
    assert odds_of_salt(0.7 * BROWN, count=4) == pytest.approx(0.0)
