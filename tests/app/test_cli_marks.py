"""``gritline measure`` and a bar drawn into the pictures: held against the scale, never counted unseen."""

import json
from pathlib import Path

import cv2
import numpy as np
import pytest

from app.__main__ import main

from .conftest import drawn_field


@pytest.fixture(scope="module")
def barred(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three fields that carry the same bar of 100 px."""
    folder = tmp_path_factory.mktemp("barred")
    for seed in (8, 9, 10):
        rng = np.random.default_rng(seed)
        grains = tuple((40 + 80 * k, int(rng.integers(40, 200)), 10 + int(rng.integers(9))) for k in range(4))
        pixels = drawn_field(seed, grains, size=(400, 300))
        cv2.rectangle(pixels, (250, 270), (349, 273), (0, 0, 0), -1)
        cv2.imwrite(str(folder / f"f{seed}.png"), pixels[..., ::-1])
    return folder


def measured(capsys: pytest.CaptureFixture, *options: str) -> tuple[int, str, dict]:
    status = main(["measure", *options, "--jobs", "1", "--json"])
    said = capsys.readouterr()
    return status, said.err, json.loads(said.out)


def test_a_bar_without_its_words_is_told_once_a_batch(barred: Path, capsys: pytest.CaptureFixture):
    status, said, found = measured(capsys, str(barred), "--um-per-px", "0.37")
    assert status == 0
    assert said.count("A bar of 100 px is drawn in, 37 µm by the scale") == 1
    assert "f8.png" in said  # the first by name
    assert sum("A bar of" in text for text in found["warnings"]) == 1


def test_a_bar_of_a_round_length_left_out_says_nothing(barred: Path, capsys: pytest.CaptureFixture):
    left_out = ["--exclude", "240,250,360,290"]
    status, said, found = measured(capsys, str(barred), "--um-per-px", "0.5", *left_out)
    assert (status, found["warnings"]) == (0, [])
    assert "bar" not in said


@pytest.mark.parametrize(("words", "status"), [("50 µm", 0), ("0.05mm", 0), ("20 µm", 1), ("500um", 1)])
def test_the_words_of_the_bar_are_held_against_the_scale(
    barred: Path, capsys: pytest.CaptureFixture, words: str, status: int
):
    options = [str(barred / "f8.png"), "--um-per-px", "0.5", "--exclude", "240,250,360,290", "--bar", words]
    ended, said, _ = measured(capsys, *options)
    assert ended == status
    assert ("The bar of 100 px says" in said) is bool(status)


_BROWN = (150, 80, 30)  # words of this colour pass for skin; black ones are dust and not counted


def test_drawn_bars_are_left_out_and_told_with_their_rectangle(tmp_path: Path, capsys: pytest.CaptureFixture):
    pixels = drawn_field(8, size=(400, 300))
    cv2.rectangle(pixels, (250, 262), (349, 267), _BROWN, -1)
    for left in (256, 282, 308):
        cv2.rectangle(pixels, (left, 275), (left + 12, 284), _BROWN, -1)  # words under it
    path = tmp_path / "f.png"
    cv2.imwrite(str(path), pixels[..., ::-1])
    status, said, left_out = measured(capsys, str(path), "--um-per-px", "0.5")
    assert status == 0
    assert "drawn into the picture is left out" in said
    left, top, right, bottom = map(int, said.split("counted there: ")[1].split(";")[0].split(","))
    assert (abs(left - 250), abs(top - 262), abs(right - 350), abs(bottom - 268)) <= (4, 4, 4, 4)
    assert "--exclude" not in said
    _, said, counted = measured(capsys, str(path), "--um-per-px", "0.5", "--count-border")
    assert "leave that out: --exclude " in said  # counted as was asked for, and told how not to
    assert counted["counted"] > left_out["counted"]


def test_words_that_are_no_length_are_refused(barred: Path, capsys: pytest.CaptureFixture):
    for words, why in (("soon", "is no length"), ("50", "has no unit")):
        assert main(["measure", str(barred), "--um-per-px", "0.5", "--bar", words]) == 2
        assert why in capsys.readouterr().err


def test_finding_marks_sees_lines_darker_and_lighter_than_both_sides():
    from measure.scale.burnt_in import _step

    rows = np.full((7, 5, 3), 100, np.int16)
    rows[3] = (20, 100, 100)
    assert _step(rows, 2)[1].tolist() == [80] * 5
    rows[3] = (100, 100, 190)
    assert _step(rows, 2)[1].tolist() == [90] * 5
    rows[:3], rows[3:] = 100, 180  # an edge is no line
    assert _step(rows, 2).max() <= 0


def test_a_bar_that_the_first_picture_does_not_show_is_found_in_the_next(
    barred: Path, tmp_path: Path, capsys: pytest.CaptureFixture
):
    pixels = drawn_field(7, size=(400, 300))
    cv2.imwrite(str(tmp_path / "a.png"), pixels[..., ::-1])
    (tmp_path / "b.png").write_bytes((barred / "f8.png").read_bytes())
    _, said, _ = measured(capsys, str(tmp_path), "--um-per-px", "0.37")
    assert "b.png: A bar of 100 px is drawn in" in said
