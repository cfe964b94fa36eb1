"""The Tasting station: from a plan to a changed verdict, by clicks and keys."""

from pathlib import Path

import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtWidgets import QLineEdit, QPushButton
from shiboken6 import isValid

from app import pickers
from measure.judge.felt import FeltProfile
from measure.judge.panel_session import PanelPlan
from measure.model import Kind
from tests.app.compare_study import make_compare_study

LEFT, CONTROL = Qt.MouseButton.LeftButton, Qt.KeyboardModifier.ControlModifier
SHIFT = Qt.KeyboardModifier.ShiftModifier


@pytest.fixture(scope="module")
def made_study(tmp_path_factory):
    return make_compare_study(tmp_path_factory.mktemp("tasting") / "made.gritline")


@pytest.fixture
def station(window, qtbot, made_study, tmp_path):
    path = tmp_path / "paste.gritline"
    path.write_bytes(made_study.read_bytes())
    assert window.session.open(path)
    window.activateWindow()
    qtbot.waitUntil(lambda: window.isActiveWindow() and window.focusWidget() is not None)
    qtbot.keyClick(window, Qt.Key.Key_6, CONTROL)
    assert window.current == "tasting"
    return window.stations["tasting"]


def press(station, qtbot, key, modifiers=Qt.KeyboardModifier.NoModifier):
    qtbot.keyClick(station.window(), key, modifiers)


def push(station, qtbot, text):
    button = next(b for b in station.findChildren(QPushButton) if b.text().strip() == text and b.isVisible())
    qtbot.mouseClick(button, LEFT)


def plan_series(station, qtbot, people="12"):
    """Plan an ascending series by keyboard alone."""
    press(station, qtbot, Qt.Key.Key_B, CONTROL)
    form = station.form
    qtbot.keyClick(form.method, Qt.Key.Key_Home)
    for _ in range(3):
        qtbot.keyClick(form.method, Qt.Key.Key_Down)
    assert form.key == "series"
    form.name.setFocus()
    qtbot.keyClicks(form.name, "autumn panel")
    form.assessors.setFocus()
    qtbot.keyClicks(form.assessors, people)
    form.seed.setValue(5)
    press(station, qtbot, Qt.Key.Key_Return, CONTROL)


def plan_of(station):
    return PanelPlan.from_json(station.rows[station.current].tasting.plan)


def answer_all(station, qtbot, answer, count=None):
    """Type answers one after the other, each with Return."""
    press(station, qtbot, Qt.Key.Key_E)
    table = station.page.answers
    for row, serving in enumerate(plan_of(station).servings[:count]):
        qtbot.waitUntil(lambda row=row: table.currentRow() == row and table.findChild(QLineEdit) is not None)
        editor = table.findChild(QLineEdit)
        qtbot.keyClicks(editor, answer(serving))
        qtbot.keyClick(editor, Qt.Key.Key_Return)
        qtbot.waitUntil(lambda old=editor: not isValid(old) or table.findChild(QLineEdit) is not old)


def felt_from_pass_3(serving):
    """Everyone feels the two coarser batches; of the finest, every third guesses right."""
    lucky = serving.assessor.endswith(("3", "6", "9", "12"))
    if "pass 6" in serving.samples and not lucky:
        return next(c for c in serving.codes if c != serving.answer)
    return serving.answer


def test_cautions_stand_beside_the_plan_and_the_empty_state_teaches(station):
    from PySide6.QtWidgets import QLabel

    shown = " ".join(label.text() for label in station.findChildren(QLabel) if label.isVisible())
    for words in (
        "Allergens",
        "stop at any time",
        "never diluted",
        "glass",
        "grit",
        "food law",
        "professional",
    ):
        assert words in shown
    assert "limit of your panel" in shown
    assert station.state_text() == (False, "no session yet")


