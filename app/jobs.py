"""Work that runs in other threads and processes: plain functions, no Qt anywhere, heavy imports inside."""

import time
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from measure.errors import KnownError
from measure.model import FieldResult, FieldSettings, Picture
from measure.progress import SILENT, Progress

_WAIT_S = 0.2  # between looks whether another window is done


@dataclass(frozen=True)
class FieldJob:
    """Everything measuring one field needs, ready to be sent to another process.

    Attributes
    ----------
    data, blank : bytes or None
        The picture files of the field and of the blank oil.
    zones : tuple of (K, 2) ndarray
        Excluded polygons, px.
    learned : object
        Kinds learned from this study's re-tags, or None.
    border : bool
        Leave an even border round the view out.
    helpers : int
        Processes that may share the field; they stay for the next one.
    """

    name: str
    data: bytes
    um_per_px: float
    settings: FieldSettings
    blank: bytes | None = None
    zones: tuple = ()
    learned: Any = None
    helpers: int = 0
    border: bool = True


def measure_job(job: FieldJob, progress: Progress = SILENT) -> FieldResult:
    """Decode and measure one field.

    Raises
    ------
    InvalidInput
        If a picture cannot be read.
    Cancelled
        If a stop was asked for.
    """
    from measure.field.basics.helper_pool import keep_helpers
    from measure.field.basics.sharing import LEAST_FOR_KEPT
    from measure.field.pipeline import measure_field
    from measure.output.burnt_marks import counted_marks
    from measure.scale.burnt_in import find_burnt_in

    picture = decode(job.data, job.name)
    if picture.width_px * picture.height_px >= LEAST_FOR_KEPT:
        keep_helpers(job.helpers)  # at the latest the next field is done sooner
    blank = decode(job.blank, "the blank-oil picture") if job.blank is not None else None
    result = measure_field(
        picture,
        job.settings,
        job.um_per_px,
        blank=blank,
        zones=job.zones,
        learned=job.learned,
        progress=progress,
        helpers=job.helpers,
        border=job.border,
    )
    found = find_burnt_in(picture)
    # a mark whose middle is left out has been seen to, though crumbs at its margin may be counted
    unseen = tuple(zone for zone in found.zones if not _left_out(zone, job.zones))
    words, _ = counted_marks(replace(found, zones=unseen), result)
    if words:
        result = replace(result, notes=(*result.notes, f"{words}. Look for burnt-in marks and leave it out."))
    return result


def _left_out(mark: np.ndarray, zones: tuple) -> bool:
    from measure.outlines import contains

    x, y = mark.mean(axis=0)
    return any(contains(np.asarray(zone), float(x), float(y)) for zone in zones)


@dataclass(frozen=True)
class ReadPicture:
    """One picture read from disk, or the sentence why not.

    Attributes
    ----------
    folder : str
        Name of the folder it was found in when a folder was given; empty for a single file.
    """

    path: Path
    folder: str = ""
    data: bytes = b""
    sha256: str = ""
    width_px: int = 0
    height_px: int = 0
    refusal: str = ""


def read_pictures(paths: list[Path], progress: Progress = SILENT) -> list[ReadPicture]:
    """Read picture files and folders of pictures; what cannot be used comes back with its reason."""
    from measure.picture_file import list_pictures

    found: list[tuple[Path, str]] = []
    refused: list[ReadPicture] = []
    for path in paths:
        try:
            folder = path.name if path.is_dir() else ""
            found += [(file, folder) for file in list_pictures(path)]
        except KnownError as error:
            refused.append(ReadPicture(path, refusal=error.text))
    read = []
    for place, (file, folder) in enumerate(found):
        progress.report(place / len(found), f"{place + 1} of {len(found)}")
        read.append(_read_one(file, folder))
    return read + refused


def _read_one(path: Path, folder: str) -> ReadPicture:
    from measure.picture_file import read_picture

    try:
        picture = read_picture(path)
        data = path.read_bytes()
    except KnownError as error:
        return ReadPicture(path, folder, refusal=error.text)
    except OSError as error:
        return ReadPicture(path, folder, refusal=f"{path.name} cannot be read: {error.strerror or error}.")
    return ReadPicture(path, folder, data, picture.sha256, picture.width_px, picture.height_px)


def small_picture(data: bytes, longest_px: int = 160) -> np.ndarray:
    """Return a small uint8 RGB copy of a picture, (m, n, 3), at most ``longest_px`` wide or high."""
    pixels = decode(data, "").pixels
    step = -(-max(pixels.shape[:2]) // longest_px)
    rows, columns = max(1, pixels.shape[0] // step), max(1, pixels.shape[1] // step)
    step = min(step, *pixels.shape[:2])
    blocks = pixels[: rows * step, : columns * step].reshape(rows, step, columns, step, 3)
    small = blocks.mean(axis=(1, 3), dtype=np.float32)
    if pixels.dtype == np.uint16:
        small /= 257.0
    return np.ascontiguousarray(small.astype(np.uint8))


def build_sample(folder: Path, progress: Progress) -> Path:
    """Build the sample study in a folder and return its path; nothing half done is left behind.

    Where another window builds it already, this waits and returns what that one made.
    """
    from app.samples import made_sample, sample_pictures
    from measure.output.sample_study import build_sample_study
    from measure.safe_write import make_folder
    from measure.study.lock import HeldElsewhere, WriterLock

    make_folder(folder)
    while True:
        try:
            turn = WriterLock(folder / "making")
            break
        except HeldElsewhere:
            progress.report(0.0, "another window makes it, this one waits")
            time.sleep(_WAIT_S)
    try:
        return (
            made_sample(folder)
            or build_sample_study(sample_pictures(), folder, tables=False, progress=progress).study
        )
    finally:
        turn.release()


def decode(data: bytes, name: str) -> Picture:
    """Decode a picture's bytes."""
    from measure.picture_file import read_picture

    return read_picture(data, name)


def border_of(picture: Picture, zones: tuple) -> tuple:
    """Return the border round the view and the drawn marks that are not among the areas left out."""
    from measure.field.marks.own_marks import zones_by_itself

    return zones_by_itself(picture, zones)


def are_border(picture: Picture, zones: tuple) -> list[bool]:
    """Return which of the areas left out are the even border round the view, or marks drawn in."""
    from measure.field.marks.own_marks import are_by_itself

    return are_by_itself(picture, zones)


def make_light(picture: Picture, blank: bytes | None, zones: tuple, *, border: bool = True) -> Any:
    """Return the field's difference from its oil, for previews and hand edits.

    Without ``border`` an even border round the view is not left out.
    """
    # a preview comes next: what it needs is loaded here, so that its first answer is soon there
    from measure.field import pipeline  # noqa: F401
    from measure.field.ground import light
    from measure.field.marks import strong_noise, taken_off

    decoded = decode(blank, "the blank-oil picture") if blank is not None else None
    left_out = border_of(picture, zones) if border else ()
    zones = (*zones, *left_out)
    seen = strong_noise.without_strong_noise(taken_off.without_lines(picture)[0], zones)[0]
    return light.prepare(seen, blank=decoded, zones=zones)
