"""``gritline measure`` and ``export`` end to end, and every kind of bad input refused in one sentence."""

import csv
import json
import struct
import zlib
from pathlib import Path

import cv2
import numpy as np
import pytest

from app.__main__ import main
from measure.sizes.particle_table import TABLE_COLUMNS

CONTRACT = [
    "batch",
    "field",
    "particle",
    "kind",
    "counted",
    "set_aside_reason",
    "centre_x_px",
    "centre_y_px",
    "area_um2",
    "area_equivalent_diameter_um",
    "feret_max_um",
    "feret_min_um",
    "perimeter_um",
    "aspect_ratio",
    "circularity",
    "solidity",
    "volume_um3",
    "touches_frame",
    "frame_weight",
    "touching",
    "edge_width_px",
    "doubt",
    "size_uncertainty_um",
]


def _discs(path: Path, seed: int, radius: float = 12.0) -> Path:
    """Nine dark discs on a pale ground, drawn four times too large: 97 dots across, so 24.25 px here."""
    rng = np.random.default_rng(seed)
    big = np.full((300 * 4, 400 * 4), 205.0)
    for i in range(9):
        x, y = 70 + 130 * (i % 3) + rng.uniform(-15, 15), 50 + 100 * (i // 3) + rng.uniform(-15, 15)
        cv2.circle(big, (round(x * 4), round(y * 4)), round(radius * 4), 120.0, -1)
    grey = cv2.resize(big, (400, 300), interpolation=cv2.INTER_AREA)
    grey = cv2.GaussianBlur(grey, (0, 0), 0.8) + rng.normal(0, 1.2, grey.shape)
    cv2.imwrite(str(path), np.clip(grey, 0, 255).astype(np.uint8))
    return path


@pytest.fixture
def fields(tmp_path) -> Path:
    folder = tmp_path / "fields"
    folder.mkdir()
    for i in range(3):
        _discs(folder / f"f{i}.png", i)
    return folder


def _rows(path):
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_a_folder_gives_the_tables_of_the_contract(fields, tmp_path, capsys):
    out = tmp_path / "deep" / "out"
    code = main(
        [
            "measure",
            str(fields),
            "--um-per-px",
            "0.5",
            "--batch",
            "b",
            "--out",
            str(out),
            "--overlays",
            "--json",
        ]
    )
    assert code == 0
    summary = json.loads(capsys.readouterr().out)
    rows = _rows(out / "particles.csv")
    assert list(rows[0])[: len(CONTRACT)] == CONTRACT
    assert list(rows[0]) == list(TABLE_COLUMNS)
    assert len(rows) == 27 == summary["particles"]
    assert [float(r["area_equivalent_diameter_um"]) for r in rows] == pytest.approx([12.125] * 27, rel=0.025)
    assert {r["batch"] for r in rows} == {"b"}
    fields_rows = _rows(out / "fields.csv")
    assert [r["field"] for r in fields_rows] == ["f0.png", "f1.png", "f2.png"]
    sizes = json.loads((out / "sizes.json").read_text(encoding="utf-8"))
    assert sizes["count"] == sum(r["counted"] == "1" for r in rows)
    assert sizes["volume"]["x50_um"] == pytest.approx(12.125, rel=0.025)
    assert len(list((out / "overlays").glob("*.png"))) == 3
    assert sorted(p.name for p in out.iterdir()) == ["fields.csv", "overlays", "particles.csv", "sizes.json"]


def test_many_processes_give_the_same_bytes(fields, tmp_path):
    one, two = tmp_path / "one", tmp_path / "two"
    main(["measure", str(fields), "--um-per-px", "0.5", "--out", str(one), "--jobs", "1"])
    main(["measure", str(fields), "--um-per-px", "0.5", "--out", str(two), "--jobs", "2"])
    for name in ("particles.csv", "fields.csv", "sizes.json"):
        assert (one / name).read_bytes() == (two / name).read_bytes()


def test_fields_done_before_a_stop_are_taken_over(fields, tmp_path, capsys, monkeypatch):
    from measure.output import field_run

    out = tmp_path / "out"
    measured, real = [], field_run.run_field_job

    def dies_at_third(job):
        if len(measured) == 2:
            raise KeyboardInterrupt
        measured.append(job.name)
        return real(job)

    monkeypatch.setattr(field_run, "run_field_job", dies_at_third)
    command = ["measure", str(fields), "--um-per-px", "0.5", "--out", str(out), "--jobs", "1"]
    assert main(command) == 130
    assert not (out / "particles.csv").exists()
    monkeypatch.setattr(field_run, "run_field_job", lambda job: measured.append(job.name) or real(job))
    assert main(command) == 0
    assert measured == ["f0.png", "f1.png", "f2.png"]
    assert "2 of 3 fields were measured before" in capsys.readouterr().err
    assert len(_rows(out / "particles.csv")) == 27
    assert not (out / ".gritline-parts").exists()


def test_a_bad_picture_among_good_ones_is_passed_over(fields, tmp_path, capsys):
    (fields / "f1.png").write_bytes((fields / "f1.png").read_bytes()[:900])
    code = main(["measure", str(fields), "--um-per-px", "0.5", "--out", str(tmp_path / "out")])
    assert code == 1
    assert "f1.png" in capsys.readouterr().err
    assert {r["field"] for r in _rows(tmp_path / "out" / "particles.csv")} == {"f0.png", "f2.png"}


def test_the_same_picture_twice_is_measured_once(fields, tmp_path, capsys):
    (fields / "f9.png").write_bytes((fields / "f0.png").read_bytes())
    assert main(["measure", str(fields), "--um-per-px", "0.5", "--out", str(tmp_path / "out")]) == 1
    assert "f9.png is the same picture as f0.png" in capsys.readouterr().err
    assert len(_rows(tmp_path / "out" / "fields.csv")) == 3


def test_an_empty_field_gives_empty_tables(tmp_path, capsys):
    rng = np.random.default_rng(0)
    cv2.imwrite(str(tmp_path / "oil.png"), np.clip(rng.normal(200, 1.5, (200, 300)), 0, 255).astype(np.uint8))
    assert (
        main(
            [
                "measure",
                str(tmp_path / "oil.png"),
                "--um-per-px",
                "1",
                "--out",
                str(tmp_path / "out"),
                "--json",
            ]
        )
        == 0
    )
    summary = json.loads(capsys.readouterr().out)
    assert summary["particles"] == 0
    assert summary["sizes"]["count"] == 0
    assert summary["sizes"]["volume"]["x50_um"] is None
    assert _rows(tmp_path / "out" / "particles.csv") == []


def test_the_window_goes_on_with_the_settings_of_the_run(fields, tmp_path):
    from measure.study.study import Study

    path = tmp_path / "s.gritline"
    assert (
        main(["measure", str(fields), "--um-per-px", "0.5", "--smallest-um", "7", "--study", str(path)]) == 0
    )
    with Study.open(path, read_only=True) as study:
        assert study.setting("measure_settings", None)["smallest_um"] == 7.0


def test_a_study_keeps_what_was_measured_and_exports_it(fields, tmp_path, capsys):
    import openpyxl

    study, out = tmp_path / "s.gritline", tmp_path / "out"
    command = [
        "measure",
        str(fields),
        "--um-per-px",
        "0.5",
        "--batch",
        "b",
        "--out",
        str(out),
        "--study",
        str(study),
    ]
    assert main(command) == 0
    assert (
        main(["export", str(study), "--out", str(tmp_path / "e"), "--format", "csv", "--format", "xlsx"]) == 0
    )
    assert (tmp_path / "e" / "particles.csv").read_bytes() == (out / "particles.csv").read_bytes()
    book = openpyxl.load_workbook(tmp_path / "e" / "study.xlsx")
    assert book.sheetnames == ["particles", "fields", "sizes", "batches", "edits"]
    assert book["particles"].max_row == 27 + 2
    # the same pictures again: the study holds them already and takes the new result
    assert main(command) == 0
    assert (
        main(["export", str(study), "--out", str(tmp_path / "e2"), "--format", "csv", "--decimal-comma"]) == 0
    )
    text = (tmp_path / "e2" / "particles.csv").read_text(encoding="utf-8").splitlines()
    assert len(text) == 28
    assert ";" in text[1]
    capsys.readouterr()


def _huge_header(path: Path) -> Path:
    body = b"IHDR" + struct.pack(">IIBBBBB", 90_000, 90_000, 8, 2, 0, 0, 0)
    chunk = struct.pack(">I", 13) + body + struct.pack(">I", zlib.crc32(body))
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + chunk)
    return path


