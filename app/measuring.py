"""Measuring fields in the background: one on a thread, several in processes; results commit as they come."""

from collections.abc import Iterable
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, Signal

from app import jobs, number_text
from app.messages import DONE, NOTE, WARNING, explain
from measure.errors import Cancelled, InvalidInput, KnownError
from measure.model import FieldResult, FieldSettings
from measure.output.field_pool import helpers_for
from measure.study.records import Changes, FieldRow, StaleResult

if TYPE_CHECKING:
    from app.session import Session

KEY = "measure fields"


class Measuring(QObject):
    """Measure fields of the study that is open.

    Signals
    -------
    changed()
        A field began, ended or was given up; look at `under_way`.
    """

    changed = Signal()

    def __init__(self, session: "Session") -> None:
        super().__init__(session)
        self._session = session
        self.under_way: set[int] = set()
        self._revisions: dict[int, int] = {}
        self._failed: list[str] = []
        self._kept = 0

    def start(self, field_ids: Iterable[int], settings: FieldSettings | None = None) -> bool:
        """Begin measuring; returns False, with a message, when it cannot be done.

        Parameters
        ----------
        field_ids : iterable of int
            Blank-oil pictures among them are left out.
        settings : FieldSettings, optional
            The study's own by default.
        """
        session = self._session
        if self.under_way:
            session.tell("Fields are being measured already. Wait, or stop that first.", WARNING)
            return False
        try:
            ready = self._ready(field_ids)
        except KnownError as error:
            session.tell(error.text, WARNING)
            return False
        settings = settings or session.measure_settings()
        self._failed, self._kept = [], 0
        self.under_way = {row.id for row in ready}
        self._revisions = {row.id: session.open_study.revision(row.id) for row in ready}
        self.changed.emit()
        if len(ready) == 1:
            self._start_one(ready[0], settings)
        else:
            self._start_many(ready, settings)
        return True

    def _ready(self, field_ids: Iterable[int]) -> list[FieldRow]:
        session = self._session
        session.need_writable()
        wanted = set(field_ids)
        rows = [row for row in session.open_study.fields() if row.id in wanted and row.role == "field"]
        if not rows:
            tables = [r.name for r in session.open_study.fields() if r.id in wanted and r.role == "table"]
            if tables:
                raise InvalidInput(f"{tables[0]} came from a table and has no picture to measure.")
            fields = [row for row in session.open_study.fields() if row.role == "field"]
            if fields and all(row.measured for row in fields):
                raise InvalidInput(
                    "Every field is measured already. Choose some and press M to measure again."
                )
            raise InvalidInput("There is no field to measure. Add pictures of your smears first.")
        bare = [row.name for row in rows if row.scale_id is None]
        if bare:
            names = ", ".join(bare[:3]) + (" and others" if len(bare) > 3 else "")
            raise InvalidInput(f"{names} has no scale yet. Choose its scale, then measure.")
        return rows

    def job(self, row: FieldRow, settings: FieldSettings) -> jobs.FieldJob:
        """Return the job of one field, with its bytes (GUI thread)."""
        session = self._session
        source = session.field_source(row.id)
        scale = session.scale_of(row)
        if scale is None:
            raise InvalidInput(f"{row.name} has no scale yet. Choose its scale, then measure.")
        return jobs.FieldJob(
            name=source.name,
            data=source.data,
            um_per_px=scale.um_per_px,
            settings=settings,
            blank=source.blank,
            zones=source.zones,
            border=source.border,
            learned=session.open_study.setting("learned_kinds", None),
        )

    def _start_one(self, row: FieldRow, settings: FieldSettings) -> None:
        job = replace(self.job(row, settings), helpers=helpers_for(1))
        task = self._session.tasks.run(
            lambda progress: jobs.measure_job(job, progress),
            lambda result: self._take_last(row.id, result),
            failed=lambda error: self._lose_last(row.id, error),
            text=f"Measuring {row.name}",
            key=KEY,
        )
        task.on_cancel = self._stopped

    def _start_many(self, rows: list[FieldRow], settings: FieldSettings) -> None:
        task = self._session.tasks.run_many(
            jobs.measure_job,
            [(row.id, partial(self.job, row, settings)) for row in rows],
            each_done=self._take,
            each_failed=self._lose,
            done=self._end,
            text=f"Measuring {number_text.count(len(rows), 'field')}",
            key=KEY,
        )
        stop_processes = task.on_cancel

        def stop() -> None:
            if stop_processes is not None:
                stop_processes()
            self._stopped()

        task.on_cancel = stop

    def _take(self, field_id: int, result: FieldResult) -> None:
        session = self._session
        self.under_way.discard(field_id)
        if session.study is None:
            return
        # a field removed meanwhile takes no result
        if session.field_row(field_id) is not None and session.do(self._store, field_id, result):
            self._kept += 1
        self.changed.emit()

    def _store(self, field_id: int, result: FieldResult) -> Changes:
        """Keep a result unless the field was changed meanwhile; offers to measure again then."""
        session = self._session
        study, row = session.open_study, session.open_study.field(field_id)
        own, zones = ([zone.tolist() for zone in z] for z in (row.zones, result.frame.zones))
        try:
            with study.one_step(f"Measure {row.name}"):
                study.store_result(field_id, result, self._revisions[field_id])
                # a border round the view was left out, which the field has to show from now on
                if len(zones) > len(own) and zones[: len(own)] == own:
                    study.update_field(field_id, zones=result.frame.zones)
            return study.last_changes
        except StaleResult:
            session.offered.emit(
                f"{row.name} was changed while it was being measured; your changes were kept.",
                "Measure it again",
                lambda: self.start([field_id], result.settings),
            )
            return Changes()

    def _lose(self, field_id: int, error: BaseException) -> None:
        self.under_way.discard(field_id)
        if not isinstance(error, Cancelled):
            row = self._session.field_row(field_id)
            self._failed.append(explain(error, f"Measuring {row.name if row else 'a field'}")[0])
        self.changed.emit()

    def _take_last(self, field_id: int, result: FieldResult) -> None:
        self._take(field_id, result)
        self._end()

    def _lose_last(self, field_id: int, error: BaseException) -> None:
        self._lose(field_id, error)
        self._end()

    def _end(self) -> None:
        self.under_way.clear()
        self.changed.emit()
        if self._failed:
            more = f" (and {len(self._failed) - 1} more)" if len(self._failed) > 1 else ""
            self._session.tell(self._failed[0] + more, WARNING)
        elif self._kept:
            self._session.tell(f"Measured {number_text.count(self._kept, 'field')}.", DONE)

    def _stopped(self) -> None:
        self.under_way.clear()
        self.changed.emit()
        kept = f" What was done is kept: {number_text.count(self._kept, 'field')}." if self._kept else ""
        self._session.tell(f"Measuring stopped.{kept}", NOTE)


def settings_from_json(values: dict | None) -> FieldSettings:
    """Return settings from what the study keeps, defaults where it keeps nothing."""
    known = {k: v for k, v in (values or {}).items() if k in FieldSettings.__dataclass_fields__}
    return replace(FieldSettings(), **known)
