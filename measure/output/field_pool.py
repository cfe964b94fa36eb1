"""Measure many fields here or elsewhere: results in order, memory flat, lost workers replaced."""

import os
from collections import deque
from collections.abc import Iterator, Sequence
from concurrent.futures import Executor, Future, wait
from dataclasses import replace
from pathlib import Path

from measure.errors import InvalidInput, KnownError
from measure.output import field_run
from measure.output.field_run import FieldJob, FieldOutcome
from measure.output.free_memory import free_bytes
from measure.progress import SILENT, Progress

# peak of one worker: what it takes to start and what each pixel takes; see tests/benchmarks/field_speed.py
START_BYTES, BYTES_A_PIXEL = 200_000_000, 70
_USUAL_PIXELS = 20_000_000
_MOST_HELPERS = 3  # of one field; what is not shared would keep more of them waiting
_TRIES = 2  # a field whose worker is lost is tried at least once more

_LOOK_EVERY_S, _WITHOUT_WORKERS_S = 5.0, 60.0  # how long workers may be missing before a run ends


def workers_for(jobs: int, wanted: int | None = None, pixels: int = _USUAL_PIXELS) -> int:
    """Return how many worker processes to use: cores and memory allow, never more than the jobs.

    Parameters
    ----------
    jobs : int
        Pictures to measure.
    wanted : int, optional
        What the user asked for instead of all cores.
    pixels : int
        Pixels of the largest picture; 0 when unknown.
    """
    free = free_bytes()
    each = START_BYTES + BYTES_A_PIXEL * (pixels or _USUAL_PIXELS)
    by_memory = jobs if free is None else max(1, free // each)
    return max(1, min(jobs, wanted or _cores(), by_memory))


def helpers_for(jobs: int, wanted: int | None = None) -> int:
    """Return how many processes may help with a single large field; none where fields run side by side.

    Parameters
    ----------
    jobs : int
        Pictures to measure.
    wanted : int, optional
        How many processes the user asked for in all.
    """
    if jobs != 1:
        return 0
    free = free_bytes()
    by_memory = _MOST_HELPERS if free is None else free // (2 * START_BYTES)
    return max(0, min(_cores(), wanted or _cores(), 1 + _MOST_HELPERS, 1 + by_memory) - 1)


def _cores() -> int:
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def measure_many(
    jobs: Sequence[FieldJob],
    *,
    workers: int = 1,
    progress: Progress = SILENT,
    executor: Executor | None = None,
) -> Iterator[FieldOutcome]:
    """Measure the jobs and give their outcomes in the order of the jobs.

    Parameters
    ----------
    jobs : sequence of FieldJob
        One a picture.
    workers : int
        Processes to start when no executor is given; 1 works in this process.
    progress : Progress
        Told before each field.
    executor : concurrent.futures.Executor, optional
        Where to run instead, for example a `measure.output.cluster.Cluster`. The pictures are read here and
        sent, each with its job.

    Yields
    ------
    FieldOutcome
        One a job. At most a few more jobs than workers are in flight, so memory does not grow with the jobs.
    """
    if executor is None and workers <= 1:
        for done, job in enumerate(jobs):
            progress.report(done / len(jobs), job.name)
            yield field_run.run_field_job(job)
        return
    crew = _LocalCrew(workers) if executor is None else _FarCrew(executor)
    try:
        yield from _in_order(jobs, crew, 2 * max(workers, 2), progress)
    finally:
        crew.close()


def _in_order(
    jobs: Sequence[FieldJob], crew: "_Crew", ahead: int, progress: Progress
) -> Iterator[FieldOutcome]:
    waiting: deque[tuple[FieldJob, Future | FieldOutcome]] = deque()
    queue = iter(jobs)
    for done, job in enumerate(jobs):
        while len(waiting) < ahead and (ahead_job := next(queue, None)) is not None:
            waiting.append((ahead_job, crew.submit(ahead_job)))
        progress.report(done / len(jobs), job.name)
        yield _outcome(waiting, crew)


def _outcome(waiting: deque, crew: "_Crew") -> FieldOutcome:
    """Outcome of the first job that waits; where its worker was lost it is tried again."""
    tried = 0
    while True:
        job, future = waiting[0]
        if isinstance(future, FieldOutcome):
            waiting.popleft()
            return future
        try:
            waiting[0] = (job, crew.result(future))
        except Exception as error:
            crew.check(error)
            tried += 1
            if crew.gives_up(tried):
                text = f"{job.name} ended the process measuring it each time, probably for want of memory."
                waiting[0] = (job, FieldOutcome(job.name, job.batch, job.path, error=text))
            crew.renew(waiting)


class _Crew:
    """Those who measure, and what to do when one of them is lost."""

    def submit(self, job: FieldJob) -> Future | FieldOutcome:
        """Hand a job out; an outcome at once when that cannot be done."""
        raise NotImplementedError

    def result(self, future: Future) -> FieldOutcome:
        """Wait for what comes of a job."""
        return future.result()

    def check(self, error: Exception) -> None:
        """Return when the error is a lost worker, else raise."""
        raise NotImplementedError

    def gives_up(self, tried: int) -> bool:
        """Whether a job that lost its worker so many times is not tried again."""
        return tried >= _TRIES

    def renew(self, waiting: deque) -> None:
        """Hand out again what the loss took along."""
        for place, (job, future) in enumerate(waiting):
            if isinstance(future, Future) and future.done() and (future.cancelled() or future.exception()):
                waiting[place] = (job, self.submit(job))

    def close(self) -> None:
        """Let go."""


class _LocalCrew(_Crew):
    """Processes of this machine. When the system ends one, all of them go, and fewer are started."""

    def __init__(self, workers: int) -> None:
        self._workers = workers
        self._pool = _process_pool(workers)

    def submit(self, job: FieldJob) -> Future:
        from concurrent.futures.process import BrokenProcessPool

        try:
            return self._pool.submit(field_run.run_field_job, job)
        except BrokenProcessPool as error:
            broken: Future = Future()
            broken.set_exception(error)
            return broken

    def check(self, error: Exception) -> None:
        from concurrent.futures.process import BrokenProcessPool

        if not isinstance(error, BrokenProcessPool):
            raise error

    def gives_up(self, tried: int) -> bool:
        # beside others it may not have been this job's doing
        return tried >= _TRIES and self._workers == 1

    def renew(self, waiting: deque) -> None:
        self._pool.shutdown(wait=True, cancel_futures=True)
        self._workers = max(1, self._workers // 2)
        self._pool = _process_pool(self._workers)
        super().renew(waiting)

    def close(self) -> None:
        self._pool.shutdown(wait=True, cancel_futures=True)


class _FarCrew(_Crew):
    """Another executor, where the pictures' paths cannot be taken for granted."""

    def __init__(self, executor: Executor) -> None:
        self._executor = executor

    def submit(self, job: FieldJob) -> Future | FieldOutcome:
        try:
            packed = replace(job, data=_bytes(job.path), blank_data=_bytes(job.blank_path))
        except InvalidInput as error:
            return FieldOutcome(job.name, job.batch, job.path, error=error.text)
        return self._executor.submit(run_far_job, packed)

    def result(self, future: Future) -> FieldOutcome:
        without = 0.0
        while not wait([future], timeout=_LOOK_EVERY_S).done:
            # the cluster would wait for a new worker for ever
            without = 0.0 if getattr(self._executor, "threads", 1) else without + _LOOK_EVERY_S
            if without >= _WITHOUT_WORKERS_S:
                raise TimeoutError
        return future.result()

    def check(self, error: Exception) -> None:
        # the cluster's own tries are used up when it says so; known by name because it need not be installed
        if type(error).__name__ != "KilledWorker":
            raise KnownError(
                f"The cluster or all its workers are gone ({type(error).__name__}). What is done is kept; "
                "start it again and run the same command once more."
            ) from error


def run_far_job(job: FieldJob) -> FieldOutcome:
    """Measure one picture on one thread, on whatever machine this is."""
    one_thread()
    return field_run.run_field_job(job)


def _bytes(path: str | None) -> bytes | None:
    try:
        return None if path is None else Path(path).read_bytes()
    except OSError as error:
        raise InvalidInput(f"{path} cannot be read ({error.strerror}).") from error


def _process_pool(workers: int) -> Executor:
    import multiprocessing
    from concurrent.futures import ProcessPoolExecutor

    context = multiprocessing.get_context("spawn")  # the same on every system, and safe beside threads
    return ProcessPoolExecutor(workers, mp_context=context, initializer=_begin_work)


def _begin_work() -> None:
    """Prepare a worker process of our own: one thread, and an end with the one who started it."""
    one_thread()
    end_with_parent()


def one_thread() -> None:
    """Make this worker use one thread: the fields themselves run side by side."""
    import cv2

    cv2.setNumThreads(1)


def end_with_parent() -> None:
    """End this process as soon as its parent has gone, however that went.

    A pool whose owner is killed would wait for work for ever.
    """
    import multiprocessing
    import threading
    from multiprocessing.connection import wait as wait_for

    parent = multiprocessing.parent_process()
    if parent is None:
        return

    def watch() -> None:
        wait_for([parent.sentinel])
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()
