"""Tables kept as XLSX and Parquet give the sizes of the CSV table, and are refused as clearly."""

import zipfile

import numpy as np
import pytest

from measure.errors import InvalidInput
from measure.output.table_source import read_table
from measure.output.tables import write_csv, write_parquet, write_xlsx
from measure.sizes.sample import sample_from_table
from measure.sizes.table_file import read_sizes_table

HEAD = "area_equivalent_diameter_um"


def _table(rows=6_000):
    rng = np.random.default_rng(3)
    d = np.round(rng.lognormal(2.5, 0.5, rows), 4)
    return {
        "batch": np.array(["=1+1", "pass 3"], dtype=object)[np.arange(rows) % 2],
        "field": np.array(["a.png", "b & <c>.png", "ü.png"], dtype=object)[np.arange(rows) % 3],
        "kind": np.array(["kernel", "skin"], dtype=object)[np.arange(rows) % 2],
        "counted": (np.arange(rows) % 7 > 0).astype(int),
        HEAD: d,
        "volume_um3": np.where(np.arange(rows) % 5 == 0, np.nan, d**3),
        "frame_weight": np.round(1 + rng.random(rows) / 10, 4),
    }


UNITS = {HEAD: "µm", "volume_um3": "µm³"}


def _written(folder):
    table = _table()
    write_csv(folder / "t.csv", table)
    # what else a workbook of a study holds, and another order of its sheets
    fields = {"field": ["a.png", "b & <c>.png", "ü.png"], "width_px": [640, 640, 640], "height_px": [480] * 3}
    write_xlsx(
        folder / "t.xlsx",
        {"fields": (fields, {"width_px": "px", "height_px": "px"}), "particles": (table, UNITS)},
    )
    write_parquet(folder / "t.parquet", table)
    return [folder / f"t.{suffix}" for suffix in ("csv", "xlsx", "parquet")]


def test_all_three_give_the_same_columns_and_sizes(tmp_path):
    plain, book, parquet = (read_sizes_table(path) for path in _written(tmp_path))
    assert list(plain) == list(book) == list(parquet)
    for name, values in plain.items():
        if values.dtype == object:
            # the mark that keeps a spreadsheet from running a name as a formula is no part of the name
            assert values.tolist() == book[name].tolist() == parquet[name].tolist()
        else:
            assert book[name] == pytest.approx(values, rel=1e-6, nan_ok=True)
            assert parquet[name] == pytest.approx(values, rel=1e-6, nan_ok=True)
    means = [sample_from_table(t).quantity(3).sum() for t in (plain, book, parquet)]
    assert means == pytest.approx([means[0]] * 3, rel=1e-6)


def test_a_workbook_brings_its_fields(tmp_path):
    source = read_table(_written(tmp_path)[1])
    assert [(f.field, f.width_px, f.height_px) for f in source.facts] == [
        ("a.png", 640, 480), ("b & <c>.png", 640, 480), ("ü.png", 640, 480),
    ]  # fmt: skip


def test_a_plain_workbook_of_another_program(tmp_path):
    # openpyxl writes texts and cells in its own way; numbers typed as text, gaps and formulas' values occur
    openpyxl = pytest.importorskip("openpyxl")
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["note", None, HEAD, "counted"])
    sheet.append(["a", None, 12.5, True])
    sheet.append([])
    sheet.append([None, None, "30", False])
    sheet["C6"], sheet["D6"] = 41, 1
    book.save(tmp_path / "other.xlsx")
    table = read_sizes_table(tmp_path / "other.xlsx")
    assert table[HEAD].tolist() == [12.5, 30.0, 41.0]
    assert table["counted"][:2].tolist() == [1.0, 0.0]


def test_what_is_wrong_is_said_by_row_and_column(tmp_path):
    write_xlsx(tmp_path / "bad.xlsx", {"particles": ({HEAD: [12.0, -3.0]}, UNITS)})
    with pytest.raises(InvalidInput, match=rf"'bad.xlsx' row 4, column '{HEAD}': -3 is not possible"):
        read_sizes_table(tmp_path / "bad.xlsx")
    write_xlsx(tmp_path / "other.xlsx", {"sizes": ({"size": [12.0]}, {})})
    with pytest.raises(InvalidInput, match=f"'other.xlsx' has no column '{HEAD}'; its columns are size"):
        read_sizes_table(tmp_path / "other.xlsx")
    write_xlsx(tmp_path / "none.xlsx", {"particles": ({HEAD: []}, UNITS)})
    with pytest.raises(InvalidInput, match="has a heading but no rows"):
        read_sizes_table(tmp_path / "none.xlsx")
    write_parquet(tmp_path / "bad.parquet", {HEAD: [12.0, 0.0]})
    with pytest.raises(InvalidInput, match=r"'bad.parquet' row 3, column .* 0 is not possible"):
        read_sizes_table(tmp_path / "bad.parquet")


def test_damaged_files_are_refused(tmp_path):
    for path in _written(tmp_path)[1:]:
        whole = path.read_bytes()
        for part in (len(whole) // 2, len(whole) - 40):
            path.write_bytes(whole[:part])
            with pytest.raises(InvalidInput, match="is not a whole"):
                read_sizes_table(path)
    with zipfile.ZipFile(tmp_path / "zip.xlsx", "w") as other:
        other.writestr("hello.txt", "hello")
    with pytest.raises(InvalidInput, match=r"'zip.xlsx' is not a whole XLSX workbook"):
        read_sizes_table(tmp_path / "zip.xlsx")


def test_no_flipped_byte_of_a_workbook_is_more_than_a_sentence(tmp_path):
    rng = np.random.default_rng(7)
    write_xlsx(tmp_path / "t.xlsx", {"particles": (_table(60), UNITS)})
    whole = (tmp_path / "t.xlsx").read_bytes()
    refused = []
    for _ in range(300):
        data = bytearray(whole)
        for place in rng.integers(4, len(data), 3):
            data[place] = rng.integers(256)
        (tmp_path / "t.xlsx").write_bytes(bytes(data))
        try:
            read_sizes_table(tmp_path / "t.xlsx")
        except InvalidInput as error:
            refused.append(error.text)
    assert len(refused) > 100
    assert all("'t.xlsx'" in text for text in refused)
