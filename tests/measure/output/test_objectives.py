"""Apertures of objectives kept with the scales of a study, and what sizes say of them."""

from pathlib import Path

import pytest

from measure.errors import InvalidInput
from measure.model import Scale
from measure.output.objectives import keep_objective, objectives
from measure.study.study import Study


def test_kept_changed_forgotten_and_undone(tmp_path: Path):
    path = tmp_path / "s.gritline"
    with Study.create(path) as study:
        first, second = study.add_scale(Scale(0.5, zoom="10x")), study.add_scale(Scale(0.3))
        assert objectives(study) == {}
        keep_objective(study, first, 0.25)
        keep_objective(study, second, 0.4)
        keep_objective(study, second, 0.4)  # nothing new: no step of its own
        assert objectives(study) == {first: 0.25, second: 0.4}
        study.undo()
        assert objectives(study) == {first: 0.25}
        study.redo()
        keep_objective(study, first, None)
        with pytest.raises(InvalidInput, match="numerical aperture lies between"):
            keep_objective(study, first, 2.5)
        done = [entry.text for entry in study.edit_log() if entry.state == "done"]
        assert done[:3] == [
            "Change the objective of 10x",
            "Change an objective",
            "Change the objective of 10x",
        ]
    with Study.open(path) as study:
        assert objectives(study) == {second: 0.4}
