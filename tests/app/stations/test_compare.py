"""The Compare station by clicks and keys."""

import itertools
import re

import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QFrame

from app.stations.compare_steps import next_doses
from measure.judge.grind import GrindPoint, fit_grind
from measure.study.records import Batch
from tests.app.compare_study import make_compare_study

DIRECT = Qt.FindChildOption.FindDirectChildrenOnly
LEFT, CONTROL = Qt.MouseButton.LeftButton, Qt.KeyboardModifier.ControlModifier


@pytest.fixture(scope="module")
def made_study(tmp_path_factory):
    return make_compare_study(tmp_path_factory.mktemp("compare") / "made.gritline")


@pytest.fixture(scope="module")
def uneven_study(tmp_path_factory):
    path = tmp_path_factory.mktemp("compare") / "uneven.gritline"
    return make_compare_study(path, limits_um=(4.0, 4.0, 9.0))


def opened(window, qtbot, source, tmp_path):
    path = tmp_path / "paste.gritline"
    path.write_bytes(source.read_bytes())
    assert window.session.open(path)
    window.activateWindow()
    qtbot.waitUntil(lambda: window.isActiveWindow() and window.focusWidget() is not None)
    qtbot.keyClick(window, Qt.Key.Key_5, CONTROL)
    assert window.current == "compare"
    wait(qtbot, window.stations["compare"])
    return window.stations["compare"]


def wait(qtbot, station):
    qtbot.waitUntil(
        lambda: station.shown is not None and not station.session.tasks.busy("compare"), timeout=20_000
    )


@pytest.fixture
def station(window, qtbot, made_study, tmp_path):
    return opened(window, qtbot, made_study, tmp_path)


def cells(station, row):
    return [station.table.item(row, column).text() for column in range(station.table.columnCount())]


def tick(station, row, qtbot):
    box = station.said.chosen.visualItemRect(station.said.chosen.item(row))
    qtbot.mouseClick(station.said.chosen.viewport(), LEFT, pos=QPoint(box.left() + 12, box.center().y()))


def test_three_batches_stand_side_by_side(station, window):
    lines = station.said.words.text().split("\n")
    assert len(lines) > 2
    assert all(line.startswith("• ") for line in lines)  # else a sentence of two lines runs into the next
    assert "pass 6 is " in station.said.words.text()
    assert "times finer than pass 1 in x₉₀ by volume" in station.said.words.text()
    assert "starts near 17 %" in station.said.words.text()
    assert "all 3 pairs" in station.said.notes.text()
    assert "Felt share" in station.said.felt.text()
    assert cells(station, 1)[0] == "pass 1 / pass 6"
    assert cells(station, 1)[4] == "pass 6 is finer, enough to notice"
    assert cells(station, 3)[1] == "felt share, points"
    assert "half lies below: pass 1" in station.curves.accessibleDescription()
    done, words = station.state_text()
    assert done
    # the digits of the sentence beside it
    times, low, high = re.fullmatch(r"(\d\.\d) times finer \((.*) to (.*)\)", words).groups()
    sentence = f"pass 6 is {times} times finer than pass 1 in x₉₀ by volume, {low} to {high}"
    assert sentence in station.said.words.text()
    assert window.rail.buttons["compare"].done


def test_repeat_slides_are_held_against_each_other(station):
    assert "pass 1: Repeat slides" in station.said.notes.text()


def test_unticking_a_batch_leaves_it_out(station, qtbot):
    tick(station, 1, qtbot)
    wait(qtbot, station)
    assert [b.name for b in station.shown.comparison.batches] == ["pass 1", "pass 6"]
    assert "95 % intervals" in station.said.notes.text()
    tick(station, 2, qtbot)
    assert station.shown is None
    assert "Tick two batches" in station.said.words.text()
    assert station.table.rowCount() == 0
    # and back by keyboard
    station.said.chosen.setFocus()
    station.said.chosen.setCurrentRow(2)
    qtbot.keyClick(station.said.chosen, Qt.Key.Key_Space)
    wait(qtbot, station)
    assert len(station.shown.comparison.batches) == 2


