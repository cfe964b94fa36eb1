from pathlib import Path

import numpy as np
import pytest

from measure.errors import InvalidInput
from measure.particles import COLUMNS, make_particles
from measure.study import particle_door
from measure.study.records import StaleResult
from measure.study.study import Study
from tests.measure.study.builders import fill, particles, picture, result, same_particles


def test_particles_come_back_exactly(study: Study, path: Path) -> None:
    field_id = fill(study, 1100)  # more than two packs of outlines
    study.close()
    with Study.open(path) as again:
        assert same_particles(again.particles(field_id), result(1100).particles)


def test_extreme_values_come_back(study: Study) -> None:
    field_id = study.add_fields([picture()])[0]
    floats = [n for n, (dtype, _) in COLUMNS.items() if dtype.startswith("f")]
    values = [0.1, -0.0, 1e-30, 3e38, np.inf, -np.inf, np.nan]
    wanted = make_particles(
        [np.zeros((0, 2))] * 7,
        label=[1, 2, 3, 4, 5, 2**31 - 2, 2**31 - 1],
        set_aside=["", "dust", "µ'; --", "a\nb", "", "", ""],
        kind_by_hand=[True, False] * 3 + [True],
        parent=-1,
        flags=2**30,
        **dict.fromkeys(floats, values),
    )
    study.store_result(field_id, result(0, particles=wanted))
    assert same_particles(study.particles(field_id), wanted)


def test_numpy_numbers_are_stored_as_numbers(study: Study) -> None:
    field_id = fill(study)
    study.set_kind(np.int64(field_id), np.array([1, 2], dtype="i4"), np.array([2, 3], dtype="i1"))
    kinds = study._rows("SELECT DISTINCT typeof(kind), typeof(label), typeof(area_px2) FROM particle")
    assert kinds == [("integer", "integer", "real")]


def test_a_hand_edit_gives_new_labels_and_touches_only_its_rows(study: Study) -> None:
    field_id = fill(study, 6)
    before = study.particles(field_id)
    new = study.replace_particles(field_id, [2], particles(2, seed=5, first_label=0), "Cut particle 2")
    assert new == [7, 8]
    after = study.particles(field_id)
    assert after["label"].tolist() == [1, 3, 4, 5, 6, 7, 8]
    assert same_particles(after.select(np.arange(5)), before.select(before["label"] != 2))
    assert study.last_changes.labels == {field_id: {2, 7, 8}}
    assert study.last_changes.ids == {"particles": {field_id}}


def test_labels_are_never_used_again(study: Study) -> None:
    field_id = fill(study, 3)
    assert study.replace_particles(field_id, [], particles(1), "Draw") == [4]
    study.undo()
    assert study.replace_particles(field_id, [], particles(1), "Draw") == [5]
    study.store_result(field_id, result(2))
    assert study.particles(field_id)["label"].tolist() == [6, 7]
    study.undo()
    assert study.particles(field_id)["label"].tolist() == [1, 2, 3, 5]


def test_kinds_reasons_and_columns_change(study: Study) -> None:
    field_id = fill(study, 6)
    study.set_kind(field_id, [1, 3], [2, 1], "Tag two")
    study.set_kind(field_id, [4], 0, by_hand=False)
    study.set_aside(field_id, [1, 2], "dust")
    study.restore(field_id, [2])
    study.update_particles(field_id, [5, 6], "Doubt", doubt=[0.25, 0.75])
    found = study.particles(field_id)
    rows = found.index_of([1, 3, 4])
    assert found["kind"][rows].tolist() == [2, 1, 0]
    assert found["kind_by_hand"][rows].tolist() == [True, True, False]
    assert found["kind_doubt"][rows[:2]].tolist() == [0, 0]
    assert found["set_aside"][:2].tolist() == ["dust", ""]
    assert found["doubt"][4:].tolist() == [0.25, 0.75]


