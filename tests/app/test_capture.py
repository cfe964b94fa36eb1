"""Taking fields with a simulated camera, and what the Fields station says of repeats, marks and plans."""

from pathlib import Path

import cv2
import numpy as np
import pytest
from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtGui import QImage
from pytestqt.qtbot import QtBot

from app import camera, pickers
from app.stations.fields import Station
from app.window import Window
from measure.model import Scale
from measure.picture_file import read_picture
from measure.picture_png import png_words
from measure.render import Recipe, render_field
from measure.render.recipe import Arrangement, Sizes
from measure.render.walk import cut_window, render_stack
from measure.sizes.slide_plan import SlidePlan
from measure.study.records import Batch, NewField
from measure.study.study import Study

from .conftest import HEIGHT, WIDTH, drawn_field, png

# video libraries of the system say so where they miss a graphics card
pytestmark = pytest.mark.qt_log_ignore(r"Couldn't (load|resolve) va", "No RHI backend", extend=True)

WIDE = Recipe(
    width_px=760, height_px=420, um_per_px=0.65, sizes=Sizes(26.0, 1.4, 8.0, 60.0),
    arrangement=Arrangement(cover=0.08),
)  # fmt: skip


@pytest.fixture
def frames(tmp_path: Path) -> Path:
    folder = tmp_path / "microscope"
    folder.mkdir()
    for seed in (21, 22, 23):
        (folder / f"{seed}.png").write_bytes(png(drawn_field(seed)))
    return folder


def idle(station: Station) -> bool:
    return not station.session.tasks.tasks and not station.session.measuring.under_way


def start(station: Station, folder: Path, qtbot: QtBot) -> None:
    station.action("fields.camera").trigger()
    station.capture.open_folder(folder)
    qtbot.waitUntil(lambda: station.capture.words.text() != "", timeout=8000)


