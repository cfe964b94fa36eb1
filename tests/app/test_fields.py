"""The Fields station through clicks, keys and drops."""

from pathlib import Path

import pytest
from PySide6.QtCore import QMimeData, QPoint, QPointF, Qt, QUrl
from PySide6.QtGui import QDropEvent
from PySide6.QtTest import QAbstractItemModelTester
from pytestqt.qtbot import QtBot

from app import pickers, preview_work
from app.stations.fields import Station
from app.window import Window
from measure.model import FieldSettings

from .conftest import GRAINS, HEIGHT, WIDTH, drawn_field, png

LEFT = Qt.MouseButton.LeftButton


def idle(station: Station) -> bool:
    session = station.session
    return not session.tasks.tasks and not session.measuring.under_way


def drop(station: Station, *paths: Path) -> None:
    data = QMimeData()
    data.setUrls([QUrl.fromLocalFile(str(path)) for path in paths])
    event = QDropEvent(
        QPointF(QPoint(20, 20)), Qt.DropAction.CopyAction, data, LEFT, Qt.KeyboardModifier.NoModifier
    )
    station.dropEvent(event)


def click_row(station: Station, row: int, qtbot: QtBot, key=Qt.KeyboardModifier.NoModifier) -> None:
    fields = station.list
    qtbot.mouseClick(fields.viewport(), LEFT, key, fields.visualRect(fields.fields.index(row)).center())


def test_model_keeps_qts_rules(station: Station):
    tester = QAbstractItemModelTester(
        station.list.fields, QAbstractItemModelTester.FailureReportingMode.Warning
    )
    station.session.do(station.session.study.remove_fields, [1])
    station.session.undo()
    del tester
    assert station.list.fields.field_ids() == [1, 2]


def test_first_field_is_shown_with_its_scale_bar_and_facts(station: Station):
    assert station.list.field_ids() == [1]
    assert station.picture.field_name.text() == "a1.png"
    assert station.picture.view.image.width() == WIDTH
    assert station.details.scale.currentText().startswith("10x, 0.5000")
    assert not station.details.figures.isVisible()
    assert station.next.text() == "Measure 2 fields"


def test_next_step_measures_and_then_leads_on(station: Station, open_window: Window, qtbot: QtBot):
    qtbot.mouseClick(station.next, LEFT)
    assert station.next.text() == "Measuring, 2 fields to go"
    assert not station.next.isEnabled()
    qtbot.waitUntil(lambda: idle(station), timeout=60000)
    assert open_window.rail.buttons["fields"].done
    assert open_window.rail.buttons["fields"].words == "2 fields measured"
    assert station.details.figures.isVisible()
    assert station.next.text() == "Look at the particles"
    if "particles" in open_window.stations:
        qtbot.mouseClick(station.next, LEFT)
        assert open_window.current == "particles"


def test_dropped_files_are_added_and_twins_refused_by_name(station: Station, tmp_path: Path, qtbot: QtBot):
    fresh, twin, text = tmp_path / "fresh.png", tmp_path / "copy.png", tmp_path / "words.png"
    fresh.write_bytes(png(drawn_field(7)))
    twin.write_bytes(station.session.study.field_bytes(1))
    text.write_text("no picture")
    drop(station, fresh, twin, text)
    qtbot.waitUntil(lambda: len(station.list.fields.field_ids()) == 3, timeout=5000)
    level, words = station.session.told[-1]
    assert level == "warning"
    assert "Added 1 picture." in words
    assert "copy.png is the same picture as a1.png" in words
    assert "words.png is not a picture: it holds text" in words  # each by name while they are few
    row = station.session.study.fields()[-1]
    assert (row.name, row.batch_id, row.scale_id) == ("fresh.png", 1, 1)
    station.session.undo()  # one step
    assert len(station.list.fields.field_ids()) == 2


def test_a_dropped_folder_becomes_a_batch(station: Station, tmp_path: Path, qtbot: QtBot):
    folder = tmp_path / "pass 6"
    folder.mkdir()
    for number in (8, 9):
        (folder / f"b{number}.png").write_bytes(png(drawn_field(number)))
    drop(station, folder)
    qtbot.waitUntil(lambda: len(station.list.fields.field_ids()) == 4, timeout=5000)
    study = station.session.study
    assert [row.batch.name for row in study.batches()] == ["pass 1", "pass 6"]
    assert [row.batch_id for row in study.fields()] == [1, 1, 2, 2]
    assert station.list.field_ids() == [3]
    station.session.undo()
    assert [row.batch.name for row in study.batches()] == ["pass 1"]


