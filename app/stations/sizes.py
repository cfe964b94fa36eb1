"""The Sizes station: how coarse the batch is, how sure that is, and whether a tongue will feel it."""

from collections.abc import Callable
from functools import partial

import numpy as np
from PySide6.QtCore import QTimer
from PySide6.QtGui import QActionGroup, QGuiApplication
from PySide6.QtWidgets import QComboBox, QMenu, QStackedWidget, QToolButton, QWidget

from app import number_text, parts, theme
from app.chart_view import ChartView
from app.flow import Flow, above, flow
from app.messages import DONE, WARNING
from app.session import Session
from app.stations.base import BaseStation
from app.stations.sides import or_empty, page_buttons, panel, side_by_side
from app.stations.sizes_figures import FiguresPage
from app.stations.sizes_limits import LimitsPage
from app.stations.sizes_pieces import (
    FELT_SETTING,
    SPECIFICATION_SETTING,
    VOLUME_SETTING,
    BatchPieces,
    Gatherer,
    batch_ids,
    profile_of,
    specification_of,
)
from app.stations.sizes_sure import SurePage
from app.stations.sizes_work import Answer, Question, answer
from measure.model import KINDS
from measure.output.study_tables import volume_models
from measure.sizes.sample import SizeSample
from measure.study.records import SIZED_ROLES, Changes

_VIEW = "view.sizes"
_KEY = "sizes"
# a burst of corrections is answered at once without intervals, and once with them
_WAIT_MS = 150
_EMPTY = (
    "There are no sizes yet.\n\nMeasure at least one field of a batch in Fields. Its sizes then stand here, "
    "with intervals that say how sure they are, and a verdict on whether a tongue will feel the batch."
)
_PAGES = {"figures": "Figures", "limits": "Limits", "sure": "How sure"}


