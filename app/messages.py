"""How errors become sentences, and the note kept when the fault is ours."""

import datetime
import logging
import platform
import traceback
from pathlib import Path

from PySide6.QtCore import QStandardPaths

from measure import __version__
from measure.errors import KnownError

log = logging.getLogger(__name__)

NOTE, DONE, WARNING, ERROR = "note", "done", "warning", "error"
LEVELS = (NOTE, DONE, WARNING, ERROR)


def explain(error: BaseException, doing: str = "") -> tuple[str, str]:
    """Return the sentence for the user and its level.

    A `KnownError` speaks for itself. Anything else is a fault of ours: it is logged, a crash note is kept
    and the sentence says where.
    """
    if isinstance(error, KnownError):
        return error.text, WARNING
    if isinstance(error, MemoryError):
        return "There was not enough memory for that. Close other programs or use smaller pictures.", ERROR
    note = keep_crash_note(error)
    where = f" A note for the makers is in {note}." if note else ""
    what = doing or "That"
    return (
        f"{what} failed by a fault in Gritline. Your study is safe, nothing of it was changed.{where}",
        ERROR,
    )


def crash_folder() -> Path:
    """Return the folder of the crash notes."""
    location = QStandardPaths.StandardLocation.AppDataLocation
    return Path(QStandardPaths.writableLocation(location)) / "notes"


def keep_crash_note(error: BaseException) -> Path | None:
    """Write what happened to a file and return its path; None where it cannot be written.

    The note holds the program's own state only: versions and the trace, no pictures and no names of files.
    """
    log.error("unexpected %s", type(error).__name__, exc_info=error)
    now = datetime.datetime.now()
    lines = (
        f"Gritline {__version__}, Python {platform.python_version()}, {platform.platform()}",
        now.isoformat(timespec="seconds"),
        "".join(traceback.format_exception(error)),
    )
    try:
        folder = crash_folder()
        folder.mkdir(parents=True, exist_ok=True)
        path = folder / f"crash-{now:%Y%m%d-%H%M%S}.txt"
        path.write_text("\n".join(lines), encoding="utf-8")
    except OSError:
        return None
    return path
