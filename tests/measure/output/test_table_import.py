"""A particle table taken into a study again: every size as the table states it."""

import csv
import json

import numpy as np
import pytest

from app.__main__ import main
from measure.errors import InvalidInput
from measure.output.run_sizes import batch_sizes, sizes_of_table
from measure.output.study_tables import field_tables, study_tables
from measure.output.table_import import take_in
from measure.output.table_source import read_fields_table, read_table
from measure.output.tables import write_csv
from measure.particles import make_particles
from measure.study.study import Study
from tests.app.compare_study import make_compare_study


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """A measured study, and the tables written from it."""
    folder = tmp_path_factory.mktemp("whole")
    make_compare_study(folder / "s.gritline")
    with Study.open(folder / "s.gritline", read_only=True) as study:
        tables = study_tables(study)
    for name in ("particles", "fields"):
        write_csv(folder / f"{name}.csv", tables[name][0])
    first = tables["particles"][0]["batch"] == "pass 1"
    write_csv(folder / "one.csv", {n: v[first] for n, v in tables["particles"][0].items()})
    return folder


def same(one: dict, other: dict, rel: float = 1e-6) -> None:
    """Compare two objects of sizes value by value."""
    assert one.keys() == other.keys()
    for name, value in one.items():
        if isinstance(value, dict):
            same(value, other[name], rel)
        elif isinstance(value, (int, float)):
            assert other[name] == pytest.approx(value, rel=rel, abs=1e-9, nan_ok=True), name
        elif isinstance(value, (list, tuple)) and value and isinstance(value[0], dict):
            for left, right in zip(value, other[name], strict=True):
                same(left, right, rel)


def figures(sizes) -> dict:
    s = sizes.summary
    spread = {n: (u.low, u.high) for n, u in s.uncertainties.items()}
    flat = {f"{n}.{i}": v for n, pair in spread.items() for i, v in enumerate(pair)}
    return {**s.values, **flat, "pieces": s.pieces, "fields": s.fields, "limit": s.smallest_um}


def imported(path, tmp_path, batch="", fields=None):
    study = Study.create(tmp_path / "new.gritline")
    taken = take_in(study, read_table(path, fields), batch)
    return study, taken


def test_study_to_table_and_back_keeps_every_value(whole, tmp_path):
    study, taken = imported(whole / "particles.csv", tmp_path)
    with Study.open(whole / "s.gritline", read_only=True) as old:
        before, sizes_before = study_tables(old), batch_sizes(old)
    after, sizes_after = study_tables(study), batch_sizes(study)
    assert taken.batches == tuple(sizes_before)
    table, again = before["particles"][0], after["particles"][0]
    order = np.lexsort((table["particle"], table["field"].astype(str), table["batch"].astype(str)))
    order2 = np.lexsort((again["particle"], again["field"].astype(str), again["batch"].astype(str)))
    for name, values in table.items():
        left, right = values[order], again[name][order2]
        if left.dtype.kind == "f":
            np.testing.assert_allclose(right, left, rtol=2e-6, equal_nan=True, err_msg=name)
        else:
            assert left.tolist() == right.tolist(), name
    for batch, sizes in sizes_before.items():
        same(figures(sizes), figures(sizes_after[batch]), rel=1e-5)
    for name in ("field", "width_px", "height_px", "found", "counted", "touching_frame"):
        assert sorted(before["fields"][0][name]) == sorted(after["fields"][0][name]), name
    study.close()


def test_sizes_are_those_of_the_table_itself(whole, tmp_path):
    study, _ = imported(whole / "one.csv", tmp_path)
    ((name, sizes),) = batch_sizes(study).items()
    assert name == "pass 1"
    same(figures(sizes_of_table(whole / "one.csv")), figures(sizes))
    study.close()


