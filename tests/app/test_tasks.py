"""Work off the GUI thread: results come back on it, the newest wins, cancelling frees at once."""

import gc
import threading
import time
import weakref
from collections.abc import Iterator

import pytest
from pytestqt.qtbot import QtBot

from app.tasks import TaskRunner
from measure.errors import InvalidInput
from measure.progress import Progress


@pytest.fixture
def runner(qtbot: QtBot) -> Iterator[TaskRunner]:
    made = TaskRunner()
    yield made
    made.close()


def test_result_comes_back_on_the_gui_thread(runner: TaskRunner, qtbot: QtBot):
    got = []
    worked_on = []

    def work(progress: Progress) -> str:
        worked_on.append(threading.current_thread())
        return "made"

    runner.run(work, lambda result: got.append((result, threading.current_thread())), text="Making")
    assert [task.text for task in runner.tasks] == ["Making"]
    qtbot.waitUntil(lambda: bool(got), timeout=3000)
    assert got == [("made", threading.main_thread())]
    assert worked_on[0] is not threading.main_thread()
    assert runner.tasks == []


def test_newest_of_a_key_wins(runner: TaskRunner, qtbot: QtBot):
    got = []
    for number in range(5):
        runner.run(lambda _progress, n=number: (time.sleep(0.02), n)[1], got.append, key="trial")
    qtbot.waitUntil(lambda: bool(got), timeout=3000)
    qtbot.wait(150)
    assert got == [4]


def test_progress_reaches_the_task(runner: TaskRunner, qtbot: QtBot):
    go_on = threading.Event()

    def work(progress: Progress) -> None:
        progress.report(0.25, "first part")
        go_on.wait(3)

    task = runner.run(work, lambda _: None)
    qtbot.waitUntil(lambda: task.fraction == 0.25, timeout=3000)
    assert task.stage == "first part"
    go_on.set()


def test_cancelling_frees_at_once_and_is_no_error(runner: TaskRunner, qtbot: QtBot):
    told, started = [], threading.Event()
    ended = threading.Event()

    def work(progress: Progress) -> None:
        started.set()
        try:
            while True:
                progress.report(0.5)
                time.sleep(0.005)
        finally:
            ended.set()

    task = runner.run(work, told.append, failed=told.append)
    task.on_cancel = lambda: told.append("cancelled")
    assert started.wait(3)
    task.cancel()
    assert runner.tasks == []
    assert ended.wait(3)
    qtbot.wait(50)
    assert told == ["cancelled"]
    task.cancel()  # twice does nothing more
    assert told == ["cancelled"]


def test_known_error_goes_to_failed(runner: TaskRunner, qtbot: QtBot):
    def work(_progress: Progress) -> None:
        raise InvalidInput("The picture is empty.")

    failures = []
    runner.run(work, failures.append, failed=failures.append)
    qtbot.waitUntil(lambda: bool(failures), timeout=3000)
    assert failures[0].text == "The picture is empty."


@pytest.mark.expects_log
def test_error_nobody_listens_to_is_logged(
    runner: TaskRunner, qtbot: QtBot, caplog: pytest.LogCaptureFixture
):
    runner.run(lambda _progress: 1 / 0, lambda _: None)
    qtbot.waitUntil(lambda: "work failed" in caplog.text, timeout=3000)
    assert "ZeroDivisionError" in caplog.text


def run_many(runner: TaskRunner, qtbot: QtBot, payloads: list, **more: object) -> dict:
    """Run ``abs`` on the payloads in processes and return what was heard."""
    heard = {"done": {}, "failed": {}, "ended": []}
    runner.run_many(
        abs,
        [
            (number, lambda value=value: value() if callable(value) else value)
            for number, value in enumerate(payloads)
        ],
        each_done=heard["done"].__setitem__,
        each_failed=heard["failed"].__setitem__,
        done=lambda: heard["ended"].append(True),
        workers=2,
        **more,
    )
    return heard


def test_many_jobs_each_answer_by_name(runner: TaskRunner, qtbot: QtBot):
    def refuse() -> int:
        raise InvalidInput("Its bytes are gone.")

    heard = run_many(runner, qtbot, [-1, 2, "no number", refuse, -5])
    qtbot.waitUntil(lambda: bool(heard["ended"]), timeout=20000)
    assert heard["done"] == {0: 1, 1: 2, 4: 5}
    assert isinstance(heard["failed"][2], TypeError)
    assert heard["failed"][3].text == "Its bytes are gone."
    assert runner.tasks == []


def test_cancelling_many_keeps_what_was_handed_over(runner: TaskRunner, qtbot: QtBot):
    heard = run_many(runner, qtbot, [-1] * 400)
    qtbot.waitUntil(lambda: len(heard["done"]) >= 3, timeout=20000)
    runner.cancel_all()
    kept = len(heard["done"])
    qtbot.wait(200)
    assert len(heard["done"]) == kept < 400
    assert heard["ended"] == []


def test_no_jobs_end_at_once(runner: TaskRunner, qtbot: QtBot):
    heard = run_many(runner, qtbot, [])
    qtbot.waitUntil(lambda: bool(heard["ended"]), timeout=3000)


def test_nothing_is_heard_after_closing(runner: TaskRunner, qtbot: QtBot):
    got = []
    runner.run(lambda _progress: time.sleep(0.05), got.append)
    runner.close()
    qtbot.wait(150)
    assert got == []


class Circle:
    """Holds itself, so only a collection of circles frees it."""

    def __init__(self) -> None:
        self.own = self


def test_circles_of_objects_are_freed_on_the_gui_thread_only(runner: TaskRunner, qtbot: QtBot):
    freed, worked = [], []
    gc.collect()
    weakref.finalize(Circle(), lambda: freed.append(threading.current_thread()))

    def work(progress: Progress) -> list:
        return [[] for _ in range(20 * gc.get_threshold()[0])]

    runner.run(work, worked.append)  # kept, for what is freed counts as never made
    qtbot.waitUntil(lambda: bool(worked) and bool(freed), timeout=5000)
    assert freed == [threading.main_thread()]
