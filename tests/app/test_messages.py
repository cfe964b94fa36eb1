"""Errors in words, and the note kept of a fault of ours."""

import pytest

from app.messages import crash_folder, explain, keep_crash_note
from measure.errors import InvalidInput


def caught(error: BaseException) -> BaseException:
    try:
        raise error
    except type(error) as it:
        return it


def test_a_known_error_speaks_for_itself():
    assert explain(InvalidInput("It is empty.")) == ("It is empty.", "warning")
    assert not crash_folder().exists()


def test_lack_of_memory_is_no_fault_of_ours():
    text, level = explain(MemoryError())
    assert "memory" in text
    assert level == "error"


@pytest.mark.expects_log
def test_a_fault_leaves_a_note_without_names_of_pictures():
    text, level = explain(caught(RuntimeError("deep inside")), "Measuring a.png")
    notes = list(crash_folder().iterdir())
    assert len(notes) == 1
    assert str(notes[0]) in text
    assert text.startswith("Measuring a.png failed by a fault in Gritline. Your study is safe")
    assert level == "error"
    note = notes[0].read_text(encoding="utf-8")
    assert "RuntimeError: deep inside" in note
    assert "Gritline" in note.splitlines()[0]
    assert "a.png" not in note


@pytest.mark.expects_log
def test_where_no_note_can_be_kept_it_still_speaks(monkeypatch: pytest.MonkeyPatch, tmp_path):
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setattr("app.messages.crash_folder", lambda: tmp_path / "file")
    assert keep_crash_note(caught(RuntimeError("x"))) is None
    assert "A note" not in explain(caught(RuntimeError("x")))[0]
