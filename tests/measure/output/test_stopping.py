"""Writing that is stopped leaves no half file behind, and tells how far it is while it goes on."""

from pathlib import Path

import numpy as np
import pytest

from measure.errors import Cancelled
from measure.output.export import export_study
from measure.output.tables import write_csv, write_xlsx
from measure.progress import Progress
from measure.study.copies import take_out
from measure.study.study import Study
from tests.measure.study.builders import fill, picture

TABLE = {"particle": np.arange(12_000), "area_um2": np.linspace(1.0, 9.0, 12_000)}


class StopAt(Progress):
    """Asks for a stop at the n-th look."""

    def __init__(self, looks: int) -> None:
        self.seen: list[float] = []
        super().__init__(lambda fraction, _stage: self.seen.append(fraction))
        self._left = looks

    def check(self) -> None:
        self._left -= 1
        if self._left < 0:
            self.cancel()
        super().check()


def test_a_table_stopped_leaves_nothing_and_the_old_one_as_it_was(tmp_path: Path):
    path = tmp_path / "particles.csv"
    path.write_text("before")
    for looks in range(5):  # before each column, then among the rows
        with pytest.raises(Cancelled):
            write_csv(path, TABLE, progress=StopAt(looks))
        assert [p.name for p in tmp_path.iterdir()] == ["particles.csv"]
        assert path.read_text() == "before"
    write_csv(path, TABLE, progress=StopAt(5))
    assert len(path.read_text().splitlines()) == 12_001


def test_a_workbook_stopped_leaves_nothing(tmp_path: Path):
    with pytest.raises(Cancelled):
        write_xlsx(tmp_path / "study.xlsx", {"particles": (TABLE, {})}, StopAt(1))
    assert list(tmp_path.iterdir()) == []


def test_an_export_stopped_keeps_whole_files_only(tmp_path: Path):
    with Study.create(tmp_path / "s.gritline") as study:
        fill(study)
        whole = tmp_path / "whole"
        told = StopAt(10_000)
        formats = ("csv", "geojson", "labels")
        export_study(study, whole, formats, progress=told)
        assert told.seen == sorted(told.seen)
        assert len(told.seen) == 3
        looks, stopped = 10_000 - told._left, 0
        for stop in range(0, looks, 2):
            part = tmp_path / f"part {stop}"
            with pytest.raises(Cancelled):
                export_study(study, part, formats, progress=StopAt(stop))
            for path in part.rglob("*.*"):
                assert path.read_bytes() == (whole / path.relative_to(part)).read_bytes(), path
                stopped += 1
        assert stopped  # some were finished before the stop


def test_a_copy_stopped_leaves_nothing(tmp_path: Path):
    source, copy = tmp_path / "s.gritline", tmp_path / "c.gritline"
    with Study.create(source) as study:
        study.add_fields([picture(data=bytes(9_000_000))])
        told = StopAt(10_000)
        with pytest.raises(Cancelled):
            take_out(source, copy, StopAt(1))
        assert [p.name for p in tmp_path.glob("*c.gritline*")] == []
        take_out(source, copy, told)
        assert told.seen[-1] == 1.0
        assert len(told.seen) > 1
    with Study.open(copy, read_only=True) as study:
        assert len(study.fields()) == 1
