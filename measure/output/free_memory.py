"""How much memory is free, so that no more workers start than fit."""

import os
import sys
from collections.abc import Callable
from pathlib import Path


def picture_pixels(path: Path) -> int:
    """Pixels a picture file says it has, from its header alone; 0 when it cannot be told."""
    import warnings

    from PIL import Image

    try:
        with warnings.catch_warnings(action="ignore"), Image.open(path) as picture:
            return picture.width * picture.height
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        return 0


def free_bytes() -> int | None:
    """Memory that is free and that the container allows; None when unknown."""
    readers: tuple[Callable[[], int | None], ...] = (_system_free, _container_free)
    known = [value for value in (reader() for reader in readers) if value is not None]
    return min(known) if known else None


def _system_free() -> int | None:
    try:
        for line in Path("/proc/meminfo").read_text(encoding="ascii").splitlines():
            if line.startswith("MemAvailable:"):
                return 1024 * int(line.split()[1])
    except (OSError, ValueError):
        pass
    if sys.platform == "win32":
        return _windows_free()
    try:
        return os.sysconf("SC_AVPHYS_PAGES") * os.sysconf("SC_PAGE_SIZE")
    except (AttributeError, ValueError, OSError):
        return None


def _windows_free() -> int | None:
    if sys.platform != "win32":
        return None
    import ctypes

    class Status(ctypes.Structure):
        _fields_ = (
            ("length", ctypes.c_ulong),
            ("load", ctypes.c_ulong),
            *((name, ctypes.c_ulonglong) for name in ("total", "free", "a", "b", "c", "d", "e")),
        )

    status = Status(length=ctypes.sizeof(Status))
    known = ctypes.windll.kernel32.GlobalMemoryStatusEx(ctypes.byref(status))
    return status.free if known else None


def _container_free() -> int | None:
    """Return what is left below the memory limit of a control group (version 2, as Linux mounts it)."""
    folder = Path("/sys/fs/cgroup")
    try:
        limit = (folder / "memory.max").read_text(encoding="ascii").strip()
        used = (folder / "memory.current").read_text(encoding="ascii").strip()
        return None if limit == "max" else max(0, int(limit) - int(used))
    except (OSError, ValueError):
        return None
