"""One window may change a study; a lock on a small side file says which. It ends with its process.

The lock sits on a side file because closing any second handle on the study itself would drop the
database's own locks in this process.
"""

import contextlib
import errno
import os
import sys
from pathlib import Path

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl


_HELD = (errno.EACCES, errno.EAGAIN, errno.EWOULDBLOCK, errno.EDEADLK)


class HeldElsewhere(Exception):  # noqa: N818 - a fact, not an error
    """Another window or program has the study open for changing."""


class WriterLock:
    """The right to change one study file.

    Parameters
    ----------
    path : Path
        The study.

    Raises
    ------
    HeldElsewhere
        If another opener has it.
    OSError
        If no side file can be made there (a folder that cannot be written to), or the drive knows no locks.
    """

    def __init__(self, path: Path) -> None:
        self._path = side_file(path)
        self._handle: int | None = None
        while self._handle is None:
            handle = _open(self._path)
            try:
                _lock(handle)
            except OSError as error:
                os.close(handle)
                if error.errno in _HELD:
                    raise HeldElsewhere from error
                raise
            # an opener that closed just now may have taken the name away from this file
            if _same_file(handle, self._path):
                self._handle = handle
            else:
                os.close(handle)

    def release(self) -> None:
        """Give the right up and take the side file away; does nothing the second time."""
        if self._handle is None:
            return
        if sys.platform != "win32":  # the name goes first, while nobody else can hold it
            with contextlib.suppress(OSError):
                self._path.unlink()
        os.close(self._handle)
        self._handle = None
        if sys.platform == "win32":
            with contextlib.suppress(OSError):
                self._path.unlink()


def side_file(path: Path) -> Path:
    """Return the side file of a study."""
    real = Path(os.path.realpath(path))
    return real.with_name(f".{real.name}.open")


def _open(path: Path) -> int:
    try:
        return os.open(path, os.O_RDWR | os.O_CREAT, 0o666)
    except PermissionError:  # made by another person of this computer: a look is enough for a lock
        return os.open(path, os.O_RDONLY)


def _lock(handle: int) -> None:
    if sys.platform == "win32":
        msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
    else:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)


def _same_file(handle: int, path: Path) -> bool:
    try:
        named = path.stat()
    except OSError:
        return False
    held = os.fstat(handle)
    return (held.st_dev, held.st_ino) == (named.st_dev, named.st_ino)
