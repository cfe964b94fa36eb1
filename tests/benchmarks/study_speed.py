"""Time the study file: opening, reading, measuring again, single edits. Prints a table, best of three.

python -m tests.benchmarks.study_speed [--fields 200]
"""

import argparse
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from measure.model import Scale
from measure.particles import Particles
from measure.study.records import Batch
from measure.study.study import Study
from tests.measure.study.builders import particles, picture, result


def _round(count: int, seed: int) -> Particles:
    """Return particles with outlines of 65 points, as measuring gives them."""
    rng = np.random.default_rng(seed)
    angle = np.linspace(0, 2 * np.pi, 65, endpoint=False)
    circle = np.c_[np.cos(angle), np.sin(angle)]
    outlines = [(rng.uniform(0, 5000, 2) + 8 * circle).astype("f4") for _ in range(count)]
    return Particles(particles(count, seed).columns, tuple(outlines))


def _best(name: str, action: Callable[[], object], times: int = 3) -> None:
    took, work = [], []
    for _ in range(times):
        start, begun = time.perf_counter(), time.process_time()
        action()
        took.append(time.perf_counter() - start)
        work.append(time.process_time() - begun)
    print(f"{name:<50}{1000 * min(took):9.1f} ms, of it computing {1000 * min(work):7.1f} ms")


def main() -> None:
    """Build a study and time what the window does with it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--fields", type=int, default=200)
    count = parser.parse_args().fields
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "speed.gritline"
        with Study.create(path) as study:
            scale, batch = study.add_scale(Scale(0.2)), study.add_batch(Batch("pass 3"))
            data = np.random.default_rng(0).bytes
            new = [
                picture(f"{i}", data=data(1_000_000), scale_id=scale, batch_id=batch) for i in range(count)
            ]
            ids = study.add_fields(new)
            small = result(0, particles=_round(2000, 1))
            for field_id in ids[1:]:
                study.store_result(field_id, small)
            large = result(0, particles=_round(10_000, 2))
            study.store_result(ids[0], large)
            _time_one(study, ids, large, small)
        print(f"file {path.stat().st_size / 1e6:.0f} MB, {count} fields")
        _best(f"open and list {count} fields", lambda: _open(path))


def _time_one(study: Study, ids: list[int], large: object, small: object) -> None:
    first, second = ids[:2]

    def cold() -> None:
        study._sets.clear()
        study.particles(first)

    _best("read 10,000 particles", cold)
    labels = iter(study.particles(first)["label"].tolist())
    kinds = iter(range(100))
    two = small.particles.select(np.array([0, 1]))
    _best(
        "tag one of 10,000 and have the set again",
        lambda: _again(study, first, next(labels), next(kinds) % 3),
    )
    _best("cut one of 10,000", lambda: study.replace_particles(first, [next(labels)], two, "Cut"))
    _best("undo that", study.undo)
    _best("measure 2,000 again", lambda: study.store_result(second, small))
    _best("undo that", study.undo)
    _best("measure 10,000 again", lambda: study.store_result(first, large))
    _best("list the fields", study.fields)
    _best("log of a field", lambda: study.edit_log(first))


def _again(study: Study, field_id: int, label: int, kind: int) -> None:
    study.set_kind(field_id, [label], kind)
    study.particles(field_id)


def _open(path: Path) -> None:
    with Study.open(path) as study:
        study.fields(), study.batches(), study.scales(), study.undo_text()


if __name__ == "__main__":
    main()
