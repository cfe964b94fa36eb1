"""Whatever fails at whatever moment: an action is there whole or not at all, and the file stays sound."""

import itertools
import os
import random
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from measure.errors import StudyFileError
from measure.study import connection
from measure.study.records import Batch
from measure.study.study import Study
from tests.measure.study import child_at_work
from tests.measure.study.builders import everything, fill, particles, picture, result, same_particles


class Failing(sqlite3.Connection):
    """A connection whose k-th statement from now fails as a lost drive would: once, or from then on."""

    left: int | None = None
    for_ever = False

    def _count(self) -> None:
        if self.left is None:
            return
        self.left -= 1
        if self.left == 0 or (self.left < 0 and self.for_ever):
            error = sqlite3.OperationalError("disk I/O error")
            error.sqlite_errorcode = sqlite3.SQLITE_IOERR
            raise error

    def execute(self, *arguments: object) -> sqlite3.Cursor:
        self._count()
        return super().execute(*arguments)

    def executemany(self, *arguments: object) -> sqlite3.Cursor:
        self._count()
        return super().executemany(*arguments)


def _several(study: Study) -> None:
    with study.one_step("Two"):
        study.add_batch(Batch("x"))
        study.set_setting("felt", 3)


ACTIONS: dict[str, Callable[[Study], object]] = {
    "measure again": lambda s: s.store_result(1, result(30, 4)),
    "replace": lambda s: s.replace_particles(1, [1, 2], particles(3), "Cut"),
    "replace many": lambda s: s.replace_particles(1, range(1, 26), particles(60), "Draw"),
    "kind": lambda s: s.set_kind(1, [1, 2], 3),
    "remove field": lambda s: s.remove_fields([1]),
    "add fields": lambda s: s.add_fields([picture("x", data=b"x" * 50_000), picture("y")]),
    "automatic": lambda s: s.restore_automatic(1),
    "several": _several,
    "undo": lambda s: s.undo(),
    "redo": lambda s: s.redo(),
    "view": lambda s: s.set_setting("view.field", 3),
}


def _told(action: Callable[[Study], object], study: Study) -> str | None:
    try:
        action(study)
    except StudyFileError as error:
        return error.text
    return None


def _ready(study: Study) -> None:
    fill(study, 30)
    study.set_kind(1, [9], 1)
    study.set_kind(1, [8], 1)
    study.undo()


@pytest.mark.parametrize("for_ever", [False, True], ids=["once", "from then on"])
@pytest.mark.parametrize("name", ACTIONS)
def test_any_statement_may_fail(
    path: Path, monkeypatch: pytest.MonkeyPatch, name: str, for_ever: bool
) -> None:
    monkeypatch.setattr(connection, "connection_class", Failing)
    with Study.create(path) as study:
        _ready(study)
        study._con.for_ever = for_ever
        before, kept = everything(study), study.particles(1)
        for k in itertools.count(1):
            study._con.left = k
            told = _told(ACTIONS[name], study)
            study._con.left = None
            if told is None:
                break
            assert "did not answer" in told
            assert everything(study) == before, k
            assert study.integrity_check() == []
            assert same_particles(study.particles(1), kept)
        assert k > 3
        assert name == "view" or everything(study) != before
        kept = study.particles(1)
        study._sets.clear()
        assert same_particles(study.particles(1), kept)
        assert study.integrity_check() == []


@pytest.mark.parametrize("name", ["measure again", "replace many", "add fields"])
def test_the_disk_may_be_full_at_any_page(study: Study, name: str) -> None:
    _ready(study)
    study._con.execute("PRAGMA cache_size = 5")  # pages go to the disk during the action, not at its end only
    before = everything(study)
    full = 0
    for more in range(400):
        pages = study._con.execute("PRAGMA page_count").fetchone()[0]
        study._con.execute(f"PRAGMA max_page_count = {pages + more}")
        told = _told(ACTIONS[name], study)
        if told is None:
            break
        assert (
            told
            == "The disk is full, so nothing was changed in spread.gritline. Free some space and try again."
        )
        full += 1
        study._con.execute("PRAGMA max_page_count = 1000000")
        assert everything(study) == before
    assert full > 0
    assert everything(study) != before
    study._con.execute("PRAGMA max_page_count = 1000000")
    assert study.integrity_check() == []


def test_a_full_disk_leaves_nothing_of_a_new_study(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    class Full(sqlite3.Connection):
        def execute(self, statement: str, *arguments: object) -> sqlite3.Cursor:
            if statement.startswith("BEGIN"):
                super().execute("PRAGMA max_page_count = 5")
            return super().execute(statement, *arguments)

    monkeypatch.setattr(connection, "connection_class", Full)
    with pytest.raises(StudyFileError, match="The disk is full"):
        Study.create(path)
    assert os.listdir(path.parent) == []


def test_a_reader_in_the_way_of_a_commit_is_told(study: Study, path: Path) -> None:
    fill(study)
    study._con.execute("PRAGMA busy_timeout = 50")
    reader = sqlite3.connect(path, isolation_level=None)
    reader.execute("BEGIN")
    reader.execute("SELECT * FROM batch").fetchall()
    before = everything(study)
    with pytest.raises(StudyFileError, match="Another program is using"):
        study.add_batch(Batch("x"))
    reader.close()
    assert everything(study) == before
    study.add_batch(Batch("x"))


@pytest.mark.parametrize("seed", range(4))
def test_a_process_may_be_killed_at_any_moment(tmp_path: Path, seed: int) -> None:
    wait = random.Random(seed).uniform(0.02, 0.5)
    assert kill_one(tmp_path / "work.gritline", seed, wait)[0] == ""


def kill_one(path: Path, seed: int, wait_s: float) -> tuple[str, bool]:
    """Kill a process at work on a study; return what is wrong then, and whether it was amid a transaction."""
    root = Path(__file__).resolve().parents[3]
    command = [sys.executable, "-m", "tests.measure.study.child_at_work", str(path), str(seed)]
    with subprocess.Popen(command, cwd=root, stdout=subprocess.PIPE, text=True) as child:
        assert child.stdout is not None
        child.stdout.readline()  # at work
        time.sleep(wait_s)
        child.kill()
        confirmed = len(child.stdout.read().split())
    midway = path.with_name(path.name + "-journal").exists()
    with Study.open(path) as study:
        if study.read_only:
            return f"read only: {study.read_only_reason}", midway
        return child_at_work.fault(study, seed, confirmed) or "; ".join(study.integrity_check()), midway
