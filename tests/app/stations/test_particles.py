"""The Particles station through real clicks and keys."""

import numpy as np
import pytest
from PySide6.QtCore import QPoint, QPointF, Qt

from app.session import Session
from app.stations.particles import Station
from measure.flags import FLAGS
from measure.model import KINDS, Kind
from tests.app.particle_study import DISCS, UM_PER_PX

LEFT, NONE = Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier
SHIFT = Qt.KeyboardModifier.ShiftModifier


def particles(station):
    return station.session.particles()


def row_of(station, label):
    return int(particles(station).index_of([label])[0])


def test_it_opens_on_the_measured_field_with_all_its_pieces(station):
    assert len(station.pieces) == 6
    assert station.panel.fields.currentText().startswith("smear-1.png")
    assert station.panel.list.model.rowCount() == 6
    assert station.histogram.data.count == 5  # one is set aside
    assert station.state_text() == (False, "5 pieces, 3 doubtful here")


def test_a_click_chooses_and_shift_adds(station, mouse):
    mouse((80, 80))
    assert station.session.selected == {1}
    mouse((200, 80), modifiers=SHIFT)
    assert station.session.selected == {1, 2}
    mouse((200, 80), modifiers=SHIFT)
    assert station.session.selected == {1}
    mouse((440, 320))
    assert station.session.selected == frozenset()


def test_details_say_size_kind_doubt_and_origin(station, mouse):
    mouse((80, 80))
    card = station.panel.piece
    assert card.heading.text() == "Piece 1"
    assert "24" in card.sizes.text()  # 48 px at 0.5 µm per px
    assert card.state.text() == "Counted. Found automatically."
    assert "Doubt 5" in card.why.text()
    assert card.kinds[Kind.KERNEL].isChecked()


def test_cut_makes_two_pieces_and_undo_gives_the_old_one_back(station, hand, mouse, press):
    old = particles(station)
    press(Qt.Key.Key_C)
    mouse((341, 160), (341, 200), (341, 240))
    now = particles(station)
    assert len(now) == 7
    assert len(station.session.selected) == 2
    sizes = now.diameter_px[now.index_of(station.session.selected)]
    assert sizes == pytest.approx([48, 48], rel=0.05)
    assert station.histogram.data.count == 6
    station.session.undo()
    assert np.array_equal(particles(station)["label"], old["label"])
    station.session.redo()
    assert len(particles(station)) == 7


def test_why_a_step_was_refused_is_not_said_any_longer_once_one_is_taken(station, hand, mouse, press):
    said = []
    station.session.message.connect(lambda text, _level: said.append(text))
    press(Qt.Key.Key_C)
    mouse((341, 195), (341, 200), (341, 205))  # ends inside the piece
    assert "does not cross" in said[-1]
    mouse((341, 160), (341, 200), (341, 240))
    assert said[-1].endswith("done.")


def test_areas_left_out_are_shown_with_the_pieces(station, monkeypatch):
    shown = []
    monkeypatch.setattr(station.view, "set_zones", shown.append)
    session = station.session
    zone = [[0, 0], [60, 0], [60, 40], [0, 40]]
    session.do(session.study.update_field, session.current_field_id, zones=(zone,))
    assert len(shown[-1]) == 1


def test_a_line_that_meets_nothing_says_so_and_changes_nothing(station, mouse, press):
    press(Qt.Key.Key_C)
    mouse((420, 300), (450, 320))
    assert len(particles(station)) == 6
    assert "met no piece" in station.said[-1]


def test_join_makes_one_of_the_two_halves_again(station, hand, mouse, press):
    area = float(particles(station)["area_px2"][5])
    press(Qt.Key.Key_C)
    mouse((341, 160), (341, 240))
    press(Qt.Key.Key_J)
    now = particles(station)
    assert len(now) == 6
    label = next(iter(station.session.selected))
    assert float(now["area_px2"][row_of(station, label)]) == pytest.approx(area, rel=0.03)


