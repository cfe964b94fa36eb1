"""Measure one picture of a run: a job in, a table and a row out. Small enough to travel to any process."""

import math
import os
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np

from measure.errors import KnownError
from measure.model import FieldQuality, FieldResult, FieldSettings, Frame, Picture, Scale
from measure.output.field_advice import ADVICE_COLUMNS, advice_cells
from measure.output.twins import packed_look
from measure.particles import Particles
from measure.safe_write import make_folder, written_beside
from measure.sizes.particle_table import MEETS_FRAME, Column, Table, particle_table
from measure.sizes.volume import VolumeModels

# of a table taken in: no picture was seen
NOT_SEEN = FieldQuality(*(math.nan,) * 3, (math.nan,) * 3, *(math.nan,) * 3)
FIELD_COLUMNS: dict[str, Column] = {
    "batch": Column("s", "", "batch the field belongs to"),
    "field": Column("s", "", "field of view, by its picture's name"),
    "sha256": Column("s", "", "fingerprint of the picture file"),
    "width_px": Column("i", "px", "picture width"),
    "height_px": Column("i", "px", "picture height"),
    "um_per_px": Column("f", "µm/px", "scale used"),
    "scale_uncertainty_um_per_px": Column("f", "µm/px", "standard uncertainty of the scale"),
    "smallest_um": Column("f", "µm", "lower size limit in force"),
    "found": Column("i", "", "particles found"),
    "counted": Column("i", "", "particles in the size figures"),
    "set_aside": Column("i", "", "particles listed, not counted, frame cases apart"),
    "touching_frame": Column("i", "", "particles that meet the measurement frame"),
    "cover": Column("f", "1", "share of the frame covered by pieces"),
    "contacts_expected": Column("f", "1", "share of pieces touching another by chance, 1 - exp(-4 cover)"),
    "noise": Column("f", "1", "noise of the oil, CIELAB units"),
    "focus_px": Column("f", "px", "median edge width of the pieces"),
    "clipped": Column("f", "1", "share of pixels at either end of the range"),
    "unevenness": Column("f", "1", "range of the background lightness, CIELAB L"),
    "warnings": Column("s", "", "what deserves a look, in words"),
    **ADVICE_COLUMNS,
}


@dataclass(frozen=True)
class FieldJob:
    """All that measuring one picture needs; small, so that it can travel to another process."""

    path: str
    name: str
    batch: str
    scale: Scale
    settings: FieldSettings = field(default_factory=FieldSettings)
    models: VolumeModels = field(default_factory=VolumeModels)
    blank_path: str | None = None
    overlay_path: str | None = None
    keep_result: bool = False  # bring the outlines back, for a study
    # the files themselves, where the paths cannot be read over there
    data: bytes | None = None
    blank_data: bytes | None = None
    zones: tuple = ()  # areas left out, (K, 2) px each
    joined: bool = False  # made of several fields: larger than the pictures its scale was made at
    helpers: int = 0  # processes that may share the field if it is large
    look_for_marks: bool = False  # for a burnt-in bar or words; one picture of a kind tells for all
    border: bool = True  # leave an even border round the view out
    bar: str = ""  # what the burnt-in bar says, where that was told


@dataclass(frozen=True)
class FieldOutcome:
    """What came of one job: a table, or the sentence that says why not and no table.

    ``row`` has the keys of `FIELD_COLUMNS` and, beside them, what later steps compare: ``look`` is the small
    copy of `measure.output.twins`, ``alarms`` the sentences of `alarms_of`, ``marks`` that of `marks_note`,
    ``border`` whether an even border round the view was "left out" or "counted", or empty.
    """

    name: str
    batch: str
    path: str
    error: str = ""
    table: Table = field(default_factory=dict)
    row: dict = field(default_factory=dict)
    result: FieldResult | None = None  # only where the job asked to keep it
    overlay: bytes | None = None  # PNG, where the worker cannot write it itself

    def kept_result(self) -> FieldResult:
        """Return the result of a job that asked to keep it."""
        if self.result is None:
            raise ValueError(f"the result of {self.name} was not kept")
        return self.result


def run_field_job(job: FieldJob) -> FieldOutcome:
    """Measure one picture; one that cannot be measured gives an outcome with its error.

    One picture must not stop a long run, nor stop it again at the same place when it is taken up. So a defect
    of this program is told in the outcome too.
    """
    try:
        return _measured(job)
    except KnownError as error:
        return FieldOutcome(job.name, job.batch, job.path, error=error.text)
    except MemoryError:
        text = f"{job.name} needs more memory than is free; measure it with fewer processes (--jobs 1)."
    except Exception as error:
        what = f"{type(error).__name__}: {error}".splitlines()[0]
        text = f"{job.name} could not be measured because of a defect of this program ({what})."
    return FieldOutcome(job.name, job.batch, job.path, error=text)


def _measured(job: FieldJob) -> FieldOutcome:
    from measure.field.pipeline import measure_field
    from measure.picture_file import read_picture

    picture = read_picture(job.path if job.data is None else job.data, job.name)
    result = measure_field(
        picture,
        job.settings,
        job.scale.um_per_px,
        blank=_blank(job),
        zones=job.zones,
        helpers=job.helpers,
        border=job.border,
    )
    overlay = _overlay(job, job.overlay_path, picture, result) if job.overlay_path else None
    table = result_table(result, job.scale, job.models, job.batch, job.name)
    notes = (*picture.notes, *_outside(job.zones, picture), *result.notes)
    row = field_row(
        job.name,
        sha256=picture.sha256,
        frame=result.frame,
        scale=job.scale,
        smallest_um=result.smallest_px * job.scale.um_per_px,
        table=table,
        batch=job.batch,
        quality=result.quality,
        notes=notes,
    )
    row["look"], row["alarms"] = packed_look(picture), alarms_of(job, picture)
    row["marks"] = _marks_note(job, picture, result, row["alarms"]) if job.look_for_marks else ""
    row["notes"], row["remarks"] = list(notes), list(result.quality.warnings if result.quality else ())
    row["border"] = _border_said(job, result)
    row["warnings"] = " ".join(part for part in (row["warnings"], *row["alarms"]) if part)
    kept = result if job.keep_result else None
    return FieldOutcome(job.name, job.batch, job.path, table=table, row=row, result=kept, overlay=overlay)


