"""``gritline sizes`` and ``gritline plan`` from the outside."""

import argparse
import json

import numpy as np
import pytest

from app.__main__ import main
from app.cli import plan, sizes
from measure.errors import InvalidInput
from measure.study.study import Study

HEAD = "area_equivalent_diameter_um"


def _run(module, *arguments):
    parser = argparse.ArgumentParser()
    module.add_arguments(parser)
    return module.run(parser.parse_args([str(a) for a in arguments]))


@pytest.fixture
def table(tmp_path):
    rng = np.random.default_rng(0)
    d = 12 * np.exp(0.5 * rng.standard_normal(800))
    kinds = np.where(np.arange(800) % 8 == 0, "skin", "kernel")
    rows = "".join(f"{x:.4f},f{i % 8},{k}\n" for i, (x, k) in enumerate(zip(d, kinds, strict=True)))
    path = tmp_path / "particles.csv"
    path.write_text(f"{HEAD},field,kind\n{rows}", encoding="utf-8")
    return path


def test_the_object_other_programs_read(table, capsys):
    assert _run(sizes, table, "--smallest-um", 5, "--json", "--resamples", 100) == 0
    out, err = capsys.readouterr()
    assert err == ""
    found = json.loads(out)
    d = np.loadtxt(table, delimiter=",", skiprows=1, usecols=0)
    d = d[d >= 5]
    assert found["count"] == len(d)
    assert found["smallest_um"] == 5
    assert set(found["number"]) == {
        "x10_um",
        "x50_um",
        "x90_um",
        "mean_um",
        "geometric_mean_um",
        "geometric_sd",
    }
    assert set(found["volume"]) == {"x10_um", "x50_um", "x90_um", "mean_um"}
    assert set(found["means_um"]) == {"D[1,0]", "D[2,0]", "D[3,0]", "D[3,2]", "D[4,3]"}
    assert found["number"]["mean_um"] == pytest.approx(d.mean())
    assert found["number"]["geometric_sd"] == pytest.approx(np.exp(np.log(d).std()))
    assert found["means_um"]["D[4,3]"] == pytest.approx((d**4).sum() / (d**3).sum())
    volume = found["volume"]
    assert found["span"] == pytest.approx((volume["x90_um"] - volume["x10_um"]) / volume["x50_um"])
    low, high = found["intervals"]["volume.x90_um"]
    assert low < volume["x90_um"] < high
    for name in ("means_um.D[4,3]", "span", "number.geometric_sd"):
        assert name in found["intervals"]
    assert {"share", "low", "high", "verdict"} <= set(found["felt"])
    assert found["felt"]["verdict"] in ("felt", "borderline", "not felt", "undecided")
    assert isinstance(found["warnings"], list)
    assert found["interval_basis"] == "between 8 fields"


def test_for_reading(table, capsys):
    assert _run(sizes, table, "--kind", "kernel", "--resamples", 50) == 0
    out = capsys.readouterr().out
    for words in (
        "700 pieces on 8 fields",
        "x₉₀ by volume",
        "D[4,3]",
        "95 % intervals between 8 fields",
        "no proof that a food is safe",
    ):
        assert words in out


def test_one_row_and_equal_rows(tmp_path, capsys):
    path = tmp_path / "t.csv"
    path.write_text(f"{HEAD}\n12.5\n", encoding="utf-8")
    assert _run(sizes, path, "--json") == 0
    found = json.loads(capsys.readouterr().out)
    assert (found["count"], found["volume"]["x90_um"], found["intervals"]) == (1, 12.5, {})
    assert found["felt"]["low"] is None
    path.write_text(f"{HEAD}\n" + "10\n" * 40, encoding="utf-8")
    assert _run(sizes, path, "--json") == 0
    found = json.loads(capsys.readouterr().out)
    assert (found["volume"]["x10_um"], found["volume"]["x90_um"], found["span"]) == (10, 10, 0)


