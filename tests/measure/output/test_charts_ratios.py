"""The chart of ratios: dots, intervals and the step no taster notices lie where the numbers say."""

import math

import pytest

from measure.judge.compare_pairs import Ratio
from measure.output.charts_ratios import RatioChart, lay_out_ratios
from measure.output.charts_shapes import Box, Dot, Line, Text

SHOWN = Ratio("pass 1", "pass 6", "volume.x90_um", "", 60.0, 20.0, 3.0, 2.0, 4.5)
NONE = Ratio("pass 1", "pass 3", "volume.x90_um", "", 60.0, 55.0, 1.1, 0.8, 1.5)
WILD = Ratio("a", "b", "volume.x90_um", "", 10.0, 20.0, 0.5, 0.001, 900.0)
BARE = Ratio("c", "d", "volume.x90_um", "", 10.0, 10.0, 1.0, math.nan, math.nan)


@pytest.mark.parametrize("size", [(220, 120), (700, 500)])
def test_ratios_stand_on_one_axis(size):
    drawing = lay_out_ratios(RatioChart((SHOWN, NONE, WILD, BARE)), *size)
    left, top, right, bottom = drawing.plot
    dots = [s for s in drawing.shapes if isinstance(s, Dot)]
    assert len(dots) == 4
    shown, none, wild, bare = dots
    assert wild.x < bare.x < none.x < shown.x
    assert [d.y for d in dots] == sorted(d.y for d in dots)
    assert shown.fill == shown.edge  # a difference is shown: filled, else hollow
    assert none.fill != none.edge
    (band,) = [s for s in drawing.shapes if isinstance(s, Box)]
    assert band.x < bare.x < band.x + band.width  # about the line of no difference
    # equal steps up and down on a logarithmic axis, 17 % either way (Weber fraction of Breen et al. 2019)
    assert bare.x - band.x == pytest.approx(band.x + band.width - bare.x)
    for shape in drawing.shapes:
        if isinstance(shape, Line):
            assert all(left - 1e-6 <= x <= right + 1e-6 for x, _ in shape.points)
            assert all(top - 1e-6 <= y <= bottom + 3.001 for _, y in shape.points)
        if isinstance(shape, Text):
            assert 0 <= shape.y <= size[1]
    ends = [s for s in drawing.shapes if isinstance(s, Line) and s.points[0][0] == s.points[1][0]]
    assert not any(abs(e.points[0][1] - (wild.y - 3)) < 1e-6 for e in ends)  # cut off: no end is seen


def test_it_is_said_in_words():
    words = RatioChart((SHOWN, BARE)).in_words()
    assert words == "Ratios. pass 1 / pass 6: 3.0 (2.0 to 4.5); c / d: 1.00."
    assert RatioChart(()).in_words() == "No ratios."
    assert lay_out_ratios(RatioChart(()), 200, 100).shapes == ()
