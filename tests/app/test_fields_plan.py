"""Planning the dilution and the count in the Fields station: what is known, typed, and comes of it."""

from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from app import number_text
from app.stations.fields import Station
from app.stations.plan_count import SETTING
from app.window import Window
from measure.output.objectives import keep_objective
from measure.sizes.plan import PlanRequest, plan_measurement
from measure.sizes.slide_plan import SlidePlan
from measure.study.study import Study

from .conftest import HEIGHT, WIDTH
from .sizes_study import make_sizes_study

FRAME_UM = (WIDTH * 0.5, HEIGHT * 0.5)


@pytest.fixture
def planning(station: Station) -> Station:
    """The station with the plan in view; nothing of its study is measured."""
    station.action("fields.plan").trigger()
    return station


@pytest.fixture
def measured(window: Window, tmp_path: Path) -> Station:
    """The station on a study with two measured batches."""
    assert window.session.open(make_sizes_study(tmp_path / "sizes.gritline", 60))
    window.go("fields")
    station = window.stations["fields"]
    station.action("fields.plan").trigger()
    return station


def type_in(station: Station, **texts: str) -> None:
    """Type into boxes as a person does, leaving each."""
    for name, text in texts.items():
        line = station.count.form.boxes[name].line
        line.setText(text)
        line.editingFinished.emit()


def offered(station: Station, name: str) -> str:
    return station.count.form.boxes[name].line.placeholderText()


def kept(station: Station) -> dict:
    return station.session.study.setting(SETTING, {}).get("numbers", {})


def test_it_opens_by_key_button_and_advice_and_leaves_with_the_station(
    open_window: Window, station: Station, qtbot: QtBot
):
    qtbot.keyClick(station.list, Qt.Key.Key_D)
    assert station.stage.plan_on
    assert station.list.isHidden()
    assert station.count.form.isVisibleTo(station)
    assert station.plan.isVisibleTo(station)
    assert station.details.isHidden()
    station.action("fields.camera").trigger()
    assert station.stage.camera_on
    assert not station.action("fields.plan").isChecked()
    assert station.count.form.isHidden()
    station.plan.count_button.click()
    assert station.stage.plan_on
    assert not station.action("fields.camera").isChecked()
    open_window.go("sizes")
    open_window.go("fields")
    assert not station.stage.plan_on
    assert station.stage.currentWidget() is station.picture
    assert station.list.isVisibleTo(station)
    open_window.session.close()
    assert not station.action("fields.plan").isEnabled()


def test_it_is_offered_where_there_is_no_field_yet(window: Window, tmp_path: Path):
    assert window.session.create(tmp_path / "new.gritline")
    window.go("fields")
    station = window.stations["fields"]
    assert station.advice.isVisibleTo(station)
    station.action("fields.plan").trigger()
    assert station.advice.isHidden()
    page = station.count.page
    assert page.fields.value.text() == "40 fields"
    assert not station.count.form.like.isEnabled()
    assert "A guess" in station.count.form.like_words.text()
    assert window.session.study.undo_text() is None  # looking keeps nothing


def test_what_the_study_knows_stands_for_what_is_not_typed(planning: Station):
    form = planning.count.form
    assert (offered(planning, "field_width_um"), offered(planning, "field_height_um")) == ("110", "80")
    assert offered(planning, "smallest_um") == "5"  # ten px
    assert offered(planning, "na") == "not asked"
    assert form.scale.currentText().startswith("10x, 110 × 80")
    keep_objective(planning.session.study, 1, 0.25)
    planning.count.refresh()
    assert offered(planning, "na") == "0.25"
    assert "The objective (NA 0.25)" in planning.count.page.steps.text()
    # the same numbers as the command gives
    plan = plan_measurement(PlanRequest(median_um=20, sigma_g=1.6, figure="volume.x50_um", frame_um=FRAME_UM))
    page = planning.count.page
    assert page.fields.value.text() == number_text.count(plan.fields, "field")
    assert page.pieces.value.text() == number_text.count(plan.pieces_model_free, "piece")
    assert page.oil.value.text() == f"{plan.oil_mass:.0f} parts"
    assert "large for a field of 110 × 80 µm" in page.careful.text()
    form.scale.setCurrentIndex(form.scale.findText("no scale"))
    form.scale.activated.emit(form.scale.currentIndex())
    assert offered(planning, "field_width_um") == "1200"
    assert offered(planning, "na") == "not asked"


