"""Where ``gritline measure`` works when no folder for its tables is named, and how a stopped run goes on."""

import argparse
import contextlib
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

from measure.output.parts import FOLDER_NAME


@contextlib.contextmanager
def working_folder(study: str | None) -> Iterator[Path]:
    """Give the folder of a run without ``--out``, which is gone when the run has ended.

    With a study it lies beside it, hidden, and stays when the run is stopped or killed with fields in it: the
    same command finds them there. Without one nothing could be taken up, so any temporary folder does.
    """
    if study is None:
        with tempfile.TemporaryDirectory() as scratch:
            yield Path(scratch)
        return
    folder = Path(study).with_name(f".{Path(study).name}.measuring")
    try:
        yield folder
    except BaseException:
        if not _holds_fields(folder):
            shutil.rmtree(folder, ignore_errors=True)
        raise
    shutil.rmtree(folder, ignore_errors=True)


def how_to_go_on(args: argparse.Namespace) -> str:
    """Return what to do after a run was stopped."""
    if args.out or args.study:
        return "What is measured is kept; give the same command again to go on from there."
    return "Nothing is kept of this run; with --out DIR or --study FILE a stopped one can be taken up again."


def _holds_fields(folder: Path) -> bool:
    parts = folder / FOLDER_NAME
    return parts.is_dir() and any(parts.iterdir())
