"""Tables written and read back by independent readers."""

import csv

import numpy as np
import pytest

from measure.errors import InvalidInput
from measure.output.tables import write_csv, write_parquet, write_xlsx

TABLE = {
    "kind": np.array(["kernel", "=1+1", 'salt, "sea"'], dtype=object),
    "area_um2": np.array([1234.5678, np.nan, 0.001]),
    "counted": np.array([1, 0, 1]),
}


def _rows(path):
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_csv_follows_rfc_4180_and_reads_back(tmp_path):
    path = tmp_path / "t.csv"
    write_csv(path, TABLE)
    raw = path.read_bytes()
    assert raw.count(b"\r\n") == 4
    assert raw.decode("utf-8").splitlines()[3].startswith('"salt, ""sea"""')
    rows = _rows(path)
    assert float(rows[0]["area_um2"]) == pytest.approx(1234.5678)
    assert rows[1]["area_um2"] == ""
    assert [r["counted"] for r in rows] == ["1", "0", "1"]


def test_text_that_looks_like_a_formula_is_made_harmless(tmp_path):
    path = tmp_path / "t.csv"
    write_csv(path, TABLE)
    rows = _rows(path)
    assert rows[1]["kind"] == "'=1+1"


def test_decimal_comma(tmp_path):
    path = tmp_path / "t.csv"
    write_csv(path, {"x": [1.5]}, delimiter=";", decimal=",")
    assert path.read_text(encoding="utf-8").splitlines() == ["x", "1,5"]
    with pytest.raises(InvalidInput, match="decimal mark and the separator"):
        write_csv(path, {"x": [1.5]}, delimiter=",", decimal=",")


def test_xlsx_has_units_frozen_header_and_equal_values(tmp_path):
    import openpyxl

    path = tmp_path / "t.xlsx"
    write_xlsx(path, {"particles": (TABLE, {"area_um2": "µm²"})})
    sheet = openpyxl.load_workbook(path)["particles"]
    assert [c.value for c in sheet[1]] == ["kind", "area_um2", "counted"]
    assert sheet["B2"].value == "µm²"
    assert sheet.freeze_panes == "A3"
    assert sheet["B3"].value == pytest.approx(1234.5678)
    assert sheet["B4"].value is None
    assert sheet["A4"].value == "'=1+1"
    assert sheet["A4"].data_type == "s"


def test_parquet_reads_back(tmp_path):
    pq = pytest.importorskip("pyarrow.parquet")
    path = tmp_path / "t.parquet"
    write_parquet(path, TABLE)
    back = pq.read_table(path)
    assert back.column("kind").to_pylist() == TABLE["kind"].tolist()
    np.testing.assert_array_equal(back.column("area_um2").to_numpy(), TABLE["area_um2"])


def test_a_failed_write_leaves_the_old_file(tmp_path):
    path = tmp_path / "t.csv"
    path.write_text("old", encoding="utf-8")
    with pytest.raises(ValueError, match="zip"):
        write_csv(path, {"a": [1, 2], "b": [1]})
    assert path.read_text(encoding="utf-8") == "old"
    assert list(tmp_path.iterdir()) == [path]


def test_a_folder_in_the_way_is_named(tmp_path):
    with pytest.raises(InvalidInput, match="is a folder"):
        write_csv(tmp_path, {"a": [1]})


def test_a_table_longer_than_a_sheet_is_refused_whole(tmp_path, monkeypatch):
    from measure.output import tables

    monkeypatch.setattr(tables, "_MOST_IN_A_SHEET", 3)
    tables.write_xlsx(tmp_path / "fits.xlsx", {"particles": ({"n": [1, 2, 3]}, {})})
    with pytest.raises(InvalidInput, match="particles has 4 rows, more than the 3 of a sheet; choose CSV"):
        tables.write_xlsx(tmp_path / "long.xlsx", {"particles": ({"n": [1, 2, 3, 4]}, {})})
    assert not (tmp_path / "long.xlsx").exists()


@pytest.mark.parametrize("where", ["its temporary files", "the workbook"])
def test_a_disk_too_full_for_a_workbook_is_told_and_leaves_the_old_one(tmp_path, monkeypatch, where):
    import errno

    from xlsxwriter.exceptions import FileCreateError

    path = tmp_path / "study.xlsx"
    path.write_bytes(b"old")
    full = OSError(errno.ENOSPC, "No space left on device")

    def fails(*_given):
        raise FileCreateError(full) if where == "its temporary files" else full

    place = "xlsxwriter.Workbook.close" if where == "its temporary files" else "pathlib.Path.write_bytes"
    monkeypatch.setattr(place, fails)
    with pytest.raises(InvalidInput, match=r"study.xlsx cannot be written \(No space left on device\)"):
        write_xlsx(path, {"particles": ({"n": [1, 2, 3]}, {})})
    monkeypatch.undo()
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]