def test_what_is_typed_is_kept_and_can_be_undone(planning: Station):
    study, page = planning.session.study, planning.count.page
    type_in(planning, median_um="12", sigma_g="1,5", relative_error="5", cover="2")
    assert kept(planning) == {"median_um": 12, "sigma_g": 1.5, "relative_error": 0.05, "cover": 0.02}
    assert study.undo_text() == "Change the plan of the count"
    plan = plan_measurement(
        PlanRequest(
            median_um=12, sigma_g=1.5, figure="volume.x50_um", frame_um=FRAME_UM, relative_error=0.05,
            cover=0.02,
        )
    )  # fmt: skip
    assert page.fields.value.text() == number_text.count(plan.fields, "field")
    assert "within ±5" in page.pieces.words.text()
    planning.session.undo()
    assert "cover" not in kept(planning)
    assert planning.count.form.boxes["cover"].line.text() == ""
    planning.session.redo()
    assert planning.count.form.boxes["cover"].line.text() == "2"
    type_in(planning, median_um="")  # emptied, what is usual stands for it again
    assert "median_um" not in kept(planning)
    entries = [entry.text for entry in study.edit_log()]
    assert "Change the plan of the count" in entries
    path = study.path
    planning.session.close()
    with Study.open(path) as again:
        assert again.setting(SETTING)["numbers"]["sigma_g"] == 1.5


@pytest.mark.parametrize(
    ("name", "text", "told"),
    [
        ("median_um", "fine", "Median: “fine” is no number."),
        ("median_um", "0", "Median: a number from 0.5 to 5000 µm."),
        ("sigma_g", "1", "Spread: a number from 1.01 to 10 times."),
        ("na", "3", "Aperture (NA): a number from 0.005 to 1.6."),
        ("slides", "2.5", "Slides: a whole number from 1 to 50."),
        ("magnification", "10", "Tells nothing without the aperture above."),
        ("camera_px_um", "3", "Tells nothing without aperture and magnification."),
        ("grains_share", "1", "Give their largest size below, too."),
        ("grains_um", "300", "Give their share of the mass above, too."),
        ("grain_g_per_cm3", "2", "Tells nothing without coarse grains."),
    ],
)
def test_what_is_wrong_is_said_beside_its_box(planning: Station, name: str, text: str, told: str):
    page, box = planning.count.page, planning.count.form.boxes[name]
    type_in(planning, **{name: text})
    assert box.fault.text() == told
    assert box.fault.isVisibleTo(planning)
    assert page.whole is None
    assert "Put right what is marked" in page.trouble.text()
    assert told in page.trouble.text()
    assert not page._answer.isVisibleTo(page)
    assert sum(one.at_fault for one in planning.count.form.boxes.values()) == 1
    type_in(planning, **{name: ""})
    assert page.whole is not None
    assert not box.fault.isVisibleTo(planning)


def test_what_was_kept_outlives_a_slip(planning: Station):
    type_in(planning, median_um="12")
    type_in(planning, median_um="12x", cover="2")
    assert kept(planning) == {"median_um": 12, "cover": 0.02}
    assert planning.count.form.boxes["median_um"].line.text() == "12x"
    assert planning.count.page.whole is None
    type_in(planning, median_um="13")
    assert kept(planning)["median_um"] == 13
    assert planning.count.page.whole is not None


