"""Size charts: what they show, how they are laid out, and that both kinds of paper can draw them."""

import math
from dataclasses import replace

import numpy as np
import pytest

from measure.judge.felt import FeltProfile
from measure.judge.verdict import judged
from measure.model import KINDS
from measure.output.charts_layout import lay_out, share_ticks, size_ticks
from measure.output.charts_paper import chart_png
from measure.output.charts_shapes import Area, Box, Text, shortened, text_width
from measure.output.charts_sizes import curve_sizes, size_chart
from measure.output.charts_style import PAPER
from measure.sizes.curve import curve
from measure.sizes.sample import make_sample


@pytest.fixture(scope="module")
def sample():
    rng = np.random.default_rng(0)
    d = 12 * np.exp(0.45 * rng.standard_normal(1500))
    d = d[d >= 5]
    kinds = rng.choice(3, len(d), p=[0.8, 0.1, 0.1])
    return make_sample(d, field=np.arange(len(d)) % 6, kind=kinds, smallest_um=5.0)


@pytest.fixture(scope="module")
def chart(sample):
    summary, _ = judged(sample, resamples=100)
    band = curve(sample, curve_sizes(sample), r=3, resamples=100)
    return size_chart(sample, FeltProfile(), r=3, summary=summary, band=band, title="pass 3")


def test_shares_are_stacked_to_the_whole(sample, chart):
    assert chart.shares.sum() == pytest.approx(1.0)
    by_kind = np.bincount(sample.kind, sample.quantity(3), minlength=len(KINDS)) / sample.quantity(3).sum()
    assert chart.shares.sum(axis=1) == pytest.approx(by_kind)
    assert chart.kinds == (0, 1, 2)
    assert chart.edges_um[0] <= 5.0
    assert chart.edges_um[-1] >= sample.diameter_um.max()
    cut = size_chart(sample.at_least(6.6), FeltProfile())
    assert cut.edges_um[:2].tolist() == [6.6, 7.1]
    assert cut.shares.sum() == pytest.approx(1.0)
    number = size_chart(sample, FeltProfile(), r=0)
    assert number.shares.sum() == pytest.approx(1.0)
    assert number.quantity == "number"
    assert number.percentiles == ()


def test_labels_carry_unit_weighting_limit_and_interval(chart):
    assert "by volume" in chart.caption
    assert "at least 5 µm" in chart.caption
    assert "95 % between 6 fields" in chart.caption
    assert "volume" in chart.y_label
    assert "R20" in chart.y_label
    words = [shape.text for shape in lay_out(chart, 700, 420).shapes if isinstance(shape, Text)]
    for text in (
        "area-equivalent diameter, µm",
        "pass 3",
        "not counted below 5 µm",
        "volume finer than this, %",
    ):
        assert text in words
    assert any(text.startswith("x₉₀  ") for text in words)
    assert "x50" in chart.in_words()


def test_a_narrow_chart_has_its_caption_in_more_lines_and_loses_no_word(chart):
    tops = []
    for width in (700, 330):
        drawing = lay_out(chart, width, 420)
        words = [s.text for s in drawing.shapes if isinstance(s, Text)]
        assert all(any(part in text for text in words) for part in chart.caption.split("  ·  "))
        tops.append(drawing.plot[1])
    assert tops[1] > tops[0]


def test_bars_stand_where_their_classes_are(chart):
    drawing = lay_out(chart, 700, 420)
    left, top, right, bottom = drawing.plot
    colours = {PAPER.kinds[KINDS[k]].colour for k in chart.kinds}
    bars = [
        s
        for s in drawing.shapes
        if isinstance(s, Box) and s.fill in colours and s.y > top - 1 and s.height > 0
    ]
    assert len(bars) == int((chart.shares > 0).sum())
    for bar in bars:
        assert left - 1 <= bar.x
        assert bar.x + bar.width <= right + 1
        assert bar.y + bar.height <= bottom + 1e-6
    tallest = min(bar.y for bar in bars)
    heights = chart.shares.sum(axis=0)
    at = drawing.size_at(next(bar for bar in bars if bar.y == tallest).x + 1)
    assert chart.class_at(at) == int(np.argmax(heights))
    for size in (6.0, 20.0):
        assert drawing.size_at(drawing.x_of(size)) == pytest.approx(size)


def test_every_kind_has_its_own_colour_hatch_and_letter():
    looks = [PAPER.kinds[kind] for kind in KINDS]
    for what in ("colour", "hatch", "letter"):
        assert len({getattr(look, what) for look in looks}) == len(KINDS)


