"""Random sequences of actions, undo, redo and reopening: undo goes back exactly, and disk equals memory."""

import shutil
import tempfile
from pathlib import Path

import numpy as np
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from measure.errors import InvalidInput
from measure.model import Scale
from measure.study.records import Batch
from measure.study.study import Study
from tests.measure.study.builders import contents, particles, picture, result, same_particles

pick = st.integers(0, 1000)


class EditMachine(RuleBasedStateMachine):
    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(tempfile.mkdtemp())
        self.study = Study.create(self.folder / "a.gritline")
        self.states = [contents(self.study)]
        self.at = 0
        self.names = 0

    def teardown(self) -> None:
        while self.study.undo():
            self.at -= 1
            assert contents(self.study) == self.states[self.at]
        assert self.at == 0
        assert not any(contents(self.study).values())
        assert self.study.integrity_check() == []
        self.study.close()
        shutil.rmtree(self.folder)

    def did(self) -> None:
        now = contents(self.study)
        if self.study.last_changes:
            self.states = [*self.states[: self.at + 1], now]
            self.at += 1

    def a_field(self, chosen: int) -> int | None:
        rows = self.study.fields()
        return rows[chosen % len(rows)].id if rows else None

    def a_label(self, field_id: int, chosen: int) -> list[int]:
        labels = self.study.particles(field_id)["label"].tolist()
        return [labels[chosen % len(labels)]] if labels else []

    @rule(name=st.text(max_size=5))
    def add_batch(self, name: str) -> None:
        self.study.add_batch(Batch(name))
        self.did()

    @rule(chosen=pick, name=st.text(max_size=5))
    def change_batch(self, chosen: int, name: str) -> None:
        rows = self.study.batches()
        if rows:
            self.study.update_batch(rows[chosen % len(rows)].id, Batch(name))
            self.did()

    @rule(chosen=pick)
    def remove_batch(self, chosen: int) -> None:
        rows = self.study.batches()
        if rows:
            try:
                self.study.remove_batch(rows[chosen % len(rows)].id)
            except InvalidInput:
                return
            self.did()

    @rule(count=st.integers(1, 3), chosen=pick)
    def add_fields(self, count: int, chosen: int) -> None:
        batches = [None, *(row.id for row in self.study.batches())]
        self.names += count
        new = [picture(f"{self.names - i}", batch_id=batches[chosen % len(batches)]) for i in range(count)]
        self.study.add_fields(new)
        self.did()

    @rule(chosen=pick, value=st.floats(0.1, 2))
    def give_scale(self, chosen: int, value: float) -> None:
        field_id = self.a_field(chosen)
        with self.study.one_step("Give a scale"):
            scale = self.study.add_scale(Scale(value, made="then"))
            if field_id is not None:
                self.study.update_field(field_id, scale_id=scale, zones=[np.full((3, 2), value)])
        self.did()

    @rule(chosen=pick)
    def remove_field(self, chosen: int) -> None:
        field_id = self.a_field(chosen)
        if field_id is not None:
            self.study.remove_fields([field_id])
            self.did()

    @rule(chosen=pick, count=st.sampled_from([0, 1, 5, 30]), seed=pick)
    def measure(self, chosen: int, count: int, seed: int) -> None:
        field_id = self.a_field(chosen)
        if field_id is not None:
            self.study.store_result(field_id, result(count, seed))
            self.did()

    @rule(chosen=pick, label=pick, count=st.integers(0, 3))
    def edit_by_hand(self, chosen: int, label: int, count: int) -> None:
        field_id = self.a_field(chosen)
        if field_id is not None:
            used = self.study._next_label(field_id)
            gone = self.a_label(field_id, label)
            new = self.study.replace_particles(field_id, gone, particles(count, label), "Edit")
            assert not new or min(new) >= used
            self.did()

    @rule(chosen=pick, label=pick, kind=st.integers(0, 3), reason=st.text(max_size=3))
    def tag(self, chosen: int, label: int, kind: int, reason: str) -> None:
        field_id = self.a_field(chosen)
        if field_id is not None:
            labels = self.a_label(field_id, label)
            self.study.update_particles(field_id, labels, "Tag", kind=kind, set_aside=reason)
            self.did()

    @rule(chosen=pick)
    def automatic(self, chosen: int) -> None:
        field_id = self.a_field(chosen)
        if field_id is not None:
            try:
                self.study.restore_automatic(field_id)
            except InvalidInput:
                return
            self.did()

    @rule(name=st.sampled_from(["a", "b"]), value=st.integers() | st.text(max_size=3))
    def set_setting(self, name: str, value: object) -> None:
        self.study.set_setting(name, value)
        self.did()

    @rule()
    def undo(self) -> None:
        assert (self.study.undo() is not None) == (self.at > 0)
        self.at = max(0, self.at - 1)

    @rule()
    def redo(self) -> None:
        there = self.at < len(self.states) - 1
        assert (self.study.redo() is not None) == there
        self.at += there

    @precondition(lambda self: self.study.fields())
    @rule(chosen=pick)
    def kept_set_equals_disk(self, chosen: int) -> None:
        field_id = self.a_field(chosen)
        kept = self.study.particles(field_id)
        self.study._sets.clear()
        assert same_particles(kept, self.study.particles(field_id))
        assert self.study.field(field_id).counts.particles == len(kept)

    @rule()
    def reopen(self) -> None:
        self.study.close()
        self.study = Study.open(self.folder / "a.gritline")

    @invariant()
    def is_in_the_expected_state(self) -> None:
        assert contents(self.study) == self.states[self.at]


EditMachine.TestCase.settings = settings(
    max_examples=25,
    stateful_step_count=30,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)
TestEditMachine = EditMachine.TestCase
