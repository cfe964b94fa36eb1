"""The types of the program hold: mypy finds nothing to say."""

import importlib.util
import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]

pytestmark = [
    pytest.mark.skipif(importlib.util.find_spec("mypy") is None, reason="mypy is not installed"),
    pytest.mark.timeout(900),  # half a minute of work, but a busy machine takes its time
]


def _mypy(*what: str | Path) -> subprocess.CompletedProcess[str]:
    # no cache: it would lie in the project's folder
    command = [sys.executable, "-m", "mypy", "--cache-dir", os.devnull, "--config-file", "pyproject.toml"]
    return subprocess.run([*command, *what], cwd=ROOT, capture_output=True, text=True, check=False)


def test_the_types_hold():
    done = _mypy("measure", "app")
    assert done.returncode == 0, done.stdout + done.stderr


def test_the_settings_let_a_wrong_type_be_seen(tmp_path):
    wrong = tmp_path / "wrong.py"
    wrong.write_text("def half(size_um: float | None) -> float:\n    return size_um / 2\n")
    done = _mypy(wrong)
    assert done.returncode == 1, done.stdout + done.stderr
    assert "[operator]" in done.stdout
