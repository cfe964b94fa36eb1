"""A whole plan: what is above a size, how far a plan may move, and what fewer fields give."""

import math
from dataclasses import replace

import numpy as np
import pytest

from measure.errors import InvalidInput
from measure.output.charts_plan import lay_out_plan, plan_chart
from measure.output.charts_shapes import Area, Dot, Line, Text
from measure.sizes.plan import FEWEST_FIELDS, PlanRequest, plan_measurement
from measure.sizes.plan_above import expected_share_above
from measure.sizes.plan_range import error_with, plan_range, wider_words
from measure.sizes.plan_whole import Wishes, plan_whole

REQUEST = PlanRequest(median_um=15, sigma_g=1.5, figure="volume.x50_um")


def test_pieces_above_a_size_are_those_of_a_log_normal():
    # normal distribution, one, two and three standard deviations above the mean (any table)
    for factor, share in ((1, 0.158655), (2, 0.022750), (3, 0.001350)):
        assert expected_share_above(15 * 1.5**factor, 15, 1.5) == pytest.approx(share, abs=1e-6)
    drawn = 15 * np.exp(math.log(1.5) * np.random.default_rng(1).standard_normal(200_000))
    assert expected_share_above(30, 15, 1.5) == pytest.approx((drawn > 30).mean(), abs=0.001)
    whole = plan_whole(Wishes(REQUEST, above_um=30))
    assert whole.above is not None
    assert whole.above.expected == pytest.approx(
        whole.plan.fields * whole.plan.pieces_per_field * whole.above.share
    )
    assert "4.4 % are above 30 µm" in whole.steps[-1]
    none = plan_whole(Wishes(REQUEST, above_um=2000)).steps[-1]
    assert none == "Of the sizes expected fewer than one in a million pieces are above 2000 µm."
    assert "all but one in a million" in plan_whole(Wishes(REQUEST, above_um=0.1)).steps[-1]
    with pytest.raises(InvalidInput, match="above 0 µm"):
        plan_whole(Wishes(REQUEST, above_um=-1))


def test_plans_beyond_all_measure_are_said_in_words():
    tiny = plan_whole(Wishes(replace(REQUEST, frame_um=(10, 10))))
    assert "take more than a million fields" in tiny.steps[-1]
    assert "hardly one whole piece each" in tiny.steps[-1]
    assert any("holds none of them whole" in words for words in tiny.warnings)
    assert tiny.likely_words == ""
    coarse = plan_whole(Wishes(replace(REQUEST, sigma_g=5)))
    assert not any("e+" in words for words in (*coarse.steps, *coarse.expected, *coarse.warnings))
    thin = plan_whole(Wishes(replace(REQUEST, film_um=0.6, sigma_g=1.2)))
    assert 0 < thin.plan.parts_oil < 1
    assert f"with {thin.plan.parts_oil:.2g} parts of clear oil" in thin.steps[1]
    below = plan_whole(Wishes(REQUEST, smallest_um=1000))
    assert below.warnings[-1].startswith(
        "Hardly a piece of those expected reaches the lower limit of 1000 µm"
    )


def test_chance_and_differences_between_fields_add_as_variances():
    plan = plan_measurement(replace(REQUEST, relative_error=0.05))
    alike = plan_measurement(replace(REQUEST, relative_error=0.05, variation=0.0))
    # (2 x 10 % / 5 %)^2 fields more, give or take the rounding up
    assert plan.fields - alike.fields == pytest.approx(16, abs=1)
    given = error_with(replace(REQUEST, relative_error=0.05), plan, plan.fields)
    assert 0.047 < given <= 0.05
    assert error_with(REQUEST, plan, 8) == pytest.approx(2 * error_with(REQUEST, plan, 32))


def test_the_error_planned_for_is_the_one_that_comes_out():
    # fields whose median differs by 10 %, each with its own pieces; the figure is the median by number
    request = PlanRequest(median_um=15, sigma_g=1.5, figure="number.x50_um", relative_error=0.08)
    plan = plan_measurement(request)
    rng, each, found = np.random.default_rng(5), round(plan.pieces_per_field), []
    for _ in range(400):
        moved = 15 * np.exp(0.1 * rng.standard_normal((plan.fields, 1)))
        found.append(np.median(moved * np.exp(math.log(1.5) * rng.standard_normal((plan.fields, each)))))
    spread = 1.96 * np.std(np.log(found))
    assert spread == pytest.approx(error_with(request, plan, plan.fields), rel=0.15)


