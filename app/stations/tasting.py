"""The Tasting station: blind sessions with a panel, whose limit the verdict can follow."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QListWidget, QListWidgetItem, QSplitter, QStackedWidget, QWidget

from app import parts, pickers, theme
from app.messages import DONE, WARNING, explain
from app.session import Session
from app.stations.base import BaseStation
from app.stations.sizes_pieces import FELT_SETTING, Gatherer, profile_of
from app.stations.tasting_before import BeforeTasting
from app.stations.tasting_plan import PlanForm
from app.stations.tasting_session import SessionPage
from app.stations.tasting_teach import Beside, planning_guide, teaching_page
from app.stations.tasting_work import (
    LIMIT_KINDS,
    TastedBatch,
    answers_of,
    session_words,
    verdict_changes,
)
from measure.errors import InvalidInput
from measure.judge.felt import FeltProfile
from measure.judge.panel_session import METHODS, PanelPlan, answer_text, with_answer
from measure.output.worksheets import write_key, write_worksheets
from measure.study.records import Changes, Tasting, TastingRow

_ID, _KEY = Qt.ItemDataRole.UserRole, "tasting"


class Station(BaseStation):
    """Sessions at the left; planning, answers or result at the right; cautions always in view."""

    name, title = "tasting", "Tasting"
    tip = "Let a panel taste blind, and find its own limit."
    work_keys = (_KEY,)

    def __init__(self, session: Session, parent: QWidget | None = None) -> None:
        super().__init__(session, parent)
        self.gatherer = Gatherer(session)
        self.rows: dict[int, TastingRow] = {}
        self.current: int | None = None
        self.sessions = QListWidget()
        self.form = PlanForm(self.action("tasting.keep"), self._show_current)
        self.page = SessionPage(self.action)
        self._lay_out()
        self.sessions.currentItemChanged.connect(lambda *_: self._choose())
        self.page.answers.typed.connect(self._typed)

    # -- building -----------------------------------------------------------------------------

    def _lay_out(self) -> None:
        self.sessions.setAccessibleName("Sessions")
        new = parts.action_button(
            self.action("tasting.new"), look="primary", icon="add", text="Plan a session"
        )
        left = QWidget()
        left.setProperty("look", "panel")
        column = parts.column(new, self.sessions, parts.scroll(BeforeTasting()), margin=theme.SMALL)
        left.setLayout(column)
        column.setStretch(1, 2)
        column.setStretch(2, 3)
        column.addStrut(240)  # at least; larger text asks for more
        self._pages = QStackedWidget()
        planning = Beside(parts.scroll(self.form), planning_guide(), (0, 1))
        for page in (teaching_page(), planning, self.page):
            self._pages.addWidget(page)
        split = QSplitter(Qt.Orientation.Horizontal)
        split.addWidget(left)
        split.addWidget(self._pages)
        split.setStretchFactor(1, 1)
        split.setChildrenCollapsible(False)
        split.setSizes([260, 1180])
        self.setLayout(parts.column(split))

    def commands(self) -> dict[str, Callable[[], None]]:
        """Return what each action does."""
        return {
            "tasting.new": self._plan,
            "tasting.keep": self._keep_plan,
            "tasting.worksheets": lambda: self._print("worksheets", write_worksheets),
            "tasting.key": lambda: self._print("key", write_key),
            "tasting.enter": self._enter,
            "tasting.close": self._close,
            "tasting.use": self._use,
            "tasting.remove": self._remove,
        }

    # -- coming and going ---------------------------------------------------------------------

    def state_text(self) -> tuple[bool, str]:
        """Say how the last session stands."""
        if self.session.study is None:
            return False, ""
        rows = self.session.open_study.tastings()
        if not rows:
            return False, "no session yet"
        try:
            words = session_words(rows[-1].tasting)
        except InvalidInput:
            words = "cannot be read"
        profile = profile_of(self.session)
        return rows[-1].tasting.closed, "its limit is in use" if profile.from_tasting else words

    def entered(self) -> None:
        """Show the sessions as they are now, the last one where none was in view."""
        if self.current is None and self.session.study is not None and self._pages.currentIndex() == 0:
            self.current = next((row.id for row in reversed(self.session.open_study.tastings())), None)
        self._reload()

    def study_opened(self) -> None:
        """Forget the last study."""
        self.gatherer.forget()
        self.current = None
        self._reload()

    def study_changed(self, changes: Changes, initiator: object) -> None:
        """Follow sessions planned, answered, closed or undone."""
        if {"tastings", "settings"} & changes.what and initiator is not self:
            self._reload()
        elif {"tastings", "settings"} & changes.what:
            self.state_changed.emit()

    def _reload(self) -> None:
        study = self.session.study
        self.rows = {row.id: row for row in study.tastings()} if study is not None else {}
        self.sessions.blockSignals(True)
        self.sessions.clear()
        for row in self.rows.values():
            item = QListWidgetItem(self._line(row.tasting))
            item.setData(_ID, row.id)
            self.sessions.addItem(item)
            if row.id == self.current:
                self.sessions.setCurrentItem(item)
        self.sessions.blockSignals(False)
        self.sessions.setVisible(bool(self.rows))
        lines = sum(self.sessions.sizeHintForRow(i) for i in range(self.sessions.count()))
        self.sessions.setMaximumHeight(lines + 2 * self.sessions.frameWidth() + theme.SMALL)
        if self.current not in self.rows:
            self.current = None
        if self._pages.currentIndex() != 1 or study is None:
            self._show_current()
        self._switch_actions()
        self.state_changed.emit()

    def _line(self, tasting: Tasting) -> str:
        method = METHODS.get(tasting.kind)
        title = tasting.name or (method.title if method else tasting.kind)
        try:
            return f"{title}\n{session_words(tasting)}"
        except InvalidInput:
            return f"{title}\ncannot be read"

    def _choose(self) -> None:
        item = self.sessions.currentItem()
        self.current = None if item is None else item.data(_ID)
        self._show_current()

    def _row(self) -> TastingRow | None:
        return self.rows.get(self.current) if self.current is not None else None

    def _switch_actions(self) -> None:
        row = self._row()
        planning, shown = self._pages.currentIndex() == 1, self._pages.currentIndex() == 2
        open_ = shown and row is not None and not row.tasting.closed
        closed = shown and row is not None and row.tasting.closed
        there = {
            "keep": planning, "worksheets": shown, "key": shown, "enter": open_, "close": open_,
            "use": closed and self.page.limit is not None and not self._limit_in_use(), "remove": shown,
        }  # fmt: skip
        self.page.result.say_in_use(self._limit_in_use())
        for name, on in there.items():
            self.action(f"tasting.{name}").setEnabled(bool(on))

    # -- planning -----------------------------------------------------------------------------

    def _plan(self) -> None:
        self.form.begin(self._batches(), profile_of(self.session))
        self._pages.setCurrentIndex(1)
        self._switch_actions()

    def _batches(self) -> list[TastedBatch]:
        entries = self.session.open_study.batches() if self.session.study is not None else []
        return [TastedBatch(e.id, e.batch.name, self.gatherer.gather(e.id).sample) for e in entries]

    def _keep_plan(self) -> None:
        plan = self.form.plan()
        if plan is None:
            return
        used = tuple(s.batch_id for s in plan.samples if s.batch_id is not None)
        tasting = Tasting(plan.method, used, self.form.name.text().strip(), plan.to_json(), {"answers": {}})
        added = self.session.do(self.session.open_study.add_tasting, tasting, initiator=self)
        if added is not None:
            self.current = added
            self._pages.setCurrentIndex(2)
            self._reload()
            self.session.tell("The plan is kept. Print the worksheets and the key next.", DONE)

    # -- one session --------------------------------------------------------------------------

    def _show_current(self) -> None:
        row = self._row()
        shown = row is not None and self.session.attempt(self.page.show_session, row.tasting)
        self._pages.setCurrentIndex(2 if shown else 0)
        self._switch_actions()

    def _typed(self, plate: int, text: str) -> None:
        row = self._row()
        if row is None:
            return
        plan = PanelPlan.from_json(row.tasting.plan)
        try:
            new = with_answer(answers_of(row.tasting), plan, plate, text)
        except InvalidInput as error:
            self.session.tell(error.text, WARNING)
            self.page.answers.refuse(plate, answer_text(plan, answers_of(row.tasting), plate))
            return
        if new != answers_of(row.tasting):
            self._update(row, replace(row.tasting, results={"answers": new}), f"Answer of plate {plate + 1}")

    def _update(self, row: TastingRow, tasting: Tasting, text: str) -> bool:
        done = self.session.do(self.session.open_study.update_tasting, row.id, tasting, text, initiator=self)
        if done is None:
            self._reload()
            return False
        self.rows[row.id] = TastingRow(row.id, tasting)
        item = self.sessions.currentItem()
        if item is not None:
            item.setText(self._line(tasting))
        self.page.show_state(tasting)
        return True

    def _enter(self) -> None:
        row = self._row()
        if row is not None:
            self.page.answers.begin(PanelPlan.from_json(row.tasting.plan), answers_of(row.tasting))

    def _close(self) -> None:
        self.page.answers.finish()
        row = self._row()
        if row is None:
            return
        if not answers_of(row.tasting):
            self.session.tell("Nobody has answered yet; type the answers first.", WARNING)
            return
        if self._update(row, replace(row.tasting, closed=True), "Close the tasting session"):
            self._show_current()
            self.page.answers.setFocus()  # not the next button, which removes the session
            self.session.tell("The session is closed. Undo opens it again.", DONE)

    def _print(self, what: str, write: Callable) -> None:
        row = self._row()
        if row is None:
            return
        name = f"{row.tasting.name or row.tasting.kind} {what}.pdf".replace("/", "-")
        path = pickers.save(self, f"Where shall the {what} go?", "papers", name, "PDF (*.pdf)")
        plan = PanelPlan.from_json(row.tasting.plan)
        if path is None:
            return
        title = row.tasting.name
        self.session.tasks.run(
            lambda _progress: write(path, plan, title),
            lambda _: self.session.tell(f"{what.capitalize()} written: {Path(path).name}.", DONE),
            failed=lambda error: self.session.tell(*explain(error, f"Writing the {what}")),
            text=f"Writing the {what}", key=f"tasting.{what}",
        )  # fmt: skip

    def _remove(self) -> None:
        if self.current is not None:
            self.session.do(self.session.open_study.remove_tasting, self.current)

    # -- the limit ----------------------------------------------------------------------------

    def _use(self) -> None:
        if self.page.limit is None:
            return
        before = profile_of(self.session)
        after = self.page.limit.profile(before, LIMIT_KINDS)
        text = "Use the limit of a tasting"
        done = self.session.do(
            self.session.open_study.set_setting, FELT_SETTING, after.to_json(), text, initiator=self
        )
        if done is not None:
            self._switch_actions()
            self._tell_changes(before, after)

    def _limit_in_use(self) -> bool:
        """Whether the verdict follows the session in view."""
        if self.page.limit is None or self.session.study is None:
            return False
        before = profile_of(self.session)
        return before.from_tasting and self.page.limit.profile(before, LIMIT_KINDS) == before

    def _tell_changes(self, before: FeltProfile, after: FeltProfile) -> None:
        batches = self._batches()
        self.session.tell("The verdict follows this panel now. Undo brings the old limit back.", DONE)
        self.session.tasks.run(
            lambda progress: verdict_changes(batches, before, after, progress), self.page.result.show_changes,
            text="Judging the batches anew", key=_KEY,
        )  # fmt: skip
