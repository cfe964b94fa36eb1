"""Several fields at once: copies and overlaps found, pieces counted once, fields joined or fused."""

from collections.abc import Callable, Sequence

import numpy as np
from PySide6.QtWidgets import QFrame, QVBoxLayout, QWidget

from app import capture_jobs, number_text, parts, theme
from app.canvas.marks_item import Marks
from app.canvas.view import PictureView
from app.messages import DONE, WARNING, explain
from app.session import Session
from measure.output.overlapping import (
    count_shared_once,
    keep_links,
    kept_links,
    overlap_from,
    partners,
    plain_link,
)
from measure.study.records import Changes, FieldRow, NewField

KEY = "several fields"
_WORDS = (
    "Fields that overlap count their shared pieces once, or join into one. Pictures at several heights of "
    "focus fuse into a sharp one."
)


class SeveralFields(QFrame):
    """The card, and what its actions do."""

    def __init__(
        self, session: Session, chosen: Callable[[], list[int]], show: Callable[[int], None]
    ) -> None:
        super().__init__()
        self.setProperty("look", "card")
        self._session, self._chosen, self._show = session, chosen, show
        self._before: set[int] = set()
        self.words = parts.label(_WORDS, "soft", wrap=True)
        self.column = QVBoxLayout(self)
        self.column.setContentsMargins(theme.MEDIUM, theme.SMALL, theme.MEDIUM, theme.SMALL)
        self.column.setSpacing(theme.SMALL)
        session.measuring.changed.connect(self._measured)

    def lay_out(self, *buttons: QWidget) -> None:
        """Put the buttons of the station's actions into the card."""
        heading = parts.label("Several fields", "heading")
        parts.fill(self.column, (heading, self.words, parts.row(*buttons, None)))

    # looking for repeats ------------------------------------------------------------------------------------

    def find_repeats(self) -> None:
        """Look for copies and overlaps among the chosen fields, or all of their batch when one is chosen."""
        rows = self._rows_to_compare()
        if len(rows) < 2:
            self._session.tell("Choose two or more fields of one slide, at one zoom.", WARNING)
            return
        names, sources = {row.id: row.name for row in rows}, self._sources(rows)
        self._run(
            lambda progress: capture_jobs.compare(sources, progress),
            lambda links: self._take(links, names),
            f"Comparing {number_text.count(len(rows), 'field')}",
        )

    def _rows_to_compare(self) -> list[FieldRow]:
        study = self._session.study
        if study is None:
            return []
        chosen = set(self._chosen())
        rows = [row for row in study.fields() if row.role == "field"]
        mine = [row for row in rows if row.id in chosen]
        if len(mine) == 1:
            one = mine[0]
            return [row for row in rows if (row.batch_id, row.scale_id) == (one.batch_id, one.scale_id)]
        return mine

    def _sources(self, rows: Sequence[FieldRow]) -> list[capture_jobs.Source]:
        study = self._session.open_study
        return [capture_jobs.Source(row.id, row.name, study.field_bytes(row.id)) for row in rows]

    def _run(self, work: Callable, done: Callable, text: str) -> None:
        failed = lambda error: self._session.tell(*explain(error, text))  # noqa: E731
        self._session.tasks.run(work, done, failed=failed, text=text, key=KEY)

    def _take(self, links: list[capture_jobs.Link], names: dict[int, str]) -> None:
        session = self._session
        if session.study is None:
            return
        new = [plain_link(link.first, link.second, link.overlap) for link in links]
        kept = [link for link in self.links() if not {link["first"], link["second"]} <= set(names)]
        pieces = session.do(self._keep, kept + new, set(names))
        if pieces is None:
            return
        same = [link for link in links if link.same]
        laps = len(links) - len(same)
        said = (
            [f"{number_text.count(laps, 'overlap')} found; {_shared_words(pieces)} counted once."]
            if laps
            else []
        )
        said += [f"{names[x.second]} is {names[x.first]} stored anew; remove one of them." for x in same[:2]]
        text = " ".join(said) or f"No two of these {len(names)} fields show the same place."
        self.words.setText(text)
        session.tell(text, WARNING if same else DONE)

    def links(self) -> list[dict]:
        """Return the overlaps kept in the study whose fields are still there."""
        return kept_links(self._session.study) if self._session.study is not None else []

    def _keep(self, links: list[dict], ids: set[int]) -> int:
        """Keep links and count once what they share; return how many pieces another field counts."""
        study = self._session.open_study
        with study.one_step("Find fields that show the same place"):
            if links != kept_links(study):
                keep_links(study, links)
            return count_shared_once(study, sorted(ids))

    def remove(self, ids: list[int]) -> Changes | None:
        """Remove fields; pieces that were counted on them are counted on the others again."""
        return self._session.do(self._remove, ids)

    def _remove(self, ids: list[int]) -> Changes:
        study = self._session.open_study
        others = partners(study, ids) - set(ids)
        if not others:
            return study.remove_fields(ids)
        with study.one_step(f"Remove {number_text.count(len(ids), 'picture')}"):
            study.remove_fields(ids)
            count_shared_once(study, sorted(others))
        return study.last_changes

    def _measured(self) -> None:
        """Count shared pieces once again when fields were measured anew."""
        under_way = self._session.measuring.under_way
        if under_way:
            self._before |= under_way
            return
        fresh, self._before = self._before, set()
        touched = [link for link in self.links() if fresh & {link["first"], link["second"]}]
        if touched and self._session.writable:
            self._session.do(self._keep, self.links(), fresh)

    # showing ------------------------------------------------------------------------------------------------

    def show_overlaps(self, view: PictureView) -> None:
        """Draw where the field in view overlaps others."""
        row = self._session.field_row()
        lines, labels = [], []
        for link in self.links():
            region, other = self._region(link, row)
            if len(region):
                lines.append(np.hstack([region, np.roll(region, -1, axis=0)]))
                left, width = region[:, 0].min(), np.ptp(region[:, 0])
                labels.append((float(left + 0.03 * width), float(region[:, 1].mean()), f"also on {other}"))
        view.set_marks(Marks(lines=np.vstack(lines), labels=tuple(labels)) if lines else Marks())

    def _region(self, link: dict, row: FieldRow | None) -> tuple[np.ndarray, str]:
        nothing = np.zeros((0, 2)), ""
        if row is None or link["same"] or row.id not in (link["first"], link["second"]):
            return nothing
        study = self._session.open_study
        first, second = study.field(link["first"]), study.field(link["second"])
        overlap = overlap_from(link)
        region = overlap.region(first.width_px, first.height_px, second.width_px, second.height_px)
        if row.id == first.id:
            return region, second.name
        turn = overlap.matrix[:, :2]
        return (region - overlap.matrix[:, 2]) @ np.linalg.inv(turn).T, first.name

    # joining and fusing -------------------------------------------------------------------------------------

    def join(self) -> None:
        """Join the chosen fields into one wide field."""
        self._make(capture_jobs.join, "Join", "overlap each other")

    def fuse(self) -> None:
        """Fuse the chosen pictures of one field at several heights of focus."""
        self._make(capture_jobs.fuse, "Fuse", "show one field at different heights of focus")

    def _make(self, work: Callable, verb: str, what: str) -> None:
        study = self._session.study
        chosen = set(self._chosen())
        rows = [row for row in study.fields() if row.id in chosen and row.role == "field"] if study else []
        if len(rows) < 2:
            self._session.tell(f"Choose two or more pictures that {what}.", WARNING)
            return
        if len({row.scale_id for row in rows}) > 1:
            self._session.tell("These pictures have different scales; choose pictures of one zoom.", WARNING)
            return
        sources = self._sources(rows)
        self._run(
            lambda progress: work(sources, progress),
            lambda made: self._store(made, rows, verb),
            f"{verb} {number_text.count(len(rows), 'picture')}",
        )

    def _store(self, made: capture_jobs.MadeField, rows: list[FieldRow], verb: str) -> None:
        session = self._session
        if session.study is None:
            return
        ids = session.do(self._add, made, rows, verb)
        if ids is not None:
            said = made.note.split(". SHA")[0]
            self.words.setText(f"{said}. The pictures it was made of are kept, not counted.")
            session.tell(f"{said.split(';')[0].split(', laid')[0]}.", DONE)
            self._show(ids[0])

    def _add(self, made: capture_jobs.MadeField, rows: list[FieldRow], verb: str) -> list[int]:
        study = self._session.open_study
        stem = rows[0].name.rsplit(".", 1)[0]
        name = f"{stem} {'joined' if verb == 'Join' else 'fused'}.png"
        new = NewField(
            name, made.data, rows[0].batch_id, rows[0].scale_id, rows[0].slide_id,
            width_px=made.width_px, height_px=made.height_px, note=made.note,
        )  # fmt: skip
        with study.one_step(f"{verb} {number_text.count(len(rows), 'picture')}"):
            ids = study.add_fields([new])
            if made.zones:
                study.update_field(ids[0], zones=made.zones)
            used = [row.id for row in rows]
            others = partners(study, used) - set(used)
            study.update_fields(used, role="part")
            count_shared_once(study, sorted(others))
        return ids


def _shared_words(pieces: int) -> str:
    """Return how many pieces two fields share, with the verb; before measuring it is not known."""
    if not pieces:
        return "shared pieces are"
    return "1 shared piece is" if pieces == 1 else f"{pieces} shared pieces are"
