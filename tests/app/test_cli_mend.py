"""``gritline mend`` from the outside."""

import errno
import random
from pathlib import Path

import pytest

from app.__main__ import main
from measure.study.study import Study
from tests.app.test_cli_measure import _discs
from tests.measure.study.builders import picture, result


@pytest.fixture
def study(tmp_path: Path) -> Path:
    path = tmp_path / "spread.gritline"
    with Study.create(path) as made:
        for number in range(3):
            data = random.Random(number).randbytes(30_000)
            field_id = made.add_fields([picture(f"{number}.png", data=data)])[0]
            made.store_result(field_id, result(200, number))
    return path


def damage(path: Path, seed: int = 3) -> None:
    chance = random.Random(seed)
    with path.open("r+b") as file:
        for page in chance.sample(range(2, path.stat().st_size // 4096), 5):
            file.seek(page * 4096)
            file.write(chance.randbytes(4096))


def test_a_whole_study_is_called_whole_and_nothing_is_written(study: Path, tmp_path: Path, capsys):
    out = tmp_path / "out.gritline"
    assert main(["mend", str(study), "--out", str(out)]) == 0
    assert "spread.gritline is whole" in "".join(capsys.readouterr())
    assert not out.exists()


def test_a_damaged_one_is_rescued_and_the_losses_are_told(study: Path, tmp_path: Path, capsys):
    damage(study)
    before, out = study.read_bytes(), tmp_path / "out.gritline"
    assert main(["mend", str(study)]) == 1
    assert "Give --out FILE" in "".join(capsys.readouterr())
    assert main(["mend", str(study), "--out", str(out)]) == 1
    said = "".join(capsys.readouterr())
    assert f"Rescued into {out}" in said
    assert study.read_bytes() == before
    with Study.open(out) as rescued:
        there = sum(len(rescued.particles(row.id)) for row in rescued.fields())
        assert f"{len(rescued.fields())} pictures, {there} pieces" in said
        assert 0 < there <= 600


@pytest.mark.parametrize("beginning", [b"SQLite format 3\0", b"no study at all"])
def test_what_holds_nothing_ends_with_a_sentence(tmp_path: Path, capsys, beginning: bytes):
    junk, out = tmp_path / "junk.gritline", tmp_path / "out.gritline"
    junk.write_bytes(beginning + bytes(range(256)) * 64)
    assert main(["mend", str(junk), "--out", str(out)]) == 2
    assert "Nothing in junk.gritline can be read" in capsys.readouterr().err
    assert not out.exists()


def test_wrong_names_are_refused(study: Path, tmp_path: Path, capsys):
    assert main(["mend", str(tmp_path / "none.gritline"), "--out", str(tmp_path / "o.gritline")]) == 2
    assert "There is no study at" in capsys.readouterr().err
    assert main(["mend", str(study), "--out", str(study)]) == 2
    assert "exists already" in capsys.readouterr().err
    assert main(["mend", str(study), "--out", str(tmp_path / "out.txt")]) == 2
    assert "ends in .gritline" in capsys.readouterr().err


def test_a_study_open_elsewhere_is_left_alone(study: Path, tmp_path: Path, capsys):
    with Study.open(study):
        with study.open("r+b") as file:
            file.seek(study.stat().st_size - 4096)
            file.write(bytes(4096))
        assert main(["mend", str(study), "--out", str(tmp_path / "out.gritline")]) == 2
        assert "open in a window" in capsys.readouterr().err


@pytest.mark.parametrize("seed", range(3))
def test_nothing_is_added_to_a_damaged_study(study: Path, tmp_path: Path, capsys, seed: int):
    damage(study, seed)
    before = study.read_bytes()
    new = _discs(tmp_path / "new.png", 4)
    words = ["measure", str(new), "--um-per-px", "0.5", "--study", str(study), "--batch", "pass 3"]
    assert main(words) == 2
    told = capsys.readouterr().err
    assert "spread.gritline is damaged" in told
    assert "gritline mend STUDY --out" in told
    table = tmp_path / "sizes.csv"
    table.write_text("area_equivalent_diameter_um\n12\n20\n")
    assert main(["import", str(table), "--study", str(study), "--batch", "pass 3"]) == 2
    assert "spread.gritline is damaged" in capsys.readouterr().err
    assert study.read_bytes() == before
    assert sorted(path.name for path in tmp_path.glob("*")) == ["new.png", "sizes.csv", "spread.gritline"]
    # what was rescued takes the same fields
    rescued = tmp_path / "rescued.gritline"
    assert main(["mend", str(study), "--out", str(rescued)]) == 1
    assert main([*words[:-3], str(rescued), *words[-2:]]) == 0
    capsys.readouterr()
    with Study.open(rescued) as made:
        assert "new.png" in [row.name for row in made.fields()]


def test_a_picture_that_changed_is_told_before_a_run_adds_to_its_study(study: Path, tmp_path: Path, capsys):
    data = random.Random(2).randbytes(30_000)
    content = bytearray(study.read_bytes())
    content[content.index(data[8000:8100])] ^= 255
    study.write_bytes(content)
    new = _discs(tmp_path / "new.png", 4)
    assert main(["measure", str(new), "--um-per-px", "0.5", "--study", str(study)]) == 2
    assert "1 field cannot be read whole, 2.png (picture). Nothing was added" in capsys.readouterr().err


def test_a_folder_that_takes_nothing_is_told(tmp_path: Path, capsys, monkeypatch):
    table = tmp_path / "sizes.csv"
    table.write_text("area_equivalent_diameter_um\n12\n20\n")

    def refuses(*_given, **_more):
        raise OSError(errno.EROFS, "Read-only file system")

    monkeypatch.setattr(Path, "touch", refuses)
    monkeypatch.setattr(Path, "unlink", refuses)
    assert main(["import", str(table), "--study", str(tmp_path / "new.gritline")]) == 2
    assert "new.gritline cannot be made in" in capsys.readouterr().err