def test_what_has_no_width_is_not_written_with_a_tail_of_digits(tmp_path, capsys):
    path = tmp_path / "t.csv"
    path.write_text(f"{HEAD}\n" + "10\n" * 3, encoding="utf-8")
    assert _run(sizes, path) == 0
    lines = capsys.readouterr().out.splitlines()
    assert any(line.split() == ["D[4,3]", "10.0", "µm", "10.0", "to", "10.0"] for line in lines)
    assert any(line.split() == ["span", "0", "not", "known"] for line in lines)
    path.write_text(f"{HEAD}\n12.5\n", encoding="utf-8")
    assert _run(sizes, path) == 0
    assert "too wide" not in capsys.readouterr().out


def test_too_few_pieces_to_decide_ask_for_as_many_as_decide(tmp_path, capsys):
    # two pieces: one more field "like these" would bring one more piece, and 300 are the least for "not felt"
    path = tmp_path / "t.csv"
    path.write_text(f"{HEAD},kind\n10,other\n20,salt\n", encoding="utf-8")
    assert _run(sizes, path) == 0
    out = capsys.readouterr().out
    assert "What would decide: At least 300 pieces, on several fields, or a tasting would decide." in out


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--smallest-um", "0"), "above 0"),
        (("--smallest-um", "big"), "'big'"),
        (("--smallest-um", "nan"), "'nan'"),
        (("--smallest-um", "1e6"), "no counted piece"),
        (("--kind", "salt"), "of kind 'salt'"),
        (("--kind", "glass"), "kernel, skin, salt, other"),
        (("--resamples", "-1"), "--resamples"),
        (("--resamples", "10"), "or 0 for no intervals"),
    ],
)
def test_options_that_make_no_sense(table, options, words):
    with pytest.raises(InvalidInput) as caught:
        _run(sizes, table, *options)
    assert words in caught.value.text


def test_plan_for_reading_and_as_json(capsys):
    assert _run(plan, "--median-um", 12, "--sigma-g", 1.5, "--figure", "x50,3") == 0
    out = capsys.readouterr().out
    assert "parts of clear oil" in out
    assert "never go back to food" in out
    assert (
        _run(plan, "--median-um", 20, "--sigma-g", 1.6, "--error", 0.05, "--figure", "x50,3", "--json") == 0
    )
    found = json.loads(capsys.readouterr().out)
    # log-normal truth of sigma_g 1.6 within 5 %: 3,893 pieces model-free, 1,690 with a fit
    # (Masuda and Iinoya 1971)
    assert found["pieces_model_free"] == pytest.approx(3893, abs=2)
    assert found["pieces_log_normal"] == pytest.approx(1690, abs=2)


@pytest.mark.parametrize(
    "options",
    [("--sigma-g", "1"), ("--figure", "x77,9"), ("--cover", "0"), ("--error", "3"), ("--sigma-g", "99")],
)
def test_plans_that_make_no_sense(options):
    with pytest.raises(InvalidInput):
        _run(plan, "--median-um", 12, "--sigma-g", 1.6, *options)


def test_what_is_no_table_is_said(tmp_path):
    path = tmp_path / "scale.json"
    path.write_text('{\n "um_per_px": 0.65\n}')
    with pytest.raises(InvalidInput, match=r"'scale\.json' is no table"):
        _run(sizes, path)


def test_numbers_that_can_be_read_in_two_ways_end_the_command(tmp_path, capsys):
    from app.__main__ import main

    table, other = tmp_path / "a.csv", tmp_path / "b.csv"
    table.write_text(f"{HEAD}\tcount\n1,234\t1\n2,345\t1\n", encoding="utf-8")
    other.write_text(f"{HEAD}\tcount\n12,5\t1\n13,5\t1\n", encoding="utf-8")
    commands = (
        ["sizes", str(table)],
        ["compare", str(other), str(table)],
        ["import", str(table), "--study", str(tmp_path / "s.gritline")],
    )
    for command in commands:
        assert main(command) == 2
        said = capsys.readouterr().err
        assert f"'a.csv' row 2, column '{HEAD}': '1,234' can mean 1.234 or 1234" in said
    assert not (tmp_path / "s.gritline").exists()


