"""Measured fields that wait for the others of their run, kept on disk whole, to the last digit.

Fields that overlap are counted together, after the last of them is measured. Until then each leaves one file,
so that a run that was stopped need not measure it again.
"""

import json
from dataclasses import asdict
from pathlib import Path

import numpy as np

from measure.model import FieldQuality, FieldResult, FieldSettings, Frame
from measure.output.field_run import FieldJob, FieldOutcome, result_table
from measure.particles import COLUMNS, Particles
from measure.safe_write import written_beside

_FAULTS = (OSError, ValueError, KeyError, TypeError, EOFError)  # of a file that is no longer what was written


def write_waiting(path: Path, outcome: FieldOutcome) -> None:
    """Write a measured field whole or not at all.

    Parameters
    ----------
    path : Path
        Ends in ``.npz``.
    outcome : FieldOutcome
        With its result.

    Raises
    ------
    InvalidInput
        If it cannot be written.
    """
    result = outcome.kept_result()
    zones = [np.asarray(zone, float) for zone in result.frame.zones]
    facts = {
        "row": outcome.row,
        "width_px": result.frame.width_px,
        "height_px": result.frame.height_px,
        "quality": None if result.quality is None else asdict(result.quality),
        "settings": asdict(result.settings),
        "um_per_px": result.um_per_px,
        "smallest_px": result.smallest_px,
        "seconds": result.seconds,
        "notes": list(result.notes),
    }
    arrays = {f"column {name}": _plain(values) for name, values in result.particles.columns.items()}
    arrays |= _packed("outline", list(result.particles.outlines), np.float32) | _packed("zone", zones, float)
    arrays["facts"] = np.array(json.dumps(facts))
    with written_beside(path) as beside, beside.open("wb") as file:
        np.savez(file, **arrays)  # type: ignore[arg-type]  # the stub takes every name for allow_pickle


def read_waiting(path: Path, job: FieldJob) -> FieldOutcome | None:
    """Return the field of a job as it was written; None where there is none, or it cannot be read whole."""
    from zipfile import BadZipFile

    try:
        with path.open("rb") as file, np.load(file, allow_pickle=False) as kept:
            facts = json.loads(str(kept["facts"]))
            columns = {name: _typed(name, kept[f"column {name}"]) for name in COLUMNS}
            particles = Particles(columns, tuple(_unpacked("outline", kept)))
            zones = tuple(_unpacked("zone", kept))
        result = FieldResult(
            particles,
            Frame(facts["width_px"], facts["height_px"], zones),
            None if facts["quality"] is None else _quality(facts["quality"]),
            FieldSettings(**facts["settings"]),
            facts["um_per_px"],
            facts["smallest_px"],
            facts["seconds"],
            tuple(facts["notes"]),
        )
    except (*_FAULTS, BadZipFile):
        return None
    table = result_table(result, job.scale, job.models, job.batch, job.name)
    return FieldOutcome(job.name, job.batch, job.path, table=table, row=facts["row"], result=result)


def _plain(values: np.ndarray) -> np.ndarray:
    return values.astype(str) if values.dtype == object else values


def _typed(name: str, values: np.ndarray) -> np.ndarray:
    column = np.empty(len(values), dtype=COLUMNS[name][0])
    column[:] = values.tolist() if column.dtype == object else values
    return column


def _packed(name: str, shapes: list[np.ndarray], dtype: type) -> dict[str, np.ndarray]:
    """One array of all points and one of their counts."""
    points = np.concatenate([np.zeros((0, 2), dtype), *(np.asarray(s, dtype) for s in shapes)])
    return {f"{name} points": points, f"{name} counts": np.array([len(s) for s in shapes], dtype=int)}


def _unpacked(name: str, kept: "np.lib.npyio.NpzFile") -> list[np.ndarray]:
    points, ends = kept[f"{name} points"], np.cumsum(kept[f"{name} counts"])
    return np.split(points, ends[:-1]) if len(ends) else []


def _quality(values: dict) -> FieldQuality:
    red, green, blue = values["oil_rgb"]
    return FieldQuality(**{**values, "oil_rgb": (red, green, blue), "warnings": tuple(values["warnings"])})
