"""One large field shared by several processes: those of its steps that go from piece to piece.

The work is cut into parts that do not depend on how many share it, and what comes of them is put together in
their order, so the result is the same with any number of helpers, and without them.
"""

import os
import pickle
import shutil
import tempfile
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from concurrent.futures import BrokenExecutor, CancelledError, Executor, Future
from dataclasses import fields, is_dataclass, replace
from pathlib import Path
from types import TracebackType
from typing import Any

import numpy as np

from measure.field.basics.helper_pool import end_kept, kept_pool, started
from measure.field.basics.strips import own_memory

LEAST_PIXELS = 6_000_000  # a smaller field is done before a helper has started
LEAST_FOR_KEPT = 700_000  # pixels from which helpers that are there already are of use
_LARGE_BYTES = 1_000_000  # arrays from this size on are lent as files, not sent
_AHEAD = 2  # parts each helper has before it
_ROOM_BYTES = 4_000_000_000  # in which a large field and what is worked out of it find place
_MEMORY_FOLDER = Path("/dev/shm")


class Helpers:
    """Processes that take a share of one field; as a context manager they end with it.

    Parameters
    ----------
    count : int
        Processes besides this one; with 0 everything is done here. Those that are kept are taken where there
        are any (`helper_pool`), and stay.
    """

    def __init__(self, count: int = 0) -> None:
        self.count = count
        self._sent_off: list[Future] = []
        self._kept = kept_pool() if count > 0 else None
        self._pool: Executor | None = None
        self._folder: tempfile.TemporaryDirectory | None = None
        self._written = 0
        self._files: dict[
            int, tuple[np.ndarray, str]
        ] = {}  # arrays lent; kept, so that no other has their id
        if self._kept is not None:
            self._pool, self.count = self._kept.pool, min(count, self._kept.count)
        elif count > 0:
            self._pool, _ = started(count)

    def __enter__(self) -> "Helpers":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._kept is None:
            self._close_pool()
        for future in self._sent_off:  # of work that was stopped
            future.cancel()
        self._files.clear()
        if self._folder is not None:
            self._folder.cleanup()

    def map(
        self,
        work: Callable[[Any, Any], Any],
        common: Any,
        parts: Sequence[Any],
        told: Callable[[float], None] | None = None,
    ) -> list[Any]:
        """Do ``work(common, part)`` for each part, here and in the helpers.

        Parameters
        ----------
        work : callable
            A function of a module, for it is sent by name.
        common : dataclass
            What all parts need; its large arrays are lent, not sent.
        parts : sequence
            Arguments that are cheap to send.
        told : callable, optional
            Told from time to time which share of the parts is done; it may stop the work by an error.

        Returns
        -------
        list
            What came of each part, in their order.
        """
        done: list[Any] = [None] * len(parts)
        left = deque(range(len(parts)))
        out: deque[tuple[int, Future]] = deque()
        loan = self._loan(common) if len(parts) > 1 else None

        def take(i: int, future: Future) -> None:
            try:
                done[i] = future.result()
            except (BrokenExecutor, CancelledError):  # a helper was ended, perhaps for want of memory
                self._close_pool()
                done[i] = work(common, parts[i])

        while left:
            while out and out[0][1].done():
                take(*out.popleft())
            while loan and left and self._pool is not None and len(out) < _AHEAD * self.count:
                i = left.popleft()
                out.append((i, self._sent(self._pool, work, loan, parts[i])))
            if told is not None:
                told(1.0 - len(left) / len(parts))
            if left:
                i = left.pop() if loan else left.popleft()
                done[i] = work(common, parts[i])
        for i, future in out:
            take(i, future)
        return done

    def _sent(self, pool: Executor, work: Callable[[Any, Any], Any], loan: str, part: Any) -> Future:
        try:
            sent = pool.submit(_helped, work, loan, part)
        except (BrokenExecutor, RuntimeError) as error:  # ended from outside, or let go
            sent = Future()
            sent.set_exception(error if isinstance(error, BrokenExecutor) else BrokenExecutor(str(error)))
        self._sent_off.append(sent)
        return sent

    def _close_pool(self) -> None:
        if self._pool is None:
            return
        if self._kept is not None:
            end_kept()
        else:
            self._pool.shutdown(wait=True, cancel_futures=True)
        self._pool = None

    def room(self, shape: tuple[int, ...]) -> np.ndarray:
        """Return an array of float32 to be filled where helpers read it, so that lending it takes no copy."""
        reserve = getattr(os, "posix_fallocate", None)  # without it a full disk would end the process
        if self._pool is None or reserve is None or 4 * np.prod(shape) <= _LARGE_BYTES:
            return own_memory(shape)
        try:
            file = self._new_file(".npy")
            mapped = np.lib.format.open_memmap(file, "w+", np.dtype(np.float32), shape)
            with file.open("r+b") as opened:
                reserve(opened.fileno(), 0, file.stat().st_size)
        except OSError:  # no room for the files
            return own_memory(shape)
        array = mapped.view(np.ndarray)
        self._files[id(array)] = (array, str(file))
        return array

    def lend(self, common: Any) -> Any:
        """Return a dataclass with its large arrays where helpers can read them, and only there."""
        # where a file that is mapped cannot be deleted only the helpers, who end before, may map it
        if self._pool is None or os.name == "nt":
            return common
        try:
            return self._remembered(*self._slimmed(common))
        except OSError:  # no room for the files
            self._close_pool()
            return common

    def _remembered(self, slim: Any, lent: dict[str, Any]) -> Any:
        back = {}
        for name, where in lent.items():
            if isinstance(where, str):
                back[name] = _read(where)
                self._files[id(back[name])] = (back[name], where)
            else:
                back[name] = self._remembered(*where)
        return replace(slim, **back)

    def _loan(self, common: Any) -> str | None:
        """Write what all parts need, and return the file; None where nothing can be shared."""
        if self._pool is None:
            return None
        try:
            slim, lent = self._slimmed(common)
            file = self._new_file(".pickle")
            file.write_bytes(pickle.dumps((slim, lent)))
        except OSError:  # no room for the files
            self._close_pool()
            return None
        return str(file)

    def _slimmed(self, common: Any) -> tuple[Any, dict[str, Any]]:
        """Return a dataclass without its large arrays, and where each of them was written."""
        lent: dict[str, Any] = {}
        for field in fields(common):
            value = getattr(common, field.name)
            if is_dataclass(value):
                lent[field.name] = self._slimmed(value)
            elif id(value) in self._files:
                lent[field.name] = self._files[id(value)][1]
            elif isinstance(value, np.ndarray) and value.nbytes > _LARGE_BYTES:
                lent[field.name] = str(self._new_file(".npy"))
                np.save(lent[field.name], value)
        return replace(common, **dict.fromkeys(lent)), lent

    def _new_file(self, suffix: str) -> Path:
        if self._folder is None:
            place = _MEMORY_FOLDER if _has_room(_MEMORY_FOLDER) else None
            self._folder = tempfile.TemporaryDirectory(
                prefix="gritline-", dir=place, ignore_cleanup_errors=True
            )
        self._written += 1
        return Path(self._folder.name) / f"{self._written}{suffix}"


