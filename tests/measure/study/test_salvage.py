import random
import shutil
import sqlite3
from pathlib import Path

import pytest

from measure.errors import StudyFileError
from measure.study import check, salvage, schema
from measure.study.records import Batch
from measure.study.study import Study
from tests.measure.study.builders import contents, picture, result


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A study of six fields with 1,200 particles, closed."""
    path = tmp_path_factory.mktemp("sound") / "spread.gritline"
    with Study.create(path) as study:
        batch = study.add_batch(Batch("pass 3"))
        for number in range(6):
            data = random.Random(number).randbytes(30_000)
            field_id = study.add_fields([picture(f"{number}.png", data=data, batch_id=batch)])[0]
            study.store_result(field_id, result(200, number))
    return path


@pytest.fixture
def damaged(sound: Path, path: Path) -> Path:
    shutil.copyfile(sound, path)
    return path


def _overwrite(path: Path, start: int, data: bytes) -> None:
    with path.open("r+b") as file:
        file.seek(start)
        file.write(data)


def test_a_sound_study_comes_over_whole_with_its_undo(damaged: Path, tmp_path: Path) -> None:
    rescue = salvage.salvage(damaged, tmp_path / "out.gritline")
    assert rescue.lost == ()
    assert (rescue.kept["particle"], rescue.kept["field"]) == (1200, 6)
    with Study.open(damaged) as old, Study.open(tmp_path / "out.gritline") as new:
        assert contents(new) == contents(old)
        assert new.integrity_check() == []
        assert new.undo_text() == old.undo_text()
        assert new.edit_log(limit=1)[0].text == "Rescued from the damaged spread.gritline"


@pytest.mark.parametrize("seed", range(6))
def test_what_damaged_pages_leave_is_rescued(damaged: Path, tmp_path: Path, seed: int) -> None:
    chance = random.Random(seed)
    pages = damaged.stat().st_size // 4096
    for page in chance.sample(range(2, pages), 6):
        _overwrite(damaged, page * 4096, chance.randbytes(4096))
    before = damaged.read_bytes()
    rescue = salvage.salvage(damaged, tmp_path / "out.gritline")
    assert damaged.read_bytes() == before
    with Study.open(tmp_path / "out.gritline") as study:
        assert study.integrity_check() == []  # a changed picture is kept as it is, which `lost` tells
        held = sum(len(study.particles(row.id)) for row in study.fields())
        assert held == rescue.kept["particle"] - _lost_particles(rescue.lost)
        assert sum(row.counts.particles for row in study.fields()) == held
        # the page that held the fields themselves may be among the damaged ones
        assert len(study.fields()) >= 4 or "Some of the fields could not be read." in rescue.lost
        assert study.undo_text() is None
        study.add_batch(Batch("works"))
        study.undo()
    assert rescue.lost


def _lost_particles(lost: tuple[str, ...]) -> int:
    return sum(int(text.split()[0]) for text in lost if text.endswith("their outlines or their field."))


@pytest.mark.parametrize("length", [100, 4096])
def test_a_lost_beginning_is_made_anew(damaged: Path, tmp_path: Path, length: int) -> None:
    _overwrite(damaged, 0, bytes(length))
    with pytest.raises(StudyFileError, match="is not a study"):
        Study.open(damaged)
    rescue = salvage.salvage(damaged, tmp_path / "out.gritline")
    assert (rescue.kept["particle"], rescue.kept["picture"]) == (1200, 6)
    with Study.open(tmp_path / "out.gritline") as study:
        assert study.integrity_check() == []
        assert len(study.particles(4)) == 200


def test_a_file_cut_short_gives_what_is_left(damaged: Path, tmp_path: Path) -> None:
    whole = damaged.read_bytes()
    damaged.write_bytes(whole[: len(whole) * 3 // 4])
    rescue = salvage.salvage(damaged, tmp_path / "out.gritline")
    assert rescue.lost
    with Study.open(tmp_path / "out.gritline") as study:
        assert sum(row.counts.particles for row in study.fields()) >= 400


def test_lost_rows_leave_nothing_that_refers_to_them(damaged: Path, tmp_path: Path) -> None:
    con = sqlite3.connect(damaged, isolation_level=None)
    con.execute("DELETE FROM batch")
    con.execute("DELETE FROM picture WHERE id = 2")
    con.execute("DELETE FROM edit WHERE id = 3")
    con.execute("UPDATE field SET scale_id = 9, blank_id = 99 WHERE id = 1")
    con.execute("DELETE FROM field_state")
    con.close()
    rescue = salvage.salvage(damaged, tmp_path / "out.gritline")
    assert rescue.lost == (
        "The picture of 1.png was lost.",
        "What was known of batch 1 was lost.",
        "The scale of 0.png was lost.",
        "The blank of 0.png was lost.",
        "2 entries of the log were lost.",
    )
    with Study.open(tmp_path / "out.gritline") as study:
        assert study.batches()[0].batch.name == "Batch 1"
        assert check.faults_of(study._con) == []
        assert study.fields()[1].counts.particles == 200
        with pytest.raises(StudyFileError, match=r"1\.png has no picture in this study"):
            study.field_bytes(2)
        study.restore_automatic(3)
        assert study._next_label(3) == 201


def test_nothing_to_rescue_is_told(path: Path, tmp_path: Path) -> None:
    path.write_bytes(b"no study at all")
    with pytest.raises(StudyFileError, match=r"Nothing in spread\.gritline can be read"):
        salvage.salvage(path, tmp_path / "out.gritline")
    with pytest.raises(StudyFileError, match="could not be rescued"):
        salvage.salvage(tmp_path / "missing", tmp_path / "out.gritline")
    (tmp_path / "taken.gritline").write_text("x")
    with pytest.raises(StudyFileError, match="exists already"):
        salvage.salvage(path, tmp_path / "taken.gritline")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["spread.gritline", "taken.gritline"]


def test_every_table_is_known(sound: Path) -> None:
    con = sqlite3.connect(sound)
    found = con.execute("SELECT name FROM sqlite_schema WHERE type = 'table' AND name <> 'sqlite_sequence'")
    assert {name for (name,) in found} == set(schema.TABLES)
    strict = {row[1]: row[5] for row in con.execute("PRAGMA table_list")}
    assert all(strict[name] for name in schema.TABLES)
    con.close()
