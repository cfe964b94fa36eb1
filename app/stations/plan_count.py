"""The plan of the count in the Fields station: what is asked, what the study knows, and what comes of it."""

import math
from collections.abc import Callable

from PySide6.QtCore import QObject
from PySide6.QtGui import QAction

from app.session import Session
from app.stations.plan_form import PlanForm
from app.stations.plan_known import Expected, expected_of, known_of
from app.stations.plan_page import PlanPage
from app.stations.sizes_pieces import Gatherer
from measure.errors import InvalidInput
from measure.sizes.plan_whole import plan_whole
from measure.sizes.sample import SizeSample

SETTING = "count_plan"
KEY = "limits of what a plan expects"
_RESAMPLES = 400
_CHANGE = "Change the plan of the count"
_WRONG = "Put right what is marked at the side; the plan follows."


class CountPlan(QObject):
    """Holds the form at the side and the page in place of the picture."""

    def __init__(self, session: Session, close: QAction, made: Callable[[int], None]) -> None:
        super().__init__(session)
        self._session = session
        self.form, self.page = PlanForm(), PlanPage(session, close, made)
        self._gatherer = Gatherer(session)
        self._limited: dict[tuple, Expected] = {}
        self.form.kept.connect(self._keep)
        self.form.left.connect(close.trigger)

    def forget(self) -> None:
        """Keep nothing of the last study."""
        self._gatherer.forget()
        self._limited.clear()

    def refresh(self) -> None:
        """Show the plan as it is kept, with what the study knows now."""
        study = self._session.study
        if study is None:
            return
        kept = study.setting(SETTING, None)
        self.form.show_kept(
            kept if isinstance(kept, dict) else {}, known_of(self._session), self._session.writable
        )
        self.form.show_expected(self._expected())
        self._show()

    def _show(self) -> None:
        wishes = self.form.wishes()
        if wishes is None:
            self.page.show_trouble("\n".join((_WRONG, *(f"• {fault}" for fault in self.form.faults()))))
            return
        try:
            whole = plan_whole(wishes)
        except InvalidInput as error:
            self.page.show_trouble(error.text)
            return
        self.page.show_plan(wishes, whole, round(self.form.value("slides") or 1))

    def _keep(self) -> None:
        """Keep what was typed or chosen; what is at fault is marked and not kept."""
        now = self.form.as_kept()
        study = self._session.open_study
        if self._session.writable and now != study.setting(SETTING, None):
            self._session.do(study.set_setting, SETTING, now, _CHANGE)
        self.refresh()

    # what a batch lets expect -------------------------------------------------------------------------------

    def _expected(self) -> Expected | None:
        """Return what the batch chosen lets expect; its limits follow from a thread."""
        batch_id = self.form.batch_id()
        if batch_id is None:
            return None
        batch = self._gatherer.gather(batch_id)
        found = expected_of(batch.name, batch.sample)
        key = (batch_id, found.name, found.pieces, found.median_um, found.sigma_g)
        if key in self._limited:
            return self._limited[key]
        if found.usable:
            self._work_out(key, batch.name, batch.sample)
        return found

    def _work_out(self, key: tuple, name: str, sample: SizeSample) -> None:
        self._session.tasks.run(
            lambda _progress: expected_of(name, sample, _RESAMPLES),
            lambda found: self._limits_known(key, found),
            text="Working out how surely the sizes are known",
            key=KEY,
        )

    def _limits_known(self, key: tuple, found: Expected) -> None:
        if not math.isfinite(found.median_um):
            return
        self._limited[key] = found
        if self.page.isVisible():
            self.refresh()
