"""Letters beside pieces: none hides another or much of a piece; doubt and choice come first."""

import numpy as np

from app.canvas.badge_places import badge_boxes, badges_shown

NONE = np.zeros(2, dtype=bool)


def _square(x: float, y: float, side: float = 40.0) -> list[float]:
    return [x, y, x + side, y + side]


def test_pieces_with_room_get_their_letter_and_small_ones_none():
    box = np.array([_square(0, 100), _square(200, 100, 10)])
    whole, dots = badges_shown(box, NONE, NONE)
    assert whole.tolist() == [True, False]
    assert not dots.any()


def test_a_letter_never_hides_much_of_another_piece():
    box = np.array([_square(0, 100), _square(13, 82, 14)])  # the small one lies where the letter would stand
    whole, dots = badges_shown(box, np.array([True, False]), NONE)
    assert whole.tolist() == [False, False]
    assert dots.tolist() == [True, False]


def test_of_two_letters_in_one_place_the_doubtful_one_stays():
    box = np.array([[0, 100, 60, 200.0], [5, 101, 45, 140.0]])
    whole, _ = badges_shown(box, np.array([False, True]), NONE)
    assert whole.tolist() == [False, True]


def test_what_is_pointed_at_has_its_letter_whatever_it_hides():
    box = np.array([_square(0, 100, 8), _square(2, 90, 8)])
    whole, _ = badges_shown(box, NONE, np.array([True, False]))
    assert whole[0]


def test_letters_of_a_crowd_lie_apart():
    rng = np.random.default_rng(5)
    corner = rng.uniform(0, 800, (200, 2))
    box = np.column_stack([corner, corner + rng.uniform(5, 60, (200, 1))])
    doubtful = rng.random(200) < 0.3
    whole, dots = badges_shown(box, doubtful, np.zeros(200, dtype=bool))
    places = badge_boxes(box, doubtful)[whole]
    for k, one in enumerate(places):
        rest = places[k + 1 :]
        apart = (
            (rest[:, 0] >= one[2]) | (rest[:, 2] <= one[0]) | (rest[:, 1] >= one[3]) | (rest[:, 3] <= one[1])
        )
        assert apart.all()
    assert 10 < whole.sum() < 150
    assert (whole[doubtful] | dots[doubtful]).all()
