"""The chart in the window: painting, pointing, choosing, copying, and the looks of the kinds."""

import numpy as np
import pytest
from PySide6.QtCore import QPoint, Qt

from app import theme
from app.chart_view import ChartView, window_style
from measure.judge.felt import FeltProfile
from measure.model import KINDS
from measure.output.charts_shapes import HATCHES
from measure.output.charts_sizes import size_chart
from measure.output.charts_style import PAPER
from measure.sizes.sample import make_sample
from measure.sizes.summary import summarise


@pytest.fixture
def view(qtbot):
    theme.choose("light")
    made = ChartView()
    qtbot.addWidget(made)
    made.resize(720, 440)
    rng = np.random.default_rng(0)
    d = 12 * np.exp(0.4 * rng.standard_normal(600))
    sample = make_sample(d, kind=rng.choice(3, 600), field=np.arange(600) % 4, smallest_um=4.0)
    summary = summarise(sample, resamples=0)
    made.show_chart(size_chart(sample, FeltProfile(), summary=summary, title="pass 3"))
    with qtbot.waitExposed(made):
        made.show()
    made.grab()
    return made


def _place(view, size_um):
    drawing = view.drawing()
    return QPoint(round(drawing.x_of(size_um)), round(drawing.plot[3] - 30))


def test_kinds_look_the_same_on_paper_and_on_screen():
    for kind in KINDS:
        assert PAPER.kinds[kind].colour == theme.KIND_STYLE[kind].on_light
        assert PAPER.kinds[kind].letter == theme.KIND_STYLE[kind].letter
        assert PAPER.kinds[kind].hatch in HATCHES


@pytest.mark.parametrize("room", ["light", "dark"])
def test_painted_in_the_colours_of_the_room(view, room):
    theme.choose(room)
    view.grab()
    image = view.grab().toImage()
    palette = theme.current()
    assert image.pixelColor(image.width() - 3, 3).name() == palette.surface
    kernel = theme.KIND_STYLE[KINDS[0]].in_room(palette)
    colours = {
        image.pixelColor(x, y).name() for x in range(0, image.width(), 3) for y in range(0, image.height(), 3)
    }
    assert kernel in colours
    assert window_style().ink == palette.ink
    theme.choose("light")


def test_pointing_and_choosing_with_the_mouse(view, qtbot):
    chart = view.chart
    with qtbot.waitSignal(view.pointed) as heard:
        qtbot.mouseMove(view, _place(view, 13.0))
    assert heard.args == [chart.class_at(13.0)]
    with qtbot.waitSignal(view.chosen) as heard:
        qtbot.mouseClick(view, Qt.MouseButton.LeftButton, pos=_place(view, 21.0))
    assert heard.args == [chart.class_at(21.0), False]
    with qtbot.waitSignal(view.chosen) as heard:
        qtbot.mouseClick(
            view, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.ShiftModifier, _place(view, 21.0)
        )
    assert heard.args == [chart.class_at(21.0), True]
    assert view.class_at(2.0, 2.0) == -1


def test_pointing_and_choosing_with_the_keys(view, qtbot):
    last = len(view.chart.edges_um) - 2
    qtbot.keyClick(view, Qt.Key.Key_Left)
    assert view.pointed_class == last
    qtbot.keyClick(view, Qt.Key.Key_Left)
    qtbot.keyClick(view, Qt.Key.Key_Right)
    assert view.pointed_class == last
    with qtbot.waitSignal(view.chosen) as heard:
        qtbot.keyClick(view, Qt.Key.Key_Return)
    assert heard.args == [last, False]
    qtbot.keyClick(view, Qt.Key.Key_Escape)
    assert view.pointed_class == -1


def test_what_is_pointed_at_shows(view):
    plain = view.grab().toImage()
    view.mark((9.0,))
    assert view.grab().toImage() != plain


def test_a_picture_for_other_programs_is_on_white(view):
    image = view.image(800, 500)
    assert (image.width(), image.height()) == (800, 500)
    assert image.pixelColor(799, 0).name() == "#ffffff"
    kernel = PAPER.kinds[KINDS[0]].colour
    assert any(image.pixelColor(x, y).name() == kernel for x in range(0, 800, 4) for y in range(0, 500, 4))


def test_nothing_to_show_and_words_for_those_who_do_not_see(qtbot, view):
    empty = ChartView()
    qtbot.addWidget(empty)
    empty.resize(500, 300)
    assert not empty.grab().isNull()
    assert empty.image(400, 240).width() == 400
    assert "x90" in view.accessibleDescription()
    empty.show_chart(size_chart(make_sample(np.array([])), FeltProfile()))
    empty.grab()
    assert empty.accessibleDescription() == "No piece is counted."
    assert empty.class_at(200, 150) == -1
