"""The keyboard stays where the work is when the button that was pressed is switched off."""

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from app.stations.base import BaseStation
from app.window import Window


def test_after_measuring_the_focus_is_on_the_picture(station: BaseStation, open_window: Window, qtbot: QtBot):
    open_window.activateWindow()
    station.next.setFocus()
    qtbot.keyClick(station.next, Qt.Key.Key_Return)
    assert QApplication.focusWidget() is station.picture.view
    qtbot.waitUntil(lambda: not open_window.session.measuring.under_way, timeout=60000)
    assert QApplication.focusWidget() is station.picture.view


def test_hiding_a_message_leads_back_to_the_picture(station: BaseStation, open_window: Window):
    open_window.activateWindow()
    open_window.session.tell("Something to read.", "warning")
    open_window.strip.hide_button.setFocus()
    open_window.strip.rest()
    assert QApplication.focusWidget() is station.picture.view


def test_a_focus_that_stays_in_the_station_is_left_alone(station: BaseStation, open_window: Window):
    open_window.activateWindow()
    station.details.scale.setFocus()
    station.details.batch.setFocus()
    assert QApplication.focusWidget() is station.details.batch
