"""The Sizes station by clicks, keys and corrections."""

import json

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QGuiApplication

from app.session import Session
from app.stations.sizes import Station
from measure.judge.felt import FeltProfile
from measure.judge.specification import Specification
from measure.model import Kind
from measure.sizes.above import pieces_above
from measure.sizes.plan import figure_words
from tests.app.sizes_study import FIELDS, make_sizes_study


@pytest.fixture(scope="module")
def made_study(tmp_path_factory):
    return make_sizes_study(tmp_path_factory.mktemp("sizes") / "made.gritline")


@pytest.fixture
def station(window, qtbot, made_study, tmp_path):
    path = tmp_path / "paste.gritline"
    path.write_bytes(made_study.read_bytes())
    assert window.session.open(path)
    window.go("sizes")
    found = window.stations["sizes"]
    _wait(qtbot, found)
    return found


def _wait(qtbot, station):
    qtbot.waitUntil(lambda: station.shown is not None and station.shown.final, timeout=20_000)


def _row(station, name):
    words = figure_words(name)
    table = station.figures.table
    for row in range(table.rowCount()):
        if table.item(row, 0).text() == words:
            return table.item(row, 1).text(), table.item(row, 2).text()
    raise AssertionError(words)


def test_figures_intervals_and_verdict(station):
    summary = station.shown.summary
    assert summary.between_fields
    assert summary.fields == FIELDS
    value, range_ = _row(station, "volume.x50_um")
    assert "µm" in value
    assert " to " in range_
    assert station.figures.word.text() == "Felt"
    assert station.view.chart.title == "pass 1"
    assert station.view.chart.caption.startswith("by volume")
    done, words = station.state_text()
    assert done
    assert "felt" in words


def test_the_other_batch_by_key(station, qtbot):
    coarse = station.shown.summary.value("volume.x50_um")
    station.action("sizes.next").trigger()
    _wait(qtbot, station)
    assert station.batches.currentText() == "pass 6"
    assert station.shown.summary.value("volume.x50_um") < coarse / 2
    assert station.figures.word.text() != "Felt"
    station.action("sizes.next").trigger()
    assert station.batches.currentText() == "pass 6"
    station.action("sizes.previous").trigger()
    assert station.batches.currentText() == "pass 1"


def test_number_and_volume(station):
    station.action("sizes.number").trigger()
    assert station.view.chart.quantity == "number"
    # the weighting in view comes first
    assert station.figures.table.item(0, 0).text() == figure_words("number.x10_um")
    station.action("sizes.volume").trigger()
    assert station.view.chart.quantity == "volume"
    assert station.figures.table.item(0, 0).text() == figure_words("volume.x10_um")


def test_one_kind_only(station, qtbot):
    station.kinds.setCurrentIndex(station.kinds.findData(Kind.SKIN.value))
    station.kinds.activated.emit(station.kinds.currentIndex())
    _wait(qtbot, station)
    assert station.view.chart.kinds == (1,)
    assert "skin" in station.view.chart.title


def test_a_correction_shows_at_once_and_undo_brings_it_back(station, qtbot):
    session, before = station.session, station.shown.summary.pieces
    field, label = station.batch.pairs(station.batch.sample.row[[3]])[0]
    session.do(session.study.set_aside, field, [label], "dust")
    assert station.shown.summary.pieces == before - 1
    assert not station.shown.final
    assert _row(station, "volume.x50_um")[1] == "…"
    _wait(qtbot, station)
    session.undo()
    assert station.shown.summary.pieces == before
    _wait(qtbot, station)


def test_only_the_last_of_a_burst_is_worked_out(station, qtbot):
    session = station.session
    pairs = station.batch.pairs(station.batch.sample.row[:6])
    for field, label in pairs:
        session.do(session.study.set_aside, field, [label], "dust")
    _wait(qtbot, station)
    assert station.shown.summary.pieces == len(station.batch.sample)
    assert not session.tasks.busy("sizes")


def test_pointing_lights_pieces_and_a_click_shows_them(station, qtbot, window):
    session, chart = station.session, station.view.chart
    place = int(np.argmax(chart.shares.sum(axis=0)))
    station.view.pointed.emit(place)
    lit = session.lit
    d = station.batch.sample.diameter_um
    inside = (d >= chart.edges_um[place]) & (d < chart.edges_um[place + 1])
    assert len(lit) == inside.sum()
    station.view.pointed.emit(-1)
    assert not session.lit
    station.view.chosen.emit(place, True)
    assert session.selected
    assert session.current_field_id in {field for field, _ in station.batch.pairs(station.batch.sample.row)}
    coarser = set(station.batch.pairs(station.batch.sample.row[d >= chart.edges_um[place]]))
    assert {(session.current_field_id, label) for label in session.selected} <= coarser
    assert window.current == "particles"


def test_chosen_pieces_are_marked_in_the_chart(station):
    field, label = station.batch.pairs(station.batch.sample.row[[5]])[0]
    station.session.show_field(field)
    station.session.select([label])
    assert station.view._marked == (pytest.approx(station.batch.sample.diameter_um[5]),)


def test_the_coarsest_pieces_at_a_key(station, window):
    station.action("sizes.coarse").trigger()
    assert 1 <= len(station.session.selected) <= 10
    assert window.current == "particles"