def test_without_a_camera_a_note_says_what_to_do(station: Station, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr("app.stations.capture.devices", list)
    station.action("fields.camera").trigger()
    assert station.stage.currentWidget() is station.capture
    assert station.plan.isVisibleTo(station)
    assert station.details.isHidden()
    assert "No camera is plugged in" in station.capture.view._empty_text
    station.action("fields.take").trigger()
    assert "no live picture" in station.session.told[-1][1]
    station.action("fields.camera").trigger()
    assert station.stage.currentWidget() is station.picture
    assert not station.details.isHidden()


def test_a_field_is_taken_lossless_with_how_it_was_taken(station: Station, frames: Path, qtbot: QtBot):
    start(station, frames, qtbot)
    capture = station.capture
    assert capture.words.text() == "4 pieces"
    assert capture.focus.value() > 50
    assert capture.cover_words.text().startswith("Cover ")
    qtbot.keyClick(station, Qt.Key.Key_T)
    study = station.session.study
    qtbot.waitUntil(lambda: len(study.fields()) == 3, timeout=8000)
    row = study.fields()[-1]
    assert (row.name, row.batch_id, row.scale_id) == ("field 1.png", 1, 1)
    data = study.field_bytes(row.id)
    taken = read_picture(data).pixels
    assert any(np.array_equal(taken, drawn_field(seed)) for seed in (21, 22, 23))
    words = png_words(data)
    assert words["Source"] == "folder microscope, files, 220 x 160 px, 10x"
    assert "Creation Time" in words
    assert station.session.study.setting("camera_of_scale") == {"1": words["Source"]}
    station.action("fields.camera").trigger()
    assert not capture.source.running
    station.session.undo()
    assert len(study.fields()) == 2


def test_outlines_lie_over_a_picture_that_keeps_still(station: Station, tmp_path: Path, qtbot: QtBot):
    folder = tmp_path / "still"
    folder.mkdir()
    (folder / "a.png").write_bytes(png(drawn_field(6)))
    start(station, folder, qtbot)
    shown = []
    station.capture.view.set_preview = shown.append
    qtbot.waitUntil(lambda: bool(shown), timeout=5000)
    assert {len(outlines) for outlines in shown} == {4}


def test_light_that_spoils_a_field_is_told_while_focusing(station: Station, tmp_path: Path, qtbot: QtBot):
    folder = tmp_path / "orange"
    folder.mkdir()
    pixels = drawn_field(6).astype(float) * [1.0, 0.75, 0.2]
    pixels[:, :60] = 255
    (folder / "a.png").write_bytes(png(pixels.astype(np.uint8)))
    start(station, folder, qtbot)
    said = station.capture.light.text()
    assert station.capture.light.isVisible()
    assert "is burnt out: change the exposure" in said
    assert "white balance" in said


def test_a_frame_of_another_size_is_refused_with_the_reason(station: Station, tmp_path: Path, qtbot: QtBot):
    folder = tmp_path / "small"
    folder.mkdir()
    (folder / "a.png").write_bytes(png(drawn_field(5, size=(200, 150))))
    start(station, folder, qtbot)
    assert "gives 200 x 150 px" in station.capture.refusal.text()
    station.action("fields.take").trigger()
    assert "220 x 160" in station.session.told[-1][1]
    assert len(station.session.study.fields()) == 2


def test_another_camera_than_the_scale_was_tied_to_is_refused(station: Station, frames: Path, qtbot: QtBot):
    tied = {"1": "camera 7, MJPG, 220 x 160 px, 10x"}
    station.session.do(station.session.study.set_setting, "camera_of_scale", tied, "Tie")
    start(station, frames, qtbot)
    assert "tied to camera 7" in station.capture.refusal.text()


def test_a_camera_that_cannot_be_opened_is_told(
    station: Station, monkeypatch: pytest.MonkeyPatch, qtbot: QtBot
):
    monkeypatch.setattr(camera, "QtMultimedia", None)
    monkeypatch.setattr("app.stations.capture.devices", lambda: [camera.Device("camera 98", (), 97)])
    station.action("fields.camera").trigger()
    station.capture.device.setCurrentIndex(1)
    station.capture.device.activated.emit(1)
    qtbot.waitUntil(lambda: "There is no camera 98" in station.capture.view._empty_text, timeout=8000)
    assert not station.capture.source.running


def test_images_become_frames_whatever_their_padding():
    pixels = drawn_field(3)[:, :219]
    image = QImage(np.ascontiguousarray(pixels).data, 219, HEIGHT, 3 * 219, QImage.Format.Format_RGB888)
    assert np.array_equal(camera.frame_of(image.convertToFormat(QImage.Format.Format_RGB32)), pixels)


@pytest.mark.skipif(camera.QtMultimedia is None, reason="QtMultimedia is not installed here")
def test_frames_of_a_video_sink_arrive(station: Station, qtbot: QtBot):
    multimedia = camera.QtMultimedia
    source, got = station.capture.source, []
    source.frame.connect(got.append)
    sink = multimedia.QVideoSink()
    sink.videoFrameChanged.connect(source.sink_frame)
    pixels = drawn_field(4)
    image = QImage(pixels.data, WIDTH, HEIGHT, 3 * WIDTH, QImage.Format.Format_RGB888)
    sink.setVideoFrame(multimedia.QVideoFrame(image))
    qtbot.waitUntil(lambda: bool(got), timeout=3000)
    assert np.array_equal(got[0], pixels)


# several fields -------------------------------------------------------------------------------------------


@pytest.fixture
def walked(window: Window, tmp_path: Path, qtbot: QtBot) -> Station:
    """Return the station on a study of two overlapping fields, and the first stored anew."""
    drawn = render_field(WIDE, 5)
    cuts = [
        cut_window(drawn, (x, 210), (420, 360), a, seed=i) for i, (x, a) in enumerate(((230, 0), (430, 1)))
    ]
    again = cv2.imencode(".jpg", cuts[0].pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 80])[1].tobytes()
    path = tmp_path / "walk.gritline"
    with Study.create(path) as study:
        batch = study.add_batch(Batch("pass 3"))
        scale = study.add_scale(Scale(0.65, width_px=420, height_px=360))
        named = {"w1.png": png(cuts[0].pixels), "w2.png": png(cuts[1].pixels), "w1 copy.jpg": again}
        study.add_fields(
            [NewField(n, d, batch, scale, width_px=420, height_px=360) for n, d in named.items()]
        )
    assert window.session.open(path)
    window.go("fields")
    qtbot.waitUntil(lambda: window.session.picture() is not None, timeout=5000)
    return window.stations["fields"]


