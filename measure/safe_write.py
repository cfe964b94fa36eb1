"""Write a file beside its place and move it there whole: a crash or a full disk never leaves half a file."""

import contextlib
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

from measure.errors import InvalidInput


@contextlib.contextmanager
def written_beside(path: Path | str) -> Iterator[Path]:
    """Give a temporary path in the same folder; on success it replaces ``path``, on failure it goes.

    Raises
    ------
    InvalidInput
        If the folder or file cannot be written.
    """
    target = Path(path)
    try:
        if target.is_dir():
            raise InvalidInput(f"{target} is a folder; name a file to write.")
        handle, name = tempfile.mkstemp(prefix=f".{target.stem}-", suffix=target.suffix, dir=target.parent)
        os.close(handle)
    except OSError as error:
        raise _cannot_write(target, error) from error
    beside = Path(name)
    try:
        yield beside
        umask = os.umask(0)
        os.umask(umask)
        beside.chmod(0o666 & ~umask)
        beside.replace(target)
    except OSError as error:
        raise _cannot_write(target, error) from error
    finally:
        beside.unlink(missing_ok=True)


def write_text(path: Path | str, text: str) -> None:
    """Write UTF-8 text whole or not at all.

    Raises
    ------
    InvalidInput
        If the file cannot be written.
    """
    with written_beside(path) as beside:
        beside.write_text(text, encoding="utf-8", newline="")


def make_folder(path: Path | str) -> Path:
    """Make a folder for results, with its parents; fine if it is there.

    Raises
    ------
    InvalidInput
        If the place is a file or cannot be made.
    """
    folder = Path(path)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except FileExistsError as error:
        raise InvalidInput(f"{folder} is a file, not a folder; name another place with --out.") from error
    except OSError as error:
        raise InvalidInput(
            f"The folder {folder} cannot be made ({error.strerror}); name another place with --out."
        ) from error
    return folder


def check_folder_place(path: Path | str, option: str = "--out") -> Path:
    """Check that a folder could be made here, without making it; ``option`` named the place.

    Raises
    ------
    InvalidInput
        If the place is a file, lies below a file, or cannot be written.
    """
    folder = Path(path)
    nearest = folder
    while not nearest.exists() and nearest != nearest.parent:
        nearest = nearest.parent
    if not nearest.is_dir():
        raise InvalidInput(f"{nearest} is a file, not a folder; name another place with {option}.")
    if not os.access(nearest, os.W_OK):
        raise InvalidInput(f"Nothing can be written in {nearest}; name another place with {option}.")
    return folder


def _cannot_write(target: Path, error: OSError) -> InvalidInput:
    return InvalidInput(f"{target} cannot be written ({error.strerror or error}); name another place.")
