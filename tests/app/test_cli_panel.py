"""``gritline panel`` from the outside: papers, power and statistics."""

import csv
import json
import re

import pytest

from app.__main__ import main
from measure.judge.panel_session import PanelPlan
from measure.study.records import Batch
from measure.study.study import Study
from tests.app.compare_study import make_compare_study

SERIES = [
    "panel", "plan", "series", "--sample", "smooth", "--sample", "pass 1=90", "--sample", "pass 3=60",
    "--sample", "pass 6=40", "--assessors", "Ana,Łukasz,Δημήτρης", "--name", "Autumn panel",
]  # fmt: skip


def read(path):
    return json.loads(path.read_text(encoding="utf-8"))


def test_plan_writes_the_same_papers_for_the_same_seed(tmp_path, capsys):
    assert main([*SERIES, "--seed", "1", "--out", str(tmp_path / "a")]) == 0
    out = capsys.readouterr().out
    assert "worksheets.pdf" in out
    assert "Allergens" in out
    assert main([*SERIES, "--seed", "1", "--out", str(tmp_path / "b")]) == 0
    assert main([*SERIES, "--seed", "2", "--out", str(tmp_path / "c")]) == 0
    for name in ("worksheets.pdf", "key.pdf", "answers.csv", "plan.json"):
        same = (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes()
        other = (tmp_path / "a" / name).read_bytes() == (tmp_path / "c" / name).read_bytes()
        assert same, name
        assert not other, name


def test_a_plan_without_a_seed_draws_its_own(tmp_path):
    # codes that are the same in every session are soon known by heart
    seeds = set()
    for name in "abc":
        assert main([*SERIES, "--out", str(tmp_path / name)]) == 0
        seeds.add(read(tmp_path / name / "plan.json")["seed"])
    assert len(seeds) > 1


def test_papers_of_a_session_are_never_written_over(tmp_path, capsys):
    assert main([*SERIES, "--out", str(tmp_path)]) == 0
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    assert main([*SERIES, "--out", str(tmp_path)]) == 2
    assert "holds the papers of a session already" in capsys.readouterr().err
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == before


@pytest.mark.parametrize("people", ["-3", "2.5", "0"])
def test_a_number_that_counts_no_people_is_no_name(tmp_path, capsys, people):
    options = ["--sample", "a", "--sample", "b", f"--assessors={people}", "--out", str(tmp_path / "p")]
    assert main(["panel", "plan", "triangle", *options]) == 2
    assert people in capsys.readouterr().err
    assert not (tmp_path / "p").exists()


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--alpha", "0.9"], "--alpha 0.9"),
        (["--power", "1"], "--power 1"),
        (["--trials", "1000000000"], "--trials 1000000000 is out of range"),
    ],
)
def test_power_refuses_what_cannot_be(capsys, options, words):
    assert main(["panel", "power", "triangle", "--discriminators", "0.3", *options]) == 2
    assert words in capsys.readouterr().err


def test_a_table_without_names_says_what_its_first_column_is(tmp_path, capsys):
    series, ranking = tmp_path / "series.csv", tmp_path / "ranking.csv"
    series.write_text("10,20,40\n0,1,1\n0,0,1\n", encoding="utf-8")
    assert main(["panel", "result", "series", "--csv", str(series)]) == 2
    assert "first column must name the assessors" in capsys.readouterr().err
    ranking.write_text("a,b,c\n1,2,3\n2,1,3\n", encoding="utf-8")
    assert main(["panel", "result", "ranking", "--csv", str(ranking)]) == 2
    assert "(b, c), for its first column names the assessors" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("right", "words"),
    [
        ((3, 3, 3), "fewer than half felt even the coarsest"),
        ((10, 10, 10), "half or more felt every size"),
        ((9, 6, 3), "they do not rise with size"),
    ],
)
def test_a_curve_that_tells_no_limit_gives_none(tmp_path, capsys, right, words):
    # fitted all the same, its refits agree on the end of the range: an interval without width
    path = tmp_path / "curve.csv"
    rows = "".join(f"{size},10,{k}\n" for size, k in zip((10, 20, 30), right, strict=True))
    path.write_text(f"size_um,trials,correct\n{rows}", encoding="utf-8")
    assert main(["panel", "result", "curve", "--csv", str(path)]) == 2
    assert words in capsys.readouterr().err