def test_what_cannot_be_edited_is_told(study: Study) -> None:
    field_id = fill(study)
    with pytest.raises(InvalidInput, match=r"one\.png has no piece 99 any more"):
        study.set_kind(field_id, [1, 99], 0)
    with pytest.raises(InvalidInput, match=r"Piece 1 of one\.png is named twice"):
        study.replace_particles(field_id, [1, 1], particles(0), "Join")
    with pytest.raises(InvalidInput, match="Give a reason"):
        study.set_aside(field_id, [1], "  ")
    with pytest.raises(InvalidInput, match="There is no field 9"):
        study.store_result(9, result(1))
    with pytest.raises(TypeError, match="no columns label"):
        study.update_particles(field_id, [1], "x", label=3)
    assert study.undo_text() == "Measure one.png"


def test_an_edit_that_changes_nothing_is_no_step(study: Study) -> None:
    field_id = fill(study)
    study.restore(field_id, study.particles(field_id)["label"])
    text = study.undo_text()
    changes = study.restore(field_id, [1])
    assert not changes
    assert study.undo_text() == text


def test_a_result_for_a_field_changed_meanwhile_is_not_kept(study: Study) -> None:
    field_id = fill(study)
    revision = study.revision(field_id)
    study.restore(field_id, study.particles(field_id)["label"])
    with pytest.raises(StaleResult, match=r"one\.png was changed while it was measured"):
        study.store_result(field_id, result(9), expected_revision=revision)
    study.store_result(field_id, result(9), expected_revision=study.revision(field_id))
    assert len(study.particles(field_id)) == 9


def test_the_automatic_result_comes_back(study: Study, path: Path) -> None:
    field_id = fill(study, 40)
    automatic = study.particles(field_id)
    study.replace_particles(field_id, [1, 2], particles(1), "Join")
    study.set_kind(field_id, [3], 2)
    edited = study.particles(field_id)
    study.close()
    with Study.open(path) as again:
        again.restore_automatic(field_id)
        assert same_particles(again.particles(field_id), automatic)
        again.undo()
        assert same_particles(again.particles(field_id), edited)
        unmeasured = again.add_fields([picture("b")])[0]
        with pytest.raises(InvalidInput, match="b has no automatic result"):
            again.restore_automatic(unmeasured)


def test_an_empty_automatic_result_comes_back_too(study: Study) -> None:
    field_id = fill(study, 4)
    study.store_result(field_id, result(0))
    study.replace_particles(field_id, [], particles(1), "Draw")
    study.restore_automatic(field_id)
    assert len(study.particles(field_id)) == 0


def test_kept_sets_equal_what_is_on_disk(study: Study, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(particle_door, "_FEW", 10)
    field_id = fill(study, 30)
    edits = (
        lambda: study.set_kind(field_id, [3], 1),
        lambda: study.replace_particles(field_id, [5, 6], particles(3), "Cut"),
        lambda: study.set_aside(field_id, range(10, 25), "dust"),
        lambda: study.undo(),
        lambda: study.undo(),
        lambda: study.redo(),
    )
    for edit in edits:
        study.particles(field_id)
        edit()
        kept = study.particles(field_id)
        study._sets.clear()
        assert same_particles(study.particles(field_id), kept)


def test_few_fields_are_kept_in_memory(study: Study) -> None:
    ids = study.add_fields([picture(f"{i}") for i in range(12)])
    for field_id in ids:
        study.particles(field_id)
    assert len(study._sets) == particle_door._CACHED_FIELDS


def test_a_column_the_file_has_not_got_reads_as_blank_and_is_added_when_needed(study: Study) -> None:
    field_id = fill(study, 3)
    for column in ("straightness", "texture"):
        study._con.execute(f"ALTER TABLE particle DROP COLUMN {column}")
    study._sets.clear()
    assert np.isnan(study.particles(field_id)["texture"]).all()
    study.replace_particles(field_id, [], particles(1), "Draw")
    study._sets.clear()
    found = study.particles(field_id)["texture"]
    assert np.isnan(found[:3]).all()
    assert found[3] == particles(1)["texture"][0]
