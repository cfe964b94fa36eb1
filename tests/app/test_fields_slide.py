"""Slides in the Fields station: any of them, the size of a field, dilution and film, what lies on it."""

from pathlib import Path

import pytest

from app import pickers
from app.stations.fields import Station
from measure.sizes.slide_plan import SlidePlan, field_size_mm, plan_slide
from measure.study.records import Slide

from .conftest import HEIGHT, WIDTH


def plan_of(station: Station, slide_id: int) -> SlidePlan:
    return SlidePlan.from_json(station.session.study.setting("slide_plans")[str(slide_id)])


def choose(station: Station, name: str) -> None:
    card = station.plan
    card.slide.setCurrentIndex(card.slide.findText(name))
    card.slide.activated.emit(card.slide.currentIndex())


def test_the_size_of_a_field_comes_from_its_scale(station: Station):
    card = station.plan
    wide, high = field_size_mm(WIDTH, HEIGHT, 0.5)
    assert card.field_width.value() == pytest.approx(wide, abs=0.005)
    assert card.field_height.value() == pytest.approx(high, abs=0.005)
    assert "0.5000" in card.source.text()
    card.fields.setValue(20)
    card.plan_button.click()
    plan = plan_of(station, 1)
    assert plan.field_mm == pytest.approx((wide, high), abs=0.005)
    assert len(plan.places_mm) >= 20
    card.field_width.setValue(8.0)
    card.fields.setValue(30)
    card.plan_button.click()
    assert "do not fit side by side" in station.session.told[-1][1]


def test_any_slide_of_the_batch_can_be_chosen(station: Station):
    card, study = station.plan, station.session.study
    card.plan_button.click()
    choose(station, "new slide…")
    assert [row.slide.name for row in study.slides()] == ["Slide 1", "Slide 2"]
    assert card.slide.currentText() == "Slide 2"
    assert card.map.isHidden()
    card.fields.setValue(4)
    card.plan_button.click()
    card.map.toggled.emit(1)
    choose(station, "Slide 1")
    assert card.fields.value() == 12
    assert plan_of(station, 1).done == ()
    assert plan_of(station, 2).done == (1,)
    card.field_taken()  # that of the slide shown
    assert plan_of(station, 1).done == (0,)
    station.session.undo()
    assert plan_of(station, 1).done == ()


def test_a_field_is_put_on_a_slide_and_shows_its_own(station: Station):
    card, study = station.plan, station.session.study
    study.add_slide(Slide(1, "left dab", film_um=30.0))
    study.add_slide(Slide(1, "right dab", film_um=60.0))
    station._reload()
    box = station.details.slide
    assert [box.itemText(i) for i in range(box.count())] == ["not told", "left dab", "right dab"]
    station.list.choose_field(1)
    box.setCurrentIndex(1)
    box.activated.emit(1)
    assert study.field(1).slide_id == 1
    station.list.choose_field(2)
    station.list.choose_field(1)
    assert card.slide.currentText() == "left dab"
    assert card.film.value() == 30
    assert station._home() == (1, 1)


def test_film_dilution_and_smallest_are_kept_with_the_slide(station: Station):
    card, study = station.plan, station.session.study
    card.plan_button.click()
    assert study.slides()[0].slide.dilution is None
    card.oil_parts.setValue(50)
    card.film.setValue(40)
    card.smallest.setValue(10)
    card.smallest.editingFinished.emit()
    slide = study.slides()[0].slide
    assert (slide.dilution, slide.film_um) == (50, 40)
    assert (plan_of(station, 1).film_um, plan_of(station, 1).smallest_um) == (40, 10)
    # Stokes: 40 um at 0.395 um/s
    assert "Wait 101 s" in card.words.text()


def test_the_map_names_batch_and_slide(station: Station, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    from measure.output import slide_map

    headings, real = [], slide_map.page_text

    def noted(words: str, *more: object, **how: object) -> object:
        headings.append(words)
        return real(words, *more, **how)

    monkeypatch.setattr(slide_map, "page_text", noted)
    card = station.plan
    card.plan_button.click()
    card.map.toggled.emit(0)
    monkeypatch.setattr(pickers, "save", lambda *_: tmp_path / "map.pdf")
    card.print_button.click()
    assert (tmp_path / "map.pdf").read_bytes().startswith(b"%PDF")
    text = "\n".join(headings)
    assert "pass 1, Slide 1" in text
    assert "done (1)" in text
    assert "a field is 0.11 × 0.08 mm" in text
    assert "12:\u00a0" in text


def test_plans_kept_before_fields_had_a_size_are_read():
    kept = plan_slide(6, seed=1).as_json()
    for name in ("field_mm", "film_um", "smallest_um"):
        del kept[name]
    assert SlidePlan.from_json(kept) == plan_slide(6, seed=1)
