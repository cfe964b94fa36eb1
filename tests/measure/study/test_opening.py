import os
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from measure.errors import StudyFileError
from measure.study import connection, lock, opening, schema
from measure.study.records import Batch
from measure.study.study import Study
from tests.measure.study.builders import contents, fill

OLD_FILES = sorted((Path(__file__).parent / "study_files").glob("*.gritline"))


def _digest(path: Path) -> bytes:
    return path.read_bytes()


@pytest.fixture
def closed(path: Path) -> Path:
    with Study.create(path) as study:
        fill(study, 40)
    return path


def test_an_existing_file_is_never_written_over(path: Path, tmp_path: Path) -> None:
    path.write_text("a recipe")
    with pytest.raises(StudyFileError, match=r"spread\.gritline exists already"):
        Study.create(path)
    assert path.read_text() == "a recipe"
    with pytest.raises(StudyFileError, match="does not exist"):
        Study.create(tmp_path / "nowhere" / "x.gritline")


def test_a_name_taken_at_the_last_moment_is_not_written_over(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = opening.settle

    def late(temporary: Path, target: Path, *, overwrite: bool) -> None:
        target.write_text("somebody else's")
        real(temporary, target, overwrite=overwrite)

    monkeypatch.setattr(opening, "settle", late)
    with pytest.raises(StudyFileError, match="exists already"):
        Study.create(path)
    assert path.read_text() == "somebody else's"
    assert os.listdir(path.parent) == [path.name]


def test_a_drive_without_links_still_gets_its_study(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def no_links(*_: object) -> None:
        raise PermissionError("no links here")

    monkeypatch.setattr(connection.os, "link", no_links)
    Study.create(path).close()
    with pytest.raises(StudyFileError, match="exists already"):
        Study.create(path)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (None, "There is no study at"),
        (b"", "is empty"),
        (b"just some text" * 100, "is not a study"),
        (b"SQLite format 3\0" + b"\1" * 5000, "is not a study|damaged"),
        (os.urandom(4096), "is not a study"),
    ],
)
def test_what_is_no_study_is_told_and_left_alone(path: Path, content: bytes | None, words: str) -> None:
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(StudyFileError, match=words):
        Study.open(path)
    assert (path.read_bytes() if path.exists() else None) == content
    assert os.listdir(path.parent) == ([path.name] if content is not None else [])


def test_a_folder_or_another_database_is_told(path: Path, tmp_path: Path) -> None:
    with pytest.raises(StudyFileError, match="is a folder"):
        Study.open(tmp_path)
    con = sqlite3.connect(path)
    con.execute("CREATE TABLE stock (name TEXT)")
    con.close()
    with pytest.raises(StudyFileError, match="a database of something else"):
        Study.open(path)


@pytest.mark.parametrize("share", [0.1, 0.5, 0.95])
def test_a_file_cut_short_is_told(closed: Path, share: float) -> None:
    whole = closed.read_bytes()
    closed.write_bytes(whole[: int(len(whole) * share)])
    before = closed.read_bytes()
    with pytest.raises(StudyFileError, match=r"is damaged|is not a study"):
        Study.open(closed)
    assert closed.read_bytes() == before


def test_a_table_that_is_missing_is_told(closed: Path) -> None:
    con = sqlite3.connect(closed)
    con.execute("DROP TABLE spot_check")
    con.close()
    with pytest.raises(StudyFileError, match="is damaged: it lacks spot_check"):
        Study.open(closed)


@pytest.mark.parametrize(
    "addition",
    [
        "CREATE TRIGGER t AFTER INSERT ON batch BEGIN DELETE FROM field; END",
        "CREATE VIEW v AS SELECT 1",
    ],
)
def test_a_file_with_parts_that_could_run_is_not_opened(closed: Path, addition: str) -> None:
    con = sqlite3.connect(closed)
    con.execute(addition)
    con.close()
    with pytest.raises(StudyFileError, match="parts no study has"):
        Study.open(closed)


def _set_version(path: Path, major: int, minor: int) -> None:
    con = sqlite3.connect(path)
    con.execute(f"PRAGMA user_version = {schema.user_version(major, minor)}")
    con.close()


def test_a_newer_format_is_told_and_left_alone(closed: Path) -> None:
    _set_version(closed, schema.MAJOR + 1, 0)
    before = _digest(closed)
    with pytest.raises(
        StudyFileError, match=r"newer version of the program \(format 2\.0; this one reads up to 1\)"
    ):
        Study.open(closed)
    assert _digest(closed) == before


