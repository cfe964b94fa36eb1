"""Copies, the record of changes, and what is offered when the file is damaged or lost: by clicks and keys."""

import random
import threading
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from app import pickers, study_care
from app.copies_keeper import copies_folder
from app.window import Window
from measure.study.copies import copies_of
from measure.study.records import Batch
from measure.study.study import Study

from .particle_study import make_study

LEFT, CTRL = Qt.MouseButton.LeftButton, Qt.KeyboardModifier.ControlModifier


def first_copy(window: Window, qtbot: QtBot) -> None:
    qtbot.waitUntil(lambda: window.file_pages.keeper.opened is not None, timeout=10000)


def damage(path: Path, pages: int = 4) -> None:
    chance = random.Random(1)
    with path.open("r+b") as file:
        for page in chance.sample(range(3, path.stat().st_size // 4096), pages):
            file.seek(page * 4096)
            file.write(chance.randbytes(4096))


def choose_place(monkeypatch: pytest.MonkeyPatch, path: Path | None) -> None:
    monkeypatch.setattr(pickers, "copy_of_study", lambda _parent, _name: path)


def test_a_copy_is_made_at_opening_and_while_it_changes(open_window: Window, qtbot: QtBot, study_path: Path):
    first_copy(open_window, qtbot)
    keeper, session = open_window.file_pages.keeper, open_window.session
    assert keeper.copy_timer.isActive()
    assert keeper.copy_timer.interval() == 15 * 60 * 1000
    keeper.copy_now()  # nothing has changed
    qtbot.waitUntil(lambda: not session.tasks.tasks, timeout=10000)
    assert len(keeper.copies(study_path)) == 1
    session.do(session.study.add_batch, Batch("pass 3"))
    keeper.copy_timer.timeout.emit()
    qtbot.waitUntil(lambda: len(keeper.copies(study_path)) == 2, timeout=10000)
    with Study.open(keeper.copies(study_path)[0].path) as copy:
        assert [row.batch.name for row in copy.batches()] == ["pass 1", "pass 3"]


def test_a_study_only_looked_at_is_not_copied(window: Window, study_path: Path):
    with Study.open(study_path):  # another window has it
        assert window.session.open(study_path)
        assert not window.file_pages.keeper.copy_timer.isActive()
        assert not window.action("window.as_opened").isEnabled()
        assert copies_of(study_path, copies_folder()) == []


def test_going_back_asks_in_place_and_keeps_the_present_state(
    open_window: Window, qtbot: QtBot, study_path: Path
):
    first_copy(open_window, qtbot)
    session = open_window.session
    session.do(session.study.add_batch, Batch("pass 3"))
    open_window.action("window.as_opened").trigger()
    assert len(session.study.batches()) == 2  # nothing yet
    assert open_window.strip.offer.text() == "Go back to that"
    qtbot.mouseClick(open_window.strip.offer, LEFT)
    qtbot.waitUntil(lambda: session.study is not None, timeout=10000)
    assert [row.batch.name for row in session.study.batches()] == ["pass 1"]
    assert session.told[-1][1].startswith("The study is as it was at ")
    kept = [c for c in copies_of(study_path, copies_folder()) if not c.opened]
    with Study.open(kept[-1].path) as copy:
        assert len(copy.batches()) == 2


def test_an_earlier_copy_is_brought_back_as_a_new_study_by_keys(
    open_window: Window, qtbot: QtBot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    first_copy(open_window, qtbot)
    session, page = open_window.session, open_window.file_pages.copies
    session.do(session.study.add_batch, Batch("pass 3"))
    open_window.action("window.copies").trigger()
    assert open_window.whole.currentWidget() is page
    qtbot.waitUntil(lambda: page.view.item(0, 2).text() == "2", timeout=10000)
    texts = [page.view.item(0, column).text() for column in range(1, 5)]
    assert texts == ["as it was when opened", "2", "0", "3"]
    out = tmp_path / "back.gritline"
    choose_place(monkeypatch, out)
    qtbot.keyClick(page.view, Qt.Key.Key_Return)
    qtbot.waitUntil(lambda: open_window.strip.offer.text() == "Open it", timeout=10000)
    qtbot.mouseClick(open_window.strip.offer, LEFT)
    assert session.study.path == out
    assert len(session.study.batches()) == 1
    open_window.action("window.copies").trigger()
    qtbot.keyClick(page, Qt.Key.Key_Escape)
    assert open_window.whole.currentWidget() is not page


def test_the_record_shows_filters_and_copies_by_keys(open_window: Window, qtbot: QtBot):
    session, page = open_window.session, open_window.file_pages.record
    batch = session.study.batches()[0]
    session.do(session.study.update_batch, batch.id, Batch("=pass one"))
    session.undo()
    qtbot.keyClick(open_window, Qt.Key.Key_H, CTRL)
    assert open_window.whole.currentWidget() is page
    assert page.view.hasFocus()
    log = session.study.edit_log()
    assert page.model.rowCount() == len(log) == 5
    assert page.tally.text() == "5 of 5 entries"
    widths = [page.view.columnWidth(column) for column in range(6)]
    assert min(widths[3:5]) > widths[5]  # what was and what is have the room, not the state
    when, who, what, was, now, state = page.model.row_text(1)
    assert (when, who) == (log[1].made[:19].replace("T", " "), log[1].who)
    assert "batch" in what.lower()
    assert "pass 1" in was
    assert "=pass one" in now
    assert state == "undone"
    qtbot.keyClick(page.view, Qt.Key.Key_Down)
    assert page.whole.text().startswith(f"{what}\nFrom: ")
    qtbot.keyClick(page.view, Qt.Key.Key_C, CTRL)
    lines = QApplication.clipboard().text().splitlines()
    assert lines[0] == "When\tWho\tWhat\tFrom\tTo\tState"
    assert lines[1].split("\t")[:3] == [when, who, what]
    qtbot.keyClicks(page.words, "ADD scale")
    assert page.model.rowCount() == 1
    assert "Add scale" in page.model.row_text(0)[2]
    qtbot.keyClick(page, Qt.Key.Key_Escape)
    assert open_window.whole.currentWidget() is not page


def test_the_record_of_the_field_shown_leads_to_its_automatic_result(
    window: Window, qtbot: QtBot, tmp_path: Path
):
    path = tmp_path / "pieces.gritline"
    field_id = make_study(path)
    session, page = window.session, window.file_pages.record
    assert session.open(path)
    session.show_field(field_id)
    session.do(session.study.set_aside, field_id, [1], "dust")
    window.action("window.record").trigger()
    page.of.setCurrentIndex(1)
    assert page.of.currentText() == "Only smear-1.png"
    assert page.model.row_text(0)[2] == "Set aside piece 1: dust"
    session.do(session.study.set_aside, field_id, [2], "dust")  # the page follows
    assert page.model.row_text(0)[2] == "Set aside piece 2: dust"
    qtbot.mouseClick(page.automatic, LEFT)
    assert window.current == "particles"
    assert session.study.undo_text() == "Back to the automatic result of smear-1.png"
    assert session.particles()["set_aside"].tolist().count("dust") == 0


def test_a_long_record_is_read_whole_in_the_background(
    open_window: Window, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr("app.record_page.FIRST", 2)
    open_window.action("window.record").trigger()
    page = open_window.file_pages.record
    assert page.tally.text() == "2 of 2 entries, older ones are being read"
    qtbot.waitUntil(lambda: page.model.rowCount() == 3, timeout=10000)
    assert page.tally.text() == "3 of 3 entries"


def test_a_damaged_study_is_rescued_in_place(
    window: Window, qtbot: QtBot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    path, out = tmp_path / "spread.gritline", tmp_path / "spread rescued.gritline"
    make_study(path)
    with path.open("r+b") as file:  # its beginning
        file.write(bytes(100))
    before = path.read_bytes()
    assert not window.session.open(path)
    assert window.strip.offer.text() == "Rescue what can be read…"
    assert window.action("window.copies").isEnabled()
    choose_place(monkeypatch, out)
    qtbot.mouseClick(window.strip.offer, LEFT)
    qtbot.waitUntil(lambda: window.strip.offer.text() == "Open it", timeout=20000)
    assert "Rescued from spread.gritline into spread rescued.gritline: 1 picture, 6 pieces" in (
        window.strip.text.text()
    )
    qtbot.mouseClick(window.strip.offer, LEFT)
    assert window.session.study.path == out
    assert path.read_bytes() == before


def test_a_rescue_goes_on_while_another_study_is_opened(
    window: Window, qtbot: QtBot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    path, out, other = (tmp_path / f"{name}.gritline" for name in ("spread", "rescued", "other"))
    make_study(path)
    make_study(other)
    with path.open("r+b") as file:
        file.write(bytes(100))
    go_on = threading.Event()
    real = study_care.salvage

    def slow(*arguments: object) -> object:
        go_on.wait(10)
        return real(*arguments)

    monkeypatch.setattr(study_care, "salvage", slow)
    choose_place(monkeypatch, out)
    assert not window.session.open(path)
    qtbot.mouseClick(window.strip.offer, LEFT)
    assert window.session.open(other)
    care = window.file_pages.care
    assert not care.may_quit()  # said once...
    assert "Rescuing spread.gritline is still under way" in window.strip.text.text()
    assert care.may_quit()  # ...and the second time one goes
    go_on.set()
    qtbot.waitUntil(lambda: window.strip.offer.text() == "Open it", timeout=20000)
    assert out.exists()
    assert window.session.study.path == other


def test_damage_met_while_open_is_offered_too(window: Window, qtbot: QtBot, tmp_path: Path):
    path = tmp_path / "spread.gritline"
    field_id = make_study(path)
    damage(path, path.stat().st_size // 4096 - 4)
    if window.session.open(path):
        window.session.attempt(window.session.particles, field_id)
    assert window.strip.offer.text() == "Rescue what can be read…"


def test_fields_that_cannot_be_read_are_named_soon_after_opening(
    window: Window, qtbot: QtBot, study_path: Path, monkeypatch: pytest.MonkeyPatch
):
    with Study.open(study_path, read_only=True) as study:
        row = study.fields()[0]
        picture = study.field_bytes(row.id)
    content = bytearray(study_path.read_bytes())
    start = content.index(picture[-200:])  # the last page of the picture
    content[start] ^= 255
    study_path.write_bytes(content)
    monkeypatch.setattr(study_care, "LOOK_AFTER_MS", 0)
    assert window.session.open(study_path)
    qtbot.waitUntil(lambda: window.strip.offer.text() == "Rescue what can be read…", timeout=10000)
    words = f"{study_path.name} is damaged: 1 field cannot be read whole, {row.name} (picture). Rescue what"
    assert words in window.strip.text.text()
    assert study_path.read_bytes() == bytes(content)


def test_a_sound_study_opens_without_a_word_of_damage(
    window: Window, qtbot: QtBot, study_path: Path, monkeypatch: pytest.MonkeyPatch
):
    looked = []
    real = study_care.unreadable_fields
    monkeypatch.setattr(
        study_care, "unreadable_fields", lambda *given: looked.append(real(*given)) or looked[-1]
    )
    monkeypatch.setattr(study_care, "LOOK_AFTER_MS", 0)
    assert window.session.open(study_path)
    qtbot.waitUntil(lambda: bool(looked) and not window.session.tasks.tasks, timeout=10000)
    assert looked == [()]
    assert not window.strip.offer.isVisible()


def test_a_study_deleted_while_open_is_kept_elsewhere_with_nothing_lost(
    open_window: Window, qtbot: QtBot, study_path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    first_copy(open_window, qtbot)
    session = open_window.session
    session.do(session.study.add_batch, Batch("pass 3"))
    study_path.unlink()
    open_window.file_pages.keeper.look_timer.timeout.emit()
    qtbot.waitUntil(lambda: open_window.strip.offer.text() == "Keep a copy elsewhere…", timeout=10000)
    assert "is no longer where it was opened" in open_window.strip.text.text()
    assert open_window.kept.text() == "Its file cannot be reached"
    assert not open_window.close()  # not without a word
    assert session.study is not None
    out = tmp_path / "elsewhere.gritline"
    choose_place(monkeypatch, out)
    qtbot.mouseClick(open_window.strip.offer, LEFT)
    assert [task.text for task in session.tasks.tasks] == ["Keeping everything elsewhere"]
    session.leave()  # not while it is under way
    assert "still being kept elsewhere" in open_window.strip.text.text()
    qtbot.waitUntil(lambda: session.study.path == out, timeout=10000)
    assert session.writable
    assert open_window.kept.text() == "All changes kept"
    assert [row.batch.name for row in session.study.batches()] == ["pass 1", "pass 3"]


def test_a_step_on_a_lost_study_says_so_and_closing_twice_lets_go(
    open_window: Window, qtbot: QtBot, study_path: Path
):
    first_copy(open_window, qtbot)
    session = open_window.session
    study_path.rename(study_path.with_name("moved.gritline"))
    assert session.do(session.study.add_batch, Batch("pass 3")) is None
    assert open_window.strip.offer.text() == "Keep a copy elsewhere…"
    qtbot.keyClick(open_window, Qt.Key.Key_W, CTRL)
    assert session.study is not None
    assert "Close once more to go without a copy." in open_window.strip.text.text()
    qtbot.keyClick(open_window, Qt.Key.Key_W, CTRL)
    assert session.study is None


def test_both_pages_stand_in_the_menu_and_the_second_time_lead_back(open_window: Window, qtbot: QtBot):
    first_copy(open_window, qtbot)
    menu = open_window.menuBar().actions()[0].menu()
    before = open_window.whole.currentWidget()
    for name in ("record", "copies", "record"):
        action = open_window.action(f"window.{name}")
        assert action in menu.actions()
        action.trigger()
        assert open_window.whole.currentWidget() is getattr(open_window.file_pages, name)
    qtbot.mouseClick(open_window.file_pages.record.back, LEFT)
    assert open_window.whole.currentWidget() is before