def test_from_plan_to_changed_verdict_by_keyboard(station, window, qtbot):
    plan_series(station, qtbot)
    plan = plan_of(station)
    assert [s.name for s in plan.samples] == ["smooth reference", "pass 6", "pass 3", "pass 1"]
    assert plan.samples[3].size_um > plan.samples[1].size_um > 5
    assert station.state_text() == (False, "open, 0 of 36 answers")
    table = station.page.answers
    everything = " ".join(
        table.item(r, c).text() for r in range(table.rowCount()) for c in range(table.columnCount())
    )
    assert "pass" not in everything  # blind
    assert not station.page.result_area.isVisible()
    answer_all(station, qtbot, felt_from_pass_3)
    assert "All answers are in" in station.page.state.text()
    press(station, qtbot, Qt.Key.Key_L, CONTROL)
    result = station.page.result
    assert "Half of the panel feels it at x₉₀ by volume" in result.words.text()
    assert "Best-estimate threshold" in result.words.text()
    assert "Assessor 1: threshold" in result.own.text()
    assert "Half at" in result.chart.accessibleDescription()
    assert "right" in table.item(0, 3).text() or "missed" in table.item(0, 3).text()
    assert "Half of this panel feels it from" in result.known.text()
    press(station, qtbot, Qt.Key.Key_U)
    qtbot.waitUntil(lambda: result.changes.isVisible(), timeout=20_000)
    profile = FeltProfile.from_json(window.session.study.setting("felt_profile"))
    assert profile.from_tasting
    assert "'autumn panel'" in profile[Kind.KERNEL].source
    assert profile[Kind.SALT] == FeltProfile()[Kind.SALT]
    assert "before" in result.changes.text()
    assert " now" in result.changes.text()
    assert station.state_text() == (True, "its limit is in use")
    assert station.page.result._use.text() == "The verdict follows this limit"
    assert not station.page.result._use.isEnabled()
    window.go("sizes")
    sizes = window.stations["sizes"]
    qtbot.waitUntil(lambda: sizes.shown is not None and sizes.shown.final, timeout=20_000)
    assert "'autumn panel'" in sizes.figures.reasons.text()
    assert "That panel's limit is known as" in sizes.figures.reasons.text()
    window.go("tasting")
    window.session.undo()
    assert window.session.study.setting("felt_profile") is None


def test_a_wrong_code_is_refused_in_place(station, qtbot):
    plan_series(station, qtbot, "AB, CD")
    answer_all(station, qtbot, lambda s: "000", count=1)
    level, text = station.session.told[-1]
    assert level == "warning"
    assert "000 is not on this plate" in text
    assert station.page.answers.item(0, 3).text() == ""
    assert station.page.answers.currentRow() == 0
    assert "0 of 6 answers" in station.page.state.text()


def test_answers_are_on_disk_one_by_one_and_undone_one_by_one(station, qtbot):
    plan_series(station, qtbot, "AB, CD")
    answer_all(station, qtbot, lambda s: s.answer, count=2)
    study = station.session.study
    assert len(study.tastings()[0].tasting.results["answers"]) == 2
    station.session.undo()
    assert len(study.tastings()[0].tasting.results["answers"]) == 1
    assert station.page.answers.item(1, 3).text() == ""
    assert "1 of 6 answers" in station.page.state.text()


def test_an_empty_session_cannot_be_closed_and_a_closed_one_opened_by_undo(station, qtbot):
    plan_series(station, qtbot, "AB, CD")
    push(station, qtbot, "Close the session")
    assert "Nobody has answered" in station.session.told[-1][1]
    answer_all(station, qtbot, lambda s: s.answer)
    push(station, qtbot, "Close the session")
    assert station.page.result_area.isVisible()
    assert not station.action("tasting.enter").isEnabled()
    assert "serve finer" in station.page.result.limit.text()
    assert not station.action("tasting.use").isEnabled()
    press(station, qtbot, Qt.Key.Key_Z, CONTROL)
    assert not station.page.result_area.isVisible()
    assert station.action("tasting.enter").isEnabled()


def tick(qtbot, samples, row):
    box = samples.visualItemRect(samples.item(row))
    qtbot.mouseClick(samples.viewport(), LEFT, pos=QPoint(box.left() + 12, box.center().y()))


