"""Starting the window: settings, looks, logging, and what happens when something fails unforeseen."""

import logging
import os
import sys
import threading
from collections.abc import Callable, Sequence
from difflib import get_close_matches
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING

from app.cli import COMMANDS
from measure.errors import DamagedStudy, InvalidInput, KnownError, StudyFileError

if TYPE_CHECKING:  # Qt itself is loaded only once a window is wanted
    from PySide6.QtWidgets import QApplication

log = logging.getLogger(__name__)

BAD_INPUT = 2


def run_window(arguments: Sequence[str]) -> int:
    """Open the window, on a study when one is named.

    Parameters
    ----------
    arguments : sequence of str
        Nothing, or the path of one study.

    Returns
    -------
    int
        Exit code: 0, or 2 after a sentence on stderr when the study cannot be opened. A damaged one opens
        the window, which offers to rescue what can be read.
    """
    try:
        path = _study_path(arguments)
        _check_screen()
    except DamagedStudy as error:
        path = Path(arguments[0])
        if not _has_screen():
            return _refuse(error)
        # the window opens all the same: it offers to rescue what can be read
    except KnownError as error:
        if sys.stderr is not None:
            return _refuse(error)
        # started by a double click, where nobody would see the sentence: the window says it
        path = Path(arguments[0]) if arguments else None
    return _run(path)


def _refuse(error: KnownError) -> int:
    if sys.stderr is not None:
        print(f"gritline: {error.text}", file=sys.stderr)  # noqa: T201
    return BAD_INPUT


def make_application() -> "QApplication":
    """Return the application, named and dressed; the existing one when there is one."""
    from PySide6.QtWidgets import QApplication

    from app import preferences, theme
    from app.icons import program_icon

    app = QApplication.instance()
    if not isinstance(app, QApplication):
        app = QApplication(sys.argv[:1])
    app.setApplicationName("gritline")
    app.setApplicationDisplayName("Gritline")
    app.setDesktopFileName("gritline")
    theme.choose(preferences.read("theme", "system"))
    app.setWindowIcon(program_icon())
    return app


def _run(path: Path | None) -> int:
    import signal

    # Ctrl+C in the terminal ends the program at once; what was done is on disk already
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    app = make_application()
    from PySide6.QtCore import QByteArray

    from app import preferences
    from app.window import Window

    window = Window()
    watch_for_faults(window.session.tell_error)
    geometry = preferences.settings().value("geometry")
    if isinstance(geometry, QByteArray):
        window.restoreGeometry(geometry)
    window.show()
    if path is not None:
        window.session.open(path)
    return app.exec()


def _study_path(arguments: Sequence[str]) -> Path | None:
    if not arguments:
        return None
    if arguments[0].startswith("-"):
        raise InvalidInput(f"There is no option {arguments[0]}; see gritline --help.")
    near = get_close_matches(arguments[0], COMMANDS, 1)
    if near and not Path(arguments[0]).exists():
        raise InvalidInput(f"{arguments[0]} is not a command; did you mean {near[0]}? See gritline --help.")
    if len(arguments) > 1:
        raise InvalidInput(f"{arguments[0]} is not a command, and only one study can be opened at a time.")
    from measure.study.study import Study

    path = Path(arguments[0])
    if not path.exists() and path.suffix != ".gritline":
        raise StudyFileError(f"{path} is neither a command nor a study; see gritline --help.")
    # opened once to look, so that a wrong file is refused with a sentence before any window appears
    Study.open(path, read_only=True).close()
    return path


def _has_screen() -> bool:
    names = ("DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM")
    return not sys.platform.startswith("linux") or any(os.environ.get(name) for name in names)


def _check_screen() -> None:
    if not _has_screen():
        raise InvalidInput("There is no screen to open the window on; the commands work without, see --help.")


def watch_for_faults(tell: Callable[[BaseException], None]) -> None:
    """Show whatever fails unforeseen in place, keep a crash note, and send Qt's own words to the log."""
    from PySide6.QtCore import QtMsgType, qInstallMessageHandler

    def unforeseen(kind: type[BaseException], error: BaseException, trace: TracebackType | None) -> None:
        if issubclass(kind, KeyboardInterrupt):
            sys.__excepthook__(kind, error, trace)
            return
        tell(error.with_traceback(trace))

    levels = {
        QtMsgType.QtDebugMsg: logging.DEBUG,
        QtMsgType.QtInfoMsg: logging.INFO,
        QtMsgType.QtWarningMsg: logging.WARNING,
    }

    def from_qt(kind: QtMsgType, _context: object, text: str) -> None:
        logging.getLogger("qt").log(levels.get(kind, logging.ERROR), text)

    def in_thread(args: threading.ExceptHookArgs) -> None:
        log.error("a thread failed", exc_info=args.exc_value)

    sys.excepthook = unforeseen
    threading.excepthook = in_thread
    qInstallMessageHandler(from_qt)
