"""Commands about several fields: repeats told, overlaps counted once, joined, fused; light of the oil."""

import csv
import json
from pathlib import Path

import cv2
import numpy as np
import pytest

from app.__main__ import main
from measure.picture_file import read_picture
from measure.picture_png import encode_png, left_out_in, left_out_of, left_out_words
from measure.render import Recipe, render_field
from measure.render.recipe import Arrangement, Camera, Light, Sizes
from measure.render.walk import cut_window, render_stack
from measure.study.study import Study

RECIPE = Recipe(
    width_px=820, height_px=400, sizes=Sizes(26.0, 1.5, 10.0, 70.0), arrangement=Arrangement(cover=0.08)
)


def _write(path: Path, pixels: np.ndarray, *options: int) -> Path:
    cv2.imwrite(str(path), pixels[..., ::-1], list(options))
    return path


@pytest.fixture(scope="module")
def walk(tmp_path_factory) -> Path:
    """Three windows of one drawn slide; the first two overlap by a third, so do the last two."""
    folder = tmp_path_factory.mktemp("walk")
    drawn = render_field(RECIPE, 5)
    for place, x in enumerate((180, 400, 630)):
        _write(folder / f"w{place}.png", cut_window(drawn, (x, 200), (340, 300), seed=place).pixels)
    return folder


def _rows(path: Path) -> list[dict]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_copies_stored_anew_or_scaled_are_named_and_not_counted(walk, tmp_path, capsys):
    folder = tmp_path / "f"
    folder.mkdir()
    pixels = read_picture(walk / "w0.png").pixels
    for name in ("w0.png", "w2.png"):
        (folder / name).write_bytes((walk / name).read_bytes())
    _write(folder / "x.jpg", pixels, cv2.IMWRITE_JPEG_QUALITY, 70)
    _write(folder / "y.png", cv2.resize(pixels, None, fx=0.7, fy=0.7, interpolation=cv2.INTER_AREA))
    study = tmp_path / "s.gritline"
    base = ["measure", "--um-per-px", "0.65", "--jobs", "1", "--json", "--study", str(study)]
    assert main([*base, str(folder), "--out", str(tmp_path / "out")]) == 1
    said = capsys.readouterr()
    assert "x.jpg shows the same picture as w0.png, stored anew" in said.err
    assert "y.png shows the same picture as w0.png" in said.err
    summary = json.loads(said.out)
    assert summary["fields"] == 2
    assert sum("the same picture" in words for words in summary["warnings"]) == 2
    assert {row["field"] for row in _rows(tmp_path / "out" / "particles.csv")} == {"w0.png", "w2.png"}
    with Study.open(study) as kept:
        assert [row.name for row in kept.fields()] == ["w0.png", "w2.png"]
    # and against a study that holds the picture already
    assert main([*base, str(folder / "x.jpg")]) == 1
    assert "x.jpg shows the same picture as w0.png" in capsys.readouterr().err
    assert main([*base, str(folder / "w0.png")]) == 0  # the very file: measured anew
    with Study.open(study) as kept:
        assert [row.name for row in kept.fields()] == ["w0.png", "w2.png"]


def test_a_run_taken_up_again_still_knows_its_pictures(walk, tmp_path, capsys, monkeypatch):
    from measure.output import field_run

    folder = tmp_path / "f"
    folder.mkdir()
    (folder / "a.png").write_bytes((walk / "w0.png").read_bytes())
    _write(folder / "b.jpg", read_picture(walk / "w0.png").pixels)
    real = field_run.run_field_job

    def stops_at_second(job):
        if job.name == "b.jpg":
            raise KeyboardInterrupt
        return real(job)

    command = ["measure", str(folder), "--um-per-px", "0.65", "--out", str(tmp_path / "o"), "--jobs", "1"]
    monkeypatch.setattr(field_run, "run_field_job", stops_at_second)
    assert main(command) == 130
    monkeypatch.setattr(field_run, "run_field_job", real)
    assert main(command) == 1
    assert "b.jpg shows the same picture as a.png" in capsys.readouterr().err
    assert len(_rows(tmp_path / "o" / "fields.csv")) == 1


