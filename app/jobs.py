"""Work that runs in other threads and processes: plain functions, no Qt anywhere, heavy imports inside."""

from dataclasses import dataclass
from typing import Any

from measure.model import FieldResult, FieldSettings, Picture
from measure.progress import SILENT, Progress


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
    """

    name: str
    data: bytes
    um_per_px: float
    settings: FieldSettings
    blank: bytes | None = None
    zones: tuple = ()
    learned: Any = None


def measure_job(job: FieldJob, progress: Progress = SILENT) -> FieldResult:
    """Decode and measure one field.

    Raises
    ------
    InvalidInput
        If a picture cannot be read.
    Cancelled
        If a stop was asked for.
    """
    from measure.field.pipeline import measure_field

    picture = decode(job.data, job.name)
    blank = decode(job.blank, "the blank-oil picture") if job.blank is not None else None
    return measure_field(
        picture,
        job.settings,
        job.um_per_px,
        blank=blank,
        zones=job.zones,
        learned=job.learned,
        progress=progress,
    )


def decode(data: bytes, name: str) -> Picture:
    """Decode a picture's bytes."""
    from measure.picture_file import read_picture

    return read_picture(data, name)


def make_light(picture: Picture, blank: bytes | None, zones: tuple) -> Any:
    """Return the field's difference from its oil, for previews and hand edits."""
    from measure.field import light

    decoded = decode(blank, "the blank-oil picture") if blank is not None else None
    return light.prepare(picture, blank=decoded, zones=zones)
