"""The plain histogram: its figures against hand-worked ones, and pointing at bars."""

import numpy as np
import pytest
from PySide6.QtCore import QPoint, Qt

from app.histogram import Histogram, histogram_data


def example():
    # three classes of ISO 3 series R10 hold these: 10-12.5, 16-20, 31.5-40
    size = np.array([11.0, 11.0, 18.0, 35.0])
    weight = np.array([1.0, 1.0, 1.0, 2.0])
    return histogram_data(size, weight, size**3, np.array([False, False, False, True]), 10.0)


def test_shares_by_number_and_by_volume_add_to_one():
    data = example()
    assert data.by_number.sum() == pytest.approx(1)
    assert data.by_volume.sum() == pytest.approx(1)
    by_class = dict(zip(data.edges_um[:-1].tolist(), data.by_number.tolist(), strict=True))
    assert by_class[10.0] == pytest.approx(2 / 5)
    assert by_class[16.0] == pytest.approx(1 / 5)
    assert by_class[31.5] == pytest.approx(2 / 5)
    volumes = 2 * 11**3, 18**3, 2 * 35**3
    assert data.by_volume[-1] == pytest.approx(volumes[2] / sum(volumes))


def test_the_lit_part_is_a_share_of_the_whole():
    data = example()
    assert data.lit_number.sum() == pytest.approx(2 / 5)
    assert data.lit_number[-1] == data.by_number[-1]


def test_no_pieces_give_an_empty_histogram(qtbot):
    widget = Histogram()
    qtbot.addWidget(widget)
    nothing = np.zeros(0)
    widget.show_data(histogram_data(nothing, nothing, nothing, nothing.astype(bool), 5.0))
    assert widget.data.count == 0
    widget.grab()
    assert widget.accessibleDescription() == "Nothing is counted yet."


@pytest.fixture
def widget(qtbot):
    made = Histogram()
    qtbot.addWidget(made)
    made.resize(360, 220)
    with qtbot.waitExposed(made):
        made.show()
    made.show_data(example())
    return made


def test_pointing_at_a_bar_names_its_class(widget, qtbot):
    x = next(x for x in range(360) if widget.class_at(x) == 0) + 3
    with qtbot.waitSignal(widget.pointed) as pointed:
        qtbot.mouseMove(widget, QPoint(x, 60))
    assert pointed.args == [10.0, 12.5]
    with qtbot.waitSignal(widget.chosen) as chosen:
        qtbot.mouseClick(widget, Qt.MouseButton.LeftButton, pos=QPoint(x, 60))
    assert chosen.args == [10.0, 12.5]


def test_bars_by_keyboard(widget, qtbot):
    heard = []
    widget.chosen.connect(lambda low, high: heard.append((low, high)))
    qtbot.keyClick(widget, Qt.Key.Key_Right)
    qtbot.keyClick(widget, Qt.Key.Key_Right)
    qtbot.keyClick(widget, Qt.Key.Key_Return)
    qtbot.keyClick(widget, Qt.Key.Key_Left)
    qtbot.keyClick(widget, Qt.Key.Key_Return)
    assert heard == [(12.5, 16.0), (10.0, 12.5)]


def test_it_says_in_words_what_it_shows(widget):
    words = widget.accessibleDescription()
    assert words.startswith("4 counted; half of the pieces below")


def test_a_mark_and_the_pointer_change_the_picture(widget, qtbot):
    plain = widget.grab().toImage()
    widget.mark(18.0)
    marked = widget.grab().toImage()
    assert marked != plain
    widget.mark(float("nan"))
    assert widget.grab().toImage() == plain
