"""``gritline compare`` from the outside."""

import json
import re

import numpy as np
import pytest

from app.__main__ import main
from measure.model import FieldQuality, FieldResult, FieldSettings, Frame, Scale
from measure.particles import make_particles
from measure.study.records import Batch, NewField
from measure.study.study import Study

HEAD = "batch,field,kind,area_equivalent_diameter_um,smallest_um,um_per_px,centre_x_px,centre_y_px"


def write_table(path, batches, smallest=5.0):
    rng = np.random.default_rng(4)
    lines = [HEAD]
    for name, size in batches:
        for i in range(480):
            d = max(size * np.exp(0.35 * rng.standard_normal()), smallest)
            x, y = 40 * (i % 60 // 8) + 9, 40 * (i % 8) + 9
            lines.append(f"{name},f{i // 60},kernel,{d:.4f},{smallest},0.5,{x},{y}")
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return str(path)


@pytest.fixture
def table(tmp_path):
    return write_table(tmp_path / "particles.csv", [("pass 1", 40), ("pass 3", 24), ("pass 6", 16)])


def test_the_object_other_programs_read(table, capsys):
    assert main(["compare", table, "--json", "--at", "1,3,6", "--target-um", "20"]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    found = json.loads(out)
    assert [b["name"] for b in found["batches"]] == ["pass 1", "pass 3", "pass 6"]
    row = next(
        r for r in found["ratios"]
        if (r["first"], r["second"], r["figure"], r["kind"]) == ("pass 1", "pass 6", "volume.x50_um", None)
    )  # fmt: skip
    assert row["ratio"] == pytest.approx(2.5, rel=0.15)
    assert row["low"] < row["ratio"] < row["high"]
    assert row["shown"]
    assert found["pairs"] == 3
    assert "times finer than pass 1 in x_{90,3}" in found["sentences"][1]
    assert found["grind"]["forecast"]["target"] == 20
    assert found["grind"]["forecast"]["sentence"]


def test_lines_for_reading(table, capsys):
    assert main(["compare", table, "--figure", "volume.x50_um", "--pairs", "next", "--at", "1,3,6"]) == 0
    out, err = capsys.readouterr()
    assert "pass 3 is 1." in out.splitlines()[0]
    assert "x₅₀ by volume" in out
    assert "Bonferroni" in out
    assert "one more pass buys less than" in out
    assert "Laws of grinding, by how well they fit:\n  " in out
    ratios = [line[55:62].strip() for line in out.splitlines() if re.match(r"pass \d / pass \d", line)]
    assert len(ratios) > 5
    assert all(len(r.replace(".", "").lstrip("0")) == 3 for r in ratios)  # 1.70, not 1.7
    assert "Three points" in err


def test_why_there_is_no_grind_curve_is_said(table, capsys):
    assert main(["compare", table]) == 0
    assert "No grind curve: it is not known how long" in capsys.readouterr().out
    assert main(["compare", table, "--at", "1,3,6"]) == 0
    assert "No grind curve" not in capsys.readouterr().out


def test_different_lower_limits_warn_and_the_common_range_mends(tmp_path, capsys):
    a = write_table(tmp_path / "a.csv", [("a", 40)])
    b = write_table(tmp_path / "b.csv", [("b", 30)], smallest=12.0)
    assert main(["compare", a, b]) == 1
    assert "The lower limits differ" in capsys.readouterr().err
    assert main(["compare", a, b, "--common-range", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["batches"][0]["smallest_um"] == 12.0


def test_two_people_on_the_same_fields(table, capsys):
    assert main(["compare", table, table, "--same-fields"]) == 0
    assert "Overlap 100.0 %" in capsys.readouterr().out
    assert main(["compare", table, table, "--same-fields", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["only_first"] == 0


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--at", "1,3"], "one number for each of the 3 batches"),
        (["--at", "1,x,3"], "not a list of numbers"),
        (["--at", "1,nan,3"], "not a list of numbers"),
        (["--at", "2,2,2"], "two or more different passes"),
        (["--target-um", "20"], "how long the batches were ground"),
        (["--at", "1,3,6", "--target-um", "20", "--target-felt", "3"], "not both"),
        (["--figure", "volume.x200_um"], "no percentile"),
        (["--same-fields"], "two tables"),
    ],
)
def test_nonsense_is_refused_with_a_sentence(table, capsys, options, words):
    assert main(["compare", table, *options]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert words in err


def test_one_batch_is_refused(tmp_path, capsys):
    assert main(["compare", write_table(tmp_path / "a.csv", [("a", 40)])]) == 2
    assert "two or more batches" in capsys.readouterr().err


def test_a_table_given_twice_is_told(tmp_path, capsys):
    path = write_table(tmp_path / "a.csv", [("a", 40)])
    assert main(["compare", path, path]) == 0
    assert f"{path} is given twice, so it is compared with itself." in capsys.readouterr().err


def disc(centre, diameter_px):
    angle = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    return (np.stack([np.cos(angle), np.sin(angle)], axis=1) * diameter_px / 2 + centre).astype(np.float32)


@pytest.fixture
def study(tmp_path):
    path = tmp_path / "s.gritline"
    rng = np.random.default_rng(1)
    with Study.create(path) as study:
        scale = study.add_scale(Scale(0.5, 0.001))
        for passes, size in ((1.0, 60.0), (3.0, 40.0), (6.0, 30.0)):
            batch = study.add_batch(Batch(f"pass {passes:g}", passes=passes))
            for i in range(3):
                new = NewField(f"{passes:g}-{i}.png", f"{passes}{i}".encode(), batch, scale, None, 1000, 800)
                field = study.add_fields([new])[0]
                sizes = size * np.exp(0.25 * rng.standard_normal(30))
                outlines = [disc((80 + 90 * (k % 9), 80 + 160 * (k // 9)), d) for k, d in enumerate(sizes)]
                study.store_result(field, result(outlines))
    return str(path)


def result(outlines):
    from measure.field.basics.shape import shape_columns

    particles = make_particles(outlines, **shape_columns(outlines))
    quality = FieldQuality(0.01, 0.04, 0.5, (200, 180, 150), 2.0, 0.0, 1.0)
    return FieldResult(particles, Frame(1000, 800), quality, FieldSettings(), 0.5, 10.0)


def test_a_study_knows_its_passes(study, capsys):
    assert main(["compare", study, "--target-um", "12", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert [p["dose"] for p in found["grind"]["points"]] == [1.0, 3.0, 6.0]
    assert found["grind"]["unit"] == "passes"


def test_numbers_of_a_line_through_two_batches_carry_their_units(tmp_path, capsys):
    two = write_table(tmp_path / "two.csv", [("a", 40), ("b", 30)])
    assert main(["compare", two, "--at", "1,3"]) in (0, 1)
    line = next(row for row in capsys.readouterr().out.splitlines() if "straight line" in row)
    assert re.search(r"y₀ = [\d.]+ µm, k = [\d.]+ per pass;", line)


def test_a_figure_is_named_as_for_a_plan(tmp_path, capsys):
    paths = []
    for name, size in (("one", 20.0), ("two", 10.0)):
        path = tmp_path / f"{name}.csv"
        rows = "".join(f"{size + i % 7},f{i % 4},5\n" for i in range(80))
        path.write_text(f"area_equivalent_diameter_um,field,smallest_um\n{rows}", encoding="utf-8")
        paths.append(str(path))
    said = []
    for figure in ("x50,3", "volume.x50_um"):
        assert main(["compare", *paths, "--figure", figure, "--json"]) == 0
        said.append(capsys.readouterr().out)
    assert said[0] == said[1]
    assert "finer than one in x_{50,3}" in said[0]
