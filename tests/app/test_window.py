"""The window as its user meets it: start page, rail, strip, keys, finder, themes, closing."""

from pathlib import Path

import pytest
from PySide6.QtCore import QMimeData, QPoint, QPointF, Qt, QUrl
from PySide6.QtGui import QDropEvent
from PySide6.QtWidgets import QAbstractButton, QLabel
from pytestqt.qtbot import QtBot

from app import pickers, preferences, theme
from app.messages import ERROR, WARNING
from app.session import Session
from app.start_page import STEPS
from app.window import Window
from measure.study.records import Batch
from measure.study.study import Study

LEFT = Qt.MouseButton.LeftButton


def test_start_page_teaches_and_offers_three_ways(window: Window):
    texts = [label.text() for label in window.start.findChildren(QLabel)]
    for _, title, words in STEPS:
        assert any(title in text for text in texts)
        assert words in texts
    assert window.whole.currentWidget() is window.start
    assert window.start.begin.hasFocus()
    assert not window.strip.isVisible()
    assert not window.action("window.undo").isEnabled()


def test_beginning_a_study_asks_for_a_place_and_opens_it(
    window: Window, qtbot: QtBot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    path = tmp_path / "mine.gritline"
    monkeypatch.setattr(pickers, "new_study", lambda _parent: path)
    qtbot.mouseClick(window.start.begin, LEFT)
    assert path.is_file()
    assert window.whole.currentWidget() is not window.start
    assert window.windowTitle() == "mine – Gritline"
    assert window.kept.text() == "All changes kept"
    assert preferences.recent_studies() == [path]
    assert window.current == next(iter(window.stations))  # the first step that is not done


def test_thinking_better_of_it_changes_nothing(window: Window, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch):
    for name, way in (("new_study", window.start.begin), ("study", window.start.open)):
        monkeypatch.setattr(pickers, name, lambda _parent: None)
        qtbot.mouseClick(way, LEFT)
    assert window.session.study is None


def test_a_study_opened_before_is_one_click_away(window: Window, qtbot: QtBot, study_path: Path):
    preferences.remember_study(study_path)
    window.start.refresh()
    rows = window.start.recent
    spot = rows.visualItemRect(rows.item(0)).center()
    qtbot.mouseClick(rows.viewport(), LEFT, pos=spot)
    assert window.session.study.path == study_path


def test_a_study_can_be_dropped(window: Window, study_path: Path):
    data = QMimeData()
    data.setUrls([QUrl.fromLocalFile(str(study_path))])
    drop = QDropEvent(
        QPointF(QPoint(5, 5)), Qt.DropAction.CopyAction, data, LEFT, Qt.KeyboardModifier.NoModifier
    )
    window.dropEvent(drop)
    assert window.session.study.path == study_path


def test_rail_says_the_state_of_each_station_in_words(open_window: Window):
    button = open_window.rail.buttons["fields"]
    assert button.words == "2 fields, 2 to measure"
    assert button.accessibleName() == "Fields, not done, 2 fields, 2 to measure"
    assert button.isChecked()


def test_rail_is_walked_by_mouse_and_by_keys(open_window: Window, qtbot: QtBot):
    names = list(open_window.stations)
    for name in names:
        qtbot.mouseClick(open_window.rail.buttons[name], LEFT)
        assert open_window.current == name
        assert open_window.pages.currentWidget() is open_window.stations[name]
    qtbot.keyClick(open_window, Qt.Key.Key_2, Qt.KeyboardModifier.ControlModifier)
    assert open_window.current == "fields"


def test_undo_and_redo_say_what_they_do(open_window: Window, qtbot: QtBot):
    session = open_window.session
    session.do(session.study.add_batch, Batch("pass 3"))
    undo, redo = open_window.action("window.undo"), open_window.action("window.redo")
    assert undo.text() == f"Undo: {session.study.undo_text()}"
    qtbot.keyClick(open_window, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert len(session.study.batches()) == 1
    assert redo.isEnabled()
    assert "Undone" in open_window.strip.text.text()
    redo.trigger()
    assert len(session.study.batches()) == 2


def test_messages_stand_in_place_and_can_be_hidden(open_window: Window, qtbot: QtBot):
    strip = open_window.strip
    resting = strip.text.text()
    open_window.session.tell("The lamp is off.", WARNING)
    assert strip.text.text() == "The lamp is off."
    assert strip.property("level") == "warning"
    qtbot.mouseClick(strip.hide_button, LEFT)
    assert strip.text.text() == resting
    assert strip.property("level") == "note"


def test_a_warning_goes_with_its_station_and_a_fault_stays(open_window: Window):
    strip, session = open_window.strip, open_window.session
    open_window.go("scale")
    session.tell("The lamp is off.", WARNING)
    open_window.go("fields")
    assert strip.text.text() == open_window.stations["fields"].tip
    assert strip.property("level") == "note"
    session.tell("The disk is full.", ERROR)
    open_window.go("scale")
    assert strip.text.text() == "The disk is full."


def test_an_offer_can_be_taken(open_window: Window, qtbot: QtBot):
    taken = []
    open_window.session.offered.emit("It changed.", "Measure again", lambda: taken.append(True))
    assert open_window.strip.offer.text() == "Measure again"
    qtbot.mouseClick(open_window.strip.offer, LEFT)
    assert taken == [True]
    assert not open_window.strip.offer.isVisible()


def test_long_work_shows_and_can_be_stopped(open_window: Window, qtbot: QtBot):
    import time

    def work(progress) -> None:
        while True:
            progress.report(0.4, "half way")
            time.sleep(0.01)

    stopped = []
    task = open_window.session.tasks.run(work, lambda _: None, text="Grinding")
    task.on_cancel = lambda: stopped.append(True)
    assert not open_window.strip.stop.isVisible()  # not at once: short work must not flicker
    qtbot.waitUntil(open_window.strip.stop.isVisible, timeout=3000)
    qtbot.mouseClick(open_window.strip.stop, LEFT)
    assert stopped == [True]
    assert not open_window.strip.stop.isVisible()


def test_keys_at_a_glance_list_what_can_be_done(open_window: Window, qtbot: QtBot):
    qtbot.keyClick(open_window, Qt.Key.Key_F1)
    assert open_window.whole.currentWidget() is open_window.keys
    texts = {label.text() for label in open_window.keys.findChildren(QLabel)}
    assert {"Measure the chosen fields", "M", "Undo", "Ctrl+Z", "Everywhere", "Fields"} <= texts
    qtbot.keyClick(open_window.keys, Qt.Key.Key_Escape)
    assert open_window.whole.currentWidget() is not open_window.keys
    assert open_window.current == "fields"


def test_a_command_is_found_by_its_words(open_window: Window, qtbot: QtBot):
    qtbot.keyClick(open_window, Qt.Key.Key_K, Qt.KeyboardModifier.ControlModifier)
    finder = open_window.finder
    assert finder.isVisible()
    qtbot.keyClicks(finder.line, "new ba")
    assert finder.list.count() == 1
    qtbot.keyClick(finder.line, Qt.Key.Key_Return)
    assert not finder.isVisible()
    assert [row.batch.name for row in open_window.session.study.batches()] == ["pass 1", "Batch 1"]


def test_finder_moves_by_arrows_and_closes_by_escape(open_window: Window, qtbot: QtBot):
    open_window.finder.open()
    qtbot.keyClick(open_window.finder.line, Qt.Key.Key_Down)
    qtbot.keyClick(open_window.finder.line, Qt.Key.Key_Down)
    qtbot.keyClick(open_window.finder.line, Qt.Key.Key_Up)
    assert open_window.finder.list.currentRow() == 1
    qtbot.keyClick(open_window.finder.line, Qt.Key.Key_Escape)
    assert not open_window.finder.isVisible()
    open_window.finder.open()
    qtbot.keyClicks(open_window.finder.line, "zzz")
    qtbot.keyClick(open_window.finder.line, Qt.Key.Key_Return)  # nothing fits: nothing happens
    assert not open_window.finder.isVisible()


def test_theme_is_chosen_and_remembered(open_window: Window):
    open_window.action("window.theme_dark").trigger()
    assert theme.current() is theme.DARK
    assert preferences.read("theme") == "dark"
    assert open_window.action("window.theme_dark").isChecked()
    assert not open_window.action("window.theme_light").isChecked()
    open_window.choose_theme("light")


def test_a_study_opens_where_it_was_left(open_window: Window, study_path: Path):
    session = open_window.session
    session.show_field(2)
    open_window.go("scale")
    before = session.study.undo_text()
    session.close()
    session.open(study_path)
    assert open_window.current == "scale"
    assert session.current_field_id == 2
    assert session.study.undo_text() == before  # where one looked is no step to undo
    open_window.close()
    with Study.open(study_path) as study:
        assert study.setting("view.place") == {"station": "scale", "field": 2}


def test_focus_follows_keys_and_stays_with_the_mouse_in_the_rail(open_window: Window, qtbot: QtBot):
    open_window.activateWindow()
    qtbot.keyClick(open_window, Qt.Key.Key_1, Qt.KeyboardModifier.ControlModifier)
    qtbot.keyClick(open_window, Qt.Key.Key_2, Qt.KeyboardModifier.ControlModifier)
    assert open_window.stations["fields"].list.hasFocus()
    rail = open_window.rail.buttons["scale"]
    rail.setFocus()
    qtbot.keyClick(rail, Qt.Key.Key_Space)
    assert open_window.current == "scale"
    assert rail.hasFocus()


def test_a_copy_is_written_and_the_study_stays(
    open_window: Window, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, qtbot: QtBot
):
    copy = tmp_path / "copy.gritline"
    monkeypatch.setattr(pickers, "copy_of_study", lambda _parent, _name: copy)
    open_window.action("window.copy").trigger()
    told = open_window.session.told
    qtbot.waitUntil(lambda: any(f"A copy is in {copy}." in text for _, text in told), timeout=8000)
    with Study.open(copy) as study:
        assert len(study.fields()) == 2
    assert open_window.session.study.path != copy
    open_window.action("window.copy").trigger()  # the name is taken now
    qtbot.waitUntil(lambda: "exists already" in told[-1][1], timeout=8000)


def test_a_second_window_says_it_may_only_look(open_window: Window, qtbot: QtBot, study_path: Path):
    second = Window(Session())
    qtbot.addWidget(second)
    second.show()
    second.session.open(study_path)
    assert second.kept.text() == "For reading only"
    assert "another window" in second.strip.text.text()
    assert not second.stations["fields"].action("fields.add").isEnabled()
    second.close()


def test_closing_goes_back_to_the_start_page(open_window: Window, study_path: Path):
    open_window.action("window.close").trigger()
    assert open_window.whole.currentWidget() is open_window.start
    assert open_window.windowTitle() == "Gritline"
    assert not open_window.action("window.copy").isEnabled()
    assert open_window.start.recent.item(0).data(Qt.ItemDataRole.UserRole) == str(study_path)


def test_closing_the_window_leaves_the_file_free(open_window: Window, study_path: Path):
    open_window.close()
    with Study.open(study_path) as study:
        assert not study.read_only


def test_every_button_can_be_told_by_a_screen_reader(open_window: Window):
    for button in open_window.findChildren(QAbstractButton):
        inside = button.objectName().startswith("qt_") or button.text() or button.accessibleName()
        assert inside, f"{button} in {button.parent()} has no name"


@pytest.mark.parametrize("size", [(1280, 800), (1920, 1080)])
def test_no_word_of_a_button_is_cut_off(open_window: Window, qtbot: QtBot, size: tuple[int, int]):
    open_window.resize(*size)
    qtbot.wait(20)
    for button in open_window.stations["fields"].findChildren(QAbstractButton):
        if button.isVisible() and button.text():
            assert button.width() >= button.minimumSizeHint().width(), button.text()


def test_rail_keeps_room_for_its_words_at_large_type(qtbot: QtBot, qapp):
    from PySide6.QtGui import QFontMetrics

    from app.rail import ICON, MARK, StationButton

    usual = qapp.font()
    large = qapp.font()
    large.setPointSizeF(usual.pointSizeF() * 1.8)
    qapp.setFont(large)
    try:
        button = StationButton("particles", "Particles", "tip", "")
        qtbot.addWidget(button)
        words = QFontMetrics(theme.font("body", bold=True)).horizontalAdvance("Particles")
        assert button.minimumSizeHint().width() >= words + ICON + MARK + 2 * theme.MEDIUM
    finally:
        qapp.setFont(usual)