def test_shared_pieces_of_overlapping_fields_are_counted_once(walk, tmp_path, capsys):
    study = tmp_path / "s.gritline"
    base = ["measure", str(walk), "--um-per-px", "0.65", "--jobs", "1", "--json"]
    assert main([*base, "--out", str(tmp_path / "each")]) == 0
    each = json.loads(capsys.readouterr().out)
    assert main([*base, "--count-once", "--out", str(tmp_path / "once"), "--study", str(study)]) == 0
    once = json.loads(capsys.readouterr().out)
    assert [(o["first"], o["second"]) for o in once["overlaps"]] == [
        ("w0.png", "w1.png"),
        ("w1.png", "w2.png"),
    ]
    assert once["overlaps"][0]["shift_px"] == pytest.approx([220, 0], abs=0.5)
    rows = _rows(tmp_path / "once" / "particles.csv")
    also = [row for row in rows if row["set_aside_reason"].startswith("also on w")]
    assert len(also) == each["counted"] - once["counted"] > 0
    assert all("repeat" in row["flags"] and row["counted"] == "0" for row in also)
    fields = _rows(tmp_path / "once" / "fields.csv")
    assert sum(int(row["counted"]) for row in fields) == once["counted"]
    with Study.open(study) as kept:
        links = kept.setting("field_overlaps")
        ids = [row.id for row in kept.fields()]
        assert [(x["first"], x["second"]) for x in links] == [tuple(ids[:2]), tuple(ids[1:])]
    assert main(["export", str(study), "--out", str(tmp_path / "e"), "--format", "csv"]) == 0
    assert (tmp_path / "e" / "particles.csv").read_bytes() == (tmp_path / "once/particles.csv").read_bytes()


