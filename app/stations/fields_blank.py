"""Blank oil worked out from fields: which fields, the work in the background, and keeping it."""

from collections.abc import Callable

from app import capture_jobs, number_text
from app.messages import DONE, WARNING, explain
from app.session import Session
from measure.study.records import JOINED, FieldRow, NewField

KEY = "blank oil"
MOST_FIELDS = 16  # more change nothing that can be seen, and each has to be decoded


class BlankMaker:
    """Works out the blank oil of a zoom from the fields taken at it."""

    def __init__(self, session: Session, chosen: Callable[[], list[int]]) -> None:
        self._session, self._chosen = session, chosen

    def make(self) -> None:
        """Work it out from the chosen fields, or from all fields of their zoom when fewer than three are."""
        session = self._session
        rows = self._rows()
        if len(rows) < 3:
            session.tell(
                "The light can be worked out from three or more fields of one zoom; add fields first.",
                WARNING,
            )
            return
        study = session.open_study
        some = _evenly(rows, MOST_FIELDS)
        sources = [capture_jobs.Source(row.id, row.name, study.field_bytes(row.id)) for row in some]
        zones = _common_zones(some)
        text = f"Working out blank oil from {number_text.count(len(some), 'field')}"
        session.tasks.run(
            lambda progress: capture_jobs.blank(sources, zones, progress),
            lambda made: self._store(made, some),
            failed=lambda error: session.tell(*explain(error, "Working out blank oil")),
            text=text,
            key=KEY,
        )

    def _rows(self) -> list[FieldRow]:
        study = self._session.study
        if study is None:
            return []
        wanted = set(self._chosen())
        rows = [r for r in study.fields() if r.role == "field" and not r.note.startswith(JOINED)]
        chosen = [row for row in rows if row.id in wanted]
        first = chosen[0] if chosen else next(iter(rows), None)
        if first is None:
            return []
        mine = [row for row in chosen if _zoom(row) == _zoom(first)]
        return mine if len(mine) >= 3 else [row for row in rows if _zoom(row) == _zoom(first)]

    def _store(self, made: capture_jobs.MadeField, used: list[FieldRow]) -> None:
        session = self._session
        if session.study is None:
            return
        changed = session.do(self._keep, made, used)
        if changed is not None:
            fields = number_text.count(len(used), "field")
            whom = "them" if changed == len(used) else f"all {changed} of this zoom"
            session.tell(
                f"Blank oil worked out from {fields} and set for {whom}. Measure again to use it.", DONE
            )

    def _keep(self, made: capture_jobs.MadeField, used: list[FieldRow]) -> int:
        """Add the picture and give it to every field of the zoom; return how many those are."""
        study = self._session.open_study
        names = {row.name for row in study.fields()}
        stem = f"blank oil from {number_text.count(len(used), 'field')}"
        numbers = ("", *(f" {n}" for n in range(2, len(names) + 3)))
        name = next(f"{stem}{n}.png" for n in numbers if f"{stem}{n}.png" not in names)
        new = NewField(
            name, made.data, used[0].batch_id, used[0].scale_id, width_px=made.width_px,
            height_px=made.height_px, role="blank", note=made.note,
        )  # fmt: skip
        with study.one_step("Work out blank oil from fields"):
            blank_id = study.add_fields([new])[0]
            ids = [row.id for row in study.fields() if row.role == "field" and _zoom(row) == _zoom(used[0])]
            study.update_fields(ids, blank_id=blank_id)
        return len(ids)


def _zoom(row: FieldRow) -> tuple:
    return row.scale_id, row.width_px, row.height_px


def _evenly(rows: list[FieldRow], most: int) -> list[FieldRow]:
    if len(rows) <= most:
        return rows
    return [rows[round(place * (len(rows) - 1) / (most - 1))] for place in range(most)]


def _common_zones(rows: list[FieldRow]) -> tuple:
    """Areas left out of any of the fields: a burnt-in bar is in all of them, whoever marked it."""
    seen = {zone.tobytes(): zone for row in rows for zone in row.zones}
    return tuple(seen.values())
