"""The pieces of the batch in view, gathered from its fields and kept so that a correction costs little."""

from dataclasses import dataclass, field

import numpy as np

from app.session import Session
from measure.judge.felt import FeltProfile
from measure.judge.specification import Specification
from measure.model import Scale
from measure.output.objectives import objectives
from measure.output.overlapping import kept_links
from measure.output.paste_seen import grams_seen
from measure.output.run_sizes import FELT_SETTING, felt_profile
from measure.output.study_tables import VOLUME_SETTING, field_table, sized_field, volume_models
from measure.sizes.batch import FieldTable, batch_sample
from measure.sizes.sample import SizeSample, make_sample
from measure.sizes.volume import VolumeModels
from measure.study.records import SIZED_ROLES, FieldRow
from measure.study.study import Study

SPECIFICATION_SETTING = "specification"
__all__ = ["FELT_SETTING", "SPECIFICATION_SETTING", "VOLUME_SETTING", "BatchPieces", "batch_ids"]


@dataclass(frozen=True)
class BatchPieces:
    """What the station works with; made anew by `gather`.

    Attributes
    ----------
    batch_id : int or None
    name : str
    sample : SizeSample
        Counted pieces of all its measured fields; ``row`` leads into the two arrays below.
    field_ids, labels : (N,) ndarray of int
        Field and label of every row.
    cover : float or None
        Largest cover of a field.
    grams : float or None
        Paste looked at; None where dilution or film of a slide are not known.
    unmeasured : int
        Fields of the batch that are not measured, or have no scale.
    """

    batch_id: int | None = None
    name: str = ""
    sample: SizeSample = field(default_factory=lambda: make_sample(np.zeros(0)))
    field_ids: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=int))
    labels: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=int))
    cover: float | None = None
    grams: float | None = None
    unmeasured: int = 0

    def pairs(self, rows: np.ndarray) -> list[tuple[int, int]]:
        """Return field and label of rows such as ``sample.row`` holds."""
        return list(zip(self.field_ids[rows].tolist(), self.labels[rows].tolist(), strict=True))

    def sizes_of(self, field_id: int, labels: frozenset[int]) -> tuple[float, ...]:
        """Return the sizes of counted pieces of one field."""
        if not labels or not len(self.sample):
            return ()
        rows = self.sample.row
        chosen = (self.field_ids[rows] == field_id) & np.isin(self.labels[rows], list(labels))
        return tuple(self.sample.diameter_um[chosen].tolist())


def batch_ids(session: Session) -> list[tuple[int | None, str]]:
    """Return the batches that have a field, with their names; None is the fields without a batch."""
    if session.study is None:
        return []
    used = {row.batch_id for row in session.open_study.fields() if row.role in SIZED_ROLES}
    named: list[tuple[int | None, str]] = [
        (entry.id, entry.batch.name) for entry in session.open_study.batches() if entry.id in used
    ]
    return [*named, (None, "Fields without a batch")] if None in used else named


class Gatherer:
    """Makes `BatchPieces`, keeping the table of every field that has not changed."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self._tables: dict[int, tuple[tuple, FieldTable]] = {}

    def forget(self) -> None:
        """Keep nothing of the last study."""
        self._tables.clear()

    def gather(self, batch_id: int | None) -> BatchPieces:
        """Return the pieces of a batch as they are now."""
        study = self._session.study
        if study is None:
            return BatchPieces()
        batches: dict[int | None, str] = {entry.id: entry.batch.name for entry in study.batches()}
        scales = {entry.id: entry.scale for entry in study.scales()}
        rows = [row for row in study.fields() if row.role in SIZED_ROLES and row.batch_id == batch_id]
        scaled = [(row, scales[row.scale_id]) for row in rows if row.measured and row.scale_id in scales]
        ready = [row for row, _ in scaled]
        models, known = volume_models(study), objectives(study)
        tables = [
            self._table(study, row, scale, models, known.get(row.scale_id or 0)) for row, scale in scaled
        ]
        covers = [row.quality.cover for row in ready if row.quality is not None]
        ids = [np.full(len(t.table["particle"]), row.id) for t, row in zip(tables, ready, strict=True)]
        return BatchPieces(
            batch_id=batch_id,
            name=batches.get(batch_id, "Fields without a batch"),
            sample=batch_sample(tables),
            field_ids=np.concatenate(ids) if ids else np.zeros(0, dtype=int),
            labels=np.concatenate([t.table["particle"] for t in tables]) if ids else np.zeros(0, dtype=int),
            cover=max(covers, default=None),
            grams=_grams(study, ready, scales),
            unmeasured=len(rows) - len(ready),
        )

    def _table(
        self, study: Study, row: FieldRow, scale: Scale, models: VolumeModels, na: float | None
    ) -> FieldTable:
        key = (row.revision, row.name, scale, models.to_json(), row.settings, len(row.result_zones), na)
        kept = self._tables.get(row.id)
        if kept is None or kept[0] != key:
            table = field_table(study, row, scale, "", models)
            kept = (key, sized_field(row, scale, table, na))
            self._tables[row.id] = kept
        return kept[1]


def _grams(study: Study, rows: list[FieldRow], scales: dict[int, Scale]) -> float | None:
    slides = {entry.id: entry.slide for entry in study.slides()}
    return grams_seen(rows, scales, slides, kept_links(study))


def profile_of(session: Session) -> FeltProfile:
    """Return the felt profile in force."""
    return felt_profile(session.study) if session.study is not None else FeltProfile()


def specification_of(session: Session) -> Specification:
    """Return the specification in force; without requirements at first."""
    kept = session.open_study.setting(SPECIFICATION_SETTING, None) if session.study is not None else None
    return Specification("", ()) if kept is None else Specification.from_json(kept)