class Station(BaseStation):
    """Chart, figures, limits and certainty of one batch; everything follows each correction."""

    name, title = "sizes", "Sizes"
    tip = "How coarse the batch is, how sure that is, and whether it will be felt."
    work_keys = (_KEY,)

    def __init__(self, session: Session, parent: QWidget | None = None) -> None:
        super().__init__(session, parent)
        self.gatherer = Gatherer(session)
        self.batch = BatchPieces()
        self.shown: Answer | None = None
        self.r = 3
        self._stale = True
        self.view = ChartView()
        self.figures, self.sure = FiguresPage(), SurePage()
        self.limits = LimitsPage(lambda text: session.tell(text, WARNING))
        self.batches, self.kinds = QComboBox(), QComboBox()
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.setInterval(_WAIT_MS)
        self._timer.timeout.connect(self._start_work)
        self._lay_out()
        self._listen()

    # -- building -----------------------------------------------------------------------------

    def _lay_out(self) -> None:
        for box, words in ((self.batches, "Batch in view"), (self.kinds, "Kind in view")):
            box.setAccessibleName(words)
            box.setToolTip(words)
        self.batches.setMinimumContentsLength(9)
        policy = QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon
        self.kinds.setSizeAdjustPolicy(policy)
        self.kinds.setMinimumContentsLength(8)
        self.kinds.addItem("All kinds", None)
        for kind in KINDS:
            self.kinds.addItem(f"{theme.KIND_STYLE[kind].many.capitalize()} only", kind.value)
        left = above(self._tools(), self.view, theme.SMALL)
        split = side_by_side(left, self._panel(), (700, 400))
        self._whole = or_empty(_EMPTY, split, self.wants_station.emit)
        self.setLayout(parts.column(self._whole))

    def _tools(self) -> Flow:
        group = QActionGroup(self)
        for name in ("number", "volume"):
            self.action(f"sizes.{name}").setCheckable(True)
            group.addAction(self.action(f"sizes.{name}"))
        self.action("sizes.volume").setChecked(True)
        switch = [
            parts.action_button(self.action(f"sizes.{name}"), text=f"By {name}")
            for name in ("number", "volume")
        ]
        coarse = parts.action_button(self.action("sizes.coarse"), text="Coarsest pieces")
        return flow(self.batches, self.kinds, *switch, None, coarse, self._copy_button(), spacing=theme.TIGHT)

    def _copy_button(self) -> QToolButton:
        menu = QMenu(self)
        for what in ("picture", "numbers"):
            menu.addAction(self.action(f"sizes.copy_{what}"))
        made = QToolButton()
        made.setText("Copy")
        made.setToolTip("Copy the chart or the figures, for another program")
        made.setAccessibleName("Copy the chart or the figures")
        made.setMenu(menu)
        made.setPopupMode(QToolButton.ToolButtonPopupMode.InstantPopup)
        return made

    def _panel(self) -> QWidget:
        self._pages = QStackedWidget()
        for page in (self.figures, self.limits, self.sure):
            self._pages.addWidget(parts.scroll(page))
        buttons = page_buttons(self, _PAGES, lambda name: self.action(f"sizes.page_{name}"))
        self._show_page("figures")
        return panel(flow(*buttons, spacing=theme.TIGHT), self._pages, at_least=350)

    def _listen(self) -> None:
        session = self.session
        self.batches.activated.connect(lambda _i: self._show_batch())
        self.kinds.activated.connect(lambda _i: self.refresh())
        self.view.pointed.connect(self._light_class)
        self.view.chosen.connect(self._show_class)
        self.figures.figure_chosen.connect(self.sure.look_at)
        session.selection_changed.connect(self._mark_chosen)
        keep = self._keep
        self.limits.profile_edited.connect(
            lambda p: keep(FELT_SETTING, p.to_json(), "Change what size is felt")
        )
        self.limits.specification_edited.connect(
            lambda s: keep(SPECIFICATION_SETTING, s.to_json(), "Change the specification")
        )
        self.limits.models_edited.connect(
            lambda m: keep(VOLUME_SETTING, m.to_json(), "Change how volumes are made")
        )

    def commands(self) -> dict[str, Callable[[], None]]:
        """Return what each action does."""
        return {
            "sizes.number": lambda: self.show_weighting(0),
            "sizes.volume": lambda: self.show_weighting(3),
            "sizes.copy_picture": self._copy_picture,
            "sizes.copy_numbers": self._copy_numbers,
            "sizes.coarse": self._show_coarse,
            "sizes.previous": lambda: self._step_batch(-1),
            "sizes.next": lambda: self._step_batch(1),
            **{f"sizes.page_{name}": partial(self._show_page, name) for name in _PAGES},
        }

    # -- coming and going ---------------------------------------------------------------------

    def state_text(self) -> tuple[bool, str]:
        """Say the middle size of the batch in view, or what is missing."""
        if self.session.study is None or not self._measured():
            return False, "nothing measured yet"
        if self.shown is None or not self.shown.summary.pieces:
            return False, "to be looked at"
        name = "volume.x50_um"
        middle = number_text.interval(self.shown.summary.value(name), *self.shown.summary.interval(name))
        word = f", {self.shown.verdict.word}" if self.shown.final else ""
        return self.shown.final, f"x₅₀ {middle}{word}"

    def entered(self) -> None:
        """Show the batch of the field in view, or the one looked at last."""
        if self._stale:
            self._load_batches()
        self.refresh()

    def left(self) -> None:
        """Let go of lit pieces; remember the batch in view."""
        self.session.light_up(())
        self.keep_view(_VIEW, {"batch": self.batches.currentData(), "r": self.r})

    def study_opened(self) -> None:
        """Forget the last study."""
        self.gatherer.forget()
        self.batch, self.shown, self._stale = BatchPieces(), None, True
        if self.isVisible():
            self.entered()
        self.state_changed.emit()

    def study_changed(self, changes: Changes, initiator: object) -> None:
        """Follow every correction at once."""
        if {"batches", "fields"} & changes.what:
            self._load_batches()
        if {"particles", "fields", "scales", "batches", "slides", "settings"} & changes.what:
            if self.isVisible():
                self.refresh()
            else:
                self.shown = None
                self.state_changed.emit()

    def _measured(self) -> bool:
        return any(row.measured and row.role in SIZED_ROLES for row in self.session.open_study.fields())

    def _load_batches(self) -> None:
        study = self.session.study
        kept = study.setting(_VIEW, {}) or {} if study is not None else {}
        wanted = self.batches.currentData() if not self._stale else kept.get("batch")
        row = self.session.field_row()
        if self._stale and row is not None and row.batch_id is not None:
            wanted = row.batch_id
        self.batches.clear()
        for batch_id, name in batch_ids(self.session):
            self.batches.addItem(name, batch_id)
        place = self.batches.findData(wanted) if wanted is not None else -1
        self.batches.setCurrentIndex(max(place, 0) if self.batches.count() else -1)
        self._stale = study is None

    # -- showing ------------------------------------------------------------------------------

    def refresh(self) -> None:
        """Show the batch as it is now: figures and chart at once, intervals when they are ready."""
        known = self.session.study is not None and self._measured()
        self._whole.setCurrentIndex(1 if known else 0)
        if not known:
            self.shown = None
            self.state_changed.emit()
            return
        self.batch = self.gatherer.gather(self.batches.currentData())
        self.limits.show_profile(profile_of(self.session))
        self.limits.show_specification(specification_of(self.session))
        self.limits.show_models(volume_models(self.session.open_study))
        self._show(answer(self.question(), resamples=0))
        self._timer.start()

    def question(self) -> Question:
        """Return what is to be worked out for the batch and kind in view."""
        sample, kind = self.batch.sample, self.kinds.currentData()
        if kind is not None:
            sample = sample.of_kind(kind)
        title = self.batch.name if kind is None else f"{self.batch.name}: {self.kinds.currentText().lower()}"
        return Question(
            sample,
            profile_of(self.session),
            specification_of(self.session),
            title,
            self.batch.cover,
            self.batch.grams,
        )

    def show_weighting(self, r: int) -> None:
        """Show by number (0) or by volume (3)."""
        self.r = r
        self.action("sizes.number" if r == 0 else "sizes.volume").setChecked(True)
        if self.shown is not None:
            self._show(self.shown)

    def _start_work(self) -> None:
        if self.session.study is None or self.shown is None:
            return
        question = self.question()
        task = self.session.tasks.run(
            lambda progress: answer(question, progress=progress),
            self._show,
            text="Working out how sure the sizes are",
            key=_KEY,
        )
        words = "Stopped: the verdict and the intervals are not worked out."
        self.offer_again(task, words, self._start_work)

    def _show(self, found: Answer) -> None:
        self.shown = found
        self.view.show_chart(found.charts[self.r])
        self.figures.show_answer(found, self.r, self.batch.unmeasured)
        self.limits.show_answer(found)
        self.sure.show_answer(found, self._sample())
        self._mark_chosen()
        self.state_changed.emit()

    def _sample(self) -> SizeSample:
        kind = self.kinds.currentData()
        return self.batch.sample if kind is None else self.batch.sample.of_kind(kind)

    def _show_batch(self) -> None:
        self.session.light_up(())
        self.refresh()

    def _step_batch(self, by: int) -> None:
        place = self.batches.currentIndex() + by
        if 0 <= place < self.batches.count():
            self.batches.setCurrentIndex(place)
            self._show_batch()

    def _show_page(self, name: str) -> None:
        self._pages.setCurrentIndex(list(_PAGES).index(name))
        self.action(f"sizes.page_{name}").setChecked(True)

    def _mark_chosen(self) -> None:
        if self.isVisible():
            self.view.mark(self.batch.sizes_of(self.session.current_field_id, self.session.selected))

    # -- acting -------------------------------------------------------------------------------

    def _in_class(self, place: int, coarser: bool) -> list[tuple[int, int]]:
        chart = self.view.chart
        if chart is None or place < 0:
            return []
        sample = self._sample()
        inside = sample.diameter_um >= chart.edges_um[place]
        if not coarser:
            inside &= sample.diameter_um < chart.edges_um[place + 1]
        return self.batch.pairs(sample.row[inside])

    def _light_class(self, place: int) -> None:
        self.session.light_up(self._in_class(place, False))

    def _show_class(self, place: int, coarser: bool) -> None:
        self.show_pieces(self._in_class(place, coarser))

    def show_pieces(self, pairs: list[tuple[int, int]]) -> None:
        """Choose pieces in the picture of the field that holds most of them, and go there."""
        pairs = self._pictured(pairs)
        if not pairs:
            return
        counts = {field_id: sum(f == field_id for f, _ in pairs) for field_id in {f for f, _ in pairs}}
        here = self.session.current_field_id
        best = here if here in counts else max(sorted(counts), key=lambda field_id: counts[field_id])
        self.session.show_field(best)
        self.session.select(label for field_id, label in pairs if field_id == best)
        self.wants_station.emit("particles")
        if len(counts) > 1:
            rest = len(pairs) - counts[best]
            others = number_text.count(len(counts) - 1, "other field")
            self.session.tell(f"{number_text.count(rest, 'more piece')} of that size on {others}.")

    def _pictured(self, pairs: list[tuple[int, int]]) -> list[tuple[int, int]]:
        tables = {row.id for row in self.session.open_study.fields() if row.role == "table"}
        found = [pair for pair in pairs if pair[0] not in tables]
        if pairs and not found:
            self.session.tell("These pieces came from a table, so there is no picture to show them in.")
        return found

    def _show_coarse(self) -> None:
        """Go to the largest pieces: those that hold the coarsest tenth of the volume, ten at most."""
        sample = self._sample()
        order = np.argsort(sample.diameter_um)[::-1]
        volume = np.cumsum(sample.quantity(3)[order])
        number = int(np.searchsorted(volume, 0.1 * volume[-1]) + 1) if len(order) else 0
        rows = sample.row[order[: min(number, 10)]]
        self.show_pieces(self.batch.pairs(rows))

    def _keep(self, name: str, value: str, text: str) -> None:
        if self.session.study is not None and self.session.open_study.setting(name, None) != value:
            self.session.do(self.session.open_study.set_setting, name, value, text)

    def _copy_picture(self) -> None:
        if self.shown is not None:
            QGuiApplication.clipboard().setImage(self.view.image())
            self.session.tell("The chart is copied as a picture.", DONE)

    def _copy_numbers(self) -> None:
        if self.shown is not None:
            QGuiApplication.clipboard().setText(self.figures.text(self.shown))
            self.session.tell("The figures are copied; paste them into a table.", DONE)
