"""The Report station by clicks and keys."""

import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtWidgets import QPushButton

from app import pickers
from measure.output.report import report_pdf
from measure.study.records import Batch
from measure.study.study import Study
from tests.app.compare_study import make_compare_study

LEFT, CONTROL = Qt.MouseButton.LeftButton, Qt.KeyboardModifier.ControlModifier


@pytest.fixture(scope="module")
def made_study(tmp_path_factory):
    return make_compare_study(tmp_path_factory.mktemp("report") / "made.gritline")


@pytest.fixture
def station(window, qtbot, made_study, tmp_path):
    path = tmp_path / "paste.gritline"
    path.write_bytes(made_study.read_bytes())
    with Study.open(path) as study:  # few sections, so that the test is quick
        study.set_setting("view.report", {"without": ["scale", "fields", "sizes", "compare", "files"]})
    assert window.session.open(path)
    window.activateWindow()
    qtbot.waitUntil(lambda: window.isActiveWindow() and window.focusWidget() is not None)
    qtbot.keyClick(window, Qt.Key.Key_7, CONTROL)
    assert window.current == "report"
    wait(qtbot, window.stations["report"])
    return window.stations["report"]


def wait(qtbot, station):
    qtbot.waitUntil(
        lambda: station.shown is not None and not station.session.tasks.busy("report"), timeout=30_000
    )


def press(qtbot, station, words):
    found = [b for b in station.findChildren(QPushButton) if b.text().strip() == words]
    assert len(found) == 1, words
    qtbot.mouseClick(found[0], LEFT)


def tick(qtbot, box, row):
    place = box.visualItemRect(box.item(row))
    qtbot.mouseClick(box.viewport(), LEFT, pos=QPoint(place.left() + 12, place.center().y()))


def test_the_pages_are_those_of_the_file_saved(station, qtbot, tmp_path, monkeypatch):
    assert station.state_text() == (False, "not saved yet")
    assert station.which.text() == f"Page 1 of {station.shown.count}"
    assert len(station.pages.pages) == station.shown.count
    target = tmp_path / "for the customer.pdf"
    monkeypatch.setattr(pickers, "save", lambda *_args: target)
    press(qtbot, station, "Save the report…")
    question = station.shown.question
    expected = report_pdf(station.session.study, sections=question.sections)
    assert target.read_bytes() == expected
    assert station.state_text() == (True, "saved: for the customer.pdf")
    assert "for the customer.pdf" in station.choice.saved.text()
    # and again when the study is opened another day, but not once something has changed since
    station.study_opened()
    assert station.state_text() == (True, "saved: for the customer.pdf")
    study = station.session.study
    study.update_batch(study.batches()[0].id, Batch("pass one", passes=1))
    station.study_opened()
    assert station.state_text() == (False, "not saved yet")


def test_unticking_a_section_and_a_batch_makes_other_pages(station, qtbot):
    before = station.shown
    tick(qtbot, station.choice.sections, 0)
    wait(qtbot, station)
    assert "answer" not in station.shown.question.sections
    assert station.shown.data != before.data
    tick(qtbot, station.choice.batches, 0)
    qtbot.waitUntil(
        lambda: station.shown is not None and station.shown.question.batches == ("pass 3", "pass 6"),
        timeout=30_000,
    )


def test_other_sections_and_titles_need_no_new_figures(station, qtbot, monkeypatch):
    gathered = []
    monkeypatch.setattr("measure.output.report_facts.gather", lambda *_args, **_named: gathered.append(1))
    tick(qtbot, station.choice.sections, 0)
    wait(qtbot, station)
    question = station.shown.question
    assert "answer" not in question.sections
    box = station.choice.title
    qtbot.mouseClick(box, LEFT)
    qtbot.keyClicks(box, "Trial 7")
    qtbot.keyClick(box, Qt.Key.Key_Return)
    qtbot.waitUntil(
        lambda: station.shown is not None and station.shown.question.title == "Trial 7", timeout=30_000
    )
    assert not gathered
    monkeypatch.undo()
    expected = report_pdf(station.session.study, sections=question.sections, title="Trial 7")
    assert station.shown.data == expected  # what is taken over is what would be worked out


def test_nothing_ticked_is_said_in_place(station, qtbot):
    for row in range(3):
        tick(qtbot, station.choice.batches, row)
    assert "Tick at least one section and one batch" in station.refusal.text()
    assert not station.action("report.save").isEnabled()
    tick(qtbot, station.choice.batches, 1)
    wait(qtbot, station)
    assert station.refusal.text() == ""
    assert station.action("report.save").isEnabled()


def test_a_title_of_ones_own(station, qtbot):
    box = station.choice.title
    qtbot.mouseClick(box, LEFT)
    qtbot.keyClicks(box, "Trial 7")
    qtbot.keyClick(box, Qt.Key.Key_Return)
    qtbot.waitUntil(
        lambda: station.shown is not None and station.shown.question.title == "Trial 7", timeout=30_000
    )


def test_keys_turn_the_pages(station, qtbot, window):
    station.pages.setFocus()
    qtbot.keyClick(station.pages, Qt.Key.Key_PageDown)
    assert station.pages.page == 2
    assert station.which.text().startswith("Page 2 of")
    qtbot.keyClick(station.pages, Qt.Key.Key_PageUp)
    assert station.pages.page == 1


def test_a_change_of_the_study_is_a_new_report(station, qtbot):
    station.saved_as = "old.pdf"
    before = station.shown
    study = station.session.study
    row = study.batches()[0]
    station.session.do(study.update_batch, row.id, Batch("pass one", passes=1))
    wait(qtbot, station)
    assert station.shown is not before
    assert station.choice.batches.item(0).text() == "pass one"
    assert station.state_text() == (False, "not saved yet")


def test_tables_are_written_in_the_formats_ticked(station, qtbot, tmp_path, monkeypatch):
    folder = tmp_path / "tables"
    folder.mkdir()
    monkeypatch.setattr(pickers, "folder", lambda *_args: folder)
    station.choice.formats["xlsx"].setChecked(False)
    station.choice.formats["coco"].setChecked(True)
    station.choice.comma.setChecked(True)
    press(qtbot, station, "Write to a folder…")
    told = station.session.told
    qtbot.waitUntil(lambda: any("files written" in text for _, text in told), timeout=30_000)
    names = {p.name for p in folder.iterdir()}
    assert {"particles.csv", "sizes.csv", "outlines-coco.json"} <= names
    assert "study.xlsx" not in names
    assert ";" in (folder / "sizes.csv").read_text(encoding="utf-8").splitlines()[0]


def test_choices_are_kept_with_the_study(station, qtbot, window):
    tick(qtbot, station.choice.sections, 1)
    wait(qtbot, station)
    window.go("fields")
    kept = station.session.study.setting("view.report", {})
    assert "record" in kept["without"]


def test_without_measured_fields_it_says_what_to_do(open_window, qtbot):
    open_window.go("report")
    station = open_window.stations["report"]
    assert station.state_text() == (False, "needs measured fields")
    press(qtbot, station, "Go to Fields")
    assert open_window.current == "fields"
