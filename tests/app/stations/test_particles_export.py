"""Tables of the study from the Particles station: written in the background, stopped without a trace."""

from pathlib import Path

import pytest
from pytestqt.qtbot import QtBot

from app import pickers
from app.stations.particles import Station


def test_tables_are_written_in_the_background(
    station: Station, qtbot: QtBot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    folder = tmp_path / "tables"
    monkeypatch.setattr(pickers, "folder", lambda *_: folder)
    station.action("particles.export").trigger()
    task = next(task for task in station.session.tasks.tasks if task.key == "particles.export")
    assert task.text == "Writing the tables"  # so that the strip shows it, with a way to stop it
    qtbot.waitUntil(lambda: any("tables of the study" in text for text in station.said), timeout=20_000)
    assert (folder / "particles.csv").read_text(encoding="utf-8").count("\n") > 1


def test_a_stop_leaves_no_half_table(
    station: Station, qtbot: QtBot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    folder = tmp_path / "tables"
    monkeypatch.setattr(pickers, "folder", lambda *_: folder)
    station.action("particles.export").trigger()
    next(task for task in station.session.tasks.tasks if task.key == "particles.export").cancel()
    qtbot.wait(300)
    assert not any("tables of the study" in text for text in station.said)
    left = [path.name for path in folder.iterdir()] if folder.exists() else []
    assert not [name for name in left if name.startswith(".")]
