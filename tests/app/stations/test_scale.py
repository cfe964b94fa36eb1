"""The Scale station through real clicks and keys."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from PySide6.QtCore import QMimeData, QPoint, QPointF, Qt, QUrl
from PySide6.QtGui import QDropEvent
from PySide6.QtWidgets import QToolButton

from app import pickers
from app.session import Session
from app.stations.scale import Station
from measure.model import Scale
from measure.output.objectives import objectives
from measure.study.records import NewField
from tests.measure.scale.drawn_rulings import PLAIN, draw

LEFT, NONE = Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier
DRAWING = replace(PLAIN, width=640, height=360, um_per_px=0.8, angle_deg=-5.0)


@pytest.fixture(scope="module")
def ruling(tmp_path_factory):
    folder = tmp_path_factory.mktemp("pictures")
    path = folder / "pravítko.png"
    path.write_bytes(cv2.imencode(".png", draw(DRAWING)[..., ::-1])[1].tobytes())
    plain = np.full((200, 300, 3), 200, np.uint8)
    (folder / "oil.png").write_bytes(cv2.imencode(".png", plain)[1].tobytes())
    return path


@pytest.fixture
def station(qtbot, tmp_path):
    session = Session()
    made = Station(session)
    made.resize(1200, 760)
    qtbot.addWidget(made)
    session.opened.connect(made.study_opened)
    made.said = []
    session.message.connect(lambda text, _level: made.said.append(text))
    with qtbot.waitExposed(made):
        made.show()
    assert session.create(tmp_path / "paste.gritline")
    yield made
    session.shut()


def place(i, across_um=30.0):
    """Return where graduation ``i`` lies in the picture, by the drawing's own geometry."""
    a = np.deg2rad(DRAWING.angle_deg)
    t, v = i * 10.0 - DRAWING.centre_um[0], across_um - DRAWING.centre_um[1]
    x, y = t * np.cos(a) - v * np.sin(a), t * np.sin(a) + v * np.cos(a)
    return x / DRAWING.um_per_px + DRAWING.width / 2, y / DRAWING.um_per_px + DRAWING.height / 2


def on_screen(station, i, across_um=30.0):
    return station.picture.view.to_view(QPointF(*place(i, across_um))).toPoint()


def click(qtbot, station, point):
    qtbot.mouseClick(station.picture.view.viewport(), LEFT, NONE, point)


def press(qtbot, button):
    qtbot.mouseClick(button, LEFT)


def typed(qtbot, box, text):
    box.selectAll()
    qtbot.keyClicks(box, text)
    qtbot.keyClick(box, Qt.Key.Key_Return)


def opened(qtbot, station, path, monkeypatch):
    """Open a picture as the user does: by the big button."""
    monkeypatch.setattr(pickers, "picture", lambda *_: path)
    press(qtbot, station.next)
    qtbot.waitUntil(lambda: station.draft is not None and not station.session.tasks.tasks, timeout=20_000)


@pytest.fixture
def found(qtbot, station, ruling, monkeypatch):
    opened(qtbot, station, ruling, monkeypatch)
    assert station.draft.fit is not None
    return station


def test_it_teaches_while_empty(station):
    assert "stage micrometer" in station.picture.view._empty_text
    assert station.state_text() == (False, "no scale yet")
    assert station.next.text() == "Open a picture of a ruling…"
    assert station.next.isEnabled()
    assert not station.action("scale.click").isEnabled()
    assert not station.result.isVisible()


def test_open_find_and_keep(qtbot, found):
    assert "µm per px" in found.result.figure.text()
    assert found.result.figure.text().startswith("0.8000")
    assert "No certificate" in found.result.words.text()
    assert found.picture.chart.isVisible()
    typed(qtbot, found.form.certificate, "0,5")
    typed(qtbot, found.form.zoom, "10x")
    assert "certificate" in found.result.words.text()
    assert found.next.text() == "Keep this scale"
    press(qtbot, found.next)
    (row,) = found.session.study.scales()
    assert row.scale.um_per_px == pytest.approx(0.8, rel=1e-4)
    assert (row.scale.zoom, row.scale.certificate_um, row.scale.width_px) == ("10x", 0.5, 640)
    assert row.has_picture
    assert len(row.fit["lines"]) == row.scale.graduations
    assert found.state_text() == (True, "0.8000\u202fµm per px")
    assert found.next.text() == "Go on to Fields"
    # the kept scale shows its picture and lines again
    assert found.picture.view.image is not None
    assert found.picture.chart.isVisible()
    with qtbot.waitSignal(found.wants_station) as signal:
        press(qtbot, found.next)
    assert signal.args == ["fields"]


