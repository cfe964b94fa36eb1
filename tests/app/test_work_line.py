"""What a station waits for is told where it will show and can be stopped there; the strip says other work."""

import threading

from pytestqt.qtbot import QtBot

from app.strip import Strip
from app.tasks import TaskRunner
from app.work_line import WorkLine


def test_a_station_shows_its_own_work_and_stops_it(qtbot: QtBot):
    tasks, go_on = TaskRunner(), threading.Event()
    line, strip = WorkLine(tasks, "mine"), Strip(tasks)
    qtbot.addWidget(line)
    qtbot.addWidget(strip)
    strip.show()
    tasks.run(lambda _p: go_on.wait(20), lambda _r: None, text="Looking at the oil", key="other")

    def work(progress: object) -> None:
        progress.report(0.4, "curves")
        go_on.wait(20)
        progress.check()

    tasks.run(work, lambda _r: None, text="Comparing the batches", key="mine")
    assert not line.isVisible()  # short work must not flicker
    qtbot.waitUntil(line.isVisible, timeout=3000)
    assert line.words.text() == "Comparing the batches: curves"
    strip.follow(("mine",), in_page=False)
    qtbot.waitUntil(lambda: "Comparing the batches" in strip._work.text(), timeout=3000)
    strip.follow(("mine",), in_page=True)
    assert "Looking at the oil" in strip._work.text()
    line.stop.click()
    assert not line.isVisible()
    assert [task.key for task in tasks.tasks] == ["other"]
    go_on.set()
    qtbot.waitUntil(lambda: not tasks.tasks, timeout=3000)
    tasks.close()
