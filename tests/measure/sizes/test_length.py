"""Lengths taken by hand; the uncertainty against JCGM 100:2008, 4.3.7 and 5.1.2, worked by hand."""

import math

import pytest

from measure.model import Scale
from measure.sizes.length import length_between


def test_length_of_a_right_triangle():
    found = length_between((1, 2), (4, 6), Scale(0.5))
    assert found.length_um == pytest.approx(2.5)


def test_pointing_alone_is_a_rectangle_at_each_end():
    # +-1 px at either end, rectangular: u = sqrt(2) / sqrt(3) px
    found = length_between((0, 0), (100, 0), Scale(0.5, 0.0), screen_px_per_px=1.0)
    assert found.standard_uncertainty_um == pytest.approx(0.5 * math.sqrt(2) / math.sqrt(3))


def test_scale_alone_is_in_proportion_to_the_length():
    found = length_between((0, 0), (10_000, 0), Scale(0.5, 0.001), screen_px_per_px=1000.0)
    assert found.from_scale_um == pytest.approx(10.0)
    assert found.standard_uncertainty_um == pytest.approx(10.0, rel=1e-3)


def test_zooming_in_sharpens_only_down_to_the_edge_itself():
    coarse, fine, finest = (
        length_between((0, 0), (10, 0), Scale(1.0), screen_px_per_px=zoom).from_pointing_um
        for zoom in (1, 2, 40)
    )
    assert fine == pytest.approx(coarse / 2)
    assert finest == pytest.approx(fine)
