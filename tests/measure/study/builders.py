"""Small studies, particles and results for the tests of the study file."""

import numpy as np

from measure.model import FieldQuality, FieldResult, FieldSettings, Frame, Scale
from measure.particles import COLUMNS, Particles, make_particles
from measure.study.records import Batch, NewField
from measure.study.study import Study


def particles(count: int, seed: int = 0, first_label: int = 1) -> Particles:
    rng = np.random.default_rng(seed)
    columns = {"label": np.arange(first_label, first_label + count)}
    for name, (dtype, _) in COLUMNS.items():
        if dtype.startswith("f") and not name.startswith("stated_"):  # only imported tables state something
            columns[name] = rng.normal(50, 20, count)
    columns["kind"] = rng.integers(0, 4, count)
    columns["flags"] = rng.integers(0, 8, count)
    columns["set_aside"] = [("", "air bubble")[i] for i in rng.integers(0, 2, count)]
    columns["edge_width_px"] = np.where(rng.random(count) < 0.2, np.nan, 2.5)
    outlines = [rng.uniform(0, 500, (int(n), 2)).astype("f4") for n in rng.integers(3, 20, count)]
    return make_particles(outlines, **columns)


def result(count: int, seed: int = 0, **changes: object) -> FieldResult:
    quality = FieldQuality(0.12, 0.3, 1.5, (210.0, 200.0, 180.0), 2.5, 0.0, 3.0, ("thick smear",))
    arguments = {
        "particles": particles(count, seed),
        "frame": Frame(600, 400, (np.array([[0.0, 0.0], [9.0, 0.0], [9.0, 9.0]]),)),
        "quality": quality,
        "settings": FieldSettings(smallest_um=4.0, sensitivity=0.25),
        "um_per_px": 0.25,
        "smallest_px": 10.0,
        "notes": ("cut strongly",),
    }
    return FieldResult(**(arguments | changes))


def picture(name: str = "one.png", **changes: object) -> NewField:
    arguments = {"name": name, "data": name.encode() * 9, "width_px": 600, "height_px": 400}
    return NewField(**(arguments | changes))


def fill(study: Study, count: int = 5) -> int:
    """Give a study a scale, a batch and a measured field; return the id of the field."""
    scale = study.add_scale(Scale(0.25, 0.0002, "10x"))
    batch = study.add_batch(Batch("pass 3", "hazelnut, salt", "gap 30", passes=3))
    field_id = study.add_fields([picture(batch_id=batch, scale_id=scale)])[0]
    study.store_result(field_id, result(count))
    return field_id


def same_particles(one: Particles, other: Particles) -> bool:
    columns = all(
        one[name].dtype == other[name].dtype
        and np.array_equal(one[name], other[name], equal_nan=one[name].dtype.kind == "f")
        for name in COLUMNS
    )
    return columns and len(one) == len(other) and all(map(np.array_equal, one.outlines, other.outlines))


_DATA = ("scale", "batch", "slide", "field", "particle", "tasting", "spot_check", "setting")


def contents(study: Study) -> dict[str, list[tuple]]:
    """Everything undo can reach, for comparing two states of a study (ids of deleted rows aside)."""
    return {table: study._rows(f"SELECT * FROM {table} ORDER BY id") for table in _DATA}


def everything(study: Study) -> dict[str, list[tuple]]:
    """Every row of every table but pictures and outlines, which are only ever added."""
    tables = (*_DATA, "field_state", "edit", "edit_row")
    return {table: study._rows(f"SELECT * FROM {table} ORDER BY 1") for table in tables}
