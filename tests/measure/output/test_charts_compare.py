"""Charts of comparing and tasting: what they draw lies where the numbers say."""

import numpy as np
import pytest

from measure.judge.grind import GrindPoint, fit_grind
from measure.judge.grind_forecast import forecast
from measure.judge.panel_session_result import PanelOutcome
from measure.judge.psychometric import fit_psychometric
from measure.output.charts_compare import (
    CurvesChart,
    GrindChart,
    batch_colour,
    common_sizes,
    lay_out_curves,
    lay_out_grind,
)
from measure.output.charts_panel import lay_out_panel, panel_chart
from measure.output.charts_paper import drawing_png
from measure.output.charts_shapes import Area, Dot, Line, Text
from measure.output.charts_style import PAPER
from measure.sizes.curve import curve
from measure.sizes.sample import make_sample


def texts(drawing):
    return [s.text for s in drawing.shapes if isinstance(s, Text)]


@pytest.fixture
def curves():
    rng = np.random.default_rng(0)
    samples = [
        make_sample(m * np.exp(0.4 * rng.standard_normal(400)), field=np.arange(400) % 5, smallest_um=6.0)
        for m in (40, 20)
    ]
    sizes = common_sizes(samples)
    return CurvesChart(("pass 1", "pass 6"), tuple(curve(s, sizes, resamples=50) for s in samples), 90.0, 6.0)


def test_curves_are_named_banded_and_marked_at_the_percentile(curves):
    drawing = lay_out_curves(curves, 600, 400)
    assert {"pass 1", "pass 6"} <= set(texts(drawing))
    assert any("pieces of at least 6 µm" in t and "95 %" in t for t in texts(drawing))
    assert sum(isinstance(s, Area) for s in drawing.shapes) == 2
    dots = [s for s in drawing.shapes if isinstance(s, Dot)]
    assert len(dots) == 2
    for dot, found in zip(dots, curves.curves, strict=True):
        x90 = np.interp(0.9, found.share, found.size_um)
        assert drawing.size_at(dot.x) == pytest.approx(x90, rel=1e-6)
    assert "half lies below: pass 1" in curves.in_words()


def test_without_batches_the_chart_says_so():
    assert texts(lay_out_curves(CurvesChart((), ()), 300, 200)) == ["Nothing to compare yet."]


def test_batches_differ_in_colour_and_in_dashes(curves):
    assert batch_colour(0, 3, PAPER) == PAPER.soft
    assert batch_colour(2, 3, PAPER) == PAPER.accent
    drawing = lay_out_curves(curves, 600, 400)
    drawn = [s for s in drawing.shapes if isinstance(s, Line) and len(s.points) > 50]
    assert len({s.dashes for s in drawn}) == len({s.colour for s in drawn}) == 2


def grind(is_share=False, target=22.5):
    values = [0.5, 0.3, 0.1, 0.04] if is_share else [80, 50, 30, 24]
    points = [
        GrindPoint(d, v, v * 0.9, v * 1.1, f"pass {d}") for d, v in zip((1, 2, 4, 6), values, strict=True)
    ]
    made = fit_grind(points, is_share=is_share, draws=100)
    return GrindChart(made, forecast(made, target), "x90 by volume, µm")


def test_grind_curve_shows_batches_band_target_and_forecast():
    chart = grind()
    drawing = lay_out_grind(chart, 600, 400)
    assert {"pass 1", "pass 6", "target 22.5 µm", "passes"} <= set(texts(drawing))
    assert sum(isinstance(s, Area) for s in drawing.shapes) == 1
    dots = [s for s in drawing.shapes if isinstance(s, Dot)]
    assert len(dots) == 5  # four batches and the forecast
    left, top, right, bottom = drawing.plot
    assert all(left <= d.x <= right and top <= d.y <= bottom for d in dots)
    assert [d.y for d in dots[:4]] == sorted(d.y for d in dots[:4])
    assert "1: 80 µm" in chart.in_words()


def test_shares_are_drawn_in_per_cent():
    chart = grind(is_share=True, target=0.05)
    drawing = lay_out_grind(chart, 600, 400)
    assert "target 5 %" in texts(drawing)
    assert "0" in texts(drawing)
    assert "50 %" in chart.in_words()


def test_two_points_are_drawn_without_a_band():
    made = fit_grind([GrindPoint(1, 80, 70, 90, "a"), GrindPoint(3, 50, 45, 55, "b")])
    drawing = lay_out_grind(GrindChart(made, None, "x90"), 500, 300)
    assert not any(isinstance(s, Area) for s in drawing.shapes)
    assert any("a line, no law" in t for t in texts(drawing))


def test_panel_chart_takes_guessing_out():
    levels = ((20.0, 30, 10), (40.0, 30, 20), (80.0, 30, 29))
    fit = fit_psychometric(*zip(*levels, strict=True), guess=1 / 3, refits=50)
    chart = panel_chart(PanelOutcome("series", 90, 90, curve=fit, levels=levels))
    # 10 of 30 is what guessing gives, so nobody feels it
    assert chart.levels[0][1] == pytest.approx(0.0, abs=1e-9)
    assert chart.levels[1][1] == pytest.approx((20 / 30 - 1 / 3) / (1 - 1 / 3 - 0.02))
    drawing = lay_out_panel(chart, 500, 300)
    assert any(t.startswith("limit ") for t in texts(drawing))
    assert panel_chart(PanelOutcome("triangle", 1, 1)) is None
    assert "0 % at 20 µm" in chart.in_words()


def test_charts_can_stand_on_paper(curves):
    assert drawing_png(lay_out_curves(curves, 300, 200), 300, 200, dpi=50).startswith(b"\x89PNG")
    assert drawing_png(lay_out_grind(grind(), 300, 200), 300, 200, dpi=50).startswith(b"\x89PNG")
