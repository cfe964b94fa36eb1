"""What ``gritline measure`` says of a run: one JSON object at every end, and every slip of an option."""

import json
from pathlib import Path

import cv2
import numpy as np
import pytest

from app.__main__ import main
from measure.output.objectives import objectives
from measure.study.study import Study

SCALE = ("--um-per-px", "0.5", "--jobs", "1")

SAMPLES = Path(__file__).parents[2] / "sample_images"


@pytest.fixture
def corner(tmp_path):
    """A small part of a sample field."""
    pixels = cv2.imread(str(SAMPLES / "pass-6" / "field-1.jpg"))[:240, :320]
    path = tmp_path / "corner.png"
    cv2.imwrite(str(path), pixels)
    return path


def _ran(capsys, *words):
    code = main(["measure", *map(str, words), *SCALE, "--json"])
    said = capsys.readouterr()
    return code, said.out, said.err


def test_a_run_of_pictures_counted_already_still_prints_its_object(corner, tmp_path, capsys):
    study = tmp_path / "s.gritline"
    assert _ran(capsys, corner, "--study", study)[0] == 0
    again = tmp_path / "again.bmp"
    cv2.imwrite(str(again), cv2.imread(str(corner)))
    code, out, err = _ran(capsys, again, "--study", study)
    assert code == 1
    told = json.loads(out)
    assert (told["fields"], told["particles"], told["sizes"]) == (0, 0, None)
    assert "shows the same picture as corner.png" in told["warnings"][0]
    assert told["warnings"][0] in err


def test_a_blank_that_is_a_field_fails_the_check(corner, tmp_path, capsys):
    other, blank = tmp_path / "other.png", tmp_path / "blank.png"
    for path, sample in ((other, "pass-6/field-2.jpg"), (blank, "blank-oil.jpg")):
        cv2.imwrite(str(path), cv2.imread(str(SAMPLES / sample))[:240, :320])
    code, out, err = _ran(capsys, corner, "--blank", other)
    assert code == 1
    assert "blank-oil picture other.png shows" in err
    assert any("blank-oil picture" in text for text in json.loads(out)["warnings"])
    assert _ran(capsys, corner, "--blank", blank)[0] == 0


def test_an_area_outside_the_picture_and_a_limit_too_small_are_said(corner, capsys):
    code, out, err = _ran(capsys, corner, "--exclude", "400,0,500,100", "--smallest-um", "0.5")
    assert code == 0
    assert "corner.png: the area to be left out lies outside the picture of 320 x 240 px." in err
    assert "The smallest size 0.5 µm is below what the picture can show; 2 µm (4 px) is used." in err
    for once in ("outside the picture", "smallest size", "meet the edge"):
        assert sum(once in words for words in json.loads(out)["warnings"]) == 1
    assert "outside" not in _ran(capsys, corner, "--exclude", "300,200,500,400")[2]


def test_a_path_that_begins_with_a_dash_is_explained(corner, tmp_path, capsys, monkeypatch):
    corner.rename(tmp_path / "-corner.png")
    monkeypatch.chdir(tmp_path)
    with pytest.raises(SystemExit) as ended:
        main(["measure", "-corner.png", *SCALE])
    assert ended.value.code == 2
    assert "begins with a dash needs ./ before it: ./-corner.png" in capsys.readouterr().err
    assert _ran(capsys, "./-corner.png")[0] == 0


def test_a_picture_of_one_pixel_is_a_field_without_pieces(tmp_path, capsys):
    path = tmp_path / "dot.png"
    cv2.imwrite(str(path), np.full((1, 1, 3), 200, np.uint8))
    code, out, err = _ran(capsys, path)
    assert (code, json.loads(out)["particles"]) == (0, 0)
    assert "defect" not in err


def test_what_a_new_result_replaces_in_a_study_is_said(corner, tmp_path, capsys):
    study_path = tmp_path / "s.gritline"
    words = (corner, "--study", study_path, "--batch")
    assert "in place of" not in _ran(capsys, *words, "one", "--exclude", "0,0,20,20")[2]
    assert "in place of" not in _ran(capsys, *words, "one", "--exclude", "0,0,20,20")[2]
    with Study.open(study_path) as study:
        field = study.fields()[0].id
        labels = study.particles(field)["label"].tolist()
        study.set_kind(field, labels[:1], 1)
        study.set_aside(field, labels[1:2], "dirt")
        study.undo()
        assert study.hand_edits(field) == 1
    code, out, err = _ran(capsys, *words, "two")
    assert code == 0
    assert "in place of 1 correction by hand and the areas left out before; undo in the window" in err
    assert "corner.png was in the batch 'one' and is in this one now." in err
    assert len([text for text in json.loads(out)["warnings"] if "corner.png was" in text]) == 2
    with Study.open(study_path) as study:
        assert study.hand_edits(field) == 0
        names = {row.id: row.batch.name for row in study.batches()}
        assert [names[row.batch_id] for row in study.fields()] == ["two"]
        study.undo()
        assert study.particles(field)["kind_by_hand"].sum() == 1


def test_a_limit_finer_than_the_objective_is_told_and_the_study_knows_it_from_then_on(
    corner, tmp_path, capsys
):
    study, other = tmp_path / "s.gritline", tmp_path / "other.png"
    cv2.imwrite(str(other), cv2.imread(str(SAMPLES / "pass-6" / "field-2.jpg"))[:240, :320])

    def told(*words):
        code, out, _ = _ran(capsys, *words)
        assert code == 0
        return [t for t in json.loads(out)["sizes"]["warnings"] if "objective" in t]

    assert told(corner) == []
    assert told(corner, "--na", "0.4") == []
    # twice 0.61 lambda / NA (Rayleigh) at 0.55 µm; the limit is 10 px of 0.5 µm
    assert "limit of 5 µm is finer" in told(corner, "--na", "0.05", "--study", study)[0]
    assert "sizes below 13.4 µm" in told(other, "--study", study)[0]
    assert told(other, "--smallest-um", "13.5", "--na", "0.05") == []
    with Study.open(study) as kept:
        from measure.output.run_sizes import batch_sizes

        assert any("objective" in t for t in batch_sizes(kept)[""].summary.warnings)
    code, _, err = _ran(capsys, corner, "--na", "3")
    assert code == 2
    assert "numerical aperture lies between 0.005 and 1.6" in err


def test_the_scale_file_tells_the_objective(corner, tmp_path, capsys):
    scale, study = tmp_path / "scale.json", tmp_path / "s.gritline"
    scale.write_text('{"um_per_px": 0.5, "objective_na": 0.05}', encoding="utf-8")

    def told(*words):
        assert main(["measure", str(corner), "--scale", str(scale), "--jobs", "1", "--json", *words]) == 0
        found = json.loads(capsys.readouterr().out)
        return [text for text in found["sizes"]["warnings"] if "objective" in text]

    assert "sizes below 13.4 µm" in told("--study", str(study))[0]
    assert told("--na", "0.4") == []  # what is typed goes before the file
    with Study.open(study) as kept:
        assert list(objectives(kept).values()) == [0.05]
    scale.write_text('{"um_per_px": 0.5, "objective_na": 3}', encoding="utf-8")
    assert main(["measure", str(corner), "--scale", str(scale), "--study", str(study)]) == 2
    assert "scale.json: objective_na cannot be" in capsys.readouterr().err
