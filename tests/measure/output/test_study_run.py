"""Keeping the results of a run in a study."""

import os
from pathlib import Path

import pytest

from measure.errors import InvalidInput, StudyFileError
from measure.model import Scale
from measure.output.study_run import StudyKeeper
from measure.safe_write import check_folder_place
from measure.study.records import Batch
from measure.study.study import Study


def test_a_scale_typed_again_in_a_later_run_is_the_same_scale(tmp_path: Path):
    path, typed = tmp_path / "spread.gritline", Scale(0.5, 0.001, zoom="40x", method="typed")
    with StudyKeeper(path, Batch("pass 1")) as keeper:
        first = keeper.scale_id(typed)
        assert keeper.scale_id(typed) == first
    with StudyKeeper(path, Batch("pass 3")) as keeper:
        assert keeper.scale_id(typed) == first
        assert keeper.scale_id(Scale(0.51, 0.001, zoom="40x", method="typed")) != first
        assert len(keeper.study.scales()) == 2


def test_a_study_open_elsewhere_is_refused_with_the_reason(tmp_path: Path):
    path = tmp_path / "spread.gritline"
    with Study.create(path), pytest.raises(StudyFileError, match="because it is open in another window"):
        StudyKeeper(path, Batch("pass 1"))


def test_a_place_that_cannot_be_written_is_told_with_its_own_option(tmp_path: Path, monkeypatch):
    monkeypatch.setattr(os, "access", lambda *_given: False)  # as for one without the right to write there
    with pytest.raises(InvalidInput, match="name another place with --study"):
        check_folder_place(tmp_path, "--study")
    with pytest.raises(InvalidInput, match="name another place with --out"):
        check_folder_place(tmp_path)
