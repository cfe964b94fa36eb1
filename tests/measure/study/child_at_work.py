"""A process that measures and edits until it is killed, and what its study must hold then.

Each finished action is confirmed by one line on stdout, so the study must hold all confirmed actions, and
the one after them wholly or not at all.
"""

import random
import sys
from collections.abc import Iterator
from pathlib import Path

from measure.study.records import Batch
from measure.study.study import Study
from tests.measure.study.builders import particles, picture, result


def plan(seed: int) -> Iterator[tuple[str, tuple[int, ...]]]:
    """Give action after action, and the steps that are in force after each."""
    chance = random.Random(seed)
    done: list[int] = []
    undone: list[int] = []
    for number in range(10_000):
        word = chance.choices(("add", "undo", "redo"), (5, 2, 2))[0]
        if word == "undo" and done:
            undone.append(done.pop())
        elif word == "redo" and undone:
            done.append(undone.pop())
        else:
            word = "add"
            done.append(number)
            undone.clear()
        yield word, tuple(done)


def step(study: Study, number: int) -> None:
    """Do one action that touches many tables."""
    with study.one_step(f"step {number}"):
        batch = study.add_batch(Batch(f"step {number}"))
        data = random.Random(number).randbytes(20_000 + 997 * (number % 50))
        field_id = study.add_fields([picture(f"{number}.png", data=data, batch_id=batch)])[0]
        study.store_result(field_id, result(20 + number % 30, number))
        study.replace_particles(field_id, [1, 2], particles(1, number), "join")
        study.set_aside(field_id, [3], f"by {number}")


def fault(study: Study, seed: int, confirmed: int) -> str | None:
    """Return what is wrong with a study after ``confirmed`` actions, or None."""
    states = [()]
    for _, steps in plan(seed):
        states.append(steps)
        if len(states) > confirmed + 1:
            break
    found = tuple(int(row.batch.name.split()[1]) for row in study.batches())
    if found not in states[confirmed:]:
        return f"holds the steps {found}, not {states[confirmed]} or {states[confirmed + 1]}"
    fields = study.fields()
    if [row.name for row in fields] != [f"{number}.png" for number in found]:
        return "the fields do not fit the batches"
    for row, number in zip(fields, found, strict=True):
        held = study.particles(row.id)
        if len(held) != 19 + number % 30 or row.counts.particles != len(held):
            return f"step {number} is not whole"
        if f"by {number}" not in held["set_aside"].tolist():
            return f"step {number} lost its hand edit"
    return None


def main(path: str, seed: str) -> None:
    study = Study.create(Path(path))
    print("at work", flush=True)
    for word, steps in plan(int(seed)):
        if word == "undo":
            study.undo()
        elif word == "redo":
            study.redo()
        else:
            step(study, steps[-1])
        print(word, flush=True)


if __name__ == "__main__":
    main(*sys.argv[1:])
