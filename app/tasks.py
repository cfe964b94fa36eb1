"""The one door to work off the GUI thread: threads for one thing, processes for many; latest wins.

Plain functions go in, values come out. ``done`` and ``failed`` always run on the GUI thread.
"""

import logging
import os
import time
from collections.abc import Callable, Iterable
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from multiprocessing import get_context
from typing import Any, TypeVar

from PySide6.QtCore import QObject, Qt, QTimer, Signal, Slot

from app.cycles import EVERY_MS, collect_due, stop_collecting
from measure.errors import Cancelled
from measure.output.field_pool import one_thread
from measure.progress import Progress

_R = TypeVar("_R")
log = logging.getLogger(__name__)

THREADS = 3
# seconds between two progress reports that reach the window
REPORT_EVERY_S = 0.1


class Task:
    """One piece of work under way.

    Attributes
    ----------
    text : str
        What is being done, in words; empty for quiet work the window need not show.
    key : str
        Starting another task of the same key cancels this one.
    fraction, stage : float, str
        How far it is.
    """

    def __init__(self, runner: "TaskRunner", text: str, key: str) -> None:
        self.text, self.key = text, key
        self.fraction, self.stage = 0.0, ""
        self.started = time.monotonic()
        self.listening = True
        self.progress = Progress(self._reported)
        self.on_cancel: Callable[[], None] | None = None
        self._runner = runner
        self._last_report = 0.0

    def cancel(self) -> None:
        """Stop listening at once; the work itself ends at its next report, unheard."""
        if not self.listening:
            return
        self.progress.cancel()
        self._runner.finish(self)
        if self.on_cancel is not None:
            self.on_cancel()

    def _reported(self, fraction: float, stage: str) -> None:
        now = time.monotonic()
        if now - self._last_report < REPORT_EVERY_S and fraction < 1.0:
            return
        self._last_report = now
        self._runner.post(lambda: self.show_progress(fraction, stage))

    def show_progress(self, fraction: float, stage: str) -> None:
        """Take note of how far it is (GUI thread)."""
        if self.listening:
            self.fraction, self.stage = fraction, stage or self.stage
            self._runner.changed.emit()


class TaskRunner(QObject):
    """Run work elsewhere and hand its result back on the GUI thread.

    Signals
    -------
    changed()
        A task began, moved on or ended; look at `tasks`.
    """

    changed = Signal()
    _posted = Signal(object)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.tasks: list[Task] = []
        self.unexpected: Callable[[BaseException], None] = _log_unexpected
        self._threads = ThreadPoolExecutor(THREADS, thread_name_prefix="gritline")
        self._closed = False
        self._posted.connect(self._run_posted, Qt.ConnectionType.QueuedConnection)
        stop_collecting()
        collecting = QTimer(self)
        collecting.timeout.connect(collect_due)
        collecting.start(EVERY_MS)

    def run(
        self,
        work: Callable[[Progress], _R],
        done: Callable[[_R], object],
        *,
        failed: Callable[[Exception], object] | None = None,
        text: str = "",
        key: str = "",
    ) -> Task:
        """Run ``work(progress)`` on a thread.

        Parameters
        ----------
        work : callable
            Must not touch widgets or the study; may raise `Cancelled`.
        done, failed : callable
            Called on the GUI thread with the result or the exception, unless cancelled.
        text : str
            Shown with progress when the work takes longer than half a second.
        key : str
            Latest wins: an older task of the same key is cancelled.
        """
        task = self._begin(text, key)
        future = self._threads.submit(work, task.progress)
        future.add_done_callback(
            lambda ended: self.post(lambda: self._hand_over(task, ended, done, failed, last=True))
        )
        return task

    def run_many(
        self,
        work: Callable[[Any], Any],
        jobs: Iterable[tuple[Any, Callable[[], Any]]],
        *,
        each_done: Callable[[Any, Any], None],
        each_failed: Callable[[Any, BaseException], None],
        done: Callable[[], None],
        text: str = "",
        key: str = "",
        workers: int | None = None,
    ) -> Task:
        """Run ``work(payload)`` for many jobs in processes started afresh.

        Parameters
        ----------
        work : callable
            A module-level function of a module that does not import Qt.
        jobs : iterable of (name, callable)
            The callable makes the payload on the GUI thread, just before it is sent, so that only a
            few payloads exist at a time.
        each_done, each_failed : callable
            Called with the name and the result or exception as each job ends. Cancelling keeps what
            was handed over until then.
        done : callable
            Called when no job is left; not after cancelling.
        """
        task = self._begin(text, key)
        _Many(self, task, work, list(jobs), each_done, each_failed, done, workers).start()
        return task

    def post(self, call: Callable[[], None]) -> None:
        """Run ``call`` soon on the GUI thread; safe from any thread."""
        if self._closed:
            return
        try:
            self._posted.emit(call)
        except RuntimeError:  # the window is gone; nobody is left to tell
            log.debug("a result came after the end")

    def busy(self, key: str) -> bool:
        """Return whether a task of that key is under way."""
        return any(task.key == key for task in self.tasks)

    def cancel_all(self, *, keep: str = "") -> None:
        """Cancel everything under way, but for the work of one key."""
        for task in tuple(self.tasks):
            if not keep or task.key != keep:
                task.cancel()

    def close(self) -> None:
        """Cancel everything and accept no more results."""
        self.cancel_all()
        self._closed = True
        self._threads.shutdown(wait=False, cancel_futures=True)

    def finish(self, task: Task) -> None:
        """Forget a task (GUI thread)."""
        task.listening = False
        if task in self.tasks:
            self.tasks.remove(task)
            self.changed.emit()

    def _begin(self, text: str, key: str) -> Task:
        if key:
            for task in tuple(self.tasks):
                if task.key == key:
                    task.cancel()
        task = Task(self, text, key)
        self.tasks.append(task)
        self.changed.emit()
        return task

    def _hand_over(
        self,
        task: Task,
        future: Future,
        done: Callable[[Any], object],
        failed: Callable[[Exception], object] | None,
        *,
        last: bool,
    ) -> None:
        if not task.listening or future.cancelled():
            return
        if last:
            self.finish(task)
        error = future.exception()
        if error is None:
            done(future.result())
        elif isinstance(error, Cancelled):
            task.cancel()
        elif failed is not None and isinstance(error, Exception):
            failed(error)
        else:
            self.unexpected(error)

    @Slot(object)
    def _run_posted(self, call: Callable[[], None]) -> None:
        if not self._closed:
            call()