def test_felt_profile_is_edited_kept_and_taken_back(station, qtbot):
    study = station.session.study
    share = station.shown.verdict.share
    none_um, all_um = station.limits.ramps[Kind.KERNEL]
    none_um.setValue(60)
    none_um.editingFinished.emit()
    kept = FeltProfile.from_json(study.setting("felt_profile"))
    assert kept[Kind.KERNEL].none_um == 60
    assert station.shown.verdict.share < share
    assert study.undo_text() == "Change what size is felt"
    none_um.setValue(150)  # beyond the size all feel
    none_um.editingFinished.emit()
    assert station.session.told[-1][0] == "warning"
    assert none_um.value() == 60
    station.limits.profile_edited.emit(FeltProfile())
    assert station.shown.verdict.share == pytest.approx(share)
    assert all_um.value() == 100


def test_specification_is_judged(station, qtbot):
    assert station.limits.outcome.text() == "No limit is set."
    station.limits.x90.setValue(20)
    station.limits.x90.editingFinished.emit()
    _wait(qtbot, station)
    assert station.shown.outcome == "fails"
    assert station.limits.outcome.text().startswith("Fails: x₉₀")
    kept = Specification.from_json(station.session.study.setting("specification"))
    assert kept.clauses[0].at_most == 20
    station.limits.coarse.setValue(400)
    station.limits.coarse.editingFinished.emit()
    _wait(qtbot, station)
    # a few µg of paste were looked at: far too little to promise anything per gram
    assert station.batch.grams < 1e-3
    assert [c.outcome for c in station.shown.clauses] == ["fails", "undecided"]
    assert station.limits.outcome.text().startswith("Fails.\nFails: ")


def test_thickness_of_skins_changes_volumes(station):
    before = station.shown.summary.value("volume.mean_um")
    station.limits.flake.setValue(60)
    station.limits.flake.editingFinished.emit()
    kept = json.loads(station.session.study.setting("volume_models"))
    assert kept["skin"]["thickness_um"] == 60
    assert station.shown.summary.value("volume.mean_um") != before


def test_how_sure_page(station, qtbot):
    station.action("sizes.page_sure").trigger()
    assert station.sure.isVisible()
    assert "standard uncertainty" in station.sure.whole.text()
    assert "more field" in station.sure.needed.text()
    assert "log-normal" in station.sure.fits.text().lower()
    sample = station._sample()
    for size in (30.0, 400.0):
        station.sure.above.setValue(size)
        assert station.sure.coarse.text() == pieces_above(sample, size).words
    assert station.sure.coarse.text().startswith("None of ")
    station.sure.wanted.setValue(50)
    station.figures.figure_chosen.emit("number.x50_um")
    assert station.sure.figure.currentData() == "number.x50_um"
    assert "Reached" in station.sure.needed.text()


def test_copying(station):
    station.action("sizes.copy_numbers").trigger()
    lines = QGuiApplication.clipboard().text().splitlines()
    assert lines[0] == "figure\tvalue\tlow\thigh\tunit"
    by_name = {line.split("\t")[0]: line.split("\t") for line in lines}
    assert float(by_name["D[4,3]"][1]) == pytest.approx(
        station.shown.summary.value("means_um.D[4,3]"), rel=1e-5
    )
    assert float(by_name["D[4,3]"][2]) < float(by_name["D[4,3]"][1]) < float(by_name["D[4,3]"][3])
    station.action("sizes.copy_picture").trigger()
    assert QGuiApplication.clipboard().image().width() == 1600


def test_the_batch_in_view_is_remembered(station, qtbot):
    station.action("sizes.next").trigger()
    station.left()
    path = station.session.study.path
    station.session.close()
    session = Session()
    assert session.open(path)
    again = Station(session)
    qtbot.addWidget(again)
    again.entered()
    assert again.batches.currentText() == "pass 6"
    session.shut()


def test_the_batch_of_the_field_in_view_comes_first(station, qtbot):
    session = station.session
    field = next(row.id for row in session.study.fields() if row.name.startswith("pass 6"))
    session.show_field(field)
    again = Station(session)
    qtbot.addWidget(again)
    again.entered()
    assert again.batches.currentText() == "pass 6"


def test_without_a_study_or_sizes_it_teaches(window, open_window):
    window.go("sizes")
    station = window.stations["sizes"]
    assert station.state_text() == (False, "nothing measured yet")
    assert station._whole.currentIndex() == 0
    window.session.close()
    assert station.state_text()[0] is False


def test_keys_reach_the_chart(station, qtbot):
    station.view.setFocus()
    qtbot.keyClick(station.view, Qt.Key.Key_Left)
    assert station.session.lit


@pytest.mark.parametrize(("size", "both"), [((1920, 1080), True), ((1100, 600), False)])
def test_figures_of_both_weightings_stand_there_where_there_is_room(station, window, qtbot, size, both):
    window.resize(*size)
    table = station.figures.table

    def shown():
        return [table.item(k, 0).text() for k in range(table.rowCount()) if not table.isRowHidden(k)]

    by_number = figure_words("number.x90_um")
    qtbot.waitUntil(lambda: (by_number in shown()) is both, timeout=5_000)
    assert figure_words("volume.x90_um") in shown()
    # as high as what it lists
    assert table.viewport().height() >= sum(table.rowHeight(k) for k in range(table.rowCount()))


def test_without_a_counted_piece_no_table_of_dashes_stands(station, qtbot):
    session = station.session
    for row in session.open_study.fields():
        particles = session.open_study.particles(row.id)
        session.do(session.open_study.set_aside, row.id, particles["label"].tolist(), "dust")
    qtbot.waitUntil(lambda: station.shown is not None and station.shown.summary.pieces == 0, timeout=20_000)
    assert not station.figures.sizes.isVisible()
    assert station.figures.sentence.text() == "No piece is counted."
    assert "left out of the figures" in station.figures.decides.text()
