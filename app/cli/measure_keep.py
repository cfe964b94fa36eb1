"""Where ``gritline measure`` keeps its fields: parts on disk one by one, the study, and what is left out."""

import argparse
import contextlib
import re
from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from app.cli.measure_once import CountedOnce
from measure.model import Scale
from measure.output.field_run import FieldJob, FieldOutcome, write_overlay
from measure.output.parts import FOLDER_NAME, Parts
from measure.output.twins import Twins, twin_words
from measure.safe_write import check_folder_place, make_folder

if TYPE_CHECKING:
    from measure.output.study_run import StudyKeeper


_BORDER = "the even border round the view is left out; to count it, add --count-border"
_FIGURE = re.compile(r"\d+")
_MOST_SAID = 3  # fields to take again that are named; the table names all


class StudyWriter:
    """Opens an existing study at once, so that a bad one is refused early; makes a new one when needed."""

    def __init__(self, args: argparse.Namespace, stack: contextlib.ExitStack) -> None:
        self._path = Path(args.study)
        self._args, self._stack = args, stack
        self._keeper: StudyKeeper | None = None
        if self._path.exists():
            self._opened()
        else:
            check_folder_place(self._path.parent, "--study")

    def keep(self, outcome: FieldOutcome, scale: Scale) -> int:
        """Add one measured field and return its id."""
        make_folder(self._path.parent)
        return self._opened().keep(outcome, scale)

    @property
    def replaced(self) -> list[str]:
        """What of the study gave way to new results, in words."""
        return [] if self._keeper is None else self._keeper.replaced

    def holds(self, sha256: str) -> bool:
        """Whether the study has this picture and its particles already."""
        return self._keeper is not None and self._keeper.holds(sha256)

    def counts_border(self, sha256: str) -> bool:
        """Whether the border of this picture counts, as the study keeps it."""
        return self._keeper is not None and self._keeper.counts_border(sha256)

    def objective(self, scale: Scale, na: float | None) -> float | None:
        """Return the numerical aperture the study knows for a scale, keeping one that was given."""
        from measure.output.objectives import keep_objective, objectives

        keeper = self._opened()
        scale_id = keeper.scale_id(scale)
        if na is not None:
            keep_objective(keeper.study, scale_id, na)
        return objectives(keeper.study).get(scale_id)

    def twins(self) -> Twins:
        """Return what knows the pictures of the study."""
        if self._keeper is None:
            return Twins()
        return Twins(self._keeper.study.fields(), self._keeper.study.field_bytes)

    def keep_links(self, links: list[dict], ids: set[int]) -> None:
        """Keep the overlaps of these fields; those among other fields stay."""
        from measure.output.overlapping import keep_links, kept_links

        study = self._opened().study
        others = [link for link in kept_links(study) if not {link["first"], link["second"]} <= ids]
        keep_links(study, others + links)

    def _opened(self) -> "StudyKeeper":
        from measure.output.study_run import StudyKeeper
        from measure.study.records import Batch

        if self._keeper is None:
            keeper = StudyKeeper(self._path, Batch(self._args.batch), self._args.blank)
            self._keeper = self._stack.enter_context(keeper)
        return self._keeper