def test_another_division_rescales_at_once(qtbot, found):
    typed(qtbot, found.form.division, "20")
    assert found.draft.fit.scale.um_per_px == pytest.approx(1.6, rel=1e-4)
    typed(qtbot, found.form.division, "many")
    assert "no number" in found.form.trouble.text()
    assert found.draft.fit.scale.um_per_px == pytest.approx(1.6, rel=1e-4)


def test_undo_takes_the_scale_back(qtbot, found):
    press(qtbot, found.next)
    found.session.undo()
    assert found.session.study.scales() == []
    assert found.state_text()[0] is False
    assert found.picture.view.image is None
    found.session.redo()
    assert len(found.session.study.scales()) == 1


def test_two_clicks_and_a_length(qtbot, found):
    qtbot.keyClick(found, Qt.Key.Key_C)
    assert found.action("scale.click").isChecked()
    assert found.picture.view._loupe_on
    click(qtbot, found, on_screen(found, 30))
    assert found.marked.isVisible()
    assert found.draft.fit is None
    click(qtbot, found, on_screen(found, 70, 45.0) + QPoint(1, 0))
    assert found.draft.fit is None
    assert found.next.text() == "Type the length"
    typed(qtbot, found.marked.length, "400")
    assert found.draft.fit.scale.um_per_px == pytest.approx(0.8, rel=2e-3)
    assert found.draft.fit.scale.method == "by hand"
    qtbot.mouseClick(found.next, LEFT)
    assert found.session.study.scales()[0].scale.method == "by hand"


def test_a_drag_marks_every_line(qtbot, found):
    tools = found.picture.tools.findChildren(QToolButton)
    press(qtbot, next(b for b in tools if b.defaultAction() is found.action("scale.drag")))
    viewport = found.picture.view.viewport()
    qtbot.mousePress(viewport, LEFT, NONE, on_screen(found, 39.5))
    qtbot.mouseMove(viewport, on_screen(found, 50))
    qtbot.mouseRelease(viewport, LEFT, NONE, on_screen(found, 60.5))
    assert len(found.draft.points_px) == 21
    assert "20 divisions" in found.marked.count.text()
    assert found.marked.length.text() == "200"
    assert found.draft.fit.scale.um_per_px == pytest.approx(0.8, rel=2e-3)
    qtbot.keyClick(found.picture.view, Qt.Key.Key_Backspace)
    assert len(found.draft.points_px) == 20
    qtbot.keyClick(found.picture.view, Qt.Key.Key_X, Qt.KeyboardModifier.ShiftModifier)
    assert not found.draft.by_hand
    assert not found.marked.isVisible()


def test_marking_by_keyboard_alone(qtbot, found):
    view = found.picture.view
    qtbot.keyClick(found, Qt.Key.Key_C)
    for i in (35, 65):
        view.show_place(*place(i))
        qtbot.keyClick(view, Qt.Key.Key_Return)
    assert len(found.draft.points_px) == 2
    typed(qtbot, found.marked.length, "300")
    assert found.draft.fit.scale.um_per_px == pytest.approx(0.8, rel=3e-3)


def test_a_picture_without_a_ruling(qtbot, station, ruling, monkeypatch):
    opened(qtbot, station, ruling.with_name("oil.png"), monkeypatch)
    assert station.draft.fit is None
    assert "no ruling was found" in station.result.doubts.text()
    assert station.action("scale.drag").isChecked()
    assert station.next.text() == "Mark lines in the picture"
    viewport = station.picture.view.viewport()
    qtbot.mousePress(viewport, LEFT, NONE, QPoint(100, 200))
    qtbot.mouseMove(viewport, QPoint(300, 220))
    qtbot.mouseRelease(viewport, LEFT, NONE, QPoint(300, 220))
    assert any("No clear line" in text for text in station.said)
    station.action("scale.drop").trigger()
    assert station.draft is None
    assert station.picture.view.image is None


