"""Measure many fields: one job a picture, on this machine's cores, results in order, memory flat."""

import os
from collections.abc import Iterator, Sequence
from concurrent.futures import Executor, Future
from dataclasses import dataclass, field
from functools import lru_cache

from measure.errors import KnownError
from measure.model import FieldQuality, FieldResult, FieldSettings, Frame, Picture, Scale
from measure.progress import SILENT, Progress
from measure.output.field_advice import ADVICE_COLUMNS, advice_cells
from measure.safe_write import make_folder
from measure.sizes.particle_table import MEETS_FRAME, Column, Table, particle_table
from measure.sizes.volume import VolumeModels

# peak of one worker at 20 Mpx, with room; see the speed benchmark
WORKER_BYTES = 1_500_000_000

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
    data: bytes | None = None  # the picture itself, where the path cannot be read over there
    zones: tuple = ()  # areas left out, (K, 2) px each


@dataclass(frozen=True)
class FieldOutcome:
    """What came of one job: a table, or the sentence that says why not."""

    name: str
    batch: str
    path: str
    error: str = ""
    table: Table | None = None
    row: dict | None = None
    result: FieldResult | None = None


def run_field_job(job: FieldJob) -> FieldOutcome:
    """Measure one picture; a picture that cannot be read gives an outcome with its error."""
    from measure.field.pipeline import measure_field
    from measure.picture_file import read_picture

    try:
        picture = read_picture(job.path if job.data is None else job.data, job.name)
        blank = _blank(job.blank_path) if job.blank_path else None
        result = measure_field(picture, job.settings, job.scale.um_per_px, blank=blank, zones=job.zones)
        if job.overlay_path:
            _write_overlay(job.overlay_path, picture, result)
    except KnownError as error:
        return FieldOutcome(job.name, job.batch, job.path, error=error.text)
    table = result_table(result, job.scale, job.models, job.batch, job.name)
    row = field_row(
        job.name,
        sha256=picture.sha256,
        frame=result.frame,
        scale=job.scale,
        smallest_um=result.smallest_px * job.scale.um_per_px,
        table=table,
        batch=job.batch,
        quality=result.quality,
        notes=(*picture.notes, *result.notes),
    )
    return FieldOutcome(
        job.name, job.batch, job.path, table=table, row=row, result=result if job.keep_result else None
    )


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
    quality: FieldQuality,
    notes: Sequence[str] = (),
) -> dict:
    """Return the row of the fields table, keys as in `FIELD_COLUMNS`."""
    reasons = table["set_aside_reason"]
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
        "cover": quality.cover,
        "contacts_expected": quality.contacts_expected,
        "noise": quality.noise,
        "focus_px": quality.focus,
        "clipped": quality.clipped,
        "unevenness": quality.unevenness,
        "warnings": " ".join((*quality.warnings, *notes)),
        **advice_cells(table, quality),
    }


def workers_for(jobs: int, wanted: int | None = None) -> int:
    """Return how many worker processes to use: cores and memory allow, never more than the jobs."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    by_memory = max(1, _free_bytes() // WORKER_BYTES)
    return max(1, min(jobs, wanted or cores, by_memory))


def measure_many(
    jobs: Sequence[FieldJob],
    *,
    workers: int = 1,
    progress: Progress = SILENT,
    executor: Executor | None = None,
) -> Iterator[FieldOutcome]:
    """Measure the jobs and give their outcomes in the order of the jobs.

    Parameters
    ----------
    jobs : sequence of FieldJob
        One a picture.
    workers : int
        Processes to start when no executor is given; 1 works in this process.
    progress : Progress
        Told after each field.
    executor : concurrent.futures.Executor, optional
        Where to run instead, for example a cluster's.

    Yields
    ------
    FieldOutcome
        One a job. At most a few more jobs than workers are in flight, so memory does not grow with the jobs.
    """
    if executor is None and workers <= 1:
        for done, job in enumerate(jobs):
            progress.report(done / len(jobs), job.name)
            yield run_field_job(job)
        return
    own = _process_pool(workers) if executor is None else None
    try:
        yield from _in_order(jobs, own or executor, 2 * max(workers, 2), progress)
    finally:
        if own is not None:
            own.shutdown(wait=True, cancel_futures=True)


def _in_order(
    jobs: Sequence[FieldJob], pool: Executor, ahead: int, progress: Progress
) -> Iterator[FieldOutcome]:
    waiting: list[Future] = []
    queue = iter(jobs)
    for done, job in enumerate(jobs):
        while len(waiting) < ahead and (ahead_job := next(queue, None)) is not None:
            waiting.append(pool.submit(run_field_job, ahead_job))
        progress.report(done / len(jobs), job.name)
        yield _result(waiting.pop(0))


def _result(future: Future) -> FieldOutcome:
    from concurrent.futures.process import BrokenProcessPool

    try:
        return future.result()
    except BrokenProcessPool as error:
        raise KnownError(
            "A worker process was ended by the system, probably for want of memory. What is done is kept; "
            "run the same command again with fewer processes (--jobs 1)."
        ) from error


def _process_pool(workers: int) -> Executor:
    import multiprocessing
    from concurrent.futures import ProcessPoolExecutor

    context = multiprocessing.get_context("spawn")  # the same on every system, and safe beside threads
    return ProcessPoolExecutor(workers, mp_context=context, initializer=one_thread)


def one_thread() -> None:
    """Make this worker use one thread: the fields themselves run side by side."""
    import cv2

    cv2.setNumThreads(1)


@lru_cache(maxsize=2)
def _blank(path: str) -> Picture:
    from measure.picture_file import read_picture

    return read_picture(path)


def _write_overlay(path: str, picture: Picture, result: FieldResult) -> None:
    from measure.output.overlay import draw_overlay, write_picture

    make_folder(os.path.dirname(path))
    write_picture(path, draw_overlay(picture, result.particles))


def _free_bytes() -> int:
    try:
        return os.sysconf("SC_AVPHYS_PAGES") * os.sysconf("SC_PAGE_SIZE")
    except (AttributeError, ValueError, OSError):
        return 8 * WORKER_BYTES  # unknown here: let the cores decide
