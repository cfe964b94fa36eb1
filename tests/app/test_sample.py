"""The sample study is made once, with progress, and opened at once from then on."""

import shutil
from pathlib import Path

import pytest
from pytestqt.qtbot import QtBot

from app import jobs
from app.sample import MAKING, SampleBuilder, sample_folder
from app.session import Session
from measure.errors import Cancelled, InvalidInput
from measure.progress import Progress
from measure.study.lock import WriterLock


def test_made_once_then_opened(
    session: Session, study_path: Path, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
):
    made = []

    def build(folder: Path, progress: Progress) -> Path:
        made.append(folder)
        folder.mkdir(parents=True)
        (folder / "spread-in-work.gritline").touch()  # what a broken attempt leaves behind
        return Path(shutil.copy(study_path, folder / "spread.gritline"))

    monkeypatch.setattr(jobs, "build_sample", build)
    sample = SampleBuilder(session)
    sample.open()
    sample.open()  # pressed again while it is made
    assert session.told == [("note", MAKING), ("note", "The sample study is being made.")]
    qtbot.waitUntil(lambda: session.study is not None, timeout=5000)
    session.close()
    sample.open()
    assert session.study.path == sample_folder() / "spread.gritline"
    assert made == [sample_folder()]


def test_what_goes_wrong_is_told(session: Session, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch):
    def build(_folder: Path, _progress: Progress) -> Path:
        raise InvalidInput("The sample pictures are missing.")

    monkeypatch.setattr(jobs, "build_sample", build)
    SampleBuilder(session).open()
    qtbot.waitUntil(lambda: len(session.told) == 2, timeout=5000)
    assert session.told[-1] == ("warning", "The sample pictures are missing.")


def test_a_second_window_waits_for_the_first_and_opens_what_it_made(
    study_path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    folder, stages = tmp_path / "sample", []
    folder.mkdir()
    first = WriterLock(folder / "making")
    (folder / "spread-in-work.gritline").touch()

    def hear(_fraction: float, stage: str) -> None:
        stages.append(stage)
        if len(stages) == 2:  # the first window is done
            (folder / "spread-in-work.gritline").unlink()
            shutil.copy(study_path, folder / "spread.gritline")
            first.release()

    monkeypatch.setattr("app.jobs._WAIT_S", 0.001)
    assert jobs.build_sample(folder, Progress(hear)) == folder / "spread.gritline"
    assert set(stages) == {"another window makes it, this one waits"}


def test_waiting_for_another_window_can_be_stopped(tmp_path: Path):
    turn, progress = WriterLock(tmp_path / "making"), Progress()
    progress.cancel()
    with pytest.raises(Cancelled):
        jobs.build_sample(tmp_path, progress)
    turn.release()
