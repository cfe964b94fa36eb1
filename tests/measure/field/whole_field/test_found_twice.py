"""One place counted twice: of two nearly equal outlines one is counted, the other kept with the reason."""

import numpy as np

from measure.field.whole_field.found_twice import TWICE, set_aside_twice
from measure.particles import Particles, make_particles


def _discs(places: list[tuple[float, float, float]], doubt: list[float]) -> Particles:
    turn = np.linspace(0.0, 2.0 * np.pi, 90, endpoint=False)
    round_ = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    outlines = [np.array([x, y]) + r * round_ for x, y, r in places]
    return make_particles(outlines, area_px2=[np.pi * r**2 for _, _, r in places], doubt=doubt)


def test_of_two_nearly_equal_outlines_the_surer_is_counted():
    found = set_aside_twice(_discs([(50, 50, 20), (51, 50, 20.5), (120, 50, 20)], [0.4, 0.1, 0.9]))
    assert found["set_aside"].tolist() == [TWICE, "", ""]


def test_three_outlines_of_one_place_leave_one():
    found = set_aside_twice(_discs([(50, 50, 20), (50.5, 50, 20), (50, 50.5, 20)], [0.2, 0.1, 0.3]))
    assert found["set_aside"].tolist() == [TWICE, "", TWICE]


def test_pieces_over_one_another_and_a_piece_in_a_larger_one_stay():
    found = set_aside_twice(_discs([(50, 50, 20), (55, 50, 20), (50, 50, 16)], [0.1, 0.1, 0.1]))
    assert (found["set_aside"] == "").all()


def test_what_is_set_aside_already_takes_nothing_from_the_count():
    one = _discs([(50, 50, 20), (50.5, 50, 20)], [0.1, 0.4])
    aside = one.replaced(set_aside=np.array(["a bubble", ""], one["set_aside"].dtype))
    assert set_aside_twice(aside)["set_aside"].tolist() == ["a bubble", ""]
