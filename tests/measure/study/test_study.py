import os
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from measure.errors import Cancelled, InvalidInput, StudyFileError
from measure.progress import Progress
from measure.study.records import Batch
from measure.study.study import Study
from tests.measure.study.builders import contents, fill

json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
    max_leaves=10,
)
once = settings(max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)


@once
@given(st.text(min_size=1), json_values)
def test_settings_come_back(study: Study, name: str, value: object) -> None:
    study.set_setting(name, value)
    assert study.setting(name) == value


@once
@given(st.text(), st.text(), st.none() | st.floats(allow_nan=False), st.text())
def test_texts_and_numbers_of_a_batch_come_back(
    study: Study, name: str, recipe: str, passes: float | None, notes: str
) -> None:
    batch = Batch(name, recipe, passes=passes, notes=notes)
    batch_id = study.add_batch(batch)
    assert {row.id: row.batch for row in study.batches()}[batch_id] == batch


def test_settings_take_numpy_and_refuse_what_is_no_data(study: Study) -> None:
    study.set_setting("felt", {"limits": np.array([1.5, 2.5], dtype="f4"), "n": np.int64(3), "ok": np.True_})
    assert study.setting("felt") == {"limits": [1.5, 2.5], "n": 3, "ok": True}
    assert study.last_changes.names == {"felt"}
    assert study.undo().names == {"felt"}
    assert study.setting("felt", "none") == "none"
    with pytest.raises(InvalidInput, match="type object"):
        study.set_setting("felt", object())
    with pytest.raises(InvalidInput, match="type bytes"):
        study.set_setting("felt", b"raw")


def test_half_characters_of_odd_file_names_are_kept_as_question_marks(study: Study) -> None:
    study.add_batch(Batch("spread\udcff"))
    assert study.batches()[0].batch.name == "spread?"


def test_where_the_window_was_is_neither_undone_nor_logged(study: Study, path: Path) -> None:
    assert not study.set_setting("view.field", 3)
    assert study.undo_text() is None
    assert study.edit_log() == []
    study.close()
    with Study.open(path, read_only=True) as again:
        assert again.setting("view.field") == 3
        again.set_setting("view.field", 4)
        assert again.setting("view.field") == 3


def test_only_one_file_is_there_while_open_and_after(study: Study, path: Path) -> None:
    fill(study)
    assert sorted(os.listdir(path.parent)) == [".spread.gritline.open", "spread.gritline"]
    study.close()
    study.close()
    assert os.listdir(path.parent) == ["spread.gritline"]
    with pytest.raises(StudyFileError, match="has been closed"):
        study.fields()
    with pytest.raises(StudyFileError, match="has been closed"):
        study.undo()


def test_a_copy_is_whole_and_does_not_write_over(study: Study, path: Path, tmp_path: Path) -> None:
    field_id = fill(study, 30)
    study.save_copy(tmp_path / "copy")
    with Study.open(tmp_path / "copy.gritline") as copy:
        assert contents(copy) == contents(study)
        assert copy.field_bytes(field_id) == study.field_bytes(field_id)
        assert copy.undo_text() == study.undo_text()
    with pytest.raises(StudyFileError, match=r"copy\.gritline exists already"):
        study.save_copy(tmp_path / "copy.gritline")
    with pytest.raises(StudyFileError, match="exists already"):
        study.save_copy(path, overwrite=True)
    study.undo()
    study.save_copy(tmp_path / "copy.gritline", overwrite=True)
    with Study.open(tmp_path / "copy.gritline") as copy:
        assert contents(copy) == contents(study)
    with pytest.raises(StudyFileError, match=r"cannot be (opened|reached)|could not be written"):
        study.save_copy(tmp_path / "nowhere" / "copy.gritline")
    assert not [name for name in os.listdir(tmp_path) if "new" in name]


def test_a_copy_of_a_deleted_study_is_made_in_another_thread_and_can_be_stopped(
    study: Study, path: Path, tmp_path: Path
) -> None:
    fill(study, 30)
    path.unlink()
    shares: list[float] = []
    out = tmp_path / "copy.gritline"
    with ThreadPoolExecutor(1) as pool:
        pool.submit(study.save_copy, out, progress=Progress(lambda share, _: shares.append(share))).result()
        stopped = Progress()
        stopped.cancel()
        failed = pool.submit(study.save_copy, tmp_path / "other.gritline", progress=stopped).exception()
    assert isinstance(failed, Cancelled)
    assert sorted(p.name for p in tmp_path.iterdir() if p.suffix == ".gritline") == ["copy.gritline"]
    assert shares[-1] == 1.0
    with Study.open(out) as copy:
        assert contents(copy) == contents(study)


def test_what_is_confirmed_is_on_the_disk_and_nothing_in_the_file_can_run(
    study: Study, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    study.close()
    monkeypatch.undo()
    wanted = {"synchronous": 3, "journal_mode": "delete", "foreign_keys": 1, "trusted_schema": 0}
    with Study.open(path) as again:
        found = {name: again._con.execute(f"PRAGMA {name}").fetchone()[0] for name in wanted}
        assert found == wanted
        assert again._con.isolation_level is None


def test_another_thread_is_kept_out(study: Study) -> None:
    caught = []

    def look() -> None:
        try:
            study.fields()
        except Exception as error:
            caught.append(type(error).__name__)

    thread = threading.Thread(target=look)
    thread.start()
    thread.join()
    assert caught == ["ProgrammingError"]


def test_a_sound_study_has_no_faults_and_an_unsound_one_names_them(study: Study) -> None:
    fill(study, 30)
    assert study.integrity_check() == []
    study._con.execute("UPDATE picture SET data = x'01'")
    study._con.execute("UPDATE outline_pack SET data = x'02'")
    study._con.execute("UPDATE edit_row SET new = '{' WHERE id = 1")
    study._con.execute("PRAGMA foreign_keys = OFF")
    study._con.execute("UPDATE field SET batch_id = 77")
    assert study.integrity_check() == [
        "The field 1 refers to a batch that is not there.",
        "The picture 1 is not what it was when it was added.",
        "In the pack 1, outlines are damaged or too large.",
        "The entry 1 of the log cannot be read.",
    ]
    with pytest.raises(StudyFileError, match="an outline or a piece cannot be read"):
        study.particles(1)
