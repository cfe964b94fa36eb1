import numpy as np
import pytest

from measure.field.kinds.kind_green import MOST_SAY, by_green
from tests.measure.field.kinds.test_kind_alike import BROWN, KERNEL, SKIN, TANNED, chances, pieces
from tests.measure.field.kinds.test_kind_clouds import around

ORANGE = np.array([0.05, 0.4, 1.0])  # a kernel full of carotenoids, which take hardly any red
PINK = np.array([0.1, 0.5, 0.35])  # a skin of anthocyanins, which take green most


@pytest.mark.parametrize("colour", [BROWN, ORANGE])
def test_kernels_that_look_like_skins_by_their_form_are_kernels_by_their_colour(colour):
    found = pieces(around(colour, 30, 1))
    assert np.median(by_green(chances([0.3] * 30), found)[:, KERNEL]) > 0.5


@pytest.mark.parametrize("colour", [TANNED, PINK])
def test_skins_that_look_like_kernels_by_their_form_are_skins_by_their_colour(colour):
    found = pieces(around(colour, 30, 1))
    assert np.median(by_green(chances([0.7] * 30), found)[:, SKIN]) > 0.5


def test_each_piece_of_a_mixed_field_goes_by_its_own_colour():
    found = pieces(np.concatenate([around(BROWN, 20, 1), around(TANNED, 20, 2)]))
    changed = by_green(chances([0.5] * 40), found)
    assert changed[:20, KERNEL].min() > 0.8
    assert changed[20:, SKIN].min() > 0.8
    assert np.allclose(changed.sum(axis=1), 1.0)


def test_skins_no_redder_than_usual_kernels_stay_skins_beside_kernels_of_lower_green():
    """Skins of which green stands low, as a camera may see them, among kernels where it stands lower."""
    skins, kernels = np.array([0.30, 0.45, 0.62]), np.array([0.1, 0.18, 0.4])
    found = pieces(np.concatenate([around(kernels, 20, 1, 0.002), around(skins, 20, 2, 0.002)]))
    changed = by_green(chances([0.95] * 20 + [0.05] * 20), found)
    assert changed[:20, KERNEL].min() > 0.95
    assert np.median(changed[20:, SKIN]) > 0.5


def test_green_adds_no_more_than_its_say_and_faint_and_grey_pieces_hardly_change():
    odds = np.log(0.3 / 0.7)
    changed = by_green(chances([0.3] * 20), pieces(around(BROWN, 20, 1)))
    assert np.log(changed[:, KERNEL] / changed[:, SKIN]).max() <= odds + MOST_SAY + 1e-6
    faint = by_green(chances([0.3] * 20), pieces(around(0.08 * BROWN, 20, 1, 0.0)))
    assert abs(faint[:, KERNEL] - 0.3).max() < 0.1
    grey = pieces(np.tile([0.3, 0.31, 0.32], (20, 1)))
    assert np.array_equal(by_green(chances([0.3] * 20), grey), chances([0.3] * 20))


def test_what_takes_the_place_of_stained_oil_shows_no_colour_of_its_own():
    chance, clearer = chances([0.6] * 20), pieces(around(np.array([-0.15, -0.25, -0.45]), 20, 1))
    assert np.array_equal(by_green(chance, clearer), chance)