def test_a_file_that_is_no_picture(qtbot, station, tmp_path, monkeypatch):
    path = tmp_path / "notes.png"
    path.write_text("words")
    monkeypatch.setattr(pickers, "picture", lambda *_: path)
    press(qtbot, station.next)
    qtbot.waitUntil(lambda: bool(station.said), timeout=10_000)
    assert "notes.png is not a picture" in station.said[0]
    assert station.draft is None


def test_a_dropped_picture(qtbot, station, ruling):
    data = QMimeData()
    data.setUrls([QUrl.fromLocalFile(str(ruling))])
    event = QDropEvent(QPointF(100, 100), Qt.DropAction.CopyAction, data, LEFT, NONE)
    station.dropEvent(event)
    qtbot.waitUntil(lambda: station.draft is not None and station.draft.fit is not None, timeout=20_000)


def test_a_typed_scale(qtbot, station):
    typed(qtbot, station.typed.value, "0")
    assert "above zero" in station.typed.trouble.text()
    station.typed.zoom.setText("20x")
    station.typed.spread.setText("0.001")
    typed(qtbot, station.typed.value, "0,325")
    (row,) = station.session.study.scales()
    assert (row.scale.um_per_px, row.scale.standard_uncertainty_um_per_px) == (0.325, 0.001)
    assert (row.scale.zoom, row.scale.method, row.has_picture) == ("20x", "typed", False)
    assert station.result.figure.text().startswith("0.3250 µm per px")


def test_list_names_gives_and_removes(qtbot, station):
    study = station.session.study
    png = cv2.imencode(".png", np.full((30, 40, 3), 200, np.uint8))[1].tobytes()
    study.add_fields([NewField("a.png", png, width_px=40, height_px=30)])
    ids = [
        station.session.do(study.add_scale, Scale(v, 0.001, zoom=z)) for v, z in ((0.5, "10x"), (0.25, "20x"))
    ]
    assert station.scales.list.count() == 2
    assert station.state_text() == (True, "2 scales")
    station.scales.list.setCurrentRow(1)
    assert station.scales.chosen_id() == ids[1]
    typed(qtbot, station.scales.name, "20x, blue filter")
    assert study.scales()[1].scale.zoom == "20x, blue filter"
    assert "20x, blue filter" in station.scales.list.item(1).text()
    assert station.scales.give.text() == "Use it for the 1 field without a scale"
    press(qtbot, station.scales.give)
    assert study.fields()[0].scale_id == ids[1]
    assert "used by 1 field" in station.scales.list.item(1).text()
    assert not station.scales.give.isVisible()
    station.action("scale.remove").trigger()
    assert len(study.scales()) == 2
    assert "scale" in station.said[-1]
    station.scales.list.setFocus()
    qtbot.keyClick(station.scales.list, Qt.Key.Key_Up)
    qtbot.keyClick(station.scales.list, Qt.Key.Key_Delete)
    assert [row.scale.zoom for row in study.scales()] == ["20x, blue filter"]


def test_the_chart_points_at_lines(qtbot, found):
    chart = found.picture.chart
    chart.setFocus()
    qtbot.keyClick(chart, Qt.Key.Key_Right)
    qtbot.keyClick(chart, Qt.Key.Key_Right)
    assert chart._at == 1
    assert "off its place" in chart.toolTip()
    at = chart._places(chart._fit)[10]
    qtbot.mouseClick(chart, LEFT, NONE, QPoint(int(at[0]), int(at[1])))
    assert chart._at == 10
    x0, y0, x1, y1 = found.draft.fit.lines[10]
    x, y, _ = found.picture.view.place()
    assert (x, y) == pytest.approx(((x0 + x1) / 2, (y0 + y1) / 2), abs=2)


def test_everything_has_a_name_and_a_key(station):
    for kind in ("QLineEdit", "QListWidget"):
        for widget in station.findChildren(object):
            if type(widget).__name__ == kind:
                assert widget.accessibleName(), widget
                assert widget.focusPolicy() & Qt.FocusPolicy.TabFocus
    for name in ("open", "find", "click", "drag", "keep", "remove", "lines", "loupe", "fit"):
        assert station.action(f"scale.{name}").shortcuts(), name