@pytest.mark.parametrize(
    "text",
    [
        "area_equivalent_diameter_um\n5\n7.5\n30\n12\n",
        "area_equivalent_diameter_um;count;kind\n5,5;3;salt\n7,25;0;skin\n30;2;strange\n12;1;kernel\n",
        "area_equivalent_diameter_um,frame_weight,field\n5,1.5,b\n8,0,b\n30,,a\n12,2.5,a\n",
        "area_equivalent_diameter_um,volume_um3,kind,smallest_um,field\n"
        "5,100,salt,5,a\n8,,salt,6,a\n30,1e4,skin,5,b\n12,,skin,5,b\n",
        "area_equivalent_diameter_um,touches_frame,um_per_px,size_uncertainty_um,scale_relative_uncertainty\n"
        "5,0,0.37,0.1,0.01\n8,1,0.37,0.2,0.01\n30,0,0.37,,0.01\n12,0,0.37,0.5,0.01\n",
    ],
    ids=["bare", "counts", "weights", "volumes", "uncertain"],
)
def test_any_table_of_sizes_keeps_its_sizes(text, tmp_path):
    path = tmp_path / "alien.csv"
    path.write_text(text)
    study, _ = imported(path, tmp_path, batch="alien")
    same(figures(sizes_of_table(path)), figures(batch_sizes(study)["alien"]), rel=1e-6)
    study.close()


def test_batches_put_together_under_one_name_are_told(whole, tmp_path):
    study, taken = imported(whole / "particles.csv", tmp_path, batch="all of it")
    study.close()
    assert taken.batches == ("all of it",)
    assert taken.notes[0].startswith("The table holds 3 batches (pass 1, pass 3, pass 6), now one")
    (tmp_path / "new.gritline").unlink()
    study, apart = imported(whole / "particles.csv", tmp_path)
    study.close()
    assert len(apart.batches) == 3
    assert not any("now one" in note for note in apart.notes)


def test_a_piece_at_the_limit_stays_on_its_side(tmp_path):
    path = tmp_path / "edge.csv"
    rows = [
        f"{d},{c},{r},3.245432,0.3245432"
        for d, c, r in [
            (3.245432, 1, ""),
            (3.245432, 0, "below the lower limit"),
            (9, 1, ""),
            (3, 0, "below the lower limit"),
        ]
    ]
    head = "area_equivalent_diameter_um,counted,set_aside_reason,smallest_um,um_per_px"
    path.write_text("\n".join([head, *rows]) + "\n")
    study, _ = imported(path, tmp_path)
    table = next(field_tables(study))[2]
    assert table["counted"].tolist() == [1, 0, 1, 0]
    assert table["set_aside_reason"].tolist() == ["", "below the lower limit", "", "below the lower limit"]
    study.close()


def test_a_field_without_pieces_comes_from_the_table_of_fields(tmp_path):
    (tmp_path / "p.csv").write_text("area_equivalent_diameter_um,batch,field\n5,x,a\n9,x,a\n")
    (tmp_path / "fields.csv").write_text(
        "batch,field,width_px,height_px,found,um_per_px\nx,a,640,480,2,0.5\nx,b,640,480,0,0.5\n"
    )
    study, _ = imported(tmp_path / "p.csv", tmp_path)
    assert [(r.name, r.role, r.width_px) for r in study.fields()] == [
        ("a", "table", 640),
        ("b", "table", 640),
    ]
    assert batch_sizes(study)["x"].summary.fields == 2
    study.close()


def test_one_undo_step_and_no_second_time(whole, tmp_path):
    study, _ = imported(whole / "one.csv", tmp_path)
    with pytest.raises(InvalidInput, match="in this study already, as the batch 'pass 1'"):
        take_in(study, read_table(whole / "one.csv"), "other name")
    study.undo()
    assert (study.fields(), study.batches(), study.scales()) == ([], [], [])
    study.redo()
    assert len(study.batches()) == 1
    study.undo()
    take_in(study, read_table(whole / "one.csv"), "other name")
    assert [row.batch.name for row in study.batches()] == ["other name"]
    study.close()