def test_no_intervals_are_not_called_intervals_and_a_study_is_no_table(tmp_path, capsys):
    table = tmp_path / "t.csv"
    table.write_text("area_equivalent_diameter_um\n12\n15\n19\n", encoding="utf-8")
    assert main(["sizes", str(table), "--resamples", "0"]) == 0
    assert "pieces of at least 12 µm; no intervals\n" in capsys.readouterr().out
    Study.create(tmp_path / "s.gritline").close()
    assert main(["sizes", str(tmp_path / "s.gritline")]) == 2
    assert "is a study; write its tables with: gritline export s.gritline" in capsys.readouterr().err


def test_plan_tells_what_the_objective_shows(capsys):
    words = ["plan", "--median-um", "8", "--sigma-g", "1.6"]
    assert main([*words, "--na", "0.25", "--magnification", "10", "--camera-px-um", "5", "--json"]) == 0
    optics = json.loads(capsys.readouterr().out)["optics"]
    # Rayleigh, sampling theorem and depth of field for 0.55 µm in oil of 1.47
    assert optics["resolution_um"] == pytest.approx(1.342)
    assert optics["largest_um_per_px"] == pytest.approx(0.55)
    assert optics["depth_um"] == pytest.approx(1.47 * 10.8)
    # Stokes: 5.5 µm of kernel sink 0.12 µm a second, so 50 µm in 7 minutes
    assert "let the slide lie about 7 minutes" in optics["steps"][1]
    assert "21 % of the pieces expected are smaller than 5.5 µm" in optics["warnings"][0]
    assert main([*words, "--na", "0.65"]) == 0
    said = capsys.readouterr()
    assert "6. The objective (NA 0.65) tells points 0.516 µm apart." in said.out
    assert "too small for this objective" not in said.err
    assert main([*words, "--json"]) == 0
    assert "optics" not in json.loads(capsys.readouterr().out)


@pytest.mark.parametrize(
    ("words", "told"), [(["--magnification", "10"], "without --na"), (["--na", "5"], "between 0.005 and 1.6")]
)
def test_plan_refuses_optics_that_cannot_be(words, told, capsys):
    assert main(["plan", "--median-um", "8", "--sigma-g", "1.6", *words]) == 2
    assert told in capsys.readouterr().err


def test_pieces_above_a_size_are_told_with_their_limits(table, capsys):
    d = np.loadtxt(table, delimiter=",", skiprows=1, usecols=0)
    d = d[d >= 5]
    assert _run(sizes, table, "--smallest-um", 5, "--resamples", 0, "--above-um", 30) == 0
    assert f"{(d > 30).sum()} of {len(d)} pieces are above 30 µm: " in capsys.readouterr().out
    assert _run(sizes, table, "--smallest-um", 5, "--resamples", 0, "--above-um", 500, "--json") == 0
    found = json.loads(capsys.readouterr().out)["above"]
    assert (found["number"], found["pieces"], found["low"]) == (0, len(d), 0.0)
    # the rule of three (Hanley and Lippman-Hand, JAMA 249 (1983) 1743, from memory)
    assert found["high"] == pytest.approx(3 / len(d), rel=0.01)
    with pytest.raises(InvalidInput, match="--above-um 'much' is not a size"):
        _run(sizes, table, "--above-um", "much")


LABEL = "fat=49.7, protein=25,carbohydrate=13.1,fibre=8.4,ash=3,water=1.5"


def test_plan_by_the_label_of_the_paste(capsys):
    base = ["plan", "--median-um", "12", "--sigma-g", "1.6", "--json"]
    assert main([*base, "--composition", LABEL]) == 0
    by_label = json.loads(capsys.readouterr().out)
    assert by_label["paste"]["solids"] == pytest.approx(0.4016, abs=1e-3)
    assert main([*base, "--solids", "0.4016"]) == 0
    by_hand = json.loads(capsys.readouterr().out)
    assert by_label["parts_oil"] == pytest.approx(by_hand["parts_oil"], rel=1e-3)
    # the mass of oil follows the density, 1.112 against 1.1 g/cm3
    assert by_label["oil_mass"] / by_hand["oil_mass"] == pytest.approx(
        1.1 / by_label["paste"]["g_per_cm3"], rel=1e-3
    )
    assert "paste" not in by_hand
    assert main([*base[:-1], "--composition", LABEL]) == 0
    assert "40 % of its volume is solids" in capsys.readouterr().out