def test_a_missed_piece_is_drawn(station, hand, mouse, press):
    press(Qt.Key.Key_D)
    mouse((420, 280), (450, 280), (450, 310), (420, 310), (420, 281))
    now = particles(station)
    assert len(now) == 7
    assert now["area_px2"].max() > 0
    label = next(iter(station.session.selected))
    assert float(now["area_px2"][row_of(station, label)]) == pytest.approx(900, rel=0.08)


def test_the_brush_adds_to_and_wipes_from_an_edge(station, hand, mouse, press):
    area = float(particles(station)["area_px2"][0])
    mouse((80, 80))
    press(Qt.Key.Key_A)
    mouse((100, 80), (110, 80))
    label = next(iter(station.session.selected))
    grown = float(particles(station)["area_px2"][row_of(station, label)])
    assert grown > area + 20
    press(Qt.Key.Key_W)
    mouse((112, 80), (118, 80))
    label = next(iter(station.session.selected))
    assert float(particles(station)["area_px2"][row_of(station, label)]) < grown


def test_one_more_and_one_fewer(station, hand, mouse, press):
    mouse((320, 200))
    press(Qt.Key.Key_M)
    assert len(particles(station)) == 7
    assert len(station.session.selected) == 2
    press(-Qt.Key.Key_M)
    assert len(particles(station)) == 6


def test_set_aside_and_count_again(station, mouse, press):
    mouse((80, 80))
    assert not station.action("particles.restore").isEnabled()  # it is counted
    press(Qt.Key.Key_Delete)
    assert station.session.study.undo_text() == "Set aside piece 1: not a piece of the paste"
    assert station.action("particles.restore").isEnabled()
    assert particles(station)["set_aside"][0] == "not a piece of the paste"
    assert station.histogram.data.count == 4
    assert "Not counted: not a piece" in station.panel.piece.state.text()
    press(Qt.Key.Key_R)
    assert particles(station)["set_aside"][0] == ""
    assert station.session.study.undo_text() == "Count piece 1 again"
    station.session.undo()
    station.session.undo()
    assert particles(station)["set_aside"][0] == ""
    assert station.histogram.data.count == 5


def test_what_may_be_a_drop_is_told_so_and_kept_as_tables_know_it(station, mouse):
    mouse((80, 80))
    station.hands.set_aside([1], "air bubble")
    assert particles(station)["set_aside"][0] == "air bubble"  # other programs read this
    assert station.session.study.undo_text() == "Set aside piece 1: bubble or drop"
    assert "Not counted: bubble or drop." in station.panel.piece.state.text()
    entries = station.session.study.edit_log()
    assert any("bubble or drop" in entry.now for entry in entries)
    assert not any("air bubble" in entry.now for entry in entries)


def test_tagging_by_letter_and_number_and_by_button(station, mouse, press, qtbot):
    mouse((80, 80))
    press(Qt.Key.Key_T)
    assert particles(station)["kind"][0] == KINDS.index(Kind.SALT)
    assert particles(station)["kind_by_hand"][0]
    press(Qt.Key.Key_2)
    assert particles(station)["kind"][0] == KINDS.index(Kind.SKIN)
    qtbot.mouseClick(station.panel.piece.kinds[Kind.KERNEL], LEFT)
    assert particles(station)["kind"][0] == KINDS.index(Kind.KERNEL)


def test_tagging_as_other_sets_aside_and_back_again_in_one_step_each(station, mouse, press):
    mouse((80, 80))
    press(Qt.Key.Key_O)
    assert particles(station)["set_aside"][0] == "tagged as other"
    press(Qt.Key.Key_K)
    assert particles(station)["set_aside"][0] == ""
    station.session.undo()
    station.session.undo()
    assert particles(station)["kind"][0] == KINDS.index(Kind.KERNEL)
    assert not particles(station)["kind_by_hand"][0]


