"""What goes into a study and comes out of it: frozen records, no SQL."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from measure.errors import StudyFileError
from measure.model import FieldQuality, FieldSettings, Scale

# "table" is a field known only by an imported particle table: it has no picture;
# "part" is a picture a joined or fused field was made of: kept, not counted
ROLES = ("field", "blank", "ruling", "table", "part")
TABLE_METHOD = "of an imported table"  # how the scale of such a field came to be
# how the note of a joined field begins: it is larger than the picture its scale was made at
JOINED = "Joined from"
SIZED_ROLES = ("field", "table")  # what the sizes of a batch are made from


class StaleResult(StudyFileError):  # noqa: N818 - says what is wrong with the result
    """A result computed from a state of the field that has changed since."""


@dataclass(frozen=True)
class Changes:
    """What one action touched, for views that decide whether to reload.

    Attributes
    ----------
    what : frozenset of str
        Words among scales, batches, slides, fields, particles, tastings, spot_checks, settings.
    ids : mapping of str to frozenset of int
        For each word the ids touched; for particles the ids of their fields; settings have none.
    labels : mapping of int to frozenset of int
        For each field id the labels of the particles added, changed or removed.
    names : frozenset of str
        Names of the settings touched.
    text : str
        The action in a few words ("Cut piece 12").
    """

    what: frozenset[str] = frozenset()
    ids: Mapping[str, frozenset[int]] = field(default_factory=dict)
    labels: Mapping[int, frozenset[int]] = field(default_factory=dict)
    names: frozenset[str] = frozenset()
    text: str = ""

    def __bool__(self) -> bool:
        return bool(self.what)

    def __contains__(self, word: str) -> bool:
        return word in self.what


@dataclass(frozen=True)
class ScaleRow:
    """A scale of the study, and the picture it was fitted on (its bytes: `Study.scale_picture`)."""

    id: int
    scale: Scale
    picture_name: str = ""
    has_picture: bool = False
    fit: Mapping[str, Any] | None = None  # whatever is needed to show the fit again


@dataclass(frozen=True)
class Batch:
    """One grind: what went in and how it was ground."""

    name: str
    recipe: str = ""
    mill_setting: str = ""
    passes: float | None = None
    minutes: float | None = None
    notes: str = ""


@dataclass(frozen=True)
class BatchRow:
    """A batch of the study."""

    id: int
    batch: Batch


@dataclass(frozen=True)
class Slide:
    """One smear on glass: which batch, how diluted, in what oil, how thick."""

    batch_id: int
    name: str
    dilution: float | None = None  # mass of oil for one mass of paste
    oil: str = ""
    film_um: float | None = None
    notes: str = ""


@dataclass(frozen=True)
class SlideRow:
    """A slide of the study."""

    id: int
    slide: Slide


@dataclass(frozen=True)
class NewField:
    """A picture to be added; ``data`` are the bytes of its file, kept unchanged in the study."""

    name: str
    data: bytes
    batch_id: int | None = None
    scale_id: int | None = None
    slide_id: int | None = None
    width_px: int = 0
    height_px: int = 0
    role: str = "field"
    note: str = ""


@dataclass(frozen=True)
class FieldCounts:
    """How many particles a field holds."""

    particles: int = 0
    set_aside: int = 0
    at_frame: int = 0  # meet the frame or a zone, and not set aside
    by_kind: tuple[int, ...] = (0, 0, 0, 0)  # neither set aside nor at the frame, by kind code

    @property
    def counted(self) -> int:
        """Particles neither set aside nor at the frame (a smallest size is not applied here)."""
        return sum(self.by_kind)


@dataclass(frozen=True, eq=False)
class FieldRow:
    """A field as a list shows it; neither its picture nor its particles are read for this."""

    id: int
    name: str
    batch_id: int | None
    scale_id: int | None
    slide_id: int | None
    blank_id: int | None
    sha256: str
    width_px: int
    height_px: int
    role: str
    note: str
    zones: tuple[np.ndarray, ...]  # excluded polygons, (K, 2) px
    measured: bool
    settings: FieldSettings | None = None
    quality: FieldQuality | None = None
    um_per_px: float | None = None  # of the scale in use when it was measured
    smallest_px: float | None = None  # lower limit used
    seconds: float = 0.0
    result_notes: tuple[str, ...] = ()
    result_zones: tuple[np.ndarray, ...] = ()  # zones in force when it was measured
    result_blank_id: int | None = 0  # blank oil in force then; 0 where an older study does not tell
    revision: int = 0
    counts: FieldCounts = FieldCounts()


@dataclass(frozen=True)
class Tasting:
    """One tasting session: its plan and what was answered, as plain JSON values."""

    kind: str
    batch_ids: tuple[int, ...] = ()
    name: str = ""
    plan: Mapping[str, Any] = field(default_factory=dict)
    results: Mapping[str, Any] = field(default_factory=dict)
    closed: bool = False
    made: str = ""  # ISO 8601; filled in when empty


@dataclass(frozen=True)
class TastingRow:
    """A tasting session of the study."""

    id: int
    tasting: Tasting


@dataclass(frozen=True)
class SpotCheck:
    """Particles outlined by hand, blind, to check the automatic outlines."""

    batch_ids: tuple[int, ...] = ()
    name: str = ""
    plan: Mapping[str, Any] = field(default_factory=dict)
    results: Mapping[str, Any] = field(default_factory=dict)
    closed: bool = False
    made: str = ""


@dataclass(frozen=True)
class SpotCheckRow:
    """A spot check of the study."""

    id: int
    check: SpotCheck


@dataclass(frozen=True)
class EditEntry:
    """One line of the audit trail.

    Attributes
    ----------
    state : str
        "done", "undone", "dropped" (undone, then another action was taken), "note" (an undo or redo) or
        "rescued" (done before the file was damaged; cannot be undone).
    was, now : str
        What changed, in words, before and after.
    """

    id: int
    made: str
    who: str
    text: str
    state: str
    was: str
    now: str
    field_ids: tuple[int, ...] = ()
    refers_to: int | None = None