def _bad_inputs(folder: Path) -> dict[str, tuple[list[str], str]]:
    good = str(_discs(folder / "good.png", 1))
    data = Path(good).read_bytes()
    (folder / "empty.png").touch()
    (folder / "text.png").write_text("not a picture", encoding="utf-8")
    (folder / "cut.png").write_bytes(data[: len(data) // 2])
    _huge_header(folder / "huge.png")
    (folder / "none").mkdir()
    (folder / "bad.json").write_text("{", encoding="utf-8")
    (folder / "file").touch()
    (folder / "junk.gritline").write_bytes(b"junk" * 300)
    scale = ["--um-per-px", "0.5"]
    return {
        "no file": ([str(folder / "absent.png"), *scale], "absent.png"),
        "empty file": ([str(folder / "empty.png"), *scale], "empty.png"),
        "text named png": ([str(folder / "text.png"), *scale], "text.png"),
        "truncated": ([str(folder / "cut.png"), *scale], "cut.png"),
        "huge header": ([str(folder / "huge.png"), *scale], "90,?000"),
        "folder without pictures": ([str(folder / "none"), *scale], "none"),
        "scale 0": ([good, "--um-per-px", "0"], "um-per-px"),
        "scale negative": ([good, "--um-per-px=-2"], "um-per-px"),
        "scale nan": ([good, "--um-per-px", "nan"], "um-per-px"),
        "scale absurd": ([good, "--um-per-px", "1e9"], "um-per-px"),
        "scale words": ([good, "--um-per-px", "half"], "um-per-px"),
        "no scale": ([good], "No scale"),
        "both scales": ([good, *scale, "--scale", str(folder / "bad.json")], "Two scales"),
        "unreadable scale file": ([good, "--scale", str(folder / "bad.json")], "bad.json"),
        "no scale file": ([good, "--scale", str(folder / "absent.json")], "absent.json"),
        "output is a file": ([good, *scale, "--out", str(folder / "file")], "is a file"),
        "output below a file": ([good, *scale, "--out", str(folder / "file" / "x")], "is a file"),
        "junk study": ([good, *scale, "--study", str(folder / "junk.gritline")], "junk.gritline"),
        "blank is no picture": ([good, *scale, "--blank", str(folder / "text.png")], "text.png"),
        "overlays without folder": ([good, *scale, "--overlays"], "--out"),
        "no processes": ([good, *scale, "--jobs", "0"], "--jobs"),
    }


CASES = [
    "no file",
    "empty file",
    "text named png",
    "truncated",
    "huge header",
    "folder without pictures",
    "scale 0",
    "scale negative",
    "scale nan",
    "scale absurd",
    "scale words",
    "no scale",
    "both scales",
    "unreadable scale file",
    "no scale file",
    "output is a file",
    "output below a file",
    "junk study",
    "blank is no picture",
    "overlays without folder",
    "no processes",
]


@pytest.mark.parametrize("case", CASES)
def test_bad_input_is_one_sentence_and_nothing_is_written(case, tmp_path, capsys):
    arguments, words = _bad_inputs(tmp_path)[case]
    if "--out" not in arguments:
        arguments = (
            [*arguments, "--out", str(tmp_path / "out")] if case != "overlays without folder" else arguments
        )
    before = {p: p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()}
    assert main(["measure", *arguments]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert len(said.err.strip().splitlines()) == 1
    assert "Traceback" not in said.err
    import re

    assert re.search(words, said.err), said.err
    assert {p: p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()} == before
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    "words", [["export", "absent.gritline", "--out", "x"], ["export", "junk.gritline", "--out", "x"]]
)
def test_export_refuses_what_is_no_study(words, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "junk.gritline").write_bytes(b"junk" * 300)
    assert main(words) == 2
    assert words[1] in capsys.readouterr().err
    assert not (tmp_path / "x").exists()


def test_bad_options_exit_with_two():
    with pytest.raises(SystemExit) as stop:
        main(["measure", "x.png", "--sensitivity", "7"])
    assert stop.value.code == 2
