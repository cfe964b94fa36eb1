"""Blank oil worked out from the fields of a study, kept with its story and used for its zoom."""

from pathlib import Path

import numpy as np
import pytest
from pytestqt.qtbot import QtBot

from app.stations.fields import Station
from app.stations.fields_blank_check import KEY
from app.window import Window
from measure.model import FieldSettings, Scale
from measure.picture_png import png_words
from measure.render import Recipe, render_field
from measure.render.recipe import Arrangement, Light, Sizes
from measure.study.records import Batch, NewField
from measure.study.study import Study

from .conftest import png

RECIPE = Recipe(
    width_px=260, height_px=200, um_per_px=0.65, sizes=Sizes(26.0, 1.4, 9.0, 50.0),
    arrangement=Arrangement(cover=0.06), light=Light(vignette=0.4, slope=0.3),
)  # fmt: skip


@pytest.fixture
def station(window: Window, tmp_path: Path, qtbot: QtBot) -> Station:
    """Four fields of one zoom and one of another."""
    path = tmp_path / "light.gritline"
    with Study.create(path) as study:
        batch = study.add_batch(Batch("pass 3"))
        scale, other = study.add_scale(Scale(0.65, zoom="10x")), study.add_scale(Scale(0.3, zoom="20x"))
        study.add_fields(
            [
                NewField(
                    f"f{i}.png", png(render_field(RECIPE, i).pixels), batch, s, width_px=260, height_px=200
                )
                for i, s in enumerate((scale, scale, scale, scale, other))
            ]
        )
    assert window.session.open(path)
    window.go("fields")
    qtbot.waitUntil(lambda: window.session.picture() is not None, timeout=5000)
    return window.stations["fields"]


def idle(station: Station) -> bool:
    return not station.session.tasks.tasks and not station.session.measuring.under_way


def test_it_is_worked_out_kept_and_used_for_its_zoom(station: Station, qtbot: QtBot):
    study = station.session.study
    station.list.choose_field(1)
    station.session.measure([1], FieldSettings())
    qtbot.waitUntil(lambda: idle(station), timeout=30000)
    station.action("fields.blank").trigger()
    qtbot.waitUntil(lambda: len(study.fields()) == 6, timeout=20000)
    blank = study.fields()[-1]
    assert (blank.name, blank.role, blank.scale_id) == ("blank oil from 4 fields.png", "blank", 1)
    assert blank.note.startswith(
        "Blank oil worked out from f0.png, f1.png, f2.png, f3.png; its light varies by"
    )
    assert "SHA-256 of the sources" in blank.note
    assert png_words(study.field_bytes(blank.id))["Description"] == blank.note
    assert [row.blank_id for row in study.fields()] == [blank.id] * 4 + [None, None]
    assert "Measure again" in station.session.told[-1][1]
    # what was measured without it says so, and the next step offers it
    assert any("blank oil changed" in text for text in station.details.remarks.text().splitlines())
    station.session.measure([1], FieldSettings())
    qtbot.waitUntil(lambda: idle(station), timeout=30000)
    assert "blank oil" not in station.details.remarks.text()
    station.list.choose_field(blank.id)
    assert station.details.story.text().startswith("Blank oil worked out from f0.png")
    assert "SHA" not in station.details.story.text()


def test_it_is_one_step(station: Station, qtbot: QtBot):
    study = station.session.study
    station.list.choose_fields([1, 2, 3])
    station.action("fields.blank").trigger()
    qtbot.waitUntil(lambda: len(study.fields()) == 6, timeout=20000)
    assert study.fields()[-1].name == "blank oil from 3 fields.png"
    assert "set for all 4 of this zoom" in station.session.told[-1][1]
    station.session.undo()
    assert len(study.fields()) == 5
    assert {row.blank_id for row in study.fields()} == {None}


def test_too_few_fields_are_told(station: Station):
    station.list.choose_field(5)
    station.action("fields.blank").trigger()
    assert "three or more fields of one zoom" in station.session.told[-1][1]


def test_a_blank_with_pieces_is_told_where_it_is_chosen(station: Station, qtbot: QtBot):
    from measure.field.blank_check import blank_warning
    from measure.picture_file import read_picture

    study = station.session.study
    words = blank_warning(read_picture(study.field_bytes(2), "f1.png"))
    assert "f1.png shows" in words  # what the command line says of the same picture
    station.list.choose_field(2)
    assert station.details.blank_doubt.isHidden()
    station.session.do(study.update_fields, [2], role="blank")
    qtbot.waitUntil(lambda: station.details.blank_doubt.text() == words, timeout=20000)
    assert not station.details.blank_doubt.isHidden()
    station.list.choose_field(1)
    assert station.details.blank_doubt.isHidden()
    station.session.do(study.update_fields, [1], blank_id=2)
    assert station.details.blank_doubt.text() == words  # known already: said at once
    assert KEY not in {task.key for task in station.session.tasks.tasks}


def test_clean_and_dark_pictures_of_blank_oil(station: Station, qtbot: QtBot):
    study = station.session.study
    clean = np.full((200, 260, 3), (232, 214, 160), np.uint8)
    more = {"width_px": 260, "height_px": 200, "role": "blank"}
    ids = study.add_fields(
        [NewField("oil.png", png(clean), **more), NewField("lamp off.png", png(clean // 80), **more)]
    )
    station.session.do(study.update_fields, [1], blank_id=ids[0])
    station.list.choose_field(1)
    station.session.do(study.update_fields, [2], blank_id=ids[1])
    station.list.choose_field(2)  # asked while the first is still looked at
    qtbot.waitUntil(
        lambda: "lamp off.png is nearly black" in station.details.blank_doubt.text(), timeout=9000
    )
    station.list.choose_field(1)
    qtbot.waitUntil(lambda: idle(station), timeout=9000)
    assert station.details.blank_doubt.isHidden()
