"""Digits of figures: the same value is written alike wherever it is shown."""

import numpy as np
import pytest

from app import number_text
from measure.judge.felt import FeltProfile
from measure.judge.sizes_json import sizes_lines
from measure.judge.verdict import judged
from measure.output.charts_sizes import size_chart
from measure.output.run_sizes import _with_interval
from measure.sizes.rounding import decimals_of, figure_texts
from measure.sizes.sample import make_sample


def _plain(text: str) -> str:
    return text.replace(number_text.THIN, "")


@pytest.mark.parametrize(("pieces", "middle_um"), [(4000, 33.0), (300, 8.0), (60, 420.0), (25, 2400.0)])
def test_chart_window_and_commands_show_the_same_digits(pieces, middle_um):
    rng = np.random.default_rng(pieces)
    d = middle_um * np.exp(0.5 * rng.standard_normal(pieces))
    sample = make_sample(d, field=np.arange(pieces) % 5, smallest_um=float(d.min()))
    summary, verdict = judged(sample, FeltProfile())
    chart = size_chart(sample, FeltProfile(), r=3, summary=summary)
    lines = {line.split()[0]: line.split() for line in sizes_lines(summary, verdict) if " µm " in line}
    assert len(chart.percentiles) == 3
    for mark in chart.percentiles:
        name = f"volume.x{mark.percent:g}_um"
        low, high = summary.interval(name)
        window = _plain(number_text.interval(summary.value(name), low, high))
        shown, lowest, highest = figure_texts(summary.value(name), low, high)
        assert window == f"{shown} ({lowest} to {highest})µm"
        assert mark.size_text == shown
        assert f" {shown} µm" in chart.in_words()
        assert _with_interval(summary, name) == f"{shown} µm ({lowest} to {highest})"
        words = {"10": "x₁₀", "50": "x₅₀", "90": "x₉₀"}[f"{mark.percent:g}"]
        command = [line for line in sizes_lines(summary, verdict) if f"{words} by volume" in line]
        assert command[0].split()[-5:] == [shown, "µm", lowest, "to", highest]
    assert lines


def test_an_interval_gives_the_place_and_a_very_wide_one_does_not():
    # JCGM 100:2008, 7.2.6: two digits of the uncertainty, the value to the same place
    assert figure_texts(33.26418, 33.2011, 33.3271) == ("33.264", "33.201", "33.327")
    assert figure_texts(1234.5, 1100.0, 1390.0) == ("1230", "1100", "1390")
    assert figure_texts(12.34, 1.0, 60.0) == ("12.3", "1", "60")
    assert figure_texts(5.0) == ("5.00", "", "")
    assert figure_texts(float("nan")) == ("none", "", "")
    assert decimals_of(0.0) == (0, 0)
