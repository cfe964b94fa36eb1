"""The program's processes use one thread each for matrices, unless the user says otherwise."""

import os
import subprocess
import sys

SHOWN = (
    "import os, sys, app.__main__ as start\n"
    "assert 'numpy' not in sys.modules\n"
    "start._run_command = lambda arguments: print(os.environ['OPENBLAS_NUM_THREADS']) or 0\n"
    "start.main(['--version'])\n"
)


def shown(**own: str) -> str:
    kept = {name: value for name, value in os.environ.items() if not name.endswith("_NUM_THREADS")}
    done = subprocess.run(
        [sys.executable, "-c", SHOWN], env=kept | own, capture_output=True, text=True, check=True
    )
    return done.stdout.strip()


def test_one_thread_is_set_before_the_libraries_are_imported() -> None:
    assert shown() == "1"


def test_what_the_user_set_stays() -> None:
    assert shown(OPENBLAS_NUM_THREADS="3") == "3"