def test_the_label_of_a_paste_tells_its_solids(planning: Station):
    form, page = planning.count.form, planning.count.page
    choice = form.solids_from
    choice.setCurrentIndex(choice.findData("label"))
    choice.activated.emit(choice.currentIndex())
    assert form.boxes["fat"].isVisibleTo(planning)
    assert not form.boxes["solids"].isVisibleTo(planning)
    assert "Type what the label says" in form.label_words.text()
    type_in(planning, fat="49.7", protein="20")
    assert "adds up to 69.7 %" in form.label_words.text()
    assert page.whole is None
    type_in(planning, protein="25", carbohydrate="13.1", fibre="8.4", ash="3", water="1.5")
    assert number_text.percent(0.4016) in form.label_words.text()  # as the command's own test has it
    assert "40 % of its volume is solids" in page.basis.text()


def test_what_is_coarse_or_rare_and_the_objective_are_told(planning: Station):
    type_in(planning, above_um="60", rare_share="1", grains_share="1", grains_um="600")
    type_in(planning, na="0.25", magnification="10", camera_px_um="5")
    said = planning.count.page.steps.text()
    for words in ("are above 60 µm", "A kind that is 1 %", "Grains up to 600 µm", "It is sharp over 16 µm"):
        assert words in said
    assert "," not in said.split("needs")[1][:8]  # thousands are set off as everywhere in the window


def test_the_batch_measured_last_says_what_to_expect_and_how_surely(measured: Station, qtbot: QtBot):
    form, page = measured.count.form, measured.count.page
    assert form.like.currentText() == "pass 6"
    qtbot.waitUntil(lambda: page.whole is not None and page.whole.likely is not None, timeout=20_000)
    assert float(offered(measured, "median_um")) == pytest.approx(7.3, rel=0.15)  # 7 µm, cut at 4 µm
    assert 1.3 < float(offered(measured, "sigma_g")) < 1.55
    assert form.like_words.text().startswith("pass 6: median ")
    assert page.oil.span.text().startswith("perhaps ")
    assert "known only within limits" in page.basis.text()
    assert page.chart.chart.low
    assert offered(measured, "film_um") == "60"  # of the slides before
    form.like.setCurrentIndex(form.like.findText("pass 1"))
    form.like.activated.emit(form.like.currentIndex())
    assert float(offered(measured, "median_um")) == pytest.approx(34, rel=0.15)
    assert measured.session.study.setting(SETTING)["batch"] == 1
    type_in(measured, median_um="30", sigma_g="1.4")  # what is typed has no limits
    assert page.whole.likely is None
    assert "The spread decides" in page.basis.text()
    form.like.setCurrentIndex(form.like.findText("no batch"))
    form.like.activated.emit(form.like.currentIndex())
    assert offered(measured, "median_um") == "20"


