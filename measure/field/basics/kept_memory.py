"""Memory a large field's steps free, kept for the next of them.

The system takes memory back as soon as a large array is freed and clears it anew for the next one, which
costs more time than many of the steps that use it.
"""

import ctypes
import sys
from collections.abc import Iterator
from contextlib import contextmanager

# parameters of mallopt(3) of the GNU C library; other systems are left as they are
_TRIM_THRESHOLD, _MMAP_THRESHOLD = -1, -3
_ALL_BYTES, _LARGE_BYTES = 2**31 - 1, 2**30
_USUAL_TRIM_BYTES, _USUAL_MMAP_BYTES = 2**26, 2**25  # the largest the library comes to by itself


@contextmanager
def kept_memory(wanted: bool = True) -> Iterator[None]:
    """Keep what is freed inside, and give all of it back to the system at the end.

    Parameters
    ----------
    wanted : bool
        Where it is not, or the system's library knows no such thing, nothing is changed.
    """
    library = _library() if wanted else None
    if library is None:
        yield
        return
    library.mallopt(_MMAP_THRESHOLD, _LARGE_BYTES)
    library.mallopt(_TRIM_THRESHOLD, _ALL_BYTES)
    try:
        yield
    finally:
        library.mallopt(_MMAP_THRESHOLD, _USUAL_MMAP_BYTES)
        library.mallopt(_TRIM_THRESHOLD, _USUAL_TRIM_BYTES)
        library.malloc_trim(0)


def _library() -> ctypes.CDLL | None:
    if not sys.platform.startswith("linux"):
        return None
    try:
        library = ctypes.CDLL(None)
    except OSError:
        return None
    # other libraries of Linux systems have neither
    return library if hasattr(library, "mallopt") and hasattr(library, "malloc_trim") else None