def test_fields_join_into_one_that_is_measured_without_its_blank_corners(walk, tmp_path, capsys):
    wide = tmp_path / "wide.png"
    assert main(["join", str(walk), "--out", str(wide), "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert said["fields"] == ["w0.png", "w1.png", "w2.png"]
    assert said["width_px"] == pytest.approx(790, abs=3)
    assert said["matrices"][2][0][2] == pytest.approx(450, abs=1)
    zones = left_out_in(wide)
    assert len(zones) == len(said["left_out_px"])
    assert main(["measure", str(wide), "--um-per-px", "0.65", "--out", str(tmp_path / "o")]) == 0
    capsys.readouterr()
    assert main(["join", str(walk / "w0.png"), str(walk / "w2.png"), "--out", str(wide)]) == 2
    assert "w2.png shows no place that the others show" in capsys.readouterr().err
    assert main(["join", str(walk), "--out", str(tmp_path / "wide.jpg")]) == 2
    assert "must end in .png" in capsys.readouterr().err
    assert main(["join", str(walk), "--out", str(walk / "w0.png")]) == 2
    assert "is one of the pictures" in capsys.readouterr().err


def test_what_speaks_against_the_scale_is_said(walk, tmp_path, capsys):
    from PIL import Image

    from measure.model import Scale
    from measure.scale.scale_file import write_scale

    scale = tmp_path / "scale.json"
    write_scale(scale, Scale(0.65, 0.001, "10x", 680, 600))
    base = ["measure", "--scale", str(scale), "--jobs", "1", "--json"]
    assert main([*base, str(walk / "w0.png")]) == 1
    assert "w0.png is 340 x 300 px, but its scale was made at 680 x 600 px" in capsys.readouterr().err
    wide = tmp_path / "wide.png"
    main(["join", str(walk), "--out", str(wide)])
    assert main([*base, str(wide)]) == 0  # larger because it was joined
    capsys.readouterr()
    # 10,000 um a cm over 1540 px a cm is 6.5 um a pixel: a slip of ten
    tagged = tmp_path / "tagged.tif"
    Image.open(walk / "w1.png").save(tagged, resolution_unit=3, x_resolution=1540.0, y_resolution=1540.0)
    assert main(["measure", str(tagged), "--um-per-px", "0.65", "--json"]) == 1
    said = capsys.readouterr()
    assert "about ten times larger than the scale. One of the two is wrong; a ruling tells which." in said.err
    assert sum("the scale" in words for words in json.loads(said.out)["warnings"]) == 1


def test_areas_left_out_travel_in_the_picture_of_their_size_only():
    corner = (np.array([[0, 0], [10, 0], [0, 12.5]]),)
    pixels = np.zeros((30, 40, 3), np.uint8)
    data = encode_png(pixels, left_out_words(corner, 40, 30))
    assert left_out_of(data)[0].tolist() == corner[0].tolist()
    assert left_out_of(encode_png(pixels[:20], left_out_words(corner, 40, 30))) == ()
    assert left_out_of(encode_png(pixels, {"Left out": "nonsense"})) == ()
    assert left_out_of(b"no picture") == ()
    assert left_out_words((), 40, 30) == {}


def test_heights_of_focus_fuse_into_one_picture(tmp_path, capsys):
    recipe = Recipe(
        width_px=320, height_px=240, sizes=Sizes(26.0, 1.4, 10.0, 60.0), arrangement=Arrangement(cover=0.05),
        camera=Camera(depth_um=40.0, blur_px_per_um=0.12),
    )  # fmt: skip
    names = [
        str(_write(tmp_path / f"h{i}.png", drawn.pixels))
        for i, drawn in enumerate(render_stack(recipe, 3, (-30.0, 0.0, 30.0)))
    ]
    assert main(["fuse", *names, "--out", str(tmp_path / "sharp.png"), "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert said["reference"] == "h1.png"
    assert sum(said["share_of_each"]) == pytest.approx(1.0)
    assert read_picture(tmp_path / "sharp.png").pixels.shape == (240, 320, 3)
    assert main(["fuse", names[0], "--out", str(tmp_path / "sharp.png")]) == 2
    assert "at least two" in capsys.readouterr().err


@pytest.mark.parametrize("command", ["fuse", "join", "blank"])
def test_a_picture_given_twice_makes_nothing(walk, tmp_path, capsys, command):
    twice = [str(walk / "w0.png"), str(walk / ".." / walk.name / "w0.png"), str(walk / "w1.png")]
    assert main([command, *twice, "--out", str(tmp_path / "made.png")]) == 2
    assert "w0.png is given twice; give each picture once." in capsys.readouterr().err
    assert not (tmp_path / "made.png").exists()


def test_the_light_of_the_oil_is_worked_out_and_used(tmp_path, capsys):
    recipe = Recipe(
        width_px=300, height_px=220, sizes=Sizes(30.0, 1.4, 10.0, 60.0), arrangement=Arrangement(cover=0.06),
        light=Light(vignette=0.5, slope=0.3),
    )  # fmt: skip
    folder = tmp_path / "f"
    folder.mkdir()
    for seed in range(4):
        _write(folder / f"f{seed}.png", render_field(recipe, seed).pixels)
    blank = tmp_path / "oil.png"
    assert main(["blank", str(folder), "--out", str(blank)]) == 0
    assert "Light of the oil from 4 fields" in capsys.readouterr().out
    assert main(["measure", str(folder), "--um-per-px", "0.65", "--blank", str(blank), "--jobs", "1"]) == 0
    capsys.readouterr()
    assert main(["blank", str(folder / "f0.png"), "--out", str(blank)]) == 2
    assert "3 fields or more" in capsys.readouterr().err


def _stop_at(name, monkeypatch, command):
    """Run a command until the field of this name."""
    from measure.output import field_run

    real = field_run.run_field_job

    def stops(job):
        if job.name == name:
            raise KeyboardInterrupt
        return real(job)

    with monkeypatch.context() as patch:
        patch.setattr(field_run, "run_field_job", stops)
        assert main(command) == 130


def _stopped_at(name, monkeypatch, command):
    """Run until the field of this name, then again; return the names measured the second time."""
    from measure.output import field_run

    _stop_at(name, monkeypatch, command)
    real, again = field_run.run_field_job, []
    with monkeypatch.context() as patch:
        patch.setattr(field_run, "run_field_job", lambda job: again.append(job.name) or real(job))
        assert main(command) in (0, 1)
    return again


def _tables(folder):
    return {name: (folder / name).read_bytes() for name in ("particles.csv", "fields.csv", "sizes.json")}


def test_counting_once_is_taken_up_after_a_stop_with_the_same_bytes(walk, tmp_path, capsys, monkeypatch):
    pictures = tmp_path / "f"
    pictures.mkdir()
    for place in range(3):
        (pictures / f"w{place}.png").write_bytes((walk / f"w{place}.png").read_bytes())
    _write(pictures / "w1 again.jpg", read_picture(walk / "w0.png").pixels)  # refused, before and after
    base = ["measure", str(pictures), "--um-per-px", "0.65", "--jobs", "1", "--count-once", "--overlays"]
    base += ["--exclude", "0,0,40,20"]
    stopped = [*base, "--out", str(tmp_path / "a"), "--study", str(tmp_path / "a.gritline")]
    assert _stopped_at("w2.png", monkeypatch, stopped) == ["w1 again.jpg", "w2.png"]
    said = capsys.readouterr()
    assert "2 of 4 fields were measured before the last stop" in said.err
    assert "w0.png and w1.png, w1.png and w2.png" in said.out
    whole = [*base, "--out", str(tmp_path / "b"), "--study", str(tmp_path / "b.gritline")]
    assert main(whole) == 1
    assert _tables(tmp_path / "a") == _tables(tmp_path / "b")
    drawn = [{p.name: p.read_bytes() for p in (tmp_path / run / "overlays").iterdir()} for run in "ab"]
    assert drawn[0] == drawn[1] != {}
    assert not (tmp_path / "a" / ".gritline-parts").exists()
    for name in ("a", "b"):
        assert main(["export", str(tmp_path / f"{name}.gritline"), "--out", str(tmp_path / f"e{name}")]) == 0
    kept = [(tmp_path / name / "particles.csv").read_bytes() for name in ("ea", "eb")]
    assert kept[0] == kept[1]
    capsys.readouterr()


def test_what_another_field_counts_is_crossed_out_in_the_overlay(walk, tmp_path, capsys):
    base = ["measure", str(walk / "w0.png"), str(walk / "w1.png"), "--um-per-px", "0.65", "--jobs", "1"]
    drawn = {}
    for name, more in (("each", ()), ("once", ("--count-once",))):
        assert main([*base, *more, "--out", str(tmp_path / name), "--overlays"]) in (0, 1)
        drawn[name] = [read_picture(tmp_path / name / "overlays" / f"w{i}.png").pixels for i in (0, 1)]
    table = (tmp_path / "once" / "particles.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(table.splitlines()))
    again = [r for r in rows if r["set_aside_reason"].startswith("also on")]
    assert again
    high = read_picture(walk / "w0.png").height_px
    for row in again:
        place = int(row["field"][1])
        x, y = round(float(row["centre_x_px"])), round(float(row["centre_y_px"]))
        here = np.s_[max(0, y - 1) : y + 2, max(0, x - 1) : x + 2]
        assert not np.array_equal(drawn["each"][place][here], drawn["once"][place][here])
    changed = {int(row["field"][1]) for row in again}
    assert all(len(drawn["once"][p]) > high for p in changed)
    capsys.readouterr()


def test_fields_that_wait_are_those_of_their_run_alone_and_read_whole(walk, tmp_path, capsys, monkeypatch):
    out = tmp_path / "o"
    base = ["measure", str(walk), "--um-per-px", "0.65", "--jobs", "1", "--out", str(out)]
    once = [*base, "--count-once"]
    assert _stopped_at("w1.png", monkeypatch, once) == ["w1.png", "w2.png"]
    counted = _tables(out)
    capsys.readouterr()
    _stop_at("w1.png", monkeypatch, once)
    assert main(base) == 0  # without counting once: nothing of the other run is taken
    assert "were measured before" not in capsys.readouterr().err
    each = _tables(out)
    assert each != counted
    _stop_at("w1.png", monkeypatch, once)
    for path in (out / ".gritline-parts").glob("*.npz"):
        path.write_bytes(path.read_bytes()[:900])  # cut short by a full disk
    assert main(once) == 0
    assert "were measured before" not in capsys.readouterr().err
    assert _tables(out) == counted
