"""The Report station: what is handed over, seen page by page before it is saved."""

from collections.abc import Callable
from pathlib import Path

from PySide6.QtWidgets import QWidget

from app import parts, pickers, theme
from app.flow import above, flow
from app.messages import DONE, WARNING
from app.session import Session
from app.stations.base import BaseStation
from app.stations.report_choice import ChoicePanel
from app.stations.report_pages import PageView
from app.stations.report_work import ReportAnswer, ReportQuestion, make_report, write_tables
from app.stations.sides import or_empty, panel, side_by_side
from app.work_line import WorkLine
from measure.errors import KnownError
from measure.safe_write import written_beside
from measure.study.records import Changes

_VIEW, _SAVED, _KEY = "view.report", "view.report.saved", "report"
_EMPTY = (
    "The report is made from measured fields.\n\nAdd pictures in Fields, give them a scale and measure them. "
    "Here then stands a paper that anyone can read without this program, and tables for other programs."
)


class Station(BaseStation):
    """The report's pages, what it holds, and the tables beside it."""

    name, title = "report", "Report"
    tip = "Hand the results over: a PDF that stands alone, and tables."
    work_keys, shows_work = (_KEY, "report.tables"), True

    def __init__(self, session: Session, parent: QWidget | None = None) -> None:
        super().__init__(session, parent)
        self.shown: ReportAnswer | None = None
        self._known: ReportAnswer | None = None  # figures that still hold, whatever pages are in view
        self.saved_as = ""
        self.pages = PageView()
        self.choice = ChoicePanel(*(self.action(f"report.{n}") for n in ("save", "tables", "whole")))
        self.which = parts.label("", "small")
        self.refusal = parts.label("", "warning", wrap=True)
        self._lay_out()
        self.choice.changed.connect(self._choices_changed)
        self.pages.page_shown.connect(lambda _page: self._say_page())

    def _lay_out(self) -> None:
        buttons = [
            parts.action_button(self.action(f"report.{name}"), look="quiet", text=words)
            for name, words in (("previous", "Page before"), ("next", "Next page"))
        ]
        left = above(
            flow(*buttons, self.which, None, self.refusal),
            self.pages,
            theme.SMALL,
            WorkLine(self.session.tasks, *self.work_keys),
        )
        split = side_by_side(left, panel(parts.scroll(self.choice), at_least=330), (760, 350))
        self._whole = or_empty(_EMPTY, split, self.wants_station.emit)
        self.setLayout(parts.column(self._whole))

    def commands(self) -> dict[str, Callable[[], None]]:
        """Return what each action does."""
        return {
            "report.save": self._save,
            "report.tables": self._tables,
            "report.whole": self.choice.tick_all,
            "report.next": lambda: self.pages.turn(1),
            "report.previous": lambda: self.pages.turn(-1),
        }

    # -- coming and going ---------------------------------------------------------------------

    def state_text(self) -> tuple[bool, str]:
        """Say whether the report is saved."""
        if self.session.study is None:
            return False, ""
        if not self._measured():
            return False, "needs measured fields"
        return bool(self.saved_as), f"saved: {self.saved_as}" if self.saved_as else "not saved yet"

    def entered(self) -> None:
        """Make the report as things are now."""
        self.refresh()

    def left(self) -> None:
        """Remember what was chosen."""
        self.keep_view(_VIEW, self.choice.view_state())

    def study_opened(self) -> None:
        """Forget the last study."""
        self.shown, self._known, self.saved_as = None, None, ""
        self.pages.show_pages(())
        self.choice.say_saved("")
        self.choice.batches.clear()
        if self.session.study is not None:
            self._list_batches()
            self.choice.restore(self.session.open_study.setting(_VIEW, {}) or {})
            self._recall_saved()
        if self.isVisible():
            self.refresh()
        self.state_changed.emit()

    def _recall_saved(self) -> None:
        """Say where the report was saved if nothing was changed since."""
        kept = self.session.open_study.setting(_SAVED)
        if isinstance(kept, dict) and kept.get("name") and kept.get("after") == self._last_change():
            self.saved_as = str(kept["name"])
            self.choice.say_saved(f"Saved as {self.saved_as}.")

    def _last_change(self) -> int:
        last = self.session.open_study.edit_log(limit=1)
        return last[0].id if last else 0

    def study_changed(self, changes: Changes, initiator: object) -> None:
        """Follow corrections; the pages are made anew only while in view."""
        if not changes:
            return
        self._not_saved()
        self.shown = self._known = None
        if self.isVisible():
            self.refresh()

    def _measured(self) -> bool:
        return any(r.measured and r.scale_id is not None for r in self.session.open_study.fields())

    def _list_batches(self) -> None:
        self.choice.list_batches([r.batch.name for r in self.session.open_study.batches()])

    # -- making -------------------------------------------------------------------------------

    def refresh(self) -> None:
        """Make the pages anew where they do not show what is wanted."""
        ready = self.session.study is not None and self._measured()
        self._whole.setCurrentIndex(1 if ready else 0)
        for name in ("save", "tables", "whole", "next", "previous"):
            self.action(f"report.{name}").setEnabled(ready)
        self.state_changed.emit()
        if not ready:
            return
        self._list_batches()
        if self.choice.nothing_chosen:
            self._refused("Tick at least one section and one batch.")
            return
        question, known = self._question(), self._known
        if self.shown is not None and self.shown.question == question:
            self._refused("")
            return
        self.action("report.save").setEnabled(False)
        self.which.setText("Making the pages")
        task = self.session.tasks.run(
            lambda progress: make_report(question, progress, known), self._show, failed=self._failed,
            text="Making the report", key=_KEY,
        )  # fmt: skip
        self.offer_again(task, "The report was stopped before its pages were made.", self.refresh)

    def stopped(self) -> None:
        """Say that there are no pages."""
        self.shown = None
        self.pages.show_pages(())
        self.which.setText("No pages yet")

    def _question(self) -> ReportQuestion:
        title = " ".join(self.choice.title.text().split())
        chosen = self.choice.chosen_sections(), self.choice.chosen_batches()
        return ReportQuestion(self.session.open_study.path, *chosen, title)

    def _choices_changed(self) -> None:
        self._not_saved()
        self.refresh()

    def _not_saved(self) -> None:
        if self.saved_as:
            self.saved_as = ""
            self.keep_view(_SAVED, {})
            self.choice.say_saved("")
            self.state_changed.emit()

    def _show(self, answer: ReportAnswer) -> None:
        self.shown = self._known = answer
        self.refusal.setText("")
        self.pages.show_pages(answer.pages)
        self.action("report.save").setEnabled(True)
        self._say_page()

    def _say_page(self) -> None:
        if self.shown is not None:
            more = "" if len(self.shown.pages) == self.shown.count else ", the rest is in the file"
            self.which.setText(f"Page {self.pages.page} of {self.shown.count}{more}")

    def _failed(self, error: Exception) -> None:
        if not isinstance(error, KnownError):
            self.session.tasks.unexpected(error)
            return
        self._refused(error.text)

    def _refused(self, text: str) -> None:
        self.refusal.setText(text)
        self.action("report.save").setEnabled(not text)
        if text:
            self.shown = None
            self.pages.show_pages(())
            self.which.setText("")

    # -- handing over -------------------------------------------------------------------------

    def _save(self) -> None:
        if self.shown is None:
            return
        name = f"{self.session.open_study.path.stem} report.pdf"
        path = pickers.save(self, "Where shall the report go?", "papers", name, "PDF (*.pdf)")
        if path is not None and self.session.attempt(_write, path, self.shown.data):
            self.saved_as = path.name
            self.keep_view(_SAVED, {"name": path.name, "after": self._last_change()})
            self.choice.say_saved(f"Saved as {path.name} in {path.parent}.")
            self.session.tell(f"Report saved: {path.name}.", DONE)
            self.state_changed.emit()

    def _tables(self) -> None:
        formats = self.choice.chosen_formats()
        if not formats:
            self.session.tell("Tick at least one kind of file.", WARNING)
            return
        folder = pickers.folder(self, "Where shall the files go?", "papers")
        if folder is None:
            return
        path, comma = self.session.open_study.path, self.choice.comma.isChecked()
        self.session.tasks.run(
            lambda progress: write_tables(path, folder, formats, comma, progress),
            lambda files: self.session.tell(f"{len(files)} files written to {folder}.", DONE),
            failed=self._tables_failed, text="Writing the files", key="report.tables",
        )  # fmt: skip

    def _tables_failed(self, error: Exception) -> None:
        if not isinstance(error, KnownError):
            self.session.tasks.unexpected(error)
            return
        self.session.tell(error.text, WARNING)


def _write(path: Path, data: bytes) -> None:
    with written_beside(path) as beside:
        beside.write_bytes(data)