def test_triangle_by_mouse_says_its_power_and_its_result(station, qtbot):
    push(station, qtbot, "Plan a session")
    form = station.form
    assert form.key == "triangle"
    form.assessors.setText("12")
    assert "With 12 answers a difference that 50 % of people perceive is found 63 times" in form.power.text()
    assert "For 80 in 100 plan 16 answers" in form.power.text()
    assert [s.name for s in form._ticked()] == ["pass 3", "pass 6"]  # as many as the test takes
    tick(qtbot, form.samples, 0)
    form.purpose.setCurrentIndex(1)
    assert "Alike within 50 %" in form.power.text()
    form.purpose.setCurrentIndex(0)
    push(station, qtbot, "Keep this plan")
    assert "needs exactly 2 samples; 3 are chosen" in form.fault.text()
    tick(qtbot, form.samples, 1)
    push(station, qtbot, "Keep this plan")
    assert [s.name for s in plan_of(station).samples] == ["pass 1", "pass 6"]
    answer_all(station, qtbot, lambda s: s.answer)
    push(station, qtbot, "Close the session")
    assert "The panel can tell apart pass 1 and pass 6" in station.page.result.words.text()
    assert not station.page.result.chart.isVisible()
    assert "gives no limit" in station.page.result.limit.text()


def test_papers_are_printed(station, qtbot, tmp_path, monkeypatch):
    plan_series(station, qtbot, "AB, CD")
    asked = []

    def save(_parent, title, _purpose, name, _kinds) -> Path:
        asked.append((title, name))
        return tmp_path / name

    monkeypatch.setattr(pickers, "save", save)
    push(station, qtbot, "Worksheets…")
    press(station, qtbot, Qt.Key.Key_P, CONTROL | SHIFT)
    assert [name for _, name in asked] == ["autumn panel worksheets.pdf", "autumn panel key.pdf"]
    for _, name in asked:
        qtbot.waitUntil((tmp_path / name).exists, timeout=20_000)
        assert (tmp_path / name).read_bytes().startswith(b"%PDF")


def test_sessions_are_listed_chosen_and_removed(station, qtbot):
    plan_series(station, qtbot, "AB, CD")
    plan_series(station, qtbot, "EF, GH, IJ")
    assert station.sessions.count() == 2
    station.sessions.setFocus()
    qtbot.keyClick(station.sessions, Qt.Key.Key_Up)
    assert len(plan_of(station).assessors) == 2
    press(station, qtbot, Qt.Key.Key_Delete, CONTROL)
    assert station.sessions.count() == 1
    assert station._pages.currentIndex() == 0
    station.session.undo()
    assert station.sessions.count() == 2


def test_scale_takes_a_number_for_each_code(station, qtbot):
    press(station, qtbot, Qt.Key.Key_B, CONTROL)
    station.form.method.setCurrentIndex(4)
    station.form.assessors.setText("AB, CD, EF")
    press(station, qtbot, Qt.Key.Key_Return, CONTROL)
    mark = {"pass 1": "8", "pass 3": "3", "pass 6": "0"}
    answer_all(station, qtbot, lambda s: " ".join(mark[n] for n in s.samples))
    press(station, qtbot, Qt.Key.Key_L, CONTROL)
    assert "pass 1: grittiness 8 of 10" in station.page.result.words.text()
    assert "pass 6: grittiness 0 of 10 (0 to 0), felt by 0 of 3" in station.page.result.words.text()


def test_the_last_session_is_in_view_when_one_comes_back(station, qtbot):
    plan_series(station, qtbot, "AB, CD")
    window, path = station.window(), station.session.study.path
    window.session.close()
    assert window.session.open(path)
    window.go("scale")
    window.go("tasting")
    assert station._pages.currentIndex() == 2
    assert station.sessions.currentRow() == 0


def test_the_form_of_a_plan_does_not_grow_with_a_wide_window(station, qtbot):
    station.resize(1900, 900)
    station.action("tasting.new").trigger()
    form = station.form
    qtbot.waitUntil(form.name.isVisible, timeout=2000)
    lines = form.fontMetrics().lineSpacing()
    assert 25 * lines < form.name.width() < 48 * lines


