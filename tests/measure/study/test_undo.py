import getpass
import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from measure.errors import InvalidInput, StudyFileError
from measure.model import Scale
from measure.study import journal
from measure.study.records import Batch, Slide, SpotCheck, Tasting
from measure.study.study import Study
from tests.measure.study.builders import contents, everything, fill, particles, picture, result

ACTIONS: dict[str, Callable[[Study], object]] = {
    "add scale": lambda s: s.add_scale(Scale(0.5), b"ruling", "r.png"),
    "update scale": lambda s: s.update_scale(1, Scale(0.5)),
    "add batch": lambda s: s.add_batch(Batch("pass 6")),
    "update batch": lambda s: s.update_batch(1, Batch("pass 9")),
    "remove batch": lambda s: s.remove_batch(2),
    "add slide": lambda s: s.add_slide(Slide(1, "a")),
    "add fields": lambda s: s.add_fields([picture("x"), picture("y")]),
    "update fields": lambda s: s.update_fields([1, 2], note="n", zones=[np.ones((3, 2))]),
    "remove fields": lambda s: s.remove_fields([1, 2]),
    "measure": lambda s: s.store_result(2, result(60, 3)),
    "measure again": lambda s: s.store_result(1, result(70, 4)),
    "replace": lambda s: s.replace_particles(1, [1, 2], particles(3), "Cut"),
    "replace many": lambda s: s.replace_particles(1, range(1, 50), particles(40), "Erase"),
    "kind": lambda s: s.set_kind(1, [1, 2], 3),
    "kind of many": lambda s: s.set_kind(1, range(1, 61), np.arange(60) % 3),
    "aside": lambda s: s.set_aside(1, [4], "a new reason"),
    "automatic": lambda s: s.restore_automatic(1),
    "tasting": lambda s: s.add_tasting(Tasting("triangle", (1,))),
    "spot check": lambda s: s.add_spot_check(SpotCheck((1,))),
    "setting": lambda s: s.set_setting("felt_profile", {"kernel": [20, 40]}),
    "setting again": lambda s: s.set_setting("volume", 3),
}


def _ready(study: Study) -> None:
    fill(study, 60)
    study.add_fields([picture("two")])
    study.add_batch(Batch("empty"))
    study.set_setting("volume", 2)
    study.set_kind(1, [9], 1)


@pytest.mark.parametrize("name", ACTIONS)
def test_each_action_is_one_step_back_and_forth(study: Study, path: Path, name: str) -> None:
    _ready(study)
    before, steps = contents(study), study._rows("SELECT count(*) FROM edit")[0][0]
    ACTIONS[name](study)
    after = contents(study)
    assert after != before
    assert study._rows("SELECT count(*) FROM edit")[0][0] == steps + 1
    done = study.last_changes
    assert done.what
    assert study.undo().what == done.what
    assert contents(study) == before
    assert study.redo().labels == done.labels
    assert contents(study) == after
    study.close()
    with Study.open(path) as again:
        assert contents(again) == after
        assert again.undo_text()
        again.undo()
        assert contents(again) == before
        assert again.integrity_check() == []


def test_everything_can_be_undone_after_reopening_and_done_again(study: Study, path: Path) -> None:
    _ready(study)
    full = contents(study)
    study.close()
    with Study.open(path) as again:
        while again.undo():
            pass
        assert not any(contents(again).values())
        assert again.undo_text() is None
        assert again.undo() is None
    with Study.open(path) as again:
        while again.redo():
            pass
        assert contents(again) == full
        assert again.redo() is None


def test_a_new_action_drops_what_was_undone_but_the_log_keeps_it(study: Study) -> None:
    study.add_batch(Batch("one"))
    study.add_batch(Batch("two"))
    study.undo()
    assert study.redo_text() == "Add batch two"
    study.add_batch(Batch("three"))
    assert study.redo_text() is None
    log = [(e.text, e.state) for e in study.edit_log()]
    assert log == [
        ("Add batch three", "done"),
        ("Undo: Add batch two", "note"),
        ("Add batch two", "dropped"),
        ("Add batch one", "done"),
    ]
    study.undo()
    study.undo()
    assert study.batches() == []
    assert study.undo_text() is None


def test_several_actions_make_one_step(study: Study) -> None:
    with study.one_step("Add pass 3 with its pictures"):
        batch = study.add_batch(Batch("pass 3"))
        ids = study.add_fields([picture("a", batch_id=batch)])
        study.store_result(ids[0], result(3))
        study.set_kind(ids[0], study.particles(ids[0])["label"], 2)
    assert study.last_changes.what == {"batches", "fields", "particles"}
    assert study.particles(ids[0])["kind"].tolist() == [2, 2, 2]
    assert study.undo_text() == "Add pass 3 with its pictures"
    study.undo()
    assert not any(contents(study).values())


def _two_things_one_wrong(study: Study) -> None:
    with study.one_step("Two things"):
        study.add_batch(Batch("one"))
        study.add_slide(Slide(7, "a"))


def _going_on_after_a_fault(study: Study) -> None:
    with study.one_step("Two things"):
        study.add_batch(Batch("one"))
        with pytest.raises(ZeroDivisionError), study.one_step("inner"):
            raise ZeroDivisionError


def _undo_inside(study: Study) -> None:
    with study.one_step("Odd"):
        study.add_batch(Batch("one"))
        study.undo()