def _border_said(job: FieldJob, result: FieldResult) -> str:
    from measure.field.marks.surround import BORDER

    if not job.border:
        return "counted"
    return "left out" if any(note.startswith(BORDER) for note in result.notes) else ""


def _marks_note(job: FieldJob, picture: Picture, result: FieldResult, alarms: list[str]) -> str:
    """Look for a bar or words drawn in; a bar that contradicts the scale is added to the alarms."""
    from measure.output.burnt_marks import bar_alarm, marks_note
    from measure.scale.burnt_in import find_burnt_in

    found = find_burnt_in(picture)
    alarm = bar_alarm(job.name, found, job.bar, job.scale.um_per_px) if job.bar else ""
    if alarm:
        alarms.append(alarm)
    return marks_note(job.name, found, result, job.scale.um_per_px, job.bar)


def alarms_of(job: FieldJob, picture: Picture) -> list[str]:
    """Return what speaks against the scale, a sentence each: another picture size, or the file's claim."""
    from measure.scale.cross_check import check_tag

    scale, found = job.scale, []
    made_at, here = (scale.width_px, scale.height_px), (picture.width_px, picture.height_px)
    if None not in made_at and made_at != here and not job.joined:
        found.append(
            f"{job.name} is {here[0]} x {here[1]} px, but its scale was made at {made_at[0]} x {made_at[1]} "
            "px; make a scale at this size, or every length may be wrong."
        )
    if picture.embedded_um_per_px is not None:
        check = check_tag(picture.embedded_um_per_px, picture.embedded_source, scale.um_per_px)
        if check.verdict == "alarm":
            found.append(f"{job.name}: {check.words}")
    return found


def result_table(result: FieldResult, scale: Scale, models: VolumeModels, batch: str, name: str) -> Table:
    """Return the particle table of one measured field."""
    return particle_table(
        result.particles,
        frame=result.frame,
        scale=scale,
        smallest_um=result.smallest_px * scale.um_per_px,
        models=models,
        batch=batch,
        field=name,
    )


def field_row(
    name: str,
    *,
    sha256: str,
    frame: Frame,
    scale: Scale,
    smallest_um: float,
    table: Table,
    batch: str,
    quality: FieldQuality | None,
    notes: Sequence[str] = (),
) -> dict:
    """Return the row of the fields table, keys as in `FIELD_COLUMNS`."""
    reasons = table["set_aside_reason"]
    seen = NOT_SEEN if quality is None else quality
    return {
        "batch": batch,
        "field": name,
        "sha256": sha256,
        "width_px": frame.width_px,
        "height_px": frame.height_px,
        "um_per_px": scale.um_per_px,
        "scale_uncertainty_um_per_px": scale.standard_uncertainty_um_per_px,
        "smallest_um": smallest_um,
        "found": len(reasons),
        "counted": int(table["counted"].sum()),
        "set_aside": int(((reasons != "") & (reasons != MEETS_FRAME)).sum()),
        "touching_frame": int(table["touches_frame"].sum()),
        "cover": seen.cover,
        "contacts_expected": seen.contacts_expected,
        "noise": seen.noise,
        "focus_px": seen.focus,
        "clipped": seen.clipped,
        "unevenness": seen.unevenness,
        "warnings": " ".join((*seen.warnings, *notes)),
        **advice_cells(table, seen),
    }


def overlay_png(picture: Picture, particles: Particles) -> bytes:
    """Return a picture with its outlines and the key of their lines, as PNG."""
    from measure.output.overlay import draw_overlay, png_bytes
    from measure.output.overlay_legend import with_legend

    return png_bytes(with_legend(draw_overlay(picture, particles), particles))


def write_overlay(path: str, png: bytes) -> None:
    """Write a drawn overlay, making its folder.

    Raises
    ------
    InvalidInput
        If it cannot be written.
    """
    make_folder(os.path.dirname(path))
    with written_beside(path) as beside:
        beside.write_bytes(png)


def _overlay(job: FieldJob, path: str, picture: Picture, result: FieldResult) -> bytes | None:
    """Draw the overlay and write it, or return it where the job came without its path."""
    png = overlay_png(picture, result.particles)
    if job.data is not None:
        return png
    write_overlay(path, png)
    return None


def _outside(zones: Sequence[np.ndarray], picture: Picture) -> tuple[str, ...]:
    """Say of areas to be left out that they do not lie in the picture, mostly a slip of the corner."""
    width, height = picture.width_px, picture.height_px
    off = [z for z in zones if z[:, 0].min() >= width or z[:, 1].min() >= height or z.max(axis=0).min() <= 0]
    if not off:
        return ()
    what = "the area to be left out lies" if len(off) == 1 else f"{len(off)} areas to be left out lie"
    return (f"{what} outside the picture of {width} x {height} px",)


def _blank(job: FieldJob) -> Picture | None:
    source = job.blank_path if job.blank_data is None else job.blank_data
    return None if source is None else _read_blank(source)


@lru_cache(maxsize=1)
def _read_blank(source: str | bytes) -> Picture:
    from measure.picture_file import read_picture

    return read_picture(source, "the blank-oil picture" if isinstance(source, bytes) else "")
