"""Pages that are empty at first teach what to do, and fill the window well."""

import pytest
from PySide6.QtWidgets import QFrame, QLabel, QPushButton, QScrollArea
from pytestqt.qtbot import QtBot

from app.window import Window
from measure.judge.panel_session import METHODS


def said(widget: object) -> str:
    return "\n".join(label.text() for label in widget.findChildren(QLabel) if label.isVisible())


def test_the_start_page_says_what_to_prepare_and_to_take_care(window: Window, qtbot: QtBot):
    words = said(window.start)
    for part in ("What you need", "A first smear", "20 to 100 parts", "Take care", "local food law"):
        assert part in words
    cards = [c for c in window.start.findChildren(QFrame) if c.property("look") == "card"]
    lowest = max(c.mapTo(window.start, c.rect().bottomLeft()).y() for c in cards)
    assert 0.7 * window.start.height() < lowest <= window.start.height()


@pytest.mark.parametrize("size", [(1280, 800), (1920, 1080)])
def test_the_tasting_station_teaches_before_a_session(
    open_window: Window, qtbot: QtBot, size: tuple[int, int]
):
    open_window.resize(*size)
    open_window.go("tasting")
    qtbot.wait(30)
    station = open_window.stations["tasting"]
    page = station._pages.currentWidget()
    words = said(station)
    for part in ("How it goes", "Which test answers what", "What to have ready", "three-digit codes"):
        assert part in words
    assert all(method.title in words for method in METHODS.values())
    assert isinstance(page, QScrollArea)
    assert page.verticalScrollBar().maximum() == 0  # nothing to scroll where it fits
    button = next(b for b in station.findChildren(QPushButton) if b.text().strip() == "Plan a session")
    button.click()
    assert station._pages.currentIndex() == 1