def test_pointing_and_marking_add_to_the_picture(chart):
    plain = lay_out(chart, 700, 420)
    lit = lay_out(chart, 700, 420, pointed=4, marked_um=(12.0, 0.5))
    assert len(lit.shapes) == len(plain.shapes) + 2  # one box, and one mark: 0.5 µm is off the axis
    assert sum(isinstance(s, Area) for s in lit.shapes) == sum(isinstance(s, Area) for s in plain.shapes) + 1


def test_an_empty_chart_says_so():
    empty = size_chart(make_sample(np.array([])), FeltProfile())
    drawing = lay_out(empty, 300, 200)
    assert [s.text for s in drawing.shapes if isinstance(s, Text)] == ["No piece is counted."]
    assert math.isnan(drawing.size_at(100.0))
    assert empty.class_at(5.0) == -1
    assert empty.in_words() == "No piece is counted."


def test_one_size_only_can_be_drawn():
    one = size_chart(make_sample(np.array([8.0, 8.0])), FeltProfile())
    assert one.shares.sum() == pytest.approx(1.0)
    assert len(lay_out(one, 300, 200).shapes) > 10


def test_as_a_picture_for_paper(chart):
    import cv2

    data = chart_png(chart, width_pt=300, height_pt=200, dpi=100)
    picture = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
    assert abs(picture.shape[1] - 300 / 72 * 100) <= 1
    # the kernel's blue covers a good part, and the ground stays white
    blue = np.abs(picture.astype(int) - (0xB6, 0x33, 0x33)).max(axis=2) < 12
    assert 0.05 < blue.mean() < 0.6
    assert (picture == 255).all(axis=2).mean() > 0.3
    assert chart_png(chart, width_pt=300, height_pt=200, dpi=100) == data


def test_marks_of_axes_are_rounded():
    assert size_ticks(1, 1000) == [1.0, 3.0, 10.0, 30.0, 100.0, 300.0, 1000.0]
    assert share_ticks(0.9) == pytest.approx([0.0, 0.2, 0.4, 0.6, 0.8])
    assert share_ticks(100.0) == [0.0, 20.0, 40.0, 60.0, 80.0, 100.0]


def test_large_sizes_are_written_out(sample):
    large = replace(
        sample,
        diameter_um=sample.diameter_um * 400,
        volume_um3=sample.volume_um3 * 400.0**3,
        smallest_um=2000.0,
    )
    summary, _ = judged(large, resamples=20)
    chart = size_chart(large, FeltProfile(), r=3, summary=summary)
    words = " ".join(shape.text for shape in lay_out(chart, 800, 500).shapes if isinstance(shape, Text))
    assert "e+" not in words + chart.in_words()
    assert "not counted below 2000 µm" in words


def test_a_long_title_keeps_both_its_ends():
    title = "a batch of a very long name, after the sixth pass through the mill, second try"
    short = shortened(title, 10, 200)
    assert text_width(short, 10) <= 210
    assert short.startswith("a batch")
    assert short.endswith("second try")


def test_an_interval_that_goes_on_beyond_the_chart_ends_in_an_arrow(chart):
    within = [s for s in lay_out(chart, 600, 400).shapes if isinstance(s, Area)]
    wide = replace(chart, percentiles=(replace(chart.percentiles[-1], high_um=1e4),))
    laid = lay_out(wide, 600, 400)
    arrows = [s for s in laid.shapes if isinstance(s, Area) and s not in within]
    assert len(arrows) == 1
    assert max(x for x, _ in arrows[0].points) == pytest.approx(laid.plot[2])


@pytest.mark.parametrize("size", [(500, 176), (700, 420)])
@pytest.mark.parametrize("limit_um", [6.0, 7.0, 8.0, 9.0])
def test_words_on_what_is_not_counted_and_percentiles_beside_it_leave_each_other_free(sample, limit_um, size):
    # by number x10 lies just above the lower limit, where its words once covered what the hatching means
    near = sample.at_least(limit_um)
    chart = size_chart(near, FeltProfile(), r=0, summary=judged(near, FeltProfile(), resamples=50)[0])
    texts = [shape for shape in lay_out(chart, *size).shapes if isinstance(shape, Text)]
    (limit,) = (text for text in texts if text.text.startswith("not counted"))
    marks = [text for text in texts if text.text[0] == "x" and text.bold]
    assert [mark.text[:3] for mark in marks] == ["x₁₀", "x₅₀", "x₉₀"]
    for mark in marks:
        left = mark.x - (text_width(mark.text, mark.size) if mark.across == "right" else 0.0)
        assert left > limit.x + 0.5 * limit.size, mark.text
