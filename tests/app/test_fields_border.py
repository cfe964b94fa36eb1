"""The border round the view that is left out by itself: taken back with a click, kept taken back, undone."""

import csv
import json
from pathlib import Path

import cv2
import numpy as np
import pytest
from PySide6.QtCore import QPointF, Qt
from pytestqt.qtbot import QtBot

from app.__main__ import main
from app.stations.fields import Station
from app.window import Window
from measure.output.borders import borders_counted
from measure.study.records import NewField
from measure.study.study import Study

from .conftest import drawn_field, png

LEFT = Qt.MouseButton.LeftButton


def idle(station: Station) -> bool:
    return not station.session.tasks.tasks and not station.session.measuring.under_way


def barred() -> np.ndarray:
    """A field with a black bar at its left and right edge."""
    picture = drawn_field(3)
    picture[:, :30] = picture[:, -24:] = 5
    return picture


@pytest.fixture
def bordered(station: Station, qtbot: QtBot) -> Station:
    """The station at a measured field whose border was left out."""
    session, picture = station.session, barred()
    rows, columns = picture.shape[:2]
    scale = session.study.scales()[0].id
    new = NewField("bars.png", png(picture), scale_id=scale, width_px=columns, height_px=rows)
    field_id = session.do(session.study.add_fields, [new])[0]
    station.list.choose_field(field_id)
    qtbot.waitUntil(lambda: session.picture() is not None, timeout=5000)
    assert session.measure([field_id])
    qtbot.waitUntil(lambda: idle(station), timeout=20000)
    assert len(session.study.field(field_id).zones) == 2
    return station


def click_in_picture(station: Station, qtbot: QtBot, x: float, y: float) -> None:
    qtbot.mouseClick(
        station.picture.view.viewport(), LEFT, pos=station.picture.view.mapFromScene(QPointF(x, y))
    )


def test_a_click_counts_the_border_also_when_measured_again(
    bordered: Station, open_window: Window, qtbot: QtBot
):
    session, study = bordered.session, bordered.session.study
    field_id = session.current_field_id
    assert not bordered.action("fields.leave_out_border").isEnabled()
    qtbot.keyClick(bordered, Qt.Key.Key_X)
    assert "Click an area left out" in bordered.picture.note.text()
    click_in_picture(bordered, qtbot, 10, 60)
    assert study.field(field_id).zones == ()  # both bars: they are one border
    assert not bordered.action("fields.leave_out").isChecked()
    with Study.open(study.path, read_only=True) as on_disk:
        assert borders_counted(on_disk) == {field_id}
    assert "Measure it again" in bordered.details.remarks.text()
    assert session.measure([field_id])
    qtbot.waitUntil(lambda: idle(bordered), timeout=20000)
    row = study.field(field_id)
    assert (row.zones, row.result_zones) == ((), ())
    assert "counts as part of the field" in bordered.details.remarks.text()
    # and left out again, by the action and by undo
    bordered.action("fields.leave_out_border").trigger()
    assert len(study.field(field_id).zones) == 2
    assert borders_counted(study) == set()
    session.undo()
    assert (study.field(field_id).zones, borders_counted(study)) == ((), {field_id})
    session.undo()  # the second measuring
    session.undo()
    assert (len(study.field(field_id).zones), borders_counted(study)) == (2, set())


def test_only_the_area_clicked_is_counted_again(bordered: Station, qtbot: QtBot):
    session, study = bordered.session, bordered.session.study
    field_id = session.current_field_id
    border = study.field(field_id).zones
    square = np.array([[100.0, 60], [120, 60], [120, 80], [100, 80]])
    session.do(study.update_field, field_id, zones=(*border, square))
    qtbot.keyClick(bordered, Qt.Key.Key_X)
    click_in_picture(bordered, qtbot, 60, 30)  # nothing is left out here
    assert len(study.field(field_id).zones) == 3
    click_in_picture(bordered, qtbot, 110, 70)
    assert len(study.field(field_id).zones) == 2
    assert borders_counted(study) == set()  # the border stays as it was
    qtbot.keyClick(bordered, Qt.Key.Key_X, Qt.KeyboardModifier.ShiftModifier)
    assert (study.field(field_id).zones, borders_counted(study)) == ((), {field_id})


def test_the_other_fields_of_the_zoom_follow_in_one_step(
    bordered: Station, open_window: Window, qtbot: QtBot
):
    session, study = bordered.session, bordered.session.study
    first = session.current_field_id
    row = study.field(first)
    other = drawn_field(5)
    other[:, :28] = other[:, -26:] = 5  # nearly the same place
    size = (row.width_px, row.height_px)
    new = NewField("more.png", png(other), scale_id=row.scale_id, width_px=size[0], height_px=size[1])
    second = session.do(study.add_fields, [new])[0]
    assert session.measure([second])
    qtbot.waitUntil(lambda: idle(bordered), timeout=20000)
    bar = np.array([[100.0, 60], [120, 60], [120, 80], [100, 80]])
    session.do(study.update_field, second, zones=(*study.field(second).zones, bar))
    assert len(study.field(second).zones) == 3
    bordered.list.choose_field(first)
    qtbot.waitUntil(lambda: session.picture() is not None, timeout=5000)
    qtbot.keyClick(bordered, Qt.Key.Key_X)
    click_in_picture(bordered, qtbot, 10, 60)
    assert "of this zoom too" in open_window.strip.offer.text()
    qtbot.mouseClick(open_window.strip.offer, LEFT)
    assert [zone.tolist() for zone in study.field(second).zones] == [bar.tolist()]  # the bar stays left out
    assert {first, second} <= borders_counted(study)
    session.undo()
    assert len(study.field(second).zones) == 3
    assert borders_counted(study) == {first}


def test_the_option_counts_the_border_and_a_study_keeps_it(tmp_path: Path, capsys):
    folder, study = tmp_path / "f", tmp_path / "s.gritline"
    folder.mkdir()
    cv2.imwrite(str(folder / "bars.png"), barred()[..., ::-1])
    base = ["measure", str(folder), "--um-per-px", "0.5", "--jobs", "1", "--json"]

    def run(*more: str) -> tuple[dict, list[dict]]:
        assert main([*base, "--out", str(tmp_path / "o"), *more]) == 0
        with (tmp_path / "o" / "fields.csv").open(encoding="utf-8", newline="") as file:
            return json.loads(capsys.readouterr().out), list(csv.DictReader(file))

    said, (row,) = run()
    assert [words for words in said["warnings"] if "border" in words] == [
        "bars.png: the even border round the view is left out; to count it, add --count-border."
    ]
    assert "is left out" in row["warnings"]
    said, (row,) = run("--count-border", "--study", str(study))
    assert not any("left out" in words for words in said["warnings"])
    assert "counts as part of the field, as was asked for" in row["warnings"]
    with Study.open(study) as kept:
        assert kept.fields()[0].zones == ()
        assert borders_counted(kept) == {kept.fields()[0].id}
    said, (again,) = run("--study", str(study))  # without the option: the study knows
    assert again == row
    with Study.open(study) as kept:
        assert kept.fields()[0].zones == ()
