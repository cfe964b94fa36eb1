"""A particle table dropped on the Fields station becomes a batch without pictures."""

from pathlib import Path

import pytest
from PySide6.QtCore import QMimeData, QPoint, QPointF, Qt, QUrl
from PySide6.QtGui import QDropEvent
from pytestqt.qtbot import QtBot

from app import pickers
from app.models.field_list import FIELD_ROLE, STATE_ROLE
from app.stations.fields import Station
from app.stations.fields_adding import plain_scale
from app.window import Window

TABLE = """batch,field,area_equivalent_diameter_um,kind,counted,frame_weight
pass 9,t1.png,12.5,kernel,1,1.2
pass 9,t1.png,30,skin,1,1.4
pass 9,t2.png,8,salt,0,0
pass 9,t2.png,9.5,kernel,1,1.1
"""


@pytest.fixture
def table(tmp_path: Path) -> Path:
    path = tmp_path / "particles.csv"
    path.write_text(TABLE)
    return path


def drop(station: Station, *paths: Path) -> None:
    data = QMimeData()
    data.setUrls([QUrl.fromLocalFile(str(path)) for path in paths])
    copy, none = Qt.DropAction.CopyAction, Qt.KeyboardModifier.NoModifier
    station.dropEvent(QDropEvent(QPointF(QPoint(20, 20)), copy, data, Qt.MouseButton.LeftButton, none))


def taken_in(station: Station, table: Path, qtbot: QtBot) -> list:
    drop(station, table)
    qtbot.waitUntil(lambda: len(station.list.fields.field_ids()) == 4, timeout=5000)
    return [row for row in station.session.study.fields() if row.role == "table"]


def test_a_dropped_table_becomes_a_batch_of_table_fields(station: Station, table: Path, qtbot: QtBot):
    rows = taken_in(station, table, qtbot)
    assert [row.name for row in rows] == ["t1.png", "t2.png"]
    level, words = station.session.told[-1]
    assert (level, words.startswith("Took in 4 pieces on 2 fields as 'pass 9'")) == ("done", True)
    index = station.list.fields.index(station.list.fields.row_of_field(rows[0].id))
    assert index.data(FIELD_ROLE).role == "table"
    assert index.data(STATE_ROLE).words == "table, no picture, 2 counted"
    assert station.session.study.batches()[-1].batch.name == "pass 9"
    station.session.undo()  # one step
    assert len(station.list.fields.field_ids()) == 2
    assert [row.batch.name for row in station.session.study.batches()].count("pass 9") == 0


def test_a_table_field_cannot_be_measured_and_shows_why(station: Station, table: Path, qtbot: QtBot):
    rows = taken_in(station, table, qtbot)
    station.list.choose_field(rows[0].id)
    assert station.session.picture() is None
    assert station.picture.view.image is None
    assert not station.action("fields.measure").isEnabled()
    assert not station.action("fields.leave_out").isEnabled()
    assert station.action("fields.remove").isEnabled()
    assert station.details.role.currentText() == "table, no picture"
    assert not station.details.role.isEnabled()
    assert "SHA-256" in station.details.remarks.text()
    assert station.unmeasured() == [1, 2]
    assert not station.session.measure([rows[0].id])
    assert "t1.png came from a table and has no picture to measure." in station.session.told[-1][1]


def test_the_same_table_twice_and_a_bad_one_are_refused(
    station: Station, table: Path, tmp_path: Path, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
):
    taken_in(station, table, qtbot)
    bad = tmp_path / "bad.csv"
    bad.write_text("size\n5\n")
    for path, words in ((table, "in this study already"), (bad, "has no column")):
        monkeypatch.setattr(pickers, "tables", lambda _parent, path=path: [path])
        count = len(station.session.told)
        station.action("fields.add_table").trigger()
        qtbot.waitUntil(lambda count=count: len(station.session.told) > count, timeout=5000)
        assert words in station.session.told[-1][1]
    assert len(station.session.study.fields()) == 4


def test_new_pictures_never_take_the_scale_of_a_table(station: Station, table: Path, qtbot: QtBot):
    taken_in(station, table, qtbot)
    study = station.session.study
    assert len(study.scales()) == 2
    assert plain_scale(study.scales(), 7, 7) == 1
    assert station.details.scale.count() == 2  # "none yet" and the calibrated one


def test_sizes_and_compare_take_the_table(station: Station, table: Path, qtbot: QtBot, open_window: Window):
    rows = taken_in(station, table, qtbot)
    sizes = open_window.stations["sizes"]
    open_window.show_station("sizes") if hasattr(open_window, "show_station") else None
    batch = sizes.gatherer.gather(rows[0].batch_id)
    assert batch.sample.diameter_um.tolist() == pytest.approx([12.5, 30.0, 9.5])
    assert batch.sample.frame_weight.tolist() == pytest.approx([1.2, 1.4, 1.1])
    now = open_window.session.current_field_id
    sizes.show_pieces([(rows[0].id, 1)])
    assert "no picture to show them in" in open_window.session.told[-1][1]
    assert open_window.session.current_field_id == now
