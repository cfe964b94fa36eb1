"""Starting: wrong arguments get a sentence and 2, faults are caught, the start stays fast."""

import logging
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from pytestqt.qtbot import QtBot

from app import application, preferences
from app.application import run_window, watch_for_faults
from app.messages import explain
from app.start_page import StartPage


@pytest.fixture
def junk(tmp_path: Path) -> Path:
    path = tmp_path / "junk.gritline"
    path.write_bytes(b"SQLite format 3\x00" + b"junk" * 500)
    return path


def test_wrong_arguments_get_one_sentence_and_2(
    junk: Path, tmp_path: Path, capsys: pytest.CaptureFixture, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(application, "_has_screen", lambda: False)
    before = junk.read_bytes()
    for arguments, part in (
        ([str(junk)], "junk.gritline"),
        ([str(tmp_path / "absent.gritline")], "absent.gritline"),
        (["mesure"], "did you mean measure?"),
        (["mesure", "a.png"], "did you mean measure?"),
        (["spoon"], "neither a command nor a study"),
        (["--fast"], "no option --fast"),
        ([str(junk), "more"], "only one study"),
    ):
        assert run_window(arguments) == 2
        out, err = capsys.readouterr()
        assert out == ""
        assert part in err
        assert err.startswith("gritline: ")
        assert len(err.strip().splitlines()) == 1
    assert junk.read_bytes() == before
    assert [path.name for path in tmp_path.iterdir()] == ["junk.gritline"]


def test_without_a_screen_it_says_so(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture):
    for name in ("DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr(sys, "platform", "linux")
    assert run_window([]) == 2
    assert "no screen" in capsys.readouterr().err


def test_a_damaged_study_opens_the_window_that_offers_a_rescue(
    junk: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture
):
    opened: list[Path | None] = []
    monkeypatch.setattr(application, "_run", lambda path: opened.append(path) or 0)
    assert run_window([str(junk)]) == 0
    assert opened == [junk]
    monkeypatch.setattr(application, "_has_screen", lambda: False)
    assert run_window([str(junk)]) == 2
    assert "junk.gritline" in capsys.readouterr().err
    assert opened == [junk]


def test_started_by_a_double_click_the_window_says_what_is_wrong(junk: Path, monkeypatch: pytest.MonkeyPatch):
    opened = []
    monkeypatch.setattr(application, "_run", lambda path: opened.append(path) or 0)
    monkeypatch.setattr(sys, "stderr", None)
    assert run_window([str(junk)]) == 0
    assert opened == [junk]


@pytest.mark.expects_log
def test_what_fails_unforeseen_is_told(qtbot: QtBot, caplog: pytest.LogCaptureFixture):
    from PySide6.QtCore import qInstallMessageHandler, qWarning

    told = []
    hooks = sys.excepthook, threading.excepthook
    try:
        watch_for_faults(lambda error: told.append(explain(error)))
        sys.excepthook(RuntimeError, RuntimeError("deep inside"), None)
        assert "fault in Gritline" in told[0][0]
        thread = threading.Thread(target=lambda: 1 / 0)
        thread.start()
        thread.join()
        assert "a thread failed" in caplog.text
        qWarning("a word of Qt")
        assert ("qt", logging.WARNING, "a word of Qt") in caplog.record_tuples
    finally:
        sys.excepthook, threading.excepthook = hooks
        qInstallMessageHandler(None)


def test_recent_studies_are_few_and_exist(tmp_path: Path):
    paths = [tmp_path / f"{n}.gritline" for n in range(preferences.RECENT + 3)]
    for path in paths:
        path.touch()
        preferences.remember_study(path)
    paths[-1].unlink()
    recent = preferences.recent_studies()
    assert recent[0] == paths[-2]
    assert len(recent) == preferences.RECENT - 1
    assert paths[-1] not in recent


def test_folders_are_remembered_by_purpose(tmp_path: Path):
    preferences.remember_folder("pictures", tmp_path / "a.png")
    assert preferences.last_folder("pictures") == str(tmp_path)
    assert preferences.last_folder("study") != str(tmp_path)


def test_start_page_without_recent_studies_shows_no_list(qtbot: QtBot):
    page = StartPage(lambda: None, lambda: None, lambda: None)
    qtbot.addWidget(page)
    page.refresh()
    assert page.recent.isHidden()
    assert page.recent_heading.isHidden()


def test_importing_the_window_loads_nothing_heavy():
    code = (
        "import sys, app.window, app.application;"
        "heavy = {'scipy', 'skimage', 'matplotlib', 'reportlab'};"
        "print(sorted({name.split('.')[0] for name in sys.modules} & heavy))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