def test_doubtful_first_and_accept_goes_on(station, press):
    press(Qt.Key.Key_G)
    assert station.session.selected == {6}  # doubt 0.9
    x, y, zoom = station.view.place()
    assert (x, y) == pytest.approx((341, 200), abs=1)
    assert zoom > 1.5
    press(Qt.Key.Key_G)
    assert station.session.selected == {2}  # 0.7
    press(-Qt.Key.Key_G)
    assert station.session.selected == {6}
    press(Qt.Key.Key_Y)
    assert particles(station)["flags"][5] & FLAGS["looked_at"].bit
    assert station.session.selected == {2}
    assert "2 doubtful pieces to look at" in station.panel.waiting.text()
    assert station.said == []


def test_accepting_everything_comes_to_an_end(station, press):
    press(Qt.Key.Key_G, *[Qt.Key.Key_Y] * 6)
    assert (particles(station)["flags"] & FLAGS["looked_at"].bit).all()
    assert station.said[-1] == "Every piece of this field has been looked at."
    assert station.state_text() == (True, "5 pieces")


def test_the_table_chooses_in_the_picture_and_the_picture_in_the_table(station, mouse, qtbot):
    station.panel.show_page("table")
    table = station.panel.list.view
    assert station.panel.list.model.label_of(0) == 6  # most doubtful first
    qtbot.mouseClick(table.viewport(), LEFT, NONE, table.visualRect(table.model().index(1, 1)).center())
    assert station.session.selected == {2}
    mouse((80, 80))
    chosen = table.selectionModel().selectedRows()
    assert [station.panel.list.model.label_of(i.row()) for i in chosen] == [1]


def test_pointing_is_linked_both_ways(station, qtbot):
    view, panel = station.view, station.panel
    panel.show_page("table")
    qtbot.mouseMove(view.viewport(), view.to_view(QPointF(80, 80)).toPoint())
    row = panel.list.model.view_rows([1])[0]
    lit = panel.list.model.data(panel.list.model.index(row, 0), Qt.ItemDataRole.BackgroundRole)
    assert lit is not None
    before = view.viewport().grab().toImage()
    with qtbot.waitSignal(panel.list.pointed):
        qtbot.mouseMove(
            panel.list.view.viewport(), panel.list.view.visualRect(panel.list.model.index(1, 0)).center()
        )
    assert view.viewport().grab().toImage() != before


def test_a_filter_hides_in_table_and_picture(station):
    station.panel.list.kind.setCurrentIndex(station.panel.list.kind.findData(Kind.SKIN))
    assert station.panel.list.model.rowCount() == 1
    assert station.view.label_at(80, 80) == 0
    assert station.view.label_at(200, 80) == 2


def test_a_bar_lights_its_pieces_and_a_click_chooses_them(station, qtbot):
    histogram = station.histogram
    place = next(x for x in range(histogram.width()) if _holds(histogram, x, 24.0))
    qtbot.mouseMove(histogram, histogram.rect().center() - histogram.rect().center() + _point(place))
    assert (station.pieces.field_id, 1) in station.session.lit
    qtbot.mouseClick(histogram, LEFT, NONE, _point(place))
    assert 1 in station.session.selected


def _holds(histogram, x, size_um):
    place = histogram.class_at(x)
    return place >= 0 and histogram.data.edges_um[place] <= size_um < histogram.data.edges_um[place + 1]


def _point(x):
    from PySide6.QtCore import QPoint

    return QPoint(x, 60)


def test_a_length_carries_its_uncertainty(station, mouse, press):
    press(Qt.Key.Key_L)
    mouse((80, 80), (150, 80), (180, 80))
    tool = station.view.tool
    text = tool._text_of(QPointF(80, 80), QPointF(180, 80))
    value = float(text.split()[0])
    assert value == pytest.approx(100 * UM_PER_PX, abs=0.5)
    assert "±" in text
    assert "µm" in text


def test_escape_puts_the_tool_down_then_lets_go_of_the_choice(station, mouse, press):
    mouse((80, 80))
    press(Qt.Key.Key_C, Qt.Key.Key_Escape)
    assert station.tools.in_hand == "pick"
    assert station.session.selected == {1}
    press(Qt.Key.Key_Escape)
    assert station.session.selected == frozenset()


