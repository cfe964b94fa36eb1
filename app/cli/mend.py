"""``gritline mend``: check a study, and rescue what can be read of a damaged one into a new file."""

import argparse
from pathlib import Path

from measure.errors import InvalidInput, StudyFileError

_SHOWN_FAULTS = 5


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options of the command."""
    parser.add_argument("study", metavar="STUDY", help="study file (.gritline); it is never changed")
    parser.add_argument(
        "--out",
        metavar="FILE",
        help="new study for what can be rescued; without it the study is only checked",
    )
    parser.epilog = "Exit code: 0 whole, 1 damaged (rescued into FILE as far as it could be read), 2 cannot."


def run(args: argparse.Namespace) -> int:
    """Check, and rescue where needed.

    Returns
    -------
    int
        0 when the study is whole, 1 when it is damaged.

    Raises
    ------
    InvalidInput, StudyFileError
        If it cannot be read at all, is open elsewhere, or FILE cannot be written.
    """
    from app.cli.options import say
    from measure.study.schema import SUFFIX

    path = Path(args.study)
    out = Path(args.out) if args.out else None
    if not path.is_file():
        raise InvalidInput(f"There is no study at {path}. Check the name and the drive.")
    if out is not None and out.suffix.lower() != SUFFIX:
        raise InvalidInput(f"--out {args.out}: a study needs a name that ends in {SUFFIX}.")
    if out is not None and out.exists():
        raise InvalidInput(f"--out {args.out} exists already. Choose another name.")
    faults = _faults(path)
    if not faults:
        say(f"{path.name} is whole; nothing had to be written.")
        return 0
    more = len(faults) - _SHOWN_FAULTS
    say("\n".join(faults[:_SHOWN_FAULTS]) + (f"\nAnd {more} more faults." if more > 0 else ""))
    if out is None:
        say(f"{path.name} is damaged. Give --out FILE to rescue what can be read.")
    else:
        _rescue(path, out)
    return 1


def _faults(path: Path) -> list[str]:
    """Return what is wrong with a study; a file of something else is refused."""
    from measure.errors import DamagedStudy
    from measure.study.study import Study

    try:
        with Study.open(path, read_only=True) as study:
            return study.integrity_check()
    except DamagedStudy as error:
        return [error.text]


def _rescue(path: Path, out: Path) -> None:
    from app.cli.options import say
    from measure.study.lock import HeldElsewhere, WriterLock
    from measure.study.salvage import salvage

    try:
        lock = WriterLock(path)
    except HeldElsewhere:
        raise StudyFileError(f"{path.name} is open in a window. Close it there first.") from None
    except OSError:  # nobody can have it open for changing where no lock can be made
        lock = None
    try:
        rescue = salvage(path, out)
    finally:
        if lock is not None:
            lock.release()
    say(f"Rescued into {out}: {rescue.words()}")
    for sentence in (*rescue.lost, *_faults(out)):
        say(sentence)
