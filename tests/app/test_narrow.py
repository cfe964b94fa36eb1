"""The picture keeps half of the window whatever the size of the text; words stand where there is room."""

from collections.abc import Iterator

import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QFontMetrics, QStandardItemModel
from PySide6.QtWidgets import QApplication, QSplitter, QTableView, QWidget
from pytestqt.qtbot import QtBot

from app import parts, rail
from app.window import Window


@pytest.fixture(params=[1.0, 1.5], ids=["text", "large text"])
def sized(request: pytest.FixtureRequest, qapp: QApplication) -> Iterator[float]:
    usual = qapp.font()
    font = qapp.font()
    font.setPointSizeF(usual.pointSizeF() * request.param)
    qapp.setFont(font)
    yield request.param
    qapp.setFont(usual)


def test_the_picture_has_half_of_the_window(sized: float, open_window: Window, qtbot: QtBot):
    for name in ("scale", "fields", "particles"):
        open_window.go(name)
        open_window.resize(1281, 800)
        open_window.resize(1280, 800)
        qtbot.wait(20)
        station = open_window.stations[name]
        view = station.view if name == "particles" else station.picture.view
        if name == "particles":
            station._whole.setCurrentIndex(1)
            qtbot.wait(20)
        assert view.width() >= 640, (name, sized)
    assert open_window.width() == 1280


def test_the_rail_keeps_its_states_where_it_shows_names_alone(open_window: Window, qtbot: QtBot):
    button = open_window.rail.buttons["fields"]
    assert not button.compact
    wide = button.sizeHint().width()
    open_window.rail.suit(600)
    assert button.compact
    assert button.sizeHint().width() < wide
    assert button.toolTip().startswith("2 fields, 2 to measure\n")
    assert "2 fields, 2 to measure" in button.accessibleName()
    button.grab()
    assert button.minimumSizeHint().height() < button.sizeHint().height()  # the state gives way first
    open_window.rail.suit(1920)
    assert not button.toolTip().startswith("2 fields")


def test_a_state_in_short_keeps_its_figures_and_ends_in_dots(qapp: QApplication):
    assert rail.short_words("3.4 times finer (1.6 to 10.0)") == "3.4 times finer"
    assert rail.short_words("nothing measured yet") == "nothing measured"
    assert rail.short_words("1 433 pieces, 6 doubtful here") == "1 433 pieces, 6 doubtful"
    metrics = QFontMetrics(qapp.font())
    width = metrics.horizontalAdvance("1 433 pieces, 6")
    assert rail.lines_of("1 433 pieces, 6 doubtful here", metrics, width, 2)[0] == "1 433 pieces, 6"
    assert rail.lines_of("1 433 pieces, 6 doubtful here", metrics, width, 1)[0].endswith("…")
    assert rail.lines_of("", metrics, width, 2) == []


def test_tools_of_a_ruling_have_words_too_and_make_room_for_a_long_name(open_window: Window):
    open_window.go("scale")
    picture = open_window.stations["scale"].picture
    picture.tools.resize(700, 60)
    picture.show_picture(None, "ruling.jpg")
    assert picture.tools.worded
    picture.show_picture(None, "a very long name of a picture of a ruling, taken on a Wednesday.jpg")
    assert not picture.tools.worded


def test_tools_have_words_where_there_is_room_and_tips_with_keys_always(open_window: Window, qtbot: QtBot):
    open_window.go("particles")
    row = open_window.stations["particles"].tools
    row.resize(1400, 60)
    row._suit(1400)
    assert row.worded
    row._suit(row._needed - 1)
    assert not row.worded
    for button in row._buttons:
        assert 0 < len(button.defaultAction().iconText()) <= 7
        assert "(" in button.toolTip()
        assert button.accessibleName() == button.defaultAction().text()


def test_a_panel_grows_with_what_it_holds_instead_of_scrolling_sideways(qtbot: QtBot):
    inner, label = QWidget(), parts.label("short")
    inner.setLayout(parts.column(label, None))
    split = QSplitter(Qt.Orientation.Horizontal)
    area = parts.scroll(inner)
    split.addWidget(QWidget())
    split.addWidget(area)
    split.setChildrenCollapsible(False)
    split.resize(600, 300)
    qtbot.addWidget(split)
    split.show()
    split.setSizes([500, 100])
    label.setText("a line as long as words that came later")
    qtbot.waitUntil(lambda: area.viewport().width() >= inner.minimumSizeHint().width())
    assert not area.horizontalScrollBar().isVisible()


def test_columns_grow_with_the_text(qtbot: QtBot):
    views = [QTableView(), QTableView()]
    for view, times in zip(views, (1, 2), strict=True):
        qtbot.addWidget(view)
        model = QStandardItemModel(1, 2)
        view.setModel(model)
        model.setParent(view)
        font = view.font()
        font.setPointSizeF(times * font.pointSizeF())
        view.setFont(font)
        parts.set_widths(view, (50, 100))
    assert (views[0].columnWidth(0), views[0].columnWidth(1)) == (50, 100)
    assert views[1].columnWidth(0) > 80
    assert views[1].columnWidth(1) == pytest.approx(2 * views[1].columnWidth(0), abs=2)
