from itertools import pairwise

import numpy as np
import pytest

from measure.field.basics.kind_shape import corner_share, off_arc, roundness, widest_px


def ellipse(a, b, turn=0.0):
    t = np.linspace(0, 2 * np.pi, 240, endpoint=False)
    c, s = np.cos(turn), np.sin(turn)
    return np.c_[a * np.cos(t), b * np.sin(t)] @ np.array([[c, s], [-s, c]]) + 100.0


def polygon(corners, radius=30.0, points=40):
    t = np.arange(corners + 1) * 2 * np.pi / corners
    edge = np.linspace(0, 1, points, endpoint=False)[:, None]
    at = np.c_[np.cos(t), np.sin(t)] * radius
    return np.concatenate([a + (b - a) * edge for a, b in pairwise(at)]) + 100.0


def test_a_circle_has_no_distance_and_a_square_that_of_its_geometry():
    off_circle, off_ellipse, _ = roundness([ellipse(30, 30), polygon(4)])
    assert off_circle[0] < 0.001
    # radius of a square of half side 1 at a distance t along a half side is sqrt(1 + t^2)
    mean = (np.sqrt(2.0) + np.arcsinh(1.0)) / 2.0
    spread = np.sqrt(4.0 / 3.0 - mean**2) / mean
    assert off_circle[1] == pytest.approx(spread, rel=0.05)
    assert off_ellipse[1] == pytest.approx(spread, rel=0.05)


@pytest.mark.parametrize("turn", [0.0, 0.4, 1.3])
def test_an_ellipse_is_off_a_circle_but_hardly_off_an_ellipse(turn):
    off_circle, off_ellipse, _ = roundness([ellipse(40, 25, turn)])
    assert off_circle[0] > 0.1
    assert off_ellipse[0] < 0.005


def test_a_circle_of_which_a_part_is_cut_off_still_lies_on_its_arc():
    whole = ellipse(30, 30)
    cut = np.c_[np.minimum(whole[:, 0], 100 + 20), whole[:, 1]]
    off_circle, _, _ = roundness([cut])
    assert off_circle[0] > 0.04
    assert off_arc(cut) < 0.003
    assert off_arc(whole) < 0.001
    for other in (polygon(4), polygon(6), ellipse(40, 25), ellipse(33, 30)):
        assert off_arc(other) > 0.01


def test_corners_take_the_share_of_the_turning_that_they_hold():
    # a polygon of n sides turns by a full turn at n corners; four of them are asked about
    _, _, corners = roundness([ellipse(30, 30), polygon(4), polygon(6), polygon(8)])
    assert corners[0] == pytest.approx(0.25, abs=0.01)
    assert corners[1] == pytest.approx(1.0, abs=0.05)
    assert corners[2] == pytest.approx(4 / 6, abs=0.06)
    assert corners[3] == pytest.approx(4 / 8, abs=0.06)


def test_size_direction_and_sense_change_nothing():
    shape = polygon(5)
    same = [shape, shape[::-1], shape * 3.0, np.roll(shape, 17, axis=0), shape @ np.array([[0, 1], [-1, 0]])]
    for column in roundness(same):
        assert np.allclose(column, column[0], atol=0.02)


def test_the_widest_circle_in_a_band_and_a_square():
    band = np.array([[5, 5], [205, 5], [205, 13], [5, 13]], float)
    assert widest_px(band, 8.0) == pytest.approx(8.0, rel=0.06)
    assert widest_px(polygon(4), 20.0) == pytest.approx(30.0 * np.sqrt(2.0), rel=0.06)


def test_no_outlines_give_nothing():
    assert all(len(column) == 0 for column in roundness([]))


def test_the_corners_of_one_outline_are_those_told_of_many():
    shapes = [polygon(3), polygon(4), polygon(7, 12.0), ellipse(40, 25, 0.4)]
    assert [corner_share(shape) for shape in shapes] == [float(roundness([s])[2][0]) for s in shapes]
    assert corner_share(polygon(4)) > 0.8 > 0.4 > corner_share(ellipse(30, 30))
