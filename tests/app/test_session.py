"""The session: opening, changing, undoing, selecting, and what it keeps."""

from pathlib import Path

import pytest
from pytestqt.qtbot import QtBot

from app.session import NO_FIELD, Session
from measure.errors import StudyFileError
from measure.model import FieldSettings
from measure.particles import make_particles
from measure.study.records import Batch
from measure.study.study import Study


def test_a_new_study_is_on_disk_at_once(session: Session, tmp_path: Path, qtbot: QtBot):
    path = tmp_path / "new.gritline"
    with qtbot.waitSignal(session.opened, timeout=1000):
        assert session.create(path)
    assert path.is_file()
    assert session.writable
    assert not session.create(path)  # taken: the one that is open stays
    assert session.study.path == path
    assert session.told[-1][0] == "warning"
    assert "exists already" in session.told[-1][1]


def test_what_cannot_be_opened_is_told_and_the_open_study_stays(
    session: Session, study_path: Path, tmp_path: Path
):
    junk = tmp_path / "junk.gritline"
    junk.write_bytes(b"no study at all" * 100)
    assert session.open(study_path)
    assert not session.open(junk)
    assert session.study.path == study_path
    assert "junk.gritline" in session.told[-1][1]
    assert session.open(study_path)  # once more the same: only a note
    assert session.told[-1] == ("note", "That study is open already.")


def test_a_second_window_may_only_look(session: Session, study_path: Path, qtbot: QtBot):
    assert session.open(study_path)
    second = Session()
    told = []
    second.message.connect(lambda text, level: told.append((level, text)))
    assert second.open(study_path)
    assert not second.writable
    assert told[0][0] == "warning"
    assert "another window" in told[0][1]
    assert second.do(second.study.add_batch, Batch("x")) is None
    assert "can be changed here, because" in told[-1][1]
    second.shut()


def test_do_tells_everyone_and_undo_says_what_it_undoes(session: Session, study_path: Path):
    session.open(study_path)
    heard = []
    session.changed.connect(lambda changes, initiator: heard.append((changes, initiator)))
    batch = session.do(session.study.add_batch, Batch("pass 3"), initiator="me")
    assert isinstance(batch, int)
    assert "batches" in heard[0][0]
    assert heard[0][1] == "me"
    session.undo()
    assert len(session.study.batches()) == 1
    assert session.told[-1][1].startswith("Undone: ")
    session.redo()
    assert [row.batch.name for row in session.study.batches()] == ["pass 1", "pass 3"]
    assert len(heard) == 3


def test_undo_with_nothing_to_undo_says_so(session: Session, tmp_path: Path):
    session.undo()  # no study: nothing happens
    session.create(tmp_path / "new.gritline")
    session.undo()
    session.redo()
    assert [text for _, text in session.told] == ["There is nothing to undo.", "There is nothing to redo."]


def test_a_known_error_is_told_in_place_and_changes_nothing(session: Session, study_path: Path):
    session.open(study_path)
    before = session.study.undo_text()
    assert session.do(session.study.remove_scale, 1) is None  # fields stand on it
    assert session.told[-1][0] == "warning"
    assert session.study.undo_text() == before


@pytest.mark.expects_log
def test_a_fault_of_ours_is_told_and_noted(session: Session, study_path: Path):
    session.open(study_path)

    def faulty() -> None:
        raise RuntimeError("a bug")

    assert session.do(faulty) is None
    level, text = session.told[-1]
    assert level == "error"
    assert "fault in Gritline" in text
    assert not session.attempt(faulty)


def test_showing_a_field_decodes_it_in_the_background(session: Session, study_path: Path, qtbot: QtBot):
    session.open(study_path)
    field_id = session.study.fields()[0].id
    with qtbot.waitSignal(session.picture_ready, timeout=3000) as ready:
        session.show_field(field_id)
        assert session.picture() is None
    assert ready.args == [field_id]
    assert session.picture().width_px == session.field_row().width_px
    lights = []
    session.with_light(lights.append)
    qtbot.waitUntil(lambda: bool(lights), timeout=5000)
    assert session.light() is lights[0]
    session.with_light(lights.append)  # at once now
    assert lights[1] is lights[0]


