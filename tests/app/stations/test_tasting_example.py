"""The invented result shown before the first tasting."""

import pytest
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from app.stations import tasting_example as example
from app.window import Window
from measure.judge.psychometric import fit_psychometric


def test_the_example_is_what_the_fit_gives():
    trials = [example.TRIALS] * len(example.SIZES_UM)
    fitted = fit_psychometric(example.SIZES_UM, trials, example.RIGHT, guess=example.GUESS)
    shown = example.example_fit()
    for name in ("threshold", "threshold_low", "threshold_high", "slope", "deviance", "lapse", "trials"):
        assert getattr(shown, name) == pytest.approx(getattr(fitted, name), rel=2e-3)


@pytest.mark.parametrize(("size", "there"), [((1920, 1050), True), ((1280, 800), True), ((1280, 640), False)])
def test_the_example_is_shown_where_there_is_room_and_never_scrolls(
    open_window: Window, qtbot: QtBot, size: tuple[int, int], there: bool
):
    open_window.resize(*size)
    open_window.go("tasting")
    qtbot.wait(30)
    page = open_window.stations["tasting"]._pages.currentWidget()
    (chart,) = page.findChildren(example._Chart)
    assert chart.isVisible() is there
    if there:  # nothing is left empty below it
        bottom = chart.mapTo(page, chart.rect().bottomLeft()).y()
        assert page.height() - bottom < 90
    assert page.verticalScrollBar().maximum() == 0
    assert "Half at 42 µm" in chart.accessibleDescription()
    assert QApplication.focusWidget() is not chart