def test_outlines_scale_and_role_cannot_be_changed(whole, tmp_path):
    study, taken = imported(whole / "one.csv", tmp_path)
    row = study.field(taken.field_ids[0])
    with pytest.raises(InvalidInput, match="came from a table"):
        study.replace_particles(row.id, [1], make_particles([]), "cut")
    for change in ({"role": "field"}, {"scale_id": None}):
        with pytest.raises(InvalidInput, match="came from a table"):
            study.update_field(row.id, **change)
    with pytest.raises(InvalidInput, match="came with the table"):
        study.update_scale(row.scale_id, study.scales()[0].scale)
    outlines = study.particles(row.id).outlines
    areas = [
        0.5 * abs(np.dot(o[:, 0], np.roll(o[:, 1], 1)) - np.dot(o[:, 1], np.roll(o[:, 0], 1)))
        for o in outlines
    ]
    np.testing.assert_allclose(areas, study.particles(row.id)["area_px2"], rtol=1e-3)
    study.close()


def test_command_takes_a_table_in_and_its_sizes_agree(whole, tmp_path, capsys):
    path = tmp_path / "s.gritline"
    Study.create(path).close()
    assert main(["import", str(whole / "one.csv"), "--study", str(path), "--batch", "again"]) == 0
    assert "as 'again', without pictures" in capsys.readouterr().out
    assert (
        main(["export", str(path), "--out", str(tmp_path / "out"), "--format", "csv", "--format", "json"])
        == 0
    )
    capsys.readouterr()
    assert main(["sizes", str(whole / "one.csv"), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    kept = json.loads((tmp_path / "out" / "sizes.json").read_text())["again"]
    for block in ("number", "volume"):
        same(told[block], kept[block], rel=1e-4)
    assert told[block]
    with (tmp_path / "out" / "fields.csv").open() as file:
        assert all(r["advice"] == "" for r in csv.DictReader(file))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "is empty"),
        ("diameter\n5\n", "has no column 'area_equivalent_diameter_um'"),
        ("area_equivalent_diameter_um\n-5\n", "row 2"),
        ("area_equivalent_diameter_um,count\n5,1.5\n", "only whole pieces"),
        ("area_equivalent_diameter_um,count\n5,1e12\n", "at most"),
        ("area_equivalent_diameter_um,lightness_step\n5,inf\n", "a finite number is needed"),
    ],
)
def test_bad_tables_are_refused_and_nothing_is_written(text, words, tmp_path, capsys):
    path, table = tmp_path / "s.gritline", tmp_path / "bad.csv"
    Study.create(path).close()
    before = path.read_bytes()
    table.write_text(text)
    assert main(["import", str(table), "--study", str(path)]) == 2
    told = capsys.readouterr().err
    assert words in told
    assert told.count("\n") == 1
    assert path.read_bytes() == before
    assert main(["import", str(tmp_path / "none.csv"), "--study", str(path)]) == 2
    assert main(["import", str(table), "--study", str(tmp_path / "no.gritline")]) == 2
    assert not (tmp_path / "no.gritline").exists()


def test_a_study_that_is_not_there_is_made(tmp_path, capsys):
    good, path = tmp_path / "good.csv", tmp_path / "new.gritline"
    good.write_text("area_equivalent_diameter_um\n5\n")
    assert main(["import", str(good), "--study", str(path), "--batch", "last year"]) == 0
    assert "The study is new." in capsys.readouterr().out
    with Study.open(path) as study:
        assert [row.batch.name for row in study.batches()] == ["last year"]
    assert main(["import", str(good), "--study", str(path), "--batch", "last year"]) != 0
    assert path.exists()  # it was there before


def test_a_table_of_fields_is_read_with_its_own_decimal_mark(tmp_path):
    path = tmp_path / "fields.csv"
    head = "field;width_px;height_px;um_per_px\n"
    path.write_text(head + "a;1.600;1.200;0,25\n", encoding="utf-8")
    (facts,) = read_fields_table(path)
    assert (facts.width_px, facts.height_px, facts.um_per_px) == (1600, 1200, 0.25)
    path.write_text(head + "a;1,600;1,200;1\n", encoding="utf-8")
    with pytest.raises(
        InvalidInput, match=r"'fields.csv' row 2, column 'width_px': '1,600' can mean 1.600 or"
    ):
        read_fields_table(path)
    path.write_text(head + "a;1.600;1.200;1\n", encoding="utf-8")
    with pytest.raises(InvalidInput, match="no size in whole px"):
        read_fields_table(path)