def _has_room(folder: Path) -> bool:
    return folder.is_dir() and os.access(folder, os.W_OK) and shutil.disk_usage(folder).free > _ROOM_BYTES


def _read(file: str) -> np.ndarray:
    return np.load(file, mmap_mode="r").view(np.ndarray)


def _restored(slim: Any, lent: dict[str, Any]) -> Any:
    """Return a dataclass with its arrays as files that are only read where they are looked at."""
    back = {
        name: _read(where) if isinstance(where, str) else _restored(*where) for name, where in lent.items()
    }
    return replace(slim, **back)


_kept: dict[str, Any] = {}


def _helped(work: Callable[[Any, Any], Any], loan: str, part: Any) -> Any:
    """Do one part in a helper."""
    common = _kept.get(loan)
    if common is None:
        _kept.clear()
        common = _kept[loan] = _restored(*pickle.loads(Path(loan).read_bytes()))
        threading.Thread(target=_forget_when_gone, args=(loan,), daemon=True).start()
    return work(common, part)


def _forget_when_gone(loan: str) -> None:
    """Give the memory of a field back once it is done: a helper that is kept may wait long for the next."""
    while Path(loan).exists():
        time.sleep(1.0)
    _kept.pop(loan, None)


def worth_sharing(pixels: int) -> bool:
    """Whether helpers are of use for so many pixels: a large field, or if they are there already."""
    kept = kept_pool()
    return pixels >= LEAST_PIXELS or (pixels >= LEAST_FOR_KEPT and kept is not None and kept.ready())


ALONE = Helpers(0)


def parts_of(count: int, size: int) -> list[range]:
    """Cut a number of things into runs of a size."""
    return [range(i, min(i + size, count)) for i in range(0, count, size)]