def test_copies_are_named_and_shared_pieces_counted_once(walked: Station, qtbot: QtBot):
    study = walked.session.study
    walked.list.choose_fields([1, 2])
    walked._measure_chosen()
    qtbot.waitUntil(lambda: idle(walked), timeout=60000)
    before = [row.counts.counted for row in study.fields()]
    walked.list.choose_field(1)
    walked.action("fields.repeats").trigger()
    qtbot.waitUntil(lambda: idle(walked), timeout=20000)
    assert "w1 copy.jpg is w1.png stored anew" in walked.several.words.text()
    after = [row.counts.counted for row in study.fields()]
    assert sum(after) < sum(before)
    reasons = [r for i in (1, 2) for r in study.particles(i)["set_aside"] if r.startswith("also on")]
    assert len(reasons) == sum(before) - sum(after)
    assert len(walked.picture.view._marks._marks.lines) >= 4
    assert any("also on w2.png" in label[2] for label in walked.picture.view._marks._marks.labels)
    walked.session.undo()  # one step
    assert [row.counts.counted for row in study.fields()] == before
    walked.session.redo()
    # measured again, the shared pieces are taken out again
    walked.list.choose_fields([1, 2])
    walked._measure_chosen()
    qtbot.waitUntil(lambda: idle(walked), timeout=60000)
    assert [row.counts.counted for row in study.fields()] == after


def test_a_copy_is_noticed_as_it_is_added(walked: Station, tmp_path: Path, qtbot: QtBot):
    study = walked.session.study
    walked.session.do(study.remove_fields, [3])
    offers: list[tuple] = []
    walked.session.offered.connect(lambda *offer: offers.append(offer))
    pixels = read_picture(study.field_bytes(2), "").pixels
    small = cv2.resize(pixels, None, fx=0.6, fy=0.6, interpolation=cv2.INTER_AREA)
    (tmp_path / "small.png").write_bytes(png(small))
    (tmp_path / "other.png").write_bytes(png(render_field(WIDE, 9).pixels))
    walked._add([tmp_path / "small.png", tmp_path / "other.png"])
    qtbot.waitUntil(lambda: bool(offers), timeout=10000)
    text, button, remove = offers[0]
    assert text.startswith("small.png shows the same picture as w2.png")
    assert (button, len(offers)) == ("Remove the copy", 1)
    remove()
    assert [row.name for row in study.fields()] == ["w1.png", "w2.png", "other.png"]


def test_overlapping_fields_join_into_a_wide_one(walked: Station, qtbot: QtBot):
    walked.list.choose_fields([1, 2])
    walked.action("fields.join").trigger()
    study = walked.session.study
    qtbot.waitUntil(lambda: len(study.fields()) == 4, timeout=20000)
    rows = {row.name: row for row in study.fields()}
    wide = rows["w1 joined.png"]
    assert wide.width_px > 580
    assert wide.zones
    assert wide.note.startswith("Joined from w1.png, w2.png")
    assert [rows[n].role for n in ("w1.png", "w2.png", "w1 copy.jpg")] == ["part", "part", "field"]
    assert walked.session.current_field_id == wide.id
    walked.session.undo()
    assert [row.role for row in study.fields()] == ["field"] * 3


def test_fields_that_do_not_overlap_are_not_joined(station: Station, qtbot: QtBot):
    station.list.choose_fields([1])
    station.action("fields.join").trigger()
    assert "Choose two or more" in station.session.told[-1][1]


