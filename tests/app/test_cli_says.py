"""What ``gritline measure`` says beside its sizes: what was left out, what to take again, wrong options."""

from pathlib import Path

import cv2
import numpy as np
import pytest

from app.__main__ import main

from .test_cli_measure import _discs


@pytest.fixture
def fields(tmp_path) -> Path:
    folder = tmp_path / "fields"
    folder.mkdir()
    for i in range(3):
        _discs(folder / f"f{i}.png", i)
    return folder


def test_a_picture_of_a_format_not_read_is_named_and_not_left_out_in_silence(fields, capsys):
    (fields / "d.gif").write_bytes(b"GIF89a" + bytes(40))
    assert main(["measure", str(fields), "--um-per-px", "0.5", "--jobs", "1"]) == 1
    assert "passed over: d.gif is a GIF picture, which is not read here; save it as PNG or TIFF." in (
        capsys.readouterr().err
    )


def test_a_field_without_pieces_gives_no_table_of_nothing_and_says_to_take_it_again(tmp_path, capsys):
    path = tmp_path / "black.png"
    cv2.imwrite(str(path), np.zeros((300, 400), np.uint8))
    assert main(["measure", str(path), "--um-per-px", "0.5", "--jobs", "1"]) == 0
    said = capsys.readouterr()
    assert "better take it again: black.png: The picture is black or white nearly all over" in said.err
    assert said.out.startswith("0 pieces on 1 field\n")
    assert "none" not in said.out
    assert "nan" not in said.out


def test_what_is_to_be_known_of_the_light_and_cover_is_said_once_for_all_fields_alike(tmp_path, capsys):
    rng = np.random.default_rng(8)
    for i in range(2):
        picture = np.full((360, 480, 3), 220, np.uint8)
        for x, y in rng.uniform(30, (450, 330), (40, 2)).astype(int):
            cv2.circle(picture, (int(x), int(y)), 18, (60, 100, 150), -1, cv2.LINE_AA)
        cv2.imwrite(str(tmp_path / f"thick-{i}.png"), picture)
    main(["measure", str(tmp_path), "--um-per-px", "1", "--jobs", "1", "--out", str(tmp_path / "out")])
    said = [line for line in capsys.readouterr().err.splitlines() if "dilute more" in line]
    assert len(said) == 1  # though the cover of each is its own
    assert said[0].startswith("gritline: thick-0.png and 1 more like it: Pieces cover ")


def test_of_many_fields_to_take_again_the_first_few_are_named(tmp_path, capsys):
    for i in range(5):
        grey = np.zeros((300, 400), np.uint8)
        grey[:, i * 8] = 1  # else they would be one picture
        cv2.imwrite(str(tmp_path / f"dark-{i}.png"), grey)
    main(["measure", str(tmp_path), "--um-per-px", "0.5", "--jobs", "1"])
    said = capsys.readouterr().err
    assert said.count("better take it again") == 3
    assert "2 more fields are better taken again" in said


def test_pages_of_a_file_that_are_not_measured_are_told(tmp_path, capsys):
    import tifffile

    page = cv2.imread(str(_discs(tmp_path / "disc.png", 1)))
    tifffile.imwrite(tmp_path / "pages.tif", np.stack([page, page]), photometric="rgb")
    main(["measure", str(tmp_path / "pages.tif"), "--um-per-px", "0.5", "--jobs", "1"])
    assert "pages.tif: the file holds 2 pictures; the first is used." in capsys.readouterr().err


def test_what_was_written_names_the_study_and_the_overlays(fields, tmp_path, capsys):
    study, out = tmp_path / "s.gritline", tmp_path / "out"
    options = ["--um-per-px", "0.5", "--out", str(out), "--overlays", "--study", str(study), "--jobs", "1"]
    main(["measure", str(fields), *options])
    said = capsys.readouterr().out
    assert "fields.csv, sizes.json, overlays" in said
    assert f"Kept in the study: {study}" in said


def test_a_lower_limit_larger_than_the_picture_is_refused(fields, capsys):
    assert main(["measure", str(fields), "--um-per-px", "0.5", "--smallest-um", "5000"]) == 2
    said = capsys.readouterr().err
    assert said.startswith("gritline: --smallest-um 5000 is larger than what ")
    assert "about 173 µm across" in said  # 400 x 300 px at half a micrometre


@pytest.mark.parametrize(
    "arguments",
    [
        ["measure", "x.png", "--sensitivity", "5"],
        ["measure", "x.png", "--smallest-um", "1e300"],
        ["plan"],
        ["plan", "--median-um", "1e300", "--sigma-g", "1.6"],
        ["panel"],
        ["scale", "x.png", "--nothing"],
    ],
)
def test_a_wrong_option_is_told_in_one_sentence_with_the_way_to_help(arguments, capsys):
    with pytest.raises(SystemExit) as ended:
        main(arguments)
    assert ended.value.code == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert said.endswith(" --help lists the options.\n")


def test_an_error_no_count_gives_is_refused(capsys):
    assert main(["plan", "--median-um", "20", "--sigma-g", "1.6", "--error", "1e-9"]) == 2
    assert "asks for less than 0.1 %" in capsys.readouterr().err
