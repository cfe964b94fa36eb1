"""Keeping the results of a run in a study."""

from pathlib import Path

from measure.model import Scale
from measure.output.study_run import StudyKeeper
from measure.study.records import Batch


def test_a_scale_typed_again_in_a_later_run_is_the_same_scale(tmp_path: Path):
    path, typed = tmp_path / "spread.gritline", Scale(0.5, 0.001, zoom="40x", method="typed")
    with StudyKeeper(path, Batch("pass 1")) as keeper:
        first = keeper.scale_id(typed)
        assert keeper.scale_id(typed) == first
    with StudyKeeper(path, Batch("pass 3")) as keeper:
        assert keeper.scale_id(typed) == first
        assert keeper.scale_id(Scale(0.51, 0.001, zoom="40x", method="typed")) != first
        assert len(keeper.study.scales()) == 2