def test_a_plan_moves_with_what_is_expected():
    likely = plan_range(REQUEST, (12, 18), (1.4, 1.6))
    plan = plan_measurement(REQUEST)
    assert likely.pieces[0] < plan.pieces_model_free < likely.pieces[1]
    assert likely.fields[0] <= plan.fields <= likely.fields[1]
    assert likely.oil_mass[0] < plan.oil_mass < likely.oil_mass[1]
    assert "median 12 to 18 µm and spread 1.40 to 1.60 (95 %)" in likely.words
    # limits of a bootstrap may lie below what a plan can be made for
    assert plan_range(REQUEST, (12, 18), (0.9, 1.6)).pieces[0] >= 1
    whole = plan_whole(Wishes(REQUEST, median_limits_um=(12, 18), sigma_g_limits=(1.4, 1.6)))
    assert whole.likely == likely
    assert whole.likely_words == likely.words
    # a spread that was typed has no limits: it is told as it is, and what a wider one would ask for
    half = plan_whole(Wishes(REQUEST, median_limits_um=(12, 18), sigma_g_limits=(1.5, 1.5))).likely_words
    assert "and spread 1.50 (95 %)" in half
    assert "The spread decides" in half
    assert f"{plan.pieces_model_free} pieces and" in half
    guessed = plan_whole(Wishes(REQUEST))
    assert guessed.likely is None
    assert "were it 1.60 instead of 1.50" in guessed.likely_words
    assert wider_words(replace(REQUEST, sigma_g=9.95), plan) == ""


def test_what_fewer_fields_give_and_what_is_too_small_is_said():
    coarse = plan_whole(Wishes(replace(REQUEST, figure="volume.x90_um", sigma_g=1.7), smallest_um=10))
    assert " 6 fields ±" in coarse.fewer_words
    wide = plan_whole(Wishes(replace(REQUEST, figure="volume.x90_um", sigma_g=1.9)))
    assert "48 fields ±" in wide.fewer_words
    assert " 6 fields" not in wide.fewer_words  # it would be wider than the figure itself
    # 22 % of a log-normal of 15 µm and 1.7 lie below 10 µm: ln(10/15) / ln 1.7 = -0.764
    assert "About 22 % of the pieces expected are smaller than the lower limit of 10 µm" in " ".join(
        coarse.warnings
    )
    few = plan_whole(Wishes(replace(REQUEST, sigma_g=1.2), smallest_um=5))
    assert few.plan.fields == FEWEST_FIELDS
    assert few.fewer_words == ""
    assert not any("lower limit" in words for words in few.warnings)


@pytest.mark.parametrize("size", [(330, 180), (900, 600)])
@pytest.mark.parametrize("sigma_g", [1.1, 1.5, 2.5])
def test_the_chart_shows_the_plan_on_its_curve(size, sigma_g):
    request = replace(REQUEST, sigma_g=sigma_g, figure="volume.x90_um")
    plan = plan_measurement(request)
    chart = plan_chart(request, plan, (13, 17), (sigma_g * 0.97, sigma_g * 1.03))
    assert all(a > b for a, b in zip(chart.error, chart.error[1:], strict=False))
    triples = zip(chart.low, chart.error, chart.high, strict=True)
    assert all(low <= middle * 1.0001 and middle <= high * 1.0001 for low, middle, high in triples)
    assert f"{plan.fields:,} to ±{100 * chart.given:.2g} %" in chart.in_words()
    drawing = lay_out_plan(chart, *size)
    left, top, right, bottom = drawing.plot
    (dot,) = [s for s in drawing.shapes if isinstance(s, Dot)]
    assert left < dot.x < right
    assert top < dot.y < bottom
    curve = max((s for s in drawing.shapes if isinstance(s, Line)), key=lambda line: len(line.points))
    xs, ys = zip(*curve.points, strict=True)
    assert float(np.interp(dot.x, xs, ys)) == pytest.approx(dot.y, abs=2.0)
    for shape in drawing.shapes:
        if isinstance(shape, Area | Line):
            assert all(top - 1e-6 <= y <= bottom + 3.001 for _, y in shape.points)
        if isinstance(shape, Text):
            assert 0 <= shape.y <= size[1]
    assert plan_chart(request, plan).low == ()
