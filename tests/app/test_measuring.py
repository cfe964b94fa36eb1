"""Measuring in the background: committed as it comes, cancelled politely, never over newer work."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from pytestqt.qtbot import QtBot

from app import jobs
from app.session import Session
from app.stations.fields_words import stale_words
from measure.errors import InvalidInput
from measure.field.pipeline import measure_field
from measure.model import FieldSettings
from measure.output.borders import count_border
from measure.output.field_pool import helpers_for
from measure.particles import make_particles
from measure.study.records import NewField

from .conftest import GRAINS, HEIGHT, WIDTH, drawn_field, png


@pytest.fixture
def ready(session: Session, study_path: Path) -> Session:
    assert session.open(study_path)
    return session


def ids(session: Session) -> list[int]:
    return [row.id for row in session.study.fields()]


def ended(session: Session) -> bool:
    return not session.measuring.under_way and not session.tasks.tasks


def test_one_field_is_measured_on_a_thread(ready: Session, qtbot: QtBot):
    first = ids(ready)[0]
    assert ready.measure([first], FieldSettings(smallest_um=3.0))
    assert ready.measuring.under_way == {first}
    qtbot.waitUntil(lambda: ended(ready), timeout=20000)
    row = ready.study.field(first)
    assert row.measured
    assert row.settings == FieldSettings(smallest_um=3.0)
    assert row.counts.particles == len(GRAINS)
    assert ready.told[-1] == ("done", "Measured 1 field.")
    assert ready.study.undo_text() == "Measure a1.png"


def test_helpers_stay_for_the_next_field_until_the_window_goes(
    study_path: Path, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
):
    asked: list[int] = []
    monkeypatch.setattr("measure.field.basics.helper_pool.keep_helpers", asked.append)
    monkeypatch.setattr("measure.field.basics.helper_pool.end_kept", lambda: asked.append(-1))
    session = Session()
    assert session.open(study_path)
    first, second = ids(session)
    assert session.measure([first])
    qtbot.waitUntil(lambda: ended(session), timeout=20000)
    assert asked == []  # too small to be worth it
    monkeypatch.setattr("measure.field.basics.sharing.LEAST_FOR_KEPT", WIDTH * HEIGHT)
    assert session.measure([second])
    qtbot.waitUntil(lambda: ended(session), timeout=20000)
    session.shut()
    assert asked == [helpers_for(1), -1]


def test_several_fields_are_measured_in_processes_as_on_a_thread(ready: Session, qtbot: QtBot):
    both = ids(ready)
    assert ready.measure(both)
    qtbot.waitUntil(lambda: ended(ready), timeout=60000)
    assert ready.told[-1] == ("done", "Measured 2 fields.")
    for field_id in both:
        picture = jobs.decode(ready.study.field_bytes(field_id), "x")
        alone = measure_field(picture, FieldSettings(), 0.5)
        kept = ready.particles(field_id)
        assert kept["area_px2"].tolist() == alone.particles["area_px2"].tolist()


def test_without_a_scale_nothing_begins(ready: Session):
    first = ids(ready)[0]
    ready.do(ready.study.update_field, first, scale_id=None)
    assert not ready.measure(ids(ready))
    assert "a1.png has no scale yet" in ready.told[-1][1]
    assert ready.measuring.under_way == set()


def test_nothing_to_measure_is_said(ready: Session):
    assert not ready.measure([])
    assert "no field to measure" in ready.told[-1][1]


def test_all_measured_is_no_call_for_pictures(ready: Session, qtbot: QtBot):
    ready.measure(ids(ready))
    qtbot.waitUntil(lambda: ended(ready), timeout=20000)
    assert not ready.measure([])
    assert "Every field is measured already" in ready.told[-1][1]


def test_a_field_changed_meanwhile_keeps_its_changes(
    ready: Session, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
):
    first = ids(ready)[0]
    offers = []
    ready.offered.connect(lambda text, button, does: offers.append((text, button, does)))
    ready.measure([first])
    square = make_particles([[[5, 5], [9, 5], [9, 9], [5, 9]]], area_px2=[16.0])
    ready.do(ready.study.replace_particles, first, [], square, "Draw one")
    qtbot.waitUntil(lambda: ended(ready), timeout=20000)
    assert len(ready.particles(first)) == 1
    text, button, again = offers[0]
    assert "a1.png was changed" in text
    assert button == "Measure it again"
    again()
    qtbot.waitUntil(lambda: ended(ready), timeout=20000)
    assert len(ready.particles(first)) == len(GRAINS)


def test_stopping_says_so_and_a_second_start_waits(ready: Session, qtbot: QtBot):
    ready.measure(ids(ready))
    assert not ready.measure(ids(ready))
    assert "already" in ready.told[-1][1]
    ready.tasks.cancel_all()
    assert ready.told[-1] == ("note", "Measuring stopped.")
    assert ready.measuring.under_way == set()
    qtbot.wait(50)
    assert not any(row.measured for row in ready.study.fields())


def test_what_fails_is_named(ready: Session, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch):
    def fail(*_args: object) -> None:
        raise InvalidInput("a1.png cannot be used.")

    monkeypatch.setattr(jobs, "measure_job", fail)
    ready.measure(ids(ready)[:1])
    qtbot.waitUntil(lambda: ended(ready), timeout=5000)
    assert ready.told[-1] == ("warning", "a1.png cannot be used.")


def test_a_blank_picture_is_not_measured_but_used(ready: Session, qtbot: QtBot):
    field, blank = ids(ready)
    ready.do(ready.study.update_field, blank, role="blank")
    ready.do(ready.study.update_field, field, blank_id=blank)
    job = ready.measuring.job(ready.study.field(field), FieldSettings())
    assert job.blank == ready.study.field_bytes(blank)
    ready.measure([field, blank])
    assert ready.measuring.under_way == {field}


def test_a_drawn_bar_is_left_out_and_told_when_it_is_counted_all_the_same():
    picture = drawn_field(3)
    picture[142:148, 100:134] = (0, 90, 0)
    job = jobs.FieldJob("a.png", png(picture), 0.5, FieldSettings())
    left_out = jobs.measure_job(job)
    assert "drawn into the picture is left out" in " ".join(left_out.notes)
    assert not any("looks like a bar" in note for note in left_out.notes)
    counted = jobs.measure_job(replace(job, border=False))
    assert "as was asked for" in counted.notes[0]
    assert counted.notes[1].startswith("1 counted piece lies in what looks like a bar")
    assert len(counted.particles) > len(left_out.particles)
    zone = np.array([[101.0, 143], [133, 143], [133, 147], [101, 147]])  # its rim is still counted
    (note,) = jobs.measure_job(replace(job, border=False, zones=(zone,))).notes
    assert note.startswith("A bar, words or a line drawn into the picture is left out by hand but for a part")
    assert "counts as part of the field" not in note


def test_a_border_round_the_view_becomes_an_area_left_out(ready: Session, qtbot: QtBot):
    picture = drawn_field(3)
    picture[:, :30] = picture[:, -24:] = 5
    data = png(picture)
    study, scale = ready.study, ready.study.scales()[0].id
    rows, columns = picture.shape[:2]
    field_id = study.add_fields(
        [NewField("bars.png", data, scale_id=scale, width_px=columns, height_px=rows)]
    )[0]
    assert ready.measure([field_id])
    qtbot.waitUntil(lambda: ended(ready), timeout=20000)
    row = study.field(field_id)
    assert len(row.zones) == 2
    assert "left out" in row.result_notes[0]
    assert stale_words(row, ready.scale_of(row)) == ""
    ready.undo()
    assert study.field(field_id).zones == ()
    assert not study.field(field_id).measured
    # refused: it counts, and the field says so
    ready.do(count_border, study, field_id)
    assert ready.measure([field_id])
    qtbot.waitUntil(lambda: ended(ready), timeout=20000)
    row = study.field(field_id)
    assert (row.zones, row.result_zones) == ((), ())
    assert "counts as part of the field, as was asked for" in row.result_notes[0]
    lights = []
    ready.show_field(field_id)
    qtbot.waitUntil(lambda: ready.picture() is not None, timeout=5000)
    ready.with_light(lights.append)
    qtbot.waitUntil(lambda: bool(lights), timeout=5000)
    assert lights[0].zone_mask is None  # hand edits and the preview see it too