def test_a_plate_answered_twice_is_refused(tmp_path, capsys):
    main([*SERIES, "--out", str(tmp_path)])
    plan = PanelPlan.from_json(read(tmp_path / "plan.json"))
    code = plan.servings[0].codes[0]
    path = tmp_path / "typed.csv"
    path.write_text(f"plate,answer\n1,{code}\n2,\n1,{code}\n", encoding="utf-8")
    assert main(["panel", "result", "--plan", str(tmp_path / "plan.json"), "--csv", str(path)]) == 2
    assert "row 4: plate 1 is answered twice" in capsys.readouterr().err


def test_answers_typed_into_the_table_give_the_result(tmp_path, capsys):
    main([*SERIES, "--out", str(tmp_path)])
    plan = PanelPlan.from_json(read(tmp_path / "plan.json"))
    path = tmp_path / "answers.csv"
    with path.open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert rows[1]["assessor"] == plan.servings[1].assessor
    for i, row in enumerate(rows):
        serving = plan.servings[i]
        row["answer"] = (
            next(c for c in serving.codes if c != serving.answer)
            if "pass 6" in serving.samples
            else serving.answer
        )
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, rows[0].keys())
        writer.writeheader()
        writer.writerows(rows)
    capsys.readouterr()
    assert main(["panel", "result", "--plan", str(tmp_path / "plan.json"), "--csv", str(path)]) == 0
    out = capsys.readouterr().out
    # everyone misses 40 and hears 60 on: sqrt(40 x 60)
    assert "x₉₀ by volume = 49 µm" in out
    assert "Łukasz: threshold 49 µm" in out
    assert main(["panel", "result", "--plan", str(tmp_path / "plan.json"), "--csv", str(path), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["threshold"]["group"] == pytest.approx(48.99, abs=0.01)


def test_a_wrong_code_names_its_row(tmp_path, capsys):
    main([*SERIES, "--out", str(tmp_path)])
    path = tmp_path / "answers.csv"
    text = path.read_text(encoding="utf-8").splitlines()
    text[2] += "7"
    path.write_text("\n".join(text), encoding="utf-8")
    assert main(["panel", "result", "--plan", str(tmp_path / "plan.json"), "--csv", str(path)]) == 2
    assert "row 3: 7 is not on this plate" in capsys.readouterr().err


def test_session_can_be_kept_in_a_study(tmp_path):
    path = tmp_path / "s.gritline"
    with Study.create(path) as study:
        study.add_batch(Batch("pass 3"))
    assert main([*SERIES, "--study", str(path), "--out", str(tmp_path / "papers")]) == 0
    with Study.open(path) as study:
        kept = study.tastings()[0].tasting
    assert (kept.kind, kept.name, len(kept.batch_ids), kept.closed) == ("series", "Autumn panel", 1, False)
    assert PanelPlan.from_json(kept.plan).method == "series"


def test_sizes_come_from_the_study_where_none_is_given(tmp_path):
    path = make_compare_study(tmp_path / "s.gritline")
    samples = [part for name in ("smooth", "pass 1", "pass 3", "pass 6=20") for part in ("--sample", name)]
    arguments = ["panel", "plan", "series", *samples, "--assessors", "3", "--study", str(path)]
    assert main([*arguments, "--out", str(tmp_path / "papers")]) == 0
    with Study.open(path) as study:
        plan = PanelPlan.from_json(study.tastings()[0].tasting.plan)
    assert [s.name for s in plan.samples] == ["smooth", "pass 6", "pass 3", "pass 1"]
    assert plan.samples[1].size_um == 20
    assert plan.samples[3].size_um > plan.samples[2].size_um > 20
    assert all(s.batch_id is not None for s in plan.samples[1:])


def test_power_finds_the_published_numbers(capsys):
    # triangle, p_d .3, alpha .05, power .8 (and for the next three n): 42 answers, 20 right (derived)
    assert main(["panel", "power", "triangle", "--discriminators", "0.3", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert (found["trials"], found["needed"]) == (42, 20)
    assert main(["panel", "power", "triangle", "--discriminators", "0.3", "--trials", "30"]) == 0
    assert "30 answers" in capsys.readouterr().out


def test_counts_give_the_worked_example(capsys):
    # ISO 5495:2005/Amd 1:2016, B.5.2: n 44, x 32, two-sided: p_d .45, limits .19 and .71 (rounded early)
    assert (
        main(["panel", "result", "paired", "--trials", "44", "--correct", "32", "--two-sided", "--json"]) == 0
    )
    found = json.loads(capsys.readouterr().out)
    assert found["discriminators"] == pytest.approx(0.454545, abs=1e-6)
    assert (found["discriminators_low"], found["discriminators_high"]) == pytest.approx(
        (0.1914, 0.7177), abs=1e-4
    )
    assert main(["panel", "result", "triangle", "--trials", "30", "--correct", "11", "--similar", "0.3"]) == 0
    assert "Similar: at most 11" in capsys.readouterr().out


def test_tables_of_ranks_series_and_counts(tmp_path, capsys):
    ranks = tmp_path / "ranks.csv"
    ranks.write_text("who,a,b,c\nP,1,2,3\nQ,1,2,3\nR,2,1,3\n", encoding="utf-8")
    assert main(["panel", "result", "ranking", "--csv", str(ranks)]) == 0
    assert "Rank sums of 3 assessors: a 4, b 5, c 9" in capsys.readouterr().out
    series = tmp_path / "series.csv"
    # worked case: 0001111 at 10 to 80 in steps of sqrt 2 gives 23.784 (derived)
    series.write_text("who,10,14.142,20,28.284,40,56.569,80\nP,0,0,0,1,1,1,1\n", encoding="utf-8")
    assert main(["panel", "result", "series", "--csv", str(series), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["group"] == pytest.approx(23.784, abs=0.001)
    counts = tmp_path / "counts.csv"
    counts.write_text("size_um,trials,correct\n20,30,12\n40,30,20\n80,30,29\n", encoding="utf-8")
    assert main(["panel", "result", "curve", "--csv", str(counts)]) == 0
    # by hand: at 40, (20/30 - 1/3) / (1 - 1/3 - .02) = .515, so half lies just below
    assert re.match(r"Half feel it at 38\.8", capsys.readouterr().out)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["result"], "Name a test"),
        (["result", "triangle", "--trials", "10"], "--correct"),
        (["result", "triangle", "--trials", "10", "--correct", "11"], "not possible"),
        (["result", "ranking"], "--csv"),
        (["result", "ranking", "--csv", "none.csv"], "There is no file"),
        (["result", "--plan", "none.json", "--csv", "x.csv"], "plan.json"),
        (["power", "triangle", "--discriminators", "0"], "discriminators"),
        (["power", "triangle", "--discriminators", "0.3", "--trials", "0"], "out of range"),
        (["plan", "triangle", "--sample", "a=x", "--assessors", "3", "--out", "o"], "not a size"),
        (["plan", "triangle", "--sample", "a", "--assessors", "3", "--out", "o"], "needs exactly 2"),
        (
            ["plan", "triangle", "--sample", "a", "--sample", "b", "--assessors", "0", "--out", "o"],
            "out of range",
        ),
    ],
)
def test_nonsense_is_refused_with_a_sentence(arguments, words, capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main(["panel", *arguments]) == 2
    assert words in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_no_result_is_printed_as_a_number_that_is_none(tmp_path, capsys):
    for words in (
        ("triangle", "--trials", "4", "--correct", "4"),
        ("triangle", "--trials", "9", "--correct", "1"),
    ):
        assert main(["panel", "result", *words]) == 0
        said = capsys.readouterr().out
        assert "nan" not in said
        assert "inf" not in said
    series = tmp_path / "series.csv"
    series.write_text("assessor,10,20,40\nA,0,1,1\n", encoding="utf-8")
    assert main(["panel", "result", "series", "--csv", str(series)]) == 0
    assert "Group: 14.14 of one assessor, so without an interval." in capsys.readouterr().out


def test_two_sides_belong_to_the_paired_comparison(capsys):
    assert main(["panel", "result", "triangle", "--trials", "30", "--correct", "16", "--two-sided"]) == 2
    assert "--two-sided belongs to the paired comparison" in capsys.readouterr().err
    assert main(["panel", "result", "paired", "--trials", "44", "--correct", "12", "--two-sided"]) == 0
    assert "A difference is shown: 12 for one and 32 for the other" in capsys.readouterr().out
