"""Pages that are empty at first teach what to do, and fill the window well."""

import pytest
from PySide6.QtWidgets import QFrame, QLabel, QPushButton, QScrollArea
from pytestqt.qtbot import QtBot

from app.stations.tasting_teach import _Holder
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


def test_larger_text_gets_a_wider_page(open_window: Window, qtbot: QtBot):
    open_window.resize(1920, 1080)
    open_window.go("tasting")
    page = open_window.stations["tasting"].findChild(_Holder)
    widths = []
    for times in (1.0, 1.5):
        font = page.font()
        font.setPointSizeF(font.pointSizeF() * times)
        page.setFont(font)
        page.resize(page.width() - 1, page.height())
        qtbot.wait(20)
        widths.append(page._inner.maximumWidth() / page.fontMetrics().lineSpacing())
    usual, larger = widths
    assert larger <= 71  # lines of text as long as ever, not as many px
    assert larger * page.fontMetrics().lineSpacing() > 1200
    assert usual >= larger