def test_plan_for_a_rare_kind_and_coarse_grains(capsys):
    base = ["plan", "--median-um", "12", "--sigma-g", "1.6", "--error", "0.098"]
    assert main([*base, "--rare", "0.001", "--grains", "0.01", "600", "--json"]) == 0
    rare = json.loads(capsys.readouterr().out)["rare"]
    assert rare["pieces_to_meet_one"] == 2995  # derived
    assert rare["sample_g"] == pytest.approx(2.3034, rel=1e-3)  # Gy's formula, worked out by hand
    assert main([*base, "--grains", "0.01", "600", "--grain-density", "1.1"]) == 0
    assert "only 1.2 g of paste" in capsys.readouterr().out


def test_plan_tells_of_pieces_above_a_size_and_below_the_limit(capsys):
    base = ["plan", "--median-um", "20", "--sigma-g", "1.6"]
    assert main([*base, "--above-um", "32", "--json"]) == 0
    above = json.loads(capsys.readouterr().out)["above"]
    assert above["share"] == pytest.approx(0.1587, abs=1e-4)  # one standard deviation above the mean
    assert above["pieces_to_meet_one"] == 18  # ln 0.05 / ln(1 - share)
    assert main([*base, "--above-um", "32", "--smallest-um", "15"]) == 0
    said = capsys.readouterr()
    assert "16 % are above 32 µm" in said.out
    assert "With fewer fields" in said.out
    assert "smaller than the lower limit of 15 µm" in said.err
    assert main([*base, "--json"]) == 0
    assert "above" not in json.loads(capsys.readouterr().out)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--composition", "fat=50", "--solids", "0.4"), "not both"),
        (("--composition", "fat=50,fat=50"), "names fat twice"),
        (("--composition", "fat"), "write fat=50,protein=25"),
        (("--composition", "fat=50,protein=20"), "adds up to 70 %"),
        (("--grain-density", "2"), "tells nothing without --grains"),
        (("--grains", "2", "300"), "mass share of the grains lies between 0 and 1"),
    ],
)
def test_plan_refuses_pastes_that_cannot_be(words, told, capsys):
    assert main(["plan", "--median-um", "8", "--sigma-g", "1.6", *words]) == 2
    assert told in capsys.readouterr().err


def test_sizes_too_small_for_the_objective_are_told(table, tmp_path, capsys):
    known, unknown = tmp_path / "known.json", tmp_path / "unknown.json"
    known.write_text('{"um_per_px": 0.5, "objective_na": 0.05}', encoding="utf-8")
    unknown.write_text('{"um_per_px": 0.5}', encoding="utf-8")

    def told(*options):
        assert _run(sizes, table, "--smallest-um", "5", "--resamples", "20", "--json", *options) == 0
        return [t for t in json.loads(capsys.readouterr().out)["warnings"] if "objective" in t]

    # twice 0.61 lambda / NA (Rayleigh) at 0.55 um
    for options in (("--na", "0.05"), ("--scale", known)):
        assert "sizes below 13.4 µm" in told(*options)[0]
    assert told() == told("--scale", unknown) == told("--na", "0.4") == []
    for wrong, words in (("3", "numerical aperture lies"), ("wide", "--na 'wide' is no number")):
        with pytest.raises(InvalidInput, match=words):
            _run(sizes, table, "--na", wrong)


@pytest.mark.parametrize(
    "words",
    [("sizes", "{table}", "--smallest-um", "10,5"), ("plan", "--median-um", "10,5", "--sigma-g", "1.6")],
)
def test_a_decimal_comma_is_answered_with_the_point(words, table, capsys):
    # taken for a number it might be a thousand times too large: 1,000 has one meaning here and one there
    try:
        status = main([word.format(table=table) for word in words])
    except SystemExit as stop:
        status = stop.code
    assert status == 2
    assert "write decimals with a point: 10.5" in capsys.readouterr().err