def test_other_figures_by_key_and_other_pairs_by_box(station, qtbot):
    qtbot.keyClick(station, Qt.Key.Key_PageDown)
    wait(qtbot, station)
    qtbot.waitUntil(lambda: station.shown.figure == "volume.x50_um")
    assert "x₅₀ by volume" in station.said.words.text()
    station.pairing.setFocus()
    qtbot.keyClick(station.pairing, Qt.Key.Key_Down)
    qtbot.waitUntil(lambda: station.shown.comparison.pairs == 2, timeout=20_000)
    station.pairing.activated.emit(station.pairing.currentIndex())
    wait(qtbot, station)
    assert {r.first for r in station.shown.comparison.ratios} == {"pass 1"}


def type_target(station, qtbot, text):
    qtbot.keyClick(station, Qt.Key.Key_T)
    box = station.grind.target
    assert station._charts.currentIndex() == 1
    box.lineEdit().selectAll()
    qtbot.keyClicks(box.lineEdit(), text)
    qtbot.keyClick(box, Qt.Key.Key_Return)


def test_a_target_typed_gives_a_forecast_in_words(station, qtbot):
    type_target(station, qtbot, "16")
    assert station.grind.found.target == 16.0
    assert "16 µm" in station.grind.words.text()
    assert "passes" in station.grind.words.text()
    assert "Three points" in station.grind.careful.text()
    assert "17 %" in station.grind.step.text()
    assert "Rittinger" in station.grind.laws.text()
    assert "16 µm" in station.grind_chart.accessibleDescription()
    station.grind.what.setFocus()
    qtbot.keyClick(station.grind.what, Qt.Key.Key_Down)
    station.grind.what.activated.emit(1)
    assert station.grind.curve.is_share
    assert station.grind.target.value() == 5.0
    assert "%" in station.grind.words.text()


def test_what_was_asked_is_there_again(station, window, qtbot):
    type_target(station, qtbot, "22")
    window.go("sizes")
    path = window.session.study.path
    window.session.close()
    assert window.session.open(path)
    window.go("compare")
    wait(qtbot, station)
    assert station.grind.target.value() == 22.0


def test_pages_by_click(station, qtbot):
    from PySide6.QtWidgets import QToolButton

    button = next(b for b in station.findChildren(QToolButton) if b.text() == "Grind curve")
    qtbot.mouseClick(button, LEFT)
    assert station._charts.currentIndex() == 1
    qtbot.keyClick(station, Qt.Key.Key_F2)
    assert station._charts.currentIndex() == 0


def test_different_limits_are_said_and_mended(window, qtbot, uneven_study, tmp_path):
    station = opened(window, qtbot, uneven_study, tmp_path)
    assert station.said.limits_card.isVisible()
    assert "The lower limits differ" in station.said.limits.text()
    qtbot.keyClick(station, Qt.Key.Key_R)
    qtbot.waitUntil(lambda: station.shown.comparison.common_range, timeout=20_000)
    assert "are compared now" in station.said.limits.text()
    assert all(b.sample.smallest_um == 9.0 for b in station.shown.comparison.batches)


def test_without_passes_it_asks_for_them(station, window, qtbot):
    study = window.session.study
    row = study.batches()[0]
    window.session.do(study.update_batch, row.id, Batch(row.batch.name))
    wait(qtbot, station)
    qtbot.keyClick(station, Qt.Key.Key_F3)
    assert station.grind.bare.isVisible()
    assert "passes or minutes" in station.grind.missing.text()
    assert not station.grind.asked.isVisible()
    qtbot.mouseClick(station.grind.go, LEFT)
    assert window.current == "fields"


def test_copies(station, qtbot):
    station.action("compare.copy_numbers").trigger()
    assert "pass 1 / pass 6" in QGuiApplication.clipboard().text()
    station.action("compare.copy_picture").trigger()
    assert not QGuiApplication.clipboard().image().isNull()


def test_one_batch_teaches_what_is_needed(open_window):
    station = open_window.stations["compare"]
    open_window.go("compare")
    assert station._whole.currentIndex() == 0
    assert station.state_text() == (False, "needs two batches")


