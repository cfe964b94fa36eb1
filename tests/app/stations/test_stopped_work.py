"""What a station shows once its work was stopped by hand."""

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QPushButton
from pytestqt.qtbot import QtBot

from app.tasks import Task
from app.window import Window

LEFT = Qt.MouseButton.LeftButton
WORDS = {"sizes": "are not worked out", "compare": "are not compared", "report": "before its pages were made"}


@pytest.mark.parametrize("name", list(WORDS))
def test_stopped_work_is_said_and_can_be_taken_up(open_window: Window, qtbot: QtBot, name: str):
    window, station = open_window, open_window.stations[name]
    said: list[str] = []
    task = Task(window.session.tasks, "work", "a key")
    window.go(name)
    station.offer_again(task, WORDS[name], lambda: said.append("again"))
    task.cancel()
    qtbot.waitUntil(lambda: window.strip.offer.isVisible())
    assert WORDS[name] in window.strip.text.text()
    assert isinstance(window.strip.offer, QPushButton)
    qtbot.mouseClick(window.strip.offer, LEFT)
    assert said == ["again"]


def test_newer_work_in_its_place_says_nothing(open_window: Window, qtbot: QtBot):
    window, station = open_window, open_window.stations["sizes"]
    window.go("sizes")
    tasks = window.session.tasks
    first = tasks.run(lambda _: None, lambda _: None, key="k")
    station.offer_again(first, "stopped", lambda: None)
    tasks.run(lambda progress: [progress.check() for _ in range(3)], lambda _: None, key="k")
    qtbot.wait(50)
    assert "stopped" not in window.strip.text.text()
