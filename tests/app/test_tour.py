"""The guided tour and the sheet of figures: they teach without standing in the way."""

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLabel
from pytestqt.qtbot import QtBot

from app import help_words, preferences
from app.stations.sizes_figures import listed
from app.tour import STOPS, TAKEN
from app.window import Window

LEFT, SHIFT = Qt.MouseButton.LeftButton, Qt.KeyboardModifier.ShiftModifier


def test_each_stop_brings_its_station_and_stays_inside_the_window(open_window: Window, qtbot: QtBot):
    open_window.take_tour()
    for place, stop in enumerate(STOPS):
        assert open_window.tour.heading.text() == stop.title
        assert open_window.current == stop.station
        assert open_window.rect().contains(open_window.tour.geometry())
        assert open_window.tour.count.text() == f"{place + 1} of {len(STOPS)}"
        qtbot.mouseClick(open_window.tour.next, LEFT)
    assert not open_window.tour.isVisible()


def test_stops_name_things_that_are_there(open_window: Window):
    for stop in STOPS:
        assert hasattr(open_window.stations[stop.station], stop.points_at)


def test_arrow_keys_walk_it_and_escape_ends_it(open_window: Window, qtbot: QtBot):
    open_window.take_tour()
    qtbot.keyClick(open_window.tour, Qt.Key.Key_Right)
    assert open_window.tour.heading.text() == STOPS[1].title
    qtbot.keyClick(open_window.tour, Qt.Key.Key_Left)
    qtbot.keyClick(open_window.tour, Qt.Key.Key_Left)  # before the first there is nothing
    assert open_window.tour.heading.text() == STOPS[0].title
    qtbot.keyClick(open_window.tour, Qt.Key.Key_Escape)
    assert not open_window.tour.isVisible()


def test_without_a_study_it_shows_the_sample(window: Window, study_path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(window.sample, "open", lambda: window.session.open(study_path))
    window.take_tour()
    assert window.tour.isVisible()
    window.session.close()
    assert not window.tour.isVisible()


def test_opening_the_sample_offers_it(
    window: Window, study_path, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
):
    preferences.write(TAKEN, "")
    monkeypatch.setattr(window.sample, "open", lambda: window.session.open(study_path))
    qtbot.mouseClick(window.start.sample, LEFT)
    assert not window.tour.isVisible()
    qtbot.mouseClick(window.strip.offer, LEFT)
    assert window.tour.isVisible()
    window.session.close()
    qtbot.mouseClick(window.start.sample, LEFT)
    assert not window.strip.offer.isVisible()  # once taken it is not offered again


def test_every_figure_of_sizes_is_explained():
    for name in (*listed(0), *listed(3)):
        text = help_words.tip(name)
        assert all(f"\n{word}: " in text for word in ("Why", "How", "Source")), name
        assert max(map(len, text.splitlines())) <= 72


def test_sheet_of_figures_finds_what_is_typed(open_window: Window, qtbot: QtBot):
    qtbot.keyClick(open_window, Qt.Key.Key_F1, SHIFT)
    sheet = open_window.help
    assert open_window.whole.currentWidget() is sheet
    assert sheet.shown() == len(help_words.HELP)
    qtbot.keyClicks(sheet.line, "felt share")
    titles = [label.text() for label in sheet.findChildren(QLabel) if label.isVisible()]
    assert "Felt share  ·  Sizes" in titles
    assert sheet.shown() < 5
    qtbot.keyClick(sheet, Qt.Key.Key_Escape)
    assert open_window.whole.currentWidget() is not sheet
