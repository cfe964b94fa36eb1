"""The sample batches measured end to end into a new study: scale from the ruling, fields, sizes, tables."""

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from measure.errors import InvalidInput
from measure.model import Scale
from measure.output.export import export_study
from measure.output.field_pool import measure_many, workers_for
from measure.output.field_run import FieldJob, FieldOutcome
from measure.output.study_run import StudyKeeper
from measure.picture_file import read_picture
from measure.progress import SILENT, Progress
from measure.safe_write import make_folder
from measure.scale.find import find_scale
from measure.scale.fit import RulingFit, fit_to_plain
from measure.scale.scale_file import write_scale
from measure.study.records import Batch
from measure.study.study import Study

STUDY_NAME = "hazelnut-spread"


@dataclass(frozen=True)
class SampleRun:
    """What building the sample study gave."""

    study: Path
    scale: Scale
    fields: int
    particles: int
    batches: tuple[str, ...]
    files: tuple[Path, ...]


def build_sample_study(
    pictures: Path,
    folder: Path,
    *,
    workers: int | None = None,
    tables: bool = True,
    progress: Progress = SILENT,
    each: Callable[[FieldOutcome], None] | None = None,
) -> SampleRun:
    """Measure the sample batches into a new study in ``folder``; a study that is there is left alone.

    Parameters
    ----------
    pictures : Path
        Folder with samples.json and the pictures it names.
    folder : Path
        Made when it is not there.
    workers : int, optional
        Processes; as many as cores and memory allow by default.
    tables : bool
        Also write the tables beside the study.
    progress : Progress
        Told after each field.
    each : callable, optional
        Called with every outcome.

    Raises
    ------
    InvalidInput
        If the sample pictures are missing or the folder cannot be written.
    """
    about = _about(pictures)
    make_folder(folder)
    fit, ruling = _scale(pictures, about)
    path = _free_name(folder)
    half_done = path.with_name(path.stem + "-in-work.gritline")
    half_done.unlink(missing_ok=True)
    try:
        particles, fields = _measure(half_done, pictures, about, fit, ruling, workers, progress, each)
        half_done.rename(path)
    finally:
        half_done.unlink(missing_ok=True)
    files: list[Path] = []
    if tables:
        write_scale(folder / "scale.json", fit.scale)
        with Study.open(path, read_only=True) as study:
            files = [folder / "scale.json", *export_study(study, folder)]
    return SampleRun(
        path, fit.scale, fields, particles, tuple(b["name"] for b in about["batches"]), tuple(files)
    )


def sample_field_count(pictures: Path) -> int:
    """Return how many fields the sample batches have.

    Raises
    ------
    InvalidInput
        If the sample pictures are missing.
    """
    return sum(len(batch["files"]) for batch in _about(pictures)["batches"])


def _measure(
    path: Path,
    pictures: Path,
    about: dict,
    fit: RulingFit,
    ruling: bytes,
    workers: int | None,
    progress: Progress,
    each: Callable[[FieldOutcome], None] | None,
) -> tuple[int, int]:
    scale = fit.scale
    jobs, batches = _jobs(pictures, about, scale)
    particles = fields = 0
    blank = str(pictures / about["blank"])
    with StudyKeeper(path, Batch(""), blank) as keeper:
        keeper.scale_id(scale, ruling, about["ruling"]["file"], fit_to_plain(fit))
        for batch in batches.values():
            keeper.study.add_batch(batch)
        outcomes = measure_many(jobs, workers=workers_for(len(jobs), workers), progress=progress)
        for outcome in outcomes:
            if outcome.error:
                raise InvalidInput(outcome.error)
            keeper.keep(outcome, scale, batches[outcome.batch])
            particles, fields = particles + outcome.row["found"], fields + 1
            if each is not None:
                each(outcome)
    return particles, fields


def _about(pictures: Path) -> dict:
    try:
        return json.loads((pictures / "samples.json").read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise InvalidInput(f"The sample pictures are not in {pictures}; reinstall Gritline.") from error


def _scale(pictures: Path, about: dict) -> tuple[RulingFit, bytes]:
    ruling = about["ruling"]
    data = (pictures / ruling["file"]).read_bytes()
    fit = find_scale(
        read_picture(data, ruling["file"]),
        division_um=ruling["division_um"],
        certificate_um=ruling["certificate_um"],
        coverage_factor=ruling["coverage_factor"],
        zoom=about["zoom"],
    )
    return fit, data


def _jobs(pictures: Path, about: dict, scale: Scale) -> tuple[list[FieldJob], dict[str, Batch]]:
    jobs, batches = [], {}
    for entry in about["batches"]:
        name = entry["name"]
        batches[name] = Batch(
            name, about["recipe"], entry["mill_setting"], float(entry["passes"]), float(entry["minutes"])
        )
        for file in entry["files"]:
            job = FieldJob(
                str(pictures / file), f"{name} {Path(file).name}", name, scale,
                blank_path=str(pictures / about["blank"]), keep_result=True,
            )  # fmt: skip
            jobs.append(job)
    return jobs, batches


def _free_name(folder: Path) -> Path:
    path, number = folder / f"{STUDY_NAME}.gritline", 2
    while path.exists():
        path, number = folder / f"{STUDY_NAME}-{number}.gritline", number + 1
    return path
