"""Processes that help with a field: started for one field, or kept for those to come."""

import os
from concurrent.futures import Executor, Future
from dataclasses import dataclass

__all__ = ["KeptPool", "end_kept", "keep_helpers", "kept_pool", "started"]

# what the parts need; by name, for it stands above this room
_WORK = ("shapely", "measure.field.overlaps.overlap")


@dataclass(frozen=True)
class KeptPool:
    """Helpers that stay.

    Attributes
    ----------
    pool : Executor
    count : int
        Processes.
    starting : tuple of Future
        Done when each of them can work at once.
    """

    pool: Executor
    count: int
    starting: tuple[Future, ...]

    def ready(self) -> bool:
        """Whether all of them can work at once."""
        return all(one.done() and one.exception() is None for one in self.starting)


_now: list[KeptPool] = []


def started(count: int) -> tuple[Executor, tuple[Future, ...]]:
    """Start so many helpers; they import what the work needs while this process reads the picture."""
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    context = get_context("spawn")  # the same on every system, and safe beside threads
    pool = ProcessPoolExecutor(count, mp_context=context, initializer=_begin)
    return pool, tuple(pool.submit(_import_all) for _ in range(count))


def keep_helpers(count: int) -> None:
    """Start helpers for the fields to come, if there are none yet; they stay until `end_kept` or the end.

    Parameters
    ----------
    count : int
        Processes; with 0 none are started.
    """
    # where a file that is mapped cannot be deleted, helpers must end before what a field lent them is
    if count > 0 and not _now and os.name != "nt":
        pool, starting = started(count)
        _now.append(KeptPool(pool, count, starting))


def kept_pool() -> KeptPool | None:
    """Return the helpers that are kept, or None."""
    return _now[0] if _now else None


def end_kept() -> None:
    """Let the helpers go that are kept; what they still do is not waited for."""
    while _now:
        _now.pop().pool.shutdown(wait=False, cancel_futures=True)


def _begin() -> None:
    """Prepare a helper: one thread, and an end with the one who started it."""
    import multiprocessing
    import threading
    from multiprocessing.connection import wait

    import cv2

    cv2.setNumThreads(1)
    parent = multiprocessing.parent_process()

    def watch() -> None:
        if parent is not None:
            wait([parent.sentinel])
            os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


def _import_all() -> None:
    """Import what the work needs before there is any."""
    from importlib import import_module

    from measure.field.basics.flood import ready

    for name in _WORK:
        import_module(name)
    ready()