def test_a_wide_window_shows_the_way_beside_an_open_session(station, qtbot):
    window = station.window()
    window.resize(1900, 1000)
    plan_series(station, qtbot, "AB, CD")
    guide = station.page.guide
    qtbot.waitUntil(guide.isVisible, timeout=2000)
    assert guide.answered.text() == "AB: 0 of 3\nCD: 0 of 3"
    window.resize(1280, 800)
    qtbot.waitUntil(lambda: not guide.isVisible(), timeout=2000)
    window.resize(1900, 1000)
    answer_all(station, qtbot, felt_from_pass_3)
    assert "AB: all of 3" in guide.answered.text()
    press(station, qtbot, Qt.Key.Key_L, CONTROL)
    qtbot.waitUntil(lambda: not guide.isVisible(), timeout=2000)  # the result stands there now


def plan_triangle(station, qtbot, people, similar=False):
    press(station, qtbot, Qt.Key.Key_B, CONTROL)
    form = station.form
    form.method.setCurrentIndex(form.method.findData("triangle"))
    form.purpose.setCurrentIndex(int(similar))
    form.assessors.setText(people)
    form.seed.setValue(5)
    press(station, qtbot, Qt.Key.Key_Return, CONTROL)


def test_an_open_count_of_right_answers_shows_how_many_decide(station, qtbot):
    window = station.window()
    window.resize(1900, 1000)
    plan_triangle(station, qtbot, "12")
    guide = station.page.guide
    qtbot.waitUntil(guide.chart.isVisible, timeout=2000)
    # triangle test, risk 5 %, 12 answers: 8 right (tables of ISO 4120; binomial)
    assert guide.decides.text().startswith("From 8 right of 12 on a difference is called")
    assert guide.chart.accessibleDescription() == guide.decides.text()
    assert not guide.example.isVisible()
    bottom = guide.counted.mapTo(guide, guide.counted.rect().bottomLeft()).y()
    assert guide.height() - bottom < 20  # nothing is left empty below it
    window.resize(1900, 640)
    qtbot.waitUntil(lambda: not guide.chart.isVisible(), timeout=2000)
    assert guide.answered.isVisible()


def test_a_plan_for_likeness_shows_no_chart_of_differences_and_a_series_its_example(station, qtbot):
    window = station.window()
    window.resize(1900, 1000)
    plan_triangle(station, qtbot, "30", similar=True)
    guide = station.page.guide
    qtbot.waitUntil(guide.isVisible, timeout=2000)
    assert not guide.counted.isVisible()
    plan_series(station, qtbot, "AB, CD")
    qtbot.waitUntil(guide.example.isVisible, timeout=2000)
    assert not guide.counted.isVisible()


@pytest.mark.parametrize("size", [(1900, 1000), (1280, 800), (1280, 640)])
def test_the_left_column_uses_its_height_and_scrolls_only_where_it_must(station, qtbot, size):
    from PySide6.QtWidgets import QScrollArea

    from app.stations.tasting_before import BeforeTasting

    station.window().resize(*size)
    qtbot.wait(50)
    before = station.findChild(BeforeTasting)
    area = before.parentWidget().parentWidget()
    assert isinstance(area, QScrollArea)
    assert before.tasters.isVisible() == (size[1] == 1000)
    if size[1] > 640:
        assert area.verticalScrollBar().maximum() == 0
        last = before.tasters if before.tasters.isVisible() else before._words[-1]
        used = last.mapTo(area, last.rect().bottomLeft()).y()
        assert used > 0.78 * area.height()


def test_answers_needed_are_those_of_the_test():
    from app.stations.tasting_before import ANSWERS
    from measure.judge.discrimination import trials_needed

    for percent, triangle, paired in ANSWERS:
        assert trials_needed("triangle", percent / 100) == triangle
        assert trials_needed("paired", percent / 100) == paired
