"""Commands whose output goes where not every sign, or nothing at all, can be written."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def table(tmp_path):
    path = tmp_path / "t.csv"
    path.write_text("area_equivalent_diameter_um\n12\n15\n19\n", encoding="utf-8")
    return path


def _run(*words, encoding="utf-8", **options):
    told = {**os.environ, "PYTHONIOENCODING": encoding, "PYTHONPATH": str(ROOT)}
    options = {"stdout": subprocess.PIPE, **options}
    return subprocess.run(
        [sys.executable, "-m", "app", *map(str, words)],
        env=told,
        stderr=subprocess.PIPE,
        check=False,
        **options,
    )


@pytest.mark.parametrize("encoding", ["ascii", "cp1252"])
def test_signs_a_code_page_lacks_become_plain_ones(table, encoding):
    done = _run("sizes", table, encoding=encoding)
    assert (done.returncode, done.stderr) == (0, b"")
    said = done.stdout.decode(encoding)
    assert "x90 by volume" in said
    assert ("12 um;" if encoding == "ascii" else "12 µm;") in said
    assert "?" not in said
    lost = _run("sizes", table.with_name("łüµ.csv"), encoding=encoding)
    assert lost.returncode == 2
    assert lost.stderr.startswith(b"gritline: There is no file")


def test_json_loses_nothing_where_the_output_is_ascii(table):
    plain, whole = (_run("sizes", table, "--json", encoding=e).stdout for e in ("ascii", "utf-8"))
    assert plain.isascii()
    assert json.loads(plain) == json.loads(whole.decode("utf-8"))


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="there is no full device here")
@pytest.mark.parametrize("more", [(), ("--json",)])
def test_a_full_disk_is_said(table, more):
    with open("/dev/full", "w", encoding="utf-8") as full:
        done = _run("sizes", table, *more, stdout=full)
    assert done.returncode == 2
    assert done.stderr.decode() == "gritline: The output cannot be written: No space left on device.\n"