def test_a_slightly_newer_format_is_for_reading(closed: Path, opened: Callable[..., Study]) -> None:
    _set_version(closed, schema.MAJOR, schema.MINOR + 1)
    study = opened(closed)
    assert study.read_only
    with pytest.raises(StudyFileError, match="cannot be changed, because it was made by a newer version"):
        study.add_batch(Batch("x"))
    assert not lock.side_file(closed).exists()


def test_the_second_window_looks_only_until_the_first_closes(
    closed: Path, opened: Callable[..., Study]
) -> None:
    first = opened(closed)
    second = opened(closed)
    assert (first.read_only, second.read_only) == (False, True)
    assert second.read_only_reason == opening.OTHER_WINDOW
    assert len(second.particles(1)) == 40
    with pytest.raises(StudyFileError, match="because it is open in another window"):
        second.undo()
    first.set_kind(1, [1], 3)
    first.set_aside(1, [2], "dust")
    assert second.particles(1)["kind"][0] == 3
    assert second.undo_text() == "Set aside piece 2: dust"
    first.close()
    third = opened(closed)
    assert not third.read_only


def test_a_lock_left_by_a_crash_does_not_hold(closed: Path, opened: Callable[..., Study]) -> None:
    code = (
        "import os, sys; from measure.study.study import Study; from measure.study.records import Batch\n"
        f"s = Study.open({str(closed)!r}); s.add_batch(Batch('kept'))\n"
        "s._con.execute('PRAGMA cache_size = 1'); s._con.execute('BEGIN IMMEDIATE')\n"
        "s._con.execute(\"UPDATE particle SET set_aside = 'half'\")\n"
        "s._con.execute('UPDATE batch SET name = 1')\n"
        "os._exit(9)\n"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 9
    assert lock.side_file(closed).exists()
    assert closed.with_name(closed.name + "-journal").exists()
    looked = opened(closed, read_only=True)  # a look must not be stopped by what the crash left
    assert [row.batch.name for row in looked.batches()] == ["pass 3", "kept"]
    study = opened(closed)
    assert not study.read_only
    assert "half" not in study.particles(1)["set_aside"].tolist()
    assert study.integrity_check() == []


def test_a_side_file_taken_away_between_opening_and_locking_is_noticed(
    closed: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real, calls = lock._lock, []

    def slow(handle: int) -> None:
        calls.append(handle)
        if len(calls) == 1:  # the opener before closes just now
            lock.side_file(closed).unlink()
        real(handle)

    monkeypatch.setattr(lock, "_lock", slow)
    with Study.open(closed) as study:
        assert not study.read_only
        assert lock.side_file(closed).exists()
    assert len(calls) == 2


@pytest.mark.skipif(os.geteuid() == 0, reason="permissions do not bind the administrator")
@pytest.mark.parametrize("which", ["file", "folder"])
def test_a_read_only_place_opens_for_reading(closed: Path, which: str, opened: Callable[..., Study]) -> None:
    place = closed if which == "file" else closed.parent
    mode = place.stat().st_mode
    place.chmod(mode & ~0o222)
    try:
        study = opened(closed)
        assert study.read_only_reason == opening.NOT_WRITABLE
        assert len(study.particles(1)) == 40
    finally:
        place.chmod(mode)


def test_a_folder_that_takes_no_side_file_opens_for_reading(
    closed: Path, monkeypatch: pytest.MonkeyPatch, opened: Callable[..., Study]
) -> None:
    def refuse(_: Path) -> int:
        raise PermissionError("no")

    monkeypatch.setattr(lock, "_open", refuse)
    study = opened(closed)
    assert study.read_only_reason == opening.NOT_WRITABLE
    assert len(study.particles(1)) == 40


def test_a_file_the_database_cannot_write_opens_for_reading(
    closed: Path, monkeypatch: pytest.MonkeyPatch, opened: Callable[..., Study]
) -> None:
    monkeypatch.setattr(opening, "_can_write", lambda _: False)
    study = opened(closed)
    assert study.read_only_reason == opening.NOT_WRITABLE
    assert not lock.side_file(closed).exists()


@pytest.mark.parametrize("how", ["deleted", "moved", "replaced"])
def test_a_file_gone_while_open_is_told_and_can_be_kept(
    closed: Path, how: str, opened: Callable[..., Study]
) -> None:
    study = opened(closed)
    study.add_batch(Batch("kept"))
    before = contents(study)
    if how == "replaced":
        other = closed.with_name("other")
        shutil.copyfile(closed, other)
        os.replace(other, closed)
    elif how == "moved":
        closed.rename(closed.with_name("moved.gritline"))
    else:
        closed.unlink()
    with pytest.raises(StudyFileError, match="no longer where it was opened"):
        study.add_batch(Batch("lost"))
    assert contents(study) == before
    study.save_copy(closed.with_name("saved.gritline"))
    with Study.open(closed.with_name("saved.gritline")) as saved:
        assert contents(saved) == before


def test_format_numbers_come_apart_as_they_went_together() -> None:
    for major, minor in ((1, 0), (1, 65535), (32767, 3)):
        assert schema.split_version(schema.user_version(major, minor)) == (major, minor)


def _next_format(monkeypatch: pytest.MonkeyPatch, step: Callable[[sqlite3.Connection], None]) -> None:
    monkeypatch.setattr(schema, "MAJOR", 2)
    monkeypatch.setitem(schema.MIGRATIONS, (1, 0), ("add a taste to batches", (1, 1), step))
    monkeypatch.setitem(schema.MIGRATIONS, (1, 1), ("nothing more", (2, 0), lambda _: None))


def _add_taste(con: sqlite3.Connection) -> None:
    con.execute("ALTER TABLE batch ADD COLUMN taste TEXT NOT NULL DEFAULT 'salty'")


def test_an_older_format_is_brought_up_on_a_copy_and_the_old_file_kept(
    closed: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Study.open(closed) as study:
        before = contents(study)
    _next_format(monkeypatch, _add_taste)
    with Study.open(closed) as study:
        assert study.migrated_from == "1.0"
        assert study._rows("SELECT taste FROM batch") == [("salty",)]
        assert contents(study)["particle"] == before["particle"]
        study.add_batch(Batch("new"))
    kept = closed.with_name("spread (format 1.0).gritline")
    assert sorted(os.listdir(closed.parent)) == sorted([closed.name, kept.name])
    monkeypatch.undo()
    with Study.open(kept) as study:
        assert contents(study) == before
    with pytest.raises(StudyFileError, match="newer version"):
        Study.open(closed)


def test_an_older_format_opened_to_look_is_left_alone(closed: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    _next_format(monkeypatch, _add_taste)
    before = _digest(closed)
    with Study.open(closed, read_only=True) as study:
        assert study._rows("SELECT taste FROM batch") == [("salty",)]
        assert study.read_only
    assert _digest(closed) == before
    assert os.listdir(closed.parent) == [closed.name]


def test_a_step_that_fails_leaves_the_old_file(closed: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(con: sqlite3.Connection) -> None:
        _add_taste(con)
        raise ZeroDivisionError

    _next_format(monkeypatch, fail)
    before = _digest(closed)
    with pytest.raises(ZeroDivisionError):
        Study.open(closed)
    assert _digest(closed) == before
    assert os.listdir(closed.parent) == [closed.name]


def test_a_format_that_never_was_is_told(closed: Path) -> None:
    _set_version(closed, 0, 7)
    with pytest.raises(StudyFileError, match=r"format 0\.7, which never was"):
        Study.open(closed)


@pytest.mark.parametrize("old", OLD_FILES, ids=lambda path: path.stem)
def test_files_of_every_released_format_open(old: Path, tmp_path: Path) -> None:
    path = tmp_path / old.name
    shutil.copyfile(old, path)
    with Study.open(path) as study:
        assert [row.batch.name for row in study.batches()] == ["pass 1", "pass 3"]
        assert [row.counts.particles for row in study.fields()] == [12, 13]
        assert [len(study.particles(row.id)) for row in study.fields()] == [12, 13]
        assert study.setting("felt_profile") == {"kernel": [20.0, 40.0]}
        assert study.integrity_check() == []
        while study.undo():
            pass
        assert study.fields() == []


def test_the_present_format_has_its_sample_file() -> None:
    wanted = f"format {schema.MAJOR}.{schema.MINOR}"
    assert wanted in [path.stem for path in OLD_FILES], "keep a sample of each released format"
