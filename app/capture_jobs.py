"""Work of the Fields station on several pictures and on camera frames: plain functions, no Qt."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

from app.jobs import decode
from measure.errors import InvalidInput
from measure.model import Picture
from measure.progress import SILENT, Progress

if TYPE_CHECKING:
    from measure.scale.burnt_in import BurntIn


@dataclass(frozen=True)
class Source:
    """A field of the study with its bytes."""

    id: int
    name: str
    data: bytes


@dataclass(frozen=True)
class Link:
    """Two fields that show the same: the whole picture, or an overlap with its matrix."""

    first: int
    second: int
    same: bool
    overlap: Any = None


def compare(sources: Sequence[Source], progress: Progress = SILENT) -> list[Link]:
    """Find copies and overlaps among fields."""
    from measure.field.several.repeats import find_overlap, may_overlap, same_picture, sketch, small_copy

    decoded = lru_cache(maxsize=8)(lambda place: decode(sources[place].data, sources[place].name))
    copies, sketches = [], []
    for place, source in enumerate(sources):
        progress.report(0.3 * place / len(sources), source.name)
        copies.append(small_copy(decoded(place)))
        sketches.append(sketch(decoded(place)))
    links = []
    pairs = [(i, j) for i in range(len(sources)) for j in range(i + 1, len(sources))]
    for done, (i, j) in enumerate(pairs):
        progress.report(0.3 + 0.7 * done / len(pairs), f"{sources[i].name} and {sources[j].name}")
        if same_picture(copies[i], copies[j]):
            links.append(Link(sources[i].id, sources[j].id, True))
        elif may_overlap(sketches[i], sketches[j]):
            overlap = find_overlap(decoded(i), decoded(j))
            if overlap is not None:
                links.append(Link(sources[i].id, sources[j].id, False, overlap))
    return links


@dataclass(frozen=True)
class MadeField:
    """A picture made of several: its PNG, its size, what is left out, and how it was made."""

    data: bytes
    width_px: int
    height_px: int
    zones: tuple
    note: str


def join(sources: Sequence[Source], progress: Progress = SILENT) -> MadeField:
    """Join overlapping fields into one wide one."""
    from measure.field.several.stitch import join_fields

    pictures = [decode(source.data, source.name) for source in sources]
    wide = join_fields(pictures, progress=progress)
    words = f"Joined from {_names(sources)}"
    if np.isfinite(wide.residual_px):
        words += f"; overlaps agree within {wide.residual_px:.2f} px"
    return _made(wide.pixels, wide.zones, words, sources)


def fuse(sources: Sequence[Source], progress: Progress = SILENT) -> MadeField:
    """Fuse pictures focused at different heights."""
    from measure.field.several.fuse import fuse_stack

    pictures = [decode(source.data, source.name) for source in sources]
    fused = fuse_stack(pictures, progress)
    reference = sources[fused.reference].name
    words = f"Fused from {_names(sources)}, laid on {reference}, which kept its scale"
    return _made(fused.pixels, (), words, sources)


def _names(sources: Sequence[Source]) -> str:
    return ", ".join(source.name for source in sources)


def _made(pixels: np.ndarray, zones: tuple, words: str, sources: Sequence[Source]) -> MadeField:
    from measure.picture_png import encode_png, left_out_words

    hashes = " ".join(hashlib.sha256(source.data).hexdigest()[:16] for source in sources)
    note = f"{words}. SHA-256 of the sources begin {hashes}."
    left_out = left_out_words(zones, pixels.shape[1], pixels.shape[0])
    data = encode_png(pixels, {"Description": note, "Software": "Gritline", **left_out})
    return MadeField(data, pixels.shape[1], pixels.shape[0], zones, note)


def burnt_in(picture: Picture, _progress: Progress = SILENT) -> "BurntIn":
    """Find bars, words and panels drawn into a picture."""
    from measure.scale.burnt_in import find_burnt_in

    return find_burnt_in(picture)


def bar_words(bar: Any, label: str, um_per_px: float | None) -> tuple[str, str]:
    """Return the verdict and the words of a bar's cross-check."""
    from measure.scale.cross_check import check_bar

    check = check_bar(bar, label, um_per_px)
    return check.verdict, check.words


def live_look(pixels: np.ndarray, settings: Any, _progress: Progress = SILENT) -> Any:
    """Look at a camera frame quickly."""
    from measure.field.live import look_live

    return look_live(pixels, settings)


def frame_png(pixels: np.ndarray, words: dict[str, str], _progress: Progress = SILENT) -> bytes:
    """Return a frame as lossless PNG with how it was taken."""
    from measure.picture_png import encode_png

    return encode_png(pixels, words)


def open_device(index: int, fourcc: str, size: tuple[int, int] | None, _progress: Progress = SILENT) -> Any:
    """Open a USB camera."""
    from measure.field.camera import DeviceCamera

    return DeviceCamera(index, fourcc, size)


def open_folder(path: Any, _progress: Progress = SILENT) -> Any:
    """Open a folder that plays a camera."""
    from measure.field.camera import FolderCamera

    return FolderCamera(path)


def blank(sources: Sequence[Source], zones: tuple, progress: Progress = SILENT) -> MadeField:
    """Work out the blank oil from fields of one zoom."""
    from measure.field.ground.blank import blank_from_fields

    pictures = (decode(source.data, source.name) for source in sources)
    found = blank_from_fields(pictures, zones=zones, progress=progress)
    words = (
        f"Blank oil worked out from {_names(sources)}; its light varies by {100 * found.unevenness:.0f} % "
        f"over the picture, single fields lie within {100 * found.spread:.1f} % of it"
    )
    return _made(found.pixels, (), words, sources)


def blank_doubt(source: Source, _progress: Progress = SILENT) -> str:
    """Return why a picture should not be divided out as blank oil, else empty text."""
    from measure.field.blank_check import blank_warning
    from measure.field.ground.dark_blank import refuse_dark_blank

    picture = decode(source.data, source.name)
    try:
        refuse_dark_blank(picture)
    except InvalidInput as error:
        return error.text
    return blank_warning(picture)


# small copies of small pictures: copies reach 0.93 to 1, other fields of a slide stay below 0.2
_THUMBS_ALIKE = 0.85


def thumb_look(pixels: np.ndarray) -> np.ndarray:
    """Return what is compared of a small picture."""
    from measure.field.several.repeats import small_copy
    from measure.model import Picture

    return small_copy(Picture(pixels))


def thumbs_alike(first: np.ndarray, second: np.ndarray) -> bool:
    """Whether two small pictures show the same."""
    from measure.field.several.repeats import same_picture

    return same_picture(first, second, _THUMBS_ALIKE)