class _Many:
    """The jobs of one `TaskRunner.run_many`, a few in flight at a time."""

    def __init__(
        self,
        runner: TaskRunner,
        task: Task,
        work: Callable[[Any], Any],
        jobs: list[tuple[Any, Callable[[], Any]]],
        each_done: Callable[[Any, Any], None],
        each_failed: Callable[[Any, BaseException], None],
        done: Callable[[], None],
        workers: int | None,
    ) -> None:
        self._runner, self._task, self._work = runner, task, work
        self._waiting, self._total, self._ended = jobs[::-1], len(jobs), 0
        self._each_done, self._each_failed, self._done = each_done, each_failed, done
        self._workers = max(1, min(workers or os.cpu_count() or 1, len(jobs)))
        self._pool: Executor = ProcessPoolExecutor(
            self._workers, mp_context=get_context("spawn"), initializer=one_thread
        )

    def start(self) -> None:
        """Send the first jobs; the processes start as they come."""
        self._task.on_cancel = self._shut
        for _ in range(self._workers + 1):
            self._send_next()
        if not self._total:
            self._runner.post(self._end)

    def _send_next(self) -> None:
        if not self._waiting or not self._task.listening:
            return
        name, payload = self._waiting.pop()
        try:
            future = self._pool.submit(self._work, payload())
        except Exception as error:  # the payload could not be made, or a worker died
            failure = error
            self._runner.post(lambda: self._one_failed(name, failure))
            return
        future.add_done_callback(lambda ended: self._runner.post(lambda: self._one_ended(name, ended)))

    def _one_ended(self, name: Any, future: Future) -> None:
        if not self._task.listening or future.cancelled():
            return
        error = future.exception()
        if error is not None:
            self._one_failed(name, error)
            return
        self._each_done(name, future.result())
        self._count()

    def _one_failed(self, name: Any, error: BaseException) -> None:
        if not self._task.listening:
            return
        self._each_failed(name, error)
        self._count()

    def _count(self) -> None:
        self._ended += 1
        self._task.show_progress(self._ended / self._total, f"{self._ended} of {self._total}")
        if self._ended == self._total:
            self._end()
        else:
            self._send_next()

    def _end(self) -> None:
        self._shut()
        self._runner.finish(self._task)
        self._done()

    def _shut(self) -> None:
        self._waiting = []
        self._pool.shutdown(wait=False, cancel_futures=True)


def _log_unexpected(error: BaseException) -> None:
    log.error("work failed", exc_info=error)
