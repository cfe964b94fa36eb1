"""The chart of guessed answers."""

import itertools

import pytest

from measure.output.charts_guess import guess_chart, lay_out_guess
from measure.output.charts_shapes import Box, Text


@pytest.mark.parametrize(
    ("method", "answers", "fewest"),
    # minimum correct at 5 %: triangle test, FAO table (binomial, 1/3); paired comparison one-sided (binomial)
    [("triangle", 12, 8), ("triangle", 30, 15), ("triangle", 60, 27), ("paired", 12, 10), ("paired", 40, 26)],
)
def test_what_guessing_gives(method, answers, fewest):
    chart = guess_chart(method, answers, 0.05)
    assert (chart.answers, chart.fewest) == (answers, fewest)
    assert sum(chart.chance) == pytest.approx(1.0)
    assert chart.beyond <= 0.05 < sum(chart.chance[fewest - 1 :])
    assert f"From {fewest} right of {answers} on" in chart.in_words()


def test_too_few_answers_are_said():
    chart = guess_chart("triangle", 2, 0.05)
    assert chart.fewest > 2
    assert "too few" in chart.in_words()
    assert not any(
        "a difference from" in s.text for s in lay_out_guess(chart, 300, 200).shapes if isinstance(s, Text)
    )


@pytest.mark.parametrize("answers", [1, 12, 60, 400])
@pytest.mark.parametrize("size", [(320, 160), (900, 600)])
def test_bars_stand_on_the_axis_and_words_lie_inside(answers, size):
    chart = guess_chart("triangle", answers, 0.05)
    drawing = lay_out_guess(chart, *size)
    left, top, right, bottom = drawing.plot
    bars = [s for s in drawing.shapes if isinstance(s, Box)][1:]
    assert len(bars) == answers + 1
    for bar in bars:
        assert left <= bar.x
        assert bar.x + bar.width <= right + 1e-6
        assert bar.y >= top - 1e-6
        assert bar.y + bar.height == pytest.approx(bottom)
    numbers = [s for s in drawing.shapes if isinstance(s, Text) and s.y > bottom and s.text.isdigit()]
    places = sorted(s.x for s in numbers)
    assert all(b - a > 12 for a, b in itertools.pairwise(places))
