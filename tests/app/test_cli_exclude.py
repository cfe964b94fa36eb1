"""Areas left out on the command line, and the advice in the table of fields."""

import csv
from pathlib import Path

import cv2
import numpy as np
import pytest

from app.__main__ import main


def fields_of(folder: Path) -> list[dict]:
    with (folder / "fields.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def draw(path: Path, seed: int, count: int = 9) -> Path:
    rng = np.random.default_rng(seed)
    pixels = np.full((240, 320, 3), 210.0)
    for i in range(count):
        x, y = 45 + 80 * (i % 4) + rng.uniform(-8, 8), 45 + 70 * (i // 4) + rng.uniform(-8, 8)
        cv2.circle(pixels, (round(x), round(y)), 12, (120, 110, 90), -1, cv2.LINE_AA)
    noisy = cv2.GaussianBlur(pixels, (0, 0), 0.8) + rng.normal(0, 1.5, pixels.shape)
    cv2.imwrite(str(path), np.clip(noisy, 0, 255).astype(np.uint8))
    return path


def test_an_area_left_out_is_not_counted_and_fields_are_advised(tmp_path: Path):
    picture = draw(tmp_path / "a.png", 1, 8)
    common = ["measure", str(picture), "--um-per-px", "1", "--jobs", "1", "--out"]
    assert main([*common, str(tmp_path / "all")]) == 0
    assert main([*common, str(tmp_path / "part"), "--exclude", "0,0,320,80"]) == 0
    everything, part = fields_of(tmp_path / "all")[0], fields_of(tmp_path / "part")[0]
    assert (everything["counted"], part["counted"]) == ("8", "4")
    assert (everything["advice"], everything["odd_in_batch"]) == ("keep", "")
    assert float(everything["median_um"]) == pytest.approx(24, abs=1)
    assert float(everything["edge_share"]) == 0


def test_an_odd_field_of_a_batch_is_named_in_the_table(tmp_path: Path):
    for seed in range(4):
        draw(tmp_path / f"f{seed}.png", seed, 12)
    draw(tmp_path / "few.png", 9, 1)
    out = tmp_path / "out"
    assert main(["measure", str(tmp_path), "--um-per-px", "1", "--jobs", "1", "--out", str(out)]) == 0
    odd = {row["field"]: row["odd_in_batch"] for row in fields_of(out)}
    assert "pieces" in odd["few.png"]
    assert not any(words for name, words in odd.items() if name != "few.png")


def test_leaving_out_everything_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture):
    picture = draw(tmp_path / "a.png", 1, 8)
    command = ["measure", str(picture), "--um-per-px", "1", "--jobs", "1", "--exclude", "0,0,900,900"]
    assert main(command) == 2
    assert "a.png: the areas to be left out cover the whole picture" in capsys.readouterr().err


def test_pictures_named_alike_have_overlays_of_their_own(tmp_path: Path):
    folder = tmp_path / "pictures"
    folder.mkdir()
    for seed, name in enumerate(("a.png", "a.tif", "b.png")):
        draw(folder / name, seed, 4)
    out = tmp_path / "out"
    command = ["measure", str(folder), "--um-per-px", "1", "--jobs", "1", "--overlays", "--out", str(out)]
    assert main(command) == 0
    assert {path.name for path in (out / "overlays").iterdir()} == {"a.png.png", "a.tif.png", "b.png"}


def test_a_picture_named_twice_is_one_field(tmp_path: Path, capsys: pytest.CaptureFixture):
    # a sign that a table quotes, so that no spreadsheet runs it, belongs to the name all the same
    picture = draw(tmp_path / "-a.png", 1, 8)
    command = ["measure", str(picture), str(tmp_path / "." / "-a.png"), "--um-per-px", "1", "--jobs", "1"]
    assert main([*command, "--out", str(tmp_path / "out")]) == 1
    said = capsys.readouterr()
    assert said.out.startswith("8 pieces on 1 field,")
    assert "-a.png is named twice; it is measured once." in said.err
    assert main(["sizes", str(tmp_path / "out" / "particles.csv"), "--resamples", "0"]) == 0
    assert capsys.readouterr().out.startswith("8 pieces on 1 field,")


def test_why_nothing_was_found_is_said(tmp_path: Path, capsys: pytest.CaptureFixture):
    black, dot = tmp_path / "black.png", tmp_path / "dot.png"
    cv2.imwrite(str(black), np.zeros((240, 320, 3), np.uint8))
    cv2.imwrite(str(dot), np.full((1, 1, 3), 200, np.uint8))
    assert main(["measure", str(black), "--um-per-px", "1", "--jobs", "1"]) == 0
    said = capsys.readouterr().err
    assert "black or white nearly all over; look at the lamp" in said
    assert "raise the sensitivity" not in said
    assert main(["measure", str(dot), "--um-per-px", "1", "--jobs", "1"]) == 0
    assert "the picture has only 1 × 1 px" in capsys.readouterr().err


@pytest.mark.parametrize("text", ["1,2,3", "a,b,c,d", "5,5,2,9", "-1,0,3,4", "0,0,nan,4"])
def test_what_is_no_rectangle_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture, text: str):
    picture = draw(tmp_path / "a.png", 1)
    assert main(["measure", str(picture), "--um-per-px", "1", f"--exclude={text}"]) == 2
    assert "is no rectangle" in capsys.readouterr().err