def test_heights_of_focus_fuse_into_a_sharper_field(window: Window, tmp_path: Path, qtbot: QtBot):
    recipe = Recipe(width_px=420, height_px=360, sizes=Sizes(26.0, 1.4, 10.0, 60.0))
    stack = render_stack(recipe, 3, (-12.0, 0.0, 12.0))
    path = tmp_path / "stack.gritline"
    with Study.create(path) as study:
        new = [NewField(f"h{i}.png", png(d.pixels), width_px=420, height_px=360) for i, d in enumerate(stack)]
        study.add_fields(new)
    window.session.open(path)
    window.go("fields")
    station = window.stations["fields"]
    station.list.choose_fields([1, 2, 3])
    station.action("fields.fuse").trigger()
    qtbot.waitUntil(lambda: len(window.session.study.fields()) == 4, timeout=20000)
    row = window.session.study.fields()[-1]
    assert (row.name, row.width_px, row.role) == ("h0 fused.png", 420, "field")
    assert "SHA-256" in row.note


def test_burnt_in_marks_are_proposed_and_the_bar_is_checked(window: Window, tmp_path: Path, qtbot: QtBot):
    pixels = drawn_field(8, size=(400, 300))
    cv2.rectangle(pixels, (250, 270), (349, 273), (0, 0, 0), -1)
    path = tmp_path / "bar.gritline"
    with Study.create(path) as study:
        scale = study.add_scale(Scale(0.5, zoom="10x"))
        plain = drawn_field(9, size=(400, 300))
        study.add_fields(
            [
                NewField(name, png(data), None, scale, width_px=400, height_px=300)
                for name, data in (("bar.png", pixels), ("plain.png", plain))
            ]
        )
    window.session.open(path)
    window.go("fields")
    station = window.stations["fields"]
    station.list.choose_field(1)
    qtbot.waitUntil(lambda: window.session.picture() is not None, timeout=5000)
    station.action("fields.marks").trigger()
    care = station.care
    qtbot.waitUntil(lambda: not care.marks.isHidden(), timeout=8000)
    assert "100 px long" in care.marks_words.text()
    for typed, word in (("50 µm", "agrees"), ("50", "no unit"), ("5 um", "ten times"), ("soon", "no length")):
        care.label.setText(typed)
        qtbot.keyClick(care.label, Qt.Key.Key_Return)
        assert word in care.check.text(), typed
    care.everywhere.click()
    rows = window.session.study.fields()
    assert [len(row.zones) for row in rows] == [1, 1]
    window.session.undo()
    care.leave_out.setEnabled(True)
    care.leave_out.click()
    row, other = window.session.study.fields()
    assert len(other.zones) == 0
    assert len(row.zones) == 1
    assert row.zones[0].max(axis=0) == pytest.approx([354, 278], abs=4)


def test_advice_and_agreement_stand_beside_the_field(station: Station, qtbot: QtBot):
    assert station.care.title.isHidden()
    station._measure_rest()
    qtbot.waitUntil(lambda: idle(station), timeout=60000)
    station.list.choose_field(1)
    assert station.care.title.text() in ("Keep this field", "Keep it, with care", "Better take it again")
    assert "fewer than four" in station.care.batch.text()


def test_the_slide_is_planned_and_places_are_ticked(
    station: Station, tmp_path: Path, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
):
    card = station.plan
    station.list.choose_field(1)
    card.plan_button.click()
    study = station.session.study
    slide = study.slides()[0]
    plan = SlidePlan.from_json(study.setting("slide_plans")[str(slide.id)])
    assert len(plan.places_mm) == 12
    assert "8 min" in card.words.text()
    card.map.resize(240, 200)
    shown = card.map.grab().toImage()
    assert shown.pixelColor(*map(int, card.map._points(card.map._plan)[4].toTuple())) != shown.pixelColor(
        12, 12
    )
    point = card.map._points(card.map._plan)[2]
    qtbot.mouseClick(card.map, Qt.MouseButton.LeftButton, pos=QPoint(*map(int, QPointF(point).toTuple())))
    assert "1 of 12 fields done" in card.done.text()
    card.field_taken()
    assert SlidePlan.from_json(study.setting("slide_plans")[str(slide.id)]).done == (0, 2)
    monkeypatch.setattr(pickers, "save", lambda *_: tmp_path / "map.pdf")
    card.print_button.click()
    assert (tmp_path / "map.pdf").read_bytes().startswith(b"%PDF")