class Shelf:
    """Keeps what is measured, each field as soon as it is known, and refuses pictures counted already.

    Attributes
    ----------
    kept : set of str
        Keys of the fields that are finished.
    failed : list of FieldOutcome
        Pictures that could not be measured.
    twins : list of str
        A sentence for each picture that shows what another one shows.
    alarms : list of str
        What speaks against the scale of the fields kept.
    marks : list of str
        What deserves a look about bars or words drawn into the pictures.
    """

    def __init__(self, folder: Path, scale: Scale, study: StudyWriter | None) -> None:
        self._folder, self._scale, self._study = folder, scale, study
        self.finished = Parts(folder) if (folder / FOLDER_NAME).is_dir() else None
        self._parts: Parts | None = None
        self._known = study.twins() if study is not None else Twins()
        self._ids: dict[str, int] = {}
        self.kept: set[str] = set()
        self.failed: list[FieldOutcome] = []
        self.twins: list[str] = []
        self.alarms: list[str] = []
        self.marks: list[str] = []
        self._marked: set[tuple] = set()
        self._retakes: list[str] = []
        self._notes: dict[str, list[str]] = {}  # what is to be known of a file: the pictures it holds for
        self._remarks: dict[str, tuple[str, list[str]]] = {}  # by its words without figures

    def take_over(self, keys: set[str], jobs: Mapping[str, FieldJob]) -> None:
        """Take over fields of a run that was stopped."""
        self.kept |= keys
        for key, job in jobs.items():
            row = self.finished.row(key) if self.finished is not None and key in keys else {}
            self.alarms += row.get("alarms", ())
            self._note_marks(row)
            self._note_advice(job.name, row)
            if row.get("look"):
                self._known.add(job.name, row["look"])

    def takes(self, outcome: FieldOutcome) -> bool:
        """Whether a field is to be counted: it was measured, and no other shows the same picture."""
        if outcome.error:
            self.failed.append(outcome)
            return False
        twin = self._known.twin_of(outcome.row)
        if twin:
            self.twins.append(twin_words(outcome.name, twin))
            return False
        self._known.add(outcome.name, outcome.row["look"])
        self.alarms += outcome.row["alarms"]
        self._note_marks(outcome.row)
        self._note_advice(outcome.name, outcome.row)
        return True

    def _note_marks(self, row: Mapping) -> None:
        size = (row.get("width_px"), row.get("height_px"))
        if row.get("marks") and size not in self._marked:  # told once for all pictures of a size
            self._marked.add(size)
            self.marks.append(row["marks"])

    def _note_advice(self, name: str, row: Mapping) -> None:
        from measure.field.marks.surround import BORDER

        for note in row.get("notes", ()):
            # its share of the picture differs from field to field, and what to do is the same
            told = _BORDER if row.get("border") == "left out" and note.startswith(BORDER) else note
            self._notes.setdefault(told, []).append(name)
        for remark in row.get("remarks", ()):
            # figures differ from field to field
            self._remarks.setdefault(_FIGURE.sub("", remark), (remark, []))[1].append(name)
        if row.get("advice") == "retake":
            self._retakes.append(f"{name}: {row['advice_reason']}")

    def advice(self) -> list[str]:
        """Return what is to be known of the files, and which fields had better be taken again, and why."""
        shown = [f"{text}." for text in (self._study.replaced if self._study is not None else ())]
        shown += [_note_words(note, names) for note, names in self._notes.items()]
        shown += [_note_words(first, names, " like it") for first, names in self._remarks.values()]
        shown += [f"better take it again: {text}" for text in self._retakes[:_MOST_SAID]]
        rest = len(self._retakes) - _MOST_SAID
        if rest > 0:
            fields = "1 more field is" if rest == 1 else f"{rest} more fields are"
            shown.append(f"{fields} better taken again; the column advice_reason of fields.csv says why.")
        return shown

    def keep(self, job: FieldJob, key: str, outcome: FieldOutcome) -> None:
        """Keep a field in the study and on disk."""
        self._parts = parts = self._parts or Parts(make_folder(self._folder))
        if outcome.overlay is not None and job.overlay_path is not None:
            write_overlay(job.overlay_path, outcome.overlay)
        if self._study is not None:
            self._ids[outcome.name] = self._study.keep(outcome, self._scale)
        parts.keep(key, outcome)  # last: what is here is in the study and on disk
        self.kept.add(key)

    def waiting(self, jobs: Iterable[tuple[FieldJob, str]]) -> dict[str, FieldOutcome]:
        """Return by key the fields a run that was stopped measured, before they were counted together."""
        if self.finished is None:
            return {}
        found = {key: self.finished.waiting(key, job) for job, key in jobs if has_overlay(job)}
        return {key: outcome for key, outcome in found.items() if outcome is not None}

    def keep_waiting(self, job: FieldJob, key: str, outcome: FieldOutcome) -> FieldOutcome:
        """Keep a field until all are measured, and return it as it is to be counted."""
        self._parts = parts = self._parts or Parts(make_folder(self._folder))
        if outcome.overlay is not None and job.overlay_path is not None:
            write_overlay(job.overlay_path, outcome.overlay)
        parts.keep_waiting(key, outcome)
        return replace(outcome, overlay=None)

    def keep_links(self, counted: CountedOnce) -> None:
        """Keep in the study which fields overlap."""
        from measure.output.overlapping import plain_link

        if self._study is not None:
            names = [outcome.name for _, _, outcome in counted.measured]
            links = [
                plain_link(self._ids[names[i]], self._ids[names[j]], overlap)
                for (i, j), overlap in counted.links.items()
            ]
            self._study.keep_links(links, set(self._ids.values()))

    def objective(self, na: float | None) -> float | None:
        """Return the numerical aperture of the objective, as given or as the study knows it."""
        return na if self._study is None else self._study.objective(self._scale, na)

    def write_tables(self, keys: list[str]) -> None:
        """Write the tables from the parts, and let the parts go."""
        parts = self._parts or self.finished or Parts(make_folder(self._folder))
        parts.write_tables(keys, self._folder)
        parts.clear()


def has_overlay(job: FieldJob) -> bool:
    """Whether the overlay asked for is there; one asked for only now has to be drawn."""
    return job.overlay_path is None or Path(job.overlay_path).exists()


def _note_words(note: str, names: list[str], alike: str = "") -> str:
    more = f" and {len(names) - 1} more{alike}" if len(names) > 1 else ""
    return f"{names[0]}{more}: {note.rstrip('.')}."