def test_picked_files_are_added(
    station: Station, tmp_path: Path, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
):
    path = tmp_path / "picked.png"
    path.write_bytes(png(drawn_field(11)))
    monkeypatch.setattr(pickers, "pictures", lambda _parent: [path])
    qtbot.keyClick(station, Qt.Key.Key_I, Qt.KeyboardModifier.ControlModifier)
    qtbot.waitUntil(lambda: len(station.list.fields.field_ids()) == 3, timeout=5000)
    assert station.session.told[-1] == ("done", "Added 1 picture.")


def test_a_picture_of_another_size_is_alarmed_before_measuring(
    station: Station, open_window: Window, tmp_path: Path, qtbot: QtBot
):
    path = tmp_path / "half.png"
    path.write_bytes(png(drawn_field(5, GRAINS[:1], (WIDTH // 2, HEIGHT // 2))))
    drop(station, path)
    qtbot.waitUntil(lambda: len(station.list.fields.field_ids()) == 3, timeout=5000)
    assert station.details.remarks.isVisible()
    assert "2.00 times its true value" in station.details.remarks.text()
    assert "of another size than the scale" in open_window.rail.buttons["fields"].words


def test_a_batch_is_made_named_and_described_by_keys(station: Station, qtbot: QtBot):
    qtbot.keyClick(station, Qt.Key.Key_B, Qt.KeyboardModifier.ControlModifier)
    assert station.batch.isVisible()
    assert station.batch.name.hasFocus()
    qtbot.keyClicks(station.batch.name, "pass 3")
    qtbot.keyClick(station.batch.name, Qt.Key.Key_Tab)
    station.batch.passes.setFocus()
    qtbot.keyClicks(station.batch.passes, "2,5")
    qtbot.keyClick(station.batch.passes, Qt.Key.Key_Return)
    batch = station.session.study.batches()[1].batch
    assert (batch.name, batch.passes) == ("pass 3", 2.5)
    station.batch.minutes.setFocus()
    qtbot.keyClicks(station.batch.minutes, "long")
    qtbot.keyClick(station.batch.minutes, Qt.Key.Key_Return)
    assert "Minutes is a number from 0 up" in station.session.told[-1][1]
    assert station.batch.minutes.text() == ""
    station.batch.recipe.setFocus()  # and what is typed next is kept
    qtbot.keyClicks(station.batch.recipe, "nuts")
    qtbot.keyClick(station.batch.recipe, Qt.Key.Key_Return)
    assert station.session.study.batches()[1].batch.recipe == "nuts"
    qtbot.mouseClick(station.batch.remove, LEFT)
    assert len(station.session.study.batches()) == 1


def test_heading_shows_the_batch_and_fields_show_facts(station: Station, qtbot: QtBot):
    click_row(station, 0, qtbot)
    assert station.batch.isVisible()
    assert not station.details.isVisible()
    assert station.batch.name.text() == "pass 1"
    click_row(station, 2, qtbot)
    assert station.details.isVisible()
    assert station.session.current_field_id == 2


def test_several_fields_change_together(station: Station, qtbot: QtBot):
    click_row(station, 1, qtbot)
    click_row(station, 2, qtbot, Qt.KeyboardModifier.ShiftModifier)
    assert station.list.field_ids() == [1, 2]
    box = station.details.scale
    box.setCurrentIndex(0)
    box.activated.emit(0)
    assert [row.scale_id for row in station.session.study.fields()] == [None, None]
    assert station.next.text() == "Give each field its scale"
    station.session.undo()
    assert [row.scale_id for row in station.session.study.fields()] == [1, 1]


def test_without_a_scale_the_next_step_is_the_scale(station: Station, qtbot: QtBot):
    study = station.session.study
    station.session.do(study.update_fields, [1, 2], scale_id=None)
    station.session.do(study.remove_scale, 1)
    assert station.next.text() == "Make a scale first"
    wanted = []
    station.wants_station.connect(wanted.append)
    qtbot.mouseClick(station.next, LEFT)
    assert wanted == ["scale"]


def test_fields_are_walked_by_keys(station: Station, qtbot: QtBot):
    qtbot.keyClick(station, Qt.Key.Key_PageDown)
    assert station.session.current_field_id == 2
    qtbot.keyClick(station, Qt.Key.Key_PageDown)  # the last stays
    assert station.session.current_field_id == 2
    qtbot.keyClick(station, Qt.Key.Key_PageUp)
    assert station.session.current_field_id == 1


def test_removing_fields_can_be_undone(station: Station, qtbot: QtBot):
    station.list.setFocus()
    qtbot.keyClick(station.list, Qt.Key.Key_Delete)
    assert station.list.fields.field_ids() == [2]
    assert station.session.current_field_id == 2
    station.session.undo()
    assert station.list.fields.field_ids() == [1, 2]


def test_preview_follows_the_sliders(station: Station, qtbot: QtBot):
    station.settings.sensitivity.setValue(60)
    qtbot.waitUntil(lambda: "piece" in station.settings.note.text(), timeout=10000)
    assert station.action("fields.preview").isChecked()
    assert station.settings.note.text() == f"These settings find {len(GRAINS)} pieces in view."
    station.settings.smallest.setValue(15.0)  # 30 px: only the two largest grains are that wide
    qtbot.waitUntil(lambda: "2 pieces" in station.settings.note.text(), timeout=10000)
    qtbot.waitUntil(lambda: station.session.measure_settings().smallest_um == 15.0, timeout=3000)
    assert station.session.measure_settings() == FieldSettings(15.0, 0.6, 0.5)
    qtbot.keyClick(station, Qt.Key.Key_P)
    assert not station.preview.on
    assert station.settings.note.text() == ""


def test_what_a_preview_draws_is_said_over_the_picture(station: Station, qtbot: QtBot):
    station.action("fields.preview").trigger()
    qtbot.waitUntil(lambda: station.picture.note.text() == "Preview: 4 pieces", timeout=20_000)
    station.action("fields.preview").trigger()
    assert station.picture.note.text() == ""


def test_preview_of_a_large_part_begins_in_the_middle(
    station: Station, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
):
    shown: list[str] = []
    told: list[str] = []
    monkeypatch.setattr(station.preview, "_say", shown.append)
    monkeypatch.setattr(preview_work, "FIRST_MPX", 0.005)
    station.preview.told.connect(told.append)
    qtbot.keyClick(station, Qt.Key.Key_P)
    qtbot.waitUntil(lambda: any(text.endswith("in view.") for text in shown), timeout=10000)
    assert any("in the middle; looking on" in text for text in shown)
    assert told[0].startswith("Middle: ")
    assert told[-1] == f"Preview: {len(GRAINS)} pieces"


def test_preview_rests_while_the_page_around_the_picture_moves_a_little(
    station: Station, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
):
    said = []
    monkeypatch.setattr(station.preview, "_say", said.append)
    qtbot.keyClick(station, Qt.Key.Key_P)
    qtbot.waitUntil(lambda: any(text.endswith("in view.") for text in said), timeout=10000)
    before = said.count("Looking…")
    view = station.picture.view
    view.zoomed.emit(view.zoom)  # as when a bar below the picture comes or goes
    qtbot.wait(400)
    assert said.count("Looking…") == before
    for _ in range(4):
        qtbot.keyClick(view, Qt.Key.Key_Plus)
    qtbot.waitUntil(lambda: said.count("Looking…") > before, timeout=3000)
    qtbot.waitUntil(lambda: idle(station), timeout=10000)


def test_what_was_measured_is_shown_and_not_the_preview(station: Station, qtbot: QtBot):
    qtbot.keyClick(station, Qt.Key.Key_P)
    assert station.preview.on
    qtbot.mouseClick(station.next, LEFT)
    qtbot.waitUntil(lambda: idle(station), timeout=60000)
    assert not station.preview.on
    assert not station.picture._hidden_by_preview


def test_a_field_whose_areas_changed_is_measured_again(station: Station, qtbot: QtBot):
    qtbot.mouseClick(station.next, LEFT)
    qtbot.waitUntil(lambda: idle(station), timeout=60000)
    zone = [[0, 80], [100, 80], [100, 160], [0, 160]]
    station.session.do(station.session.study.update_field, 1, zones=(zone,))
    assert station.next.text() == "Measure 1 field again"
    assert "Measure it again" in station.details.remarks.text()
    qtbot.mouseClick(station.next, LEFT)
    qtbot.waitUntil(lambda: idle(station), timeout=20000)
    assert station.session.study.field(1).counts.counted == len(GRAINS) - 1
    assert station.next.text() == "Look at the particles"


def test_new_settings_are_offered_for_a_measured_field(station: Station, qtbot: QtBot):
    qtbot.keyClick(station, Qt.Key.Key_M)
    qtbot.waitUntil(lambda: idle(station), timeout=20000)
    assert station.next.text() == "Measure 1 field"  # the other one
    station.settings.cutting.setValue(20)
    qtbot.waitUntil(lambda: station.next.text() == "Measure 1 field with these settings", timeout=3000)


def test_an_area_is_left_out_by_dragging(station: Station, qtbot: QtBot):
    qtbot.keyClick(station, Qt.Key.Key_X)
    view = station.picture.view
    start, end = (view.mapFromScene(QPointF(*spot)) for spot in ((20, 90), (90, 140)))
    qtbot.mousePress(view.viewport(), LEFT, pos=start)
    qtbot.mouseMove(view.viewport(), (start + end) / 2)
    qtbot.mouseMove(view.viewport(), end)
    qtbot.mouseRelease(view.viewport(), LEFT, pos=end)
    zones = station.session.study.field(1).zones
    assert len(zones) == 1
    assert zones[0][0] == pytest.approx([20, 90], abs=2)
    assert not station.action("fields.leave_out").isChecked()
    station.action("fields.leave_out_all").trigger()
    assert station.session.study.field(2).zones[0].tolist() == zones[0].tolist()
    station.session.undo()  # one step
    assert len(station.session.study.field(2).zones) == 0
    qtbot.keyClick(station, Qt.Key.Key_X, Qt.KeyboardModifier.ShiftModifier)
    assert len(station.session.study.field(1).zones) == 0
    assert not station.action("fields.leave_out_all").isEnabled()
    assert not station.action("fields.leave_out_none").isEnabled()


def test_blank_oil_can_be_named_and_used(station: Station, qtbot: QtBot):
    station.list.choose_field(2)
    role = station.details.role
    role.setCurrentIndex(role.findData("blank"))
    role.activated.emit(role.currentIndex())
    assert station.session.study.field(2).role == "blank"
    strip = station.window().strip  # what it is good for is offered at once
    assert strip.offer.text() == "Use it for 1 field"
    qtbot.mouseClick(strip.offer, LEFT)
    assert station.session.study.field(1).blank_id == 2
    assert station.session.study.undo_text() == "Use a2.png as blank oil of 1 field"
    assert station.session.told[-1] == ("done", "It is the blank oil of 1 field from the next measuring on.")
    station.session.undo()
    station.list.selectAll()
    assert station.details.blank.isVisible()  # for the fields among what is chosen
    station.list.choose_field(1)
    blank = station.details.blank
    assert blank.isVisible()
    blank.setCurrentIndex(blank.findData(2))
    blank.activated.emit(blank.currentIndex())
    assert station.session.study.field(1).blank_id == 2
    station.list.choose_field(2)
    station.action("fields.remove").trigger()
    assert "a2.png is used by a1.png" in station.session.told[-1][1]


def test_what_changed_elsewhere_is_shown_on_coming_back(station: Station, open_window: Window):
    open_window.go("scale")
    station.session.do(station.session.study.update_field, 2, name="renamed.png")
    open_window.go("fields")
    assert station.list.fields.index(2).data() == "renamed.png"


def test_an_empty_study_teaches(window: Window, tmp_path: Path):
    window.session.create(tmp_path / "empty.gritline")
    window.go("fields")
    station = window.stations["fields"]
    assert station.advice.isVisible()
    assert not station.list.isVisible()
    assert station.next.text() == "Add pictures…"
    assert window.rail.buttons["fields"].words == "no pictures yet"


def test_small_pictures_come_by_and_by(station: Station, qtbot: QtBot):
    model = station.list.fields
    qtbot.waitUntil(
        lambda: all(model.index(r).data(Qt.ItemDataRole.DecorationRole) for r in (1, 2)), timeout=5000
    )
    assert model.index(1).data(Qt.ItemDataRole.DecorationRole).width() <= 160