def test_slides_are_made_of_it_in_one_step(planning: Station):
    study, page = planning.session.study, planning.count.page
    type_in(planning, median_um="3", sigma_g="1.3", film_um="40", slides="2")
    oil = round(page.whole.plan.oil_mass)
    assert page.make.text() == "Make 2 slides"
    page.make.click()
    slides = study.slides()
    assert [row.slide.name for row in slides] == ["Slide 1", "Slide 2"]
    assert {(row.slide.dilution, row.slide.film_um) for row in slides} == {(oil, 40)}
    batch = next(row for row in study.batches() if row.id == slides[0].slide.batch_id)
    assert batch.batch.name == "Batch 1"
    plans = [SlidePlan.from_json(plan) for plan in study.setting("slide_plans").values()]
    each = -(-page.whole.plan.fields // 2)
    assert [len(plan.places_mm) >= each for plan in plans] == [True, True]
    assert plans[0].field_mm == pytest.approx((FRAME_UM[0] / 1000, FRAME_UM[1] / 1000))
    assert plans[0].start_mm != plans[1].start_mm
    # the card of the slide shows what was made, and the next ones go to the same batch
    assert planning.plan.slide.currentText() == "Slide 2"
    assert planning.plan.oil_parts.value() == oil
    assert page.batch.currentText() == "of Batch 1"
    planning.session.undo()
    assert study.slides() == []
    assert study.setting("slide_plans", None) is None
    assert [row.batch.name for row in study.batches()] == ["pass 1"]


def test_more_fields_than_a_slide_holds_are_refused_beside_the_button(planning: Station):
    page = planning.count.page
    type_in(planning, sigma_g="2.5", slides="1")
    page.make.click()
    assert "more than anyone takes" in page.fault.text()
    assert planning.session.study.slides() == []
    type_in(planning, sigma_g="1.1", field_width_um="9000", field_height_um="9000")
    page.make.click()
    assert "do not fit side by side" in page.fault.text()


def test_the_plan_is_copied_as_text(planning: Station):
    type_in(planning, median_um="12")
    planning.count.page.copy.click()
    text = QGuiApplication.clipboard().text()
    for words in ("of oil by mass to 1 part of paste", "1. Stir the jar", "never go back to food"):
        assert words in text


def test_a_study_for_reading_shows_its_plan_and_keeps_nothing(open_window: Window, tmp_path: Path):
    station = open_window.stations["fields"]
    station.action("fields.plan").trigger()
    type_in(station, median_um="12")
    path = Path(open_window.session.study.path)
    open_window.session.close()
    beside = path.with_name("read only.gritline")
    beside.write_bytes(path.read_bytes())
    study = Study.open(beside, read_only=True)
    open_window.session._replace(study)
    open_window.go("fields")
    station.action("fields.plan").trigger()
    box = station.count.form.boxes["median_um"]
    assert box.line.text() == "12"
    assert box.line.isReadOnly()
    assert station.count.page.whole is not None
    assert not station.count.page.make.isEnabled()


@pytest.mark.parametrize("size", [(1280, 800), (1920, 1080)])
def test_a_field_is_sketched_as_full_as_planned(
    open_window: Window, planning: Station, qtbot: QtBot, size: tuple[int, int]
):
    open_window.resize(*size)
    type_in(planning, median_um="3", cover="3", field_width_um="1000", field_height_um="800")
    sketch = planning.count.page.sketch
    covered = 3.14159 * (sketch.discs[:, 2] ** 2).sum() / (1000 * 800)
    assert covered == pytest.approx(0.03, rel=0.1)
    qtbot.wait(20)
    assert not sketch.grab().isNull()
    area = planning.count.page.area
    assert area.widget().minimumSizeHint().width() <= area.viewport().width()  # nothing is cut off sideways


def tab_round(window: Window, qtbot: QtBot) -> list[str]:
    """Return the names of what Tab goes through, once round."""
    first, found = QApplication.focusWidget(), []
    for _ in range(90):
        widget = QApplication.focusWidget()
        if found and widget is first:
            return found
        found.append(widget.accessibleName() or widget.text())
        qtbot.keyClick(widget, Qt.Key.Key_Tab)
    raise AssertionError(f"Tab never comes round: {found[-3:]}")


def test_tab_reaches_all_there_is_with_the_plan_and_without(
    open_window: Window, station: Station, qtbot: QtBot
):
    open_window.activateWindow()
    qtbot.waitUntil(open_window.isActiveWindow)
    station.setFocus()
    assert station.list.hasFocus()
    round_ = tab_round(open_window, qtbot)
    for name in ("Next field", "Outlines", "Plan dilution and count", "Add pictures", "Fields by batch"):
        assert name in round_
    station.action("fields.plan").trigger()
    assert station.count.form.boxes["median_um"].line.hasFocus()
    round_ = tab_round(open_window, qtbot)
    for name in ("Scale", "Grain density", "Copy the plan", "Batch of the slides", "Make 3 slides"):
        assert name in round_
    assert "Like" not in round_  # no batch is measured, so there is nothing to choose
    qtbot.keyClick(QApplication.focusWidget(), Qt.Key.Key_Escape)
    assert not station.stage.plan_on
    assert QApplication.focusWidget() in (station.picture.view, station.list)


def test_a_letter_typed_into_a_box_is_no_key_of_the_station(planning: Station, qtbot: QtBot):
    line = planning.count.form.boxes["median_um"].line
    qtbot.keyClicks(line, "1d")
    assert line.text() == "1d"
    assert planning.stage.plan_on
    qtbot.keyClick(line, Qt.Key.Key_Return)
    assert planning.count.form.boxes["median_um"].fault.text() == "Median: “1d” is no number."