def test_light_is_made_anew_when_an_area_is_left_out(session: Session, study_path: Path, qtbot: QtBot):
    session.open(study_path)
    field_id = session.study.fields()[0].id
    session.show_field(field_id)
    lights = []
    session.with_light(lights.append)
    qtbot.waitUntil(lambda: bool(lights), timeout=5000)
    session.do(session.study.update_field, field_id, zones=([[0, 0], [50, 0], [50, 50], [0, 50]],))
    assert session.light() is None


def test_selection_forgets_pieces_that_are_gone(session: Session, study_path: Path, qtbot: QtBot):
    session.open(study_path)
    field_id = session.study.fields()[0].id
    square = [[10, 10], [20, 10], [20, 20], [10, 20]]
    added = make_particles([square, square], area_px2=[100.0, 100.0])
    labels = session.do(session.study.replace_particles, field_id, [], added, "Draw two")
    session.show_field(field_id)
    with qtbot.waitSignal(session.selection_changed, timeout=1000):
        session.select(labels)
    assert session.selected == frozenset(labels)
    session.do(session.study.replace_particles, field_id, labels[:1], make_particles([]), "Remove one")
    assert session.selected == frozenset(labels[1:])
    assert len(session.particles()) == 1
    session.do(session.study.remove_fields, [field_id])
    assert session.current_field_id == NO_FIELD
    assert session.selected == frozenset()


def test_lit_pieces_are_told_once(session: Session, qtbot: QtBot):
    heard = []
    session.lit_changed.connect(lambda: heard.append(session.lit))
    session.light_up([(1, 2)])
    session.light_up([(1, 2)])
    session.light_up([])
    assert heard == [frozenset({(1, 2)}), frozenset()]


def test_settings_of_the_study_are_kept(session: Session, study_path: Path):
    session.open(study_path)
    assert session.measure_settings() == FieldSettings()
    session.do(session.study.set_setting, "measure_settings", {"smallest_um": 4.0, "newer_thing": 1})
    session.close()
    assert session.measure_settings() == FieldSettings()
    session.open(study_path)
    assert session.measure_settings() == FieldSettings(smallest_um=4.0)


def test_closing_leaves_the_file_to_others(session: Session, study_path: Path):
    session.open(study_path)
    session.close()
    assert session.study is None
    with Study.open(study_path) as study:
        assert not study.read_only


def test_particles_are_kept_once_by_the_study(session: Session, study_path: Path):
    session.open(study_path)
    field_id = session.study.fields()[0].id
    assert session.particles(field_id) is session.study.particles(field_id)


def test_a_log_that_cannot_be_read_is_told_and_nothing_is_undone(
    session: Session, study_path: Path, monkeypatch: pytest.MonkeyPatch
):
    session.open(study_path)

    def broken() -> str:
        raise StudyFileError("paste.gritline could not be read: the drive did not answer.")

    monkeypatch.setattr(session.study, "undo_text", broken)
    session.undo()
    assert session.told == [("warning", "paste.gritline could not be read: the drive did not answer.")]
    assert len(session.study.batches()) == 1


def test_a_step_that_is_done_stays_done_when_looking_again_fails(
    session: Session, study_path: Path, monkeypatch: pytest.MonkeyPatch
):
    session.open(study_path)
    session.show_field(session.study.fields()[0].id)
    heard, hurt = [], []
    session.changed.connect(lambda changes, _initiator: heard.append(changes))
    session.hurt.connect(lambda error, path: hurt.append((error.text, path)))

    def broken(_field_id: int) -> object:
        raise StudyFileError("The drive did not answer.")

    monkeypatch.setattr(session.study, "field", broken)
    assert session.do(session.study.add_batch, Batch("pass 3"))
    assert len(heard) == 1
    assert hurt == [("The drive did not answer.", study_path)]
    assert [row.batch.name for row in session.study.batches()] == ["pass 1", "pass 3"]