def test_the_ends_of_a_plain_bar_and_its_words_make_a_scale(qtbot, station, tmp_path, monkeypatch):
    pixels = np.full((300, 640, 3), 60, np.uint8)
    cv2.rectangle(pixels, (200, 250), (520, 252), (255, 255, 255), -1)  # no ticks at its ends
    path = tmp_path / "bar.png"
    path.write_bytes(cv2.imencode(".png", pixels)[1].tobytes())
    opened(qtbot, station, path, monkeypatch)
    assert "click both ends of the bar" in station.result.words.text()
    assert station.next.text() == "Click both ends of the bar"
    press(qtbot, station.next)
    assert station.action("scale.click").isChecked()
    for x in (200, 520):
        click(qtbot, station, station.picture.view.to_view(QPointF(x, 251)).toPoint())
    typed(qtbot, station.marked.length, "1,0 mm")
    assert station.draft.fit is not None, station.draft.trouble
    assert station.draft.fit.scale.um_per_px == pytest.approx(1000 / 320, rel=0.01)


def test_marking_by_hand_ends_the_search(qtbot, found):
    found.making.search()
    assert found.session.tasks.busy("ruling") or found.session.tasks.tasks
    qtbot.keyClick(found, Qt.Key.Key_C)
    for i in (10, 40):
        click(qtbot, found, on_screen(found, i))
    assert not found.session.tasks.tasks
    assert len(found.draft.points_px) == 2
    assert found.next.isEnabled()


def test_the_objective_is_told_with_its_scale(qtbot, station):
    study = station.session.study
    first, second = (
        station.session.do(study.add_scale, Scale(v, 0.001, zoom=z)) for v, z in ((0.5, "10x"), (0.25, "20x"))
    )
    station.scales.list.setCurrentRow(0)
    assert station.scales.na.text() == ""
    assert station.scales.shows.isHidden()
    typed(qtbot, station.scales.na, "0,25")
    assert objectives(study) == {first: 0.25}
    assert "sizes hold from 2.7 µm on" in station.scales.shows.text().replace("\u202f", " ")
    typed(qtbot, station.scales.na, "25")
    assert "between 0.005 and 1.6" in station.scales.shows.text()
    assert objectives(study) == {first: 0.25}
    station.scales.list.setCurrentRow(1)
    assert station.scales.na.text() == ""
    station.scales.list.setCurrentRow(0)
    assert station.scales.na.text() == "0.25"
    station.session.undo()
    assert station.scales.na.text() == ""
    station.session.redo()
    station.scales.na.clear()
    qtbot.keyClick(station.scales.na, Qt.Key.Key_Return)
    assert objectives(study) == {}
    assert second not in objectives(study)


def test_a_high_window_lists_the_fields_of_the_scale(station, qtbot):
    study, session = station.session.study, station.session
    scale = session.do(study.add_scale, Scale(0.5, zoom="10x", width_px=300, height_px=200))
    station.resize(1900, 1040)
    qtbot.wait(30)
    assert station.fields.isHidden()  # it has none
    data = [cv2.imencode(".png", np.full((200, 300 + k, 3), 200, np.uint8))[1].tobytes() for k in (0, 10)]
    new = [NewField(f"{k}.png", d, None, scale, None, 300 + 10 * k, 200) for k, d in enumerate(data)]
    ids = session.do(study.add_fields, new)
    qtbot.wait(30)
    assert station.fields.isVisible()
    listed = [station.fields.list.item(k).text() for k in range(station.fields.list.count())]
    assert listed[0] == "0.png"
    assert listed[1].startswith("1.png   310")
    assert station.fields.words.text() == "1 field of another picture size than it: look at it again."
    assert station.column.height() - station.fields.geometry().bottom() < 30
    shown, wanted = [], []
    session.field_shown.connect(shown.append)
    station.wants_station.connect(wanted.append)
    station.fields.list.itemActivated.emit(station.fields.list.item(1))
    assert (shown, wanted) == ([ids[1]], ["fields"])
    station.resize(1200, 560)
    qtbot.wait(30)
    assert station.fields.isHidden()