def test_hiding_the_outlines_and_showing_them_again(station, press):
    before = station.view.viewport().grab().toImage()
    press(Qt.Key.Key_H)
    assert station.view.viewport().grab().toImage() != before
    press(Qt.Key.Key_H)
    assert station.view.viewport().grab().toImage() == before


def test_edits_and_view_survive_reopening(station, hand, mouse, press, qtbot):
    press(Qt.Key.Key_C)
    mouse((341, 160), (341, 240))
    path = station.session.study.path
    station.view.show_place(341, 200, 3.0)
    station.left()
    station.session.close()
    assert station.session.open(path)
    station.entered()
    assert len(station.pieces) == 7
    qtbot.waitUntil(lambda: station.view.image is not None, timeout=20_000)
    assert station.view.place() == pytest.approx((341, 200, 3.0), abs=1)  # the same view again
    station.session.undo()
    assert len(station.pieces) == 6


def test_an_empty_study_says_what_to_do(qtbot, tmp_path):
    session = Session()
    made = Station(session)
    qtbot.addWidget(made)
    session.opened.connect(made.study_opened)
    assert session.create(tmp_path / "empty.gritline")
    made.show()
    made.entered()
    assert made.state_text() == (False, "nothing measured yet")
    with qtbot.waitSignal(made.wants_station) as wanted:
        button = next(b for b in made.findChildren(object) if getattr(b, "text", str)() == "Go to Fields")
        qtbot.mouseClick(button, LEFT)
    assert wanted.args == ["fields"]
    session.shut()


def test_the_discs_of_the_drawn_field_are_where_the_pieces_are(station):
    for (x, y, _radius), label in zip(DISCS[:5], range(1, 6), strict=True):
        assert station.view.label_at(x, y) == label


def test_pieces_chosen_elsewhere_are_shown_and_not_learning(station, press):
    press(Qt.Key.Key_F4)
    assert station.panel.page == "kinds"
    station.session.select([1])
    station.entered()
    assert station.panel.page == "piece"


def test_what_can_be_done_with_a_piece_stands_above_the_reasons(station, mouse):
    mouse((80, 80))
    card = station.panel.piece
    assert station.panel._aside.isVisible()
    assert station.panel._aside.mapTo(card, QPoint()).y() < card.why.y()


def test_no_reason_is_cut_off_where_there_are_many(station, qtbot):
    station.resize(1200, 500)
    for label in particles(station)["label"].tolist():
        station.session.select([label])
        qtbot.wait(10)
        card = station.panel.piece
        for words in (card.sizes, card.state, card.why):
            assert words.isHidden() or words.height() >= words.heightForWidth(words.width())


def test_a_high_column_lists_the_pieces_that_wait_and_a_click_leads_to_one(station, qtbot):
    waits, rows = station.panel.next_ones, station.panel.next_ones.rows
    station.resize(1200, 560)
    qtbot.waitUntil(lambda: not rows.isVisible(), timeout=2000)  # a low column is for the piece
    station.resize(1200, 1100)
    qtbot.waitUntil(rows.isVisible, timeout=2000)
    doubts = [float(rows.topLevelItem(i).text(3).rstrip(" %\u202f")) for i in range(rows.topLevelItemCount())]
    assert len(doubts) > 2
    assert doubts == sorted(doubts, reverse=True)
    third = rows.topLevelItem(2)
    qtbot.mouseClick(rows.viewport(), LEFT, NONE, rows.visualItemRect(third).center())
    assert station.session.selected == {int(third.text(0))}
    assert third.isSelected()
    before = rows.topLevelItemCount()
    station.action("particles.accept").trigger()
    qtbot.waitUntil(lambda: rows.topLevelItemCount() == before - 1, timeout=2000)
    assert station.session.selected == {int(item.text(0)) for item in rows.selectedItems()}
    station.resize(1200, 640)
    qtbot.waitUntil(lambda: not rows.isVisible(), timeout=2000)
    assert waits.height() < 1100