def test_a_correction_elsewhere_is_followed(station, window, qtbot):
    before = station.shown
    study = window.session.study
    window.go("fields")
    labels = study.particles(1)["label"][:40].tolist()
    window.session.do(study.set_aside, 1, labels, "dust")
    assert station.shown is None
    window.go("compare")
    wait(qtbot, station)
    assert station.shown.comparison.summaries[0].pieces < before.comparison.summaries[0].pieces


def test_pairs_are_chosen_where_there_are_pairs(station, qtbot):
    assert station.pairing.isVisible()
    qtbot.keyClick(station, Qt.Key.Key_F3)
    assert station._charts.currentIndex() == 1
    assert not station.pairing.isVisible()


def test_the_head_of_the_table_reaches_across_a_wide_window(station, qtbot):
    station.resize(1900, 900)
    head = station.table.horizontalHeader()
    qtbot.waitUntil(lambda: head.length() >= station.table.viewport().width() - 1, timeout=2000)


def test_cautions_are_of_the_usual_size_where_there_is_room(station, qtbot):
    window, careful = station.window(), station.said.careful
    window.resize(1900, 1000)
    qtbot.waitUntil(lambda: careful.property("look") == "soft", timeout=3000)
    window.resize(1280, 560)
    qtbot.waitUntil(lambda: careful.property("look") == "small", timeout=3000)


def lowest(page):
    """Return how far the lowest part of a page that is seen ends above its foot, px."""
    bottoms = [p.geometry().bottom() for p in page.findChildren(QFrame, options=DIRECT) if p.isVisible()]
    return page.height() - max(bottoms)


def test_a_high_window_shows_the_ratios_at_a_glance_and_the_next_steps(station, window, qtbot):
    said, grind = station.said, station.grind
    window.resize(1920, 1080)
    qtbot.wait(50)
    assert said.glance.isVisible()
    assert lowest(said) < 30
    rows = [r for r in station.shown.comparison.ratios if r.figure == station.shown.figure and not r.kind]
    assert said.chart.chart.ratios == tuple(rows)
    assert "pass 1 / pass 6: " in said.chart.accessibleDescription()
    station.action("compare.page_grind").trigger()
    qtbot.wait(50)
    assert grind.further.isVisible()
    assert lowest(grind) < 30
    names = [grind.steps.item(row, 0).text() for row in range(grind.steps.rowCount())]
    assert names == ["1, measured", "3, measured", "6, measured", "7", "8", "9", "10", "11", "12"]
    sizes = [float(grind.steps.item(row, 1).text()) for row in range(3, 9)]
    assert sizes == sorted(sizes, reverse=True)
    assert sizes[0] == pytest.approx(float(grind.curve.values([7.0])[0]), rel=0.01)
    assert " to " in grind.steps.item(3, 2).text()
    window.resize(1280, 640)
    qtbot.wait(50)
    assert grind.further.isHidden()
    station.action("compare.page_curves").trigger()
    qtbot.wait(50)
    assert said.glance.isHidden()


def test_next_steps_are_those_people_grind_in():
    points = [GrindPoint(d, v, 0.9 * v, 1.1 * v) for d, v in ((10, 80), (30, 50), (65, 30))]
    curve = fit_grind(points, unit="minutes", draws=50)
    doses = next_doses(curve)
    assert doses[0] == 70
    assert {b - a for a, b in itertools.pairwise(doses)} == {10}
    assert doses[-1] <= 2 * 65 + 10
    line = fit_grind(points[:2], unit="minutes", draws=50)
    assert not line.promises  # two points are a line and promise nothing, so no steps are listed


def test_a_narrow_table_of_ratios_cuts_no_reading_off(station, qtbot):
    table = station.table
    last = table.columnCount() - 1
    for width in (320, 560, 1200):
        table.resize(width, 200)
        qtbot.wait(10)
        assert table.columnWidth(last) >= table.sizeHintForColumn(last)
    assert table.horizontalScrollBar().maximum() == 0  # wide enough, the head reaches across