@pytest.mark.parametrize(
    ("steps", "error", "words"),
    [
        (_two_things_one_wrong, InvalidInput, "no batch 7"),
        (_going_on_after_a_fault, StudyFileError, "none of it was"),
        (_undo_inside, RuntimeError, "actions of their own"),
    ],
)
def test_half_of_several_actions_is_none(
    study: Study, steps: Callable[[Study], None], error: type[Exception], words: str
) -> None:
    before = everything(study)
    with pytest.raises(error, match=words):
        steps(study)
    assert everything(study) == before
    study.add_batch(Batch("still works"))


def test_the_log_tells_who_what_from_and_to(study: Study) -> None:
    study.who = "Ada"
    field_id = fill(study)
    study.update_particles(field_id, [3], "Plain", kind=0, kind_by_hand=False, set_aside="")
    study.set_kind(field_id, [3], 2, text="Tag as salt")
    study.set_aside(field_id, [3], "dust")
    study.update_field(field_id, note="smeared")
    study.undo()
    undone, note, aside, kind = study.edit_log(limit=4)
    assert (kind.who, kind.text, kind.field_ids) == ("Ada", "Tag as salt", (field_id,))
    assert "piece 3: kind kernel, kind by hand no" in kind.was
    assert "piece 3: kind salt, kind by hand yes" in kind.now
    assert (aside.was, aside.now) == ("piece 3: set aside (empty)", "piece 3: set aside dust")
    assert aside.text == "Set aside piece 3: dust"
    assert (note.was, note.now, note.state) == (
        "field one.png: note (empty)",
        "field one.png: note smeared",
        "undone",
    )
    assert (undone.was, undone.now, undone.refers_to) == (note.now, note.was, note.id)
    first = study.edit_log()[-1]
    assert first.now == "scale 10x"
    assert first.made[:2] == "20"


def test_the_log_speaks_plain_words(study: Study) -> None:
    field_id = fill(study)
    batch_id = study.add_batch(Batch("pass 3"))
    study.update_field(field_id, batch_id=batch_id, zones=[np.array([[0, 0], [9, 0], [9, 9.0]])])
    study.set_setting(
        "felt_profile", '{"kernel": {"from_um": 20, "to_um": 35.5}}', "Change what size is felt"
    )
    felt, field = study.edit_log(limit=2)
    assert felt.now.startswith("what size is felt")
    study.set_setting(
        "felt_profile", '{"kernel": {"from_um": 25, "to_um": 35.5}}', "Change what size is felt"
    )
    felt = study.edit_log(limit=1)[0]
    assert felt.was == "what size is felt: kernel from um 20, to um 35.5"
    assert "batch pass 3" in field.now
    assert "left out 1 area" in field.now
    assert "left out nothing" in field.was
    for entry in study.edit_log():
        words = f"{entry.was} {entry.now}"
        assert not re.search(r"_|[{}\[\]\"]|\bid\b", words), words


def test_the_log_of_one_field_leaves_others_out(study: Study) -> None:
    first = fill(study)
    second = study.add_fields([picture("b")])[0]
    study.store_result(second, result(200))
    study.undo()
    texts = [entry.text for entry in study.edit_log(second)]
    assert texts == ["Undo: Measure b", "Measure b", "Add b"]
    assert "200 pieces" in study.edit_log(second)[1].now
    assert "Measure one.png" in [entry.text for entry in study.edit_log(first)]


def test_a_name_is_found_even_where_the_system_has_none(monkeypatch: pytest.MonkeyPatch) -> None:
    def nobody() -> str:
        raise KeyError("uid not found")

    monkeypatch.setattr(getpass, "getuser", nobody)
    assert journal.user_name() == "unknown"


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE edit_row SET new = '{'",
        "UPDATE edit_row SET old = x'00'",
        "UPDATE edit_row SET table_name = 'edit'",
        "UPDATE edit_row SET table_name = 'picture; --'",
        """UPDATE edit_row SET new = '{"columns": ["id", "name = (SELECT 1), notes"], "rows": [[1, 2]]}'""",
        """UPDATE edit_row SET new = '{"columns": ["name"], "rows": [["x"]]}'""",
    ],
)
def test_a_log_made_by_a_stranger_changes_nothing(study: Study, change: str) -> None:
    study.add_batch(Batch("one"))
    study.update_batch(1, Batch("two"))
    study._con.execute(change)
    before = everything(study)
    with pytest.raises(StudyFileError, match="log cannot be read"):
        study.undo()
    assert everything(study) == before
    assert study.edit_log()[0].text == "Change batch two"
    study._con.execute("UPDATE edit_row SET table_name = 'batch', new = '{'")
    assert "damaged" in study.edit_log()[0].now


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE edit_row SET field_id = NULL WHERE table_name = 'particle'",  # whose particles are they?
        "UPDATE edit_row SET old = NULL WHERE operation = 'update'",
        "UPDATE edit_row SET old = NULL, new = NULL",
    ],
)
def test_a_log_with_gaps_changes_nothing(study: Study, change: str) -> None:
    fill(study)
    study.set_kind(1, [1, 2], 3)
    study._con.execute(change)
    before = everything(study)
    with pytest.raises(StudyFileError, match="log cannot be read"):
        study.undo()
    assert everything(study) == before
