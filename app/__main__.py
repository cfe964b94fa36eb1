"""Start the window or run one command: ``gritline`` and ``python -m app`` are the same program."""

import argparse
import codecs
import errno
import importlib
import os
import sys
from collections.abc import Sequence
from typing import NoReturn

from app.cli import COMMANDS, module_of
from app.cli.options import is_utf8, plain_signs
from measure import __version__
from measure.errors import Cancelled, DamagedStudy, KnownError

EXIT_DONE, EXIT_CHECK_FAILED, EXIT_BAD_INPUT, EXIT_STOPPED = 0, 1, 2, 130


class _Parser(argparse.ArgumentParser):
    """Says what is wrong in one sentence, not below six lines of options."""

    dashed = ""  # a path among the arguments that reads as an option

    def error(self, message: str) -> NoReturn:
        """End with the sentence and the status of bad input."""
        help_ = f"{self.prog} --help lists the options."
        if self.dashed:
            help_ = f"A path that begins with a dash needs ./ before it: ./{self.dashed}"
        self.exit(EXIT_BAD_INPUT, f"{self.prog}: {message}. {help_}\n")


def _parser(command: str) -> argparse.ArgumentParser:
    """Build the parser; only the command asked for is imported and declares its options."""
    parser = _Parser(
        prog="gritline",
        description="How coarse is this paste? Will a tongue feel it? Without a command the window opens.",
        epilog="gritline STUDY.gritline opens a study in the window.",
    )
    parser.add_argument("--version", action="version", version=f"gritline {__version__}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND")
    for name, text in COMMANDS.items():
        sub = commands.add_parser(name, help=text, description=text[0].upper() + text[1:] + ".")
        if name == command:
            importlib.import_module(module_of(name)).add_arguments(sub)
    return parser


def _one_thread_a_process() -> None:
    """Keep the matrix libraries, which are not imported yet, from starting threads.

    The matrices here are small: threads that wait for one another took an eighth of the work. Fields and
    their parts are shared among processes instead.
    """
    for library in ("OPENBLAS", "OMP", "MKL"):
        os.environ.setdefault(f"{library}_NUM_THREADS", "1")


def _ready_streams() -> None:
    """Let no sign that a terminal cannot show, and no closed stream, end a command in a traceback.

    Redirected output has the signs of an old code page on some systems, which lacks subscripts.
    """
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if stream is None:
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115 (until the end)
        elif not is_utf8(stream) and hasattr(stream, "reconfigure"):
            codecs.register_error("gritline.plain", plain_signs)
            stream.reconfigure(errors="gritline.plain")


def _open_window(arguments: Sequence[str]) -> int:
    from app.application import run_window

    return run_window(list(arguments))


def _run_command(arguments: Sequence[str]) -> int:
    _Parser.dashed = next((a for a in arguments if a[:1] == "-" and os.path.exists(a)), "")
    parsed = _parser(arguments[0]).parse_args(arguments)
    try:
        status = int(importlib.import_module(module_of(parsed.command)).run(parsed))
        sys.stdout.flush()
        return status
    except KnownError as error:
        hint = ""
        if isinstance(error, DamagedStudy) and parsed.command != "mend":
            hint = " Here: gritline mend STUDY --out rescued.gritline."
        print(f"gritline: {error.text}{hint}", file=sys.stderr)  # noqa: T201
        return EXIT_BAD_INPUT
    except BrokenPipeError:
        # whoever reads the output has seen enough; stop without a word, and without one at exit either
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return EXIT_DONE
    except OSError as error:
        if error.filename is not None or error.errno not in (errno.ENOSPC, errno.EDQUOT, errno.EIO):
            raise
        print(f"gritline: The output cannot be written: {error.strerror}.", file=sys.stderr)  # noqa: T201
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return EXIT_BAD_INPUT
    except (Cancelled, KeyboardInterrupt):
        print("gritline: stopped", file=sys.stderr)  # noqa: T201
        return EXIT_STOPPED


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the program.

    Parameters
    ----------
    arguments : sequence of str, optional
        Without the program name; the process's own by default.

    Returns
    -------
    int
        0 done, 1 done but a check failed, 2 bad input.
    """
    _one_thread_a_process()
    _ready_streams()
    arguments = list(sys.argv[1:] if arguments is None else arguments)
    if arguments and (arguments[0] in COMMANDS or arguments[0] in {"-h", "--help", "--version"}):
        return _run_command(arguments)
    return _open_window(arguments)


if __name__ == "__main__":
    import multiprocessing

    multiprocessing.freeze_support()
    sys.exit(main())
