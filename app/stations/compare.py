"""The Compare station: whether the grind helped, by how much, and what more of it would bring."""

from collections.abc import Callable
from functools import partial

import numpy as np
from PySide6.QtCore import Qt
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import (
    QComboBox,
    QSplitter,
    QStackedWidget,
    QWidget,
)

from app import parts, theme
from app.flow import above, flow
from app.messages import DONE
from app.session import Session
from app.stations.base import BaseStation
from app.stations.compare_chart import DrawnChart
from app.stations.compare_grind import GrindPanel
from app.stations.compare_said import SaidPanel
from app.stations.compare_table import RatioTable
from app.stations.compare_work import CompareAnswer, CompareQuestion, answer
from app.stations.sides import or_empty, page_buttons, panel, side_by_side
from app.stations.sizes_pieces import Gatherer, profile_of
from app.work_line import WorkLine
from measure.errors import KnownError
from measure.judge.compare import FIGURES
from measure.judge.compare_batches import BatchSizes, limits_differ, with_own_names
from measure.judge.compare_pairs import Ratio
from measure.judge.compare_words import times_text
from measure.output.charts_compare import lay_out_curves, lay_out_grind
from measure.output.study_batches import by_grinding, scale_words, slide_of_field
from measure.sizes.plan import figure_words
from measure.study.records import SIZED_ROLES, Changes

_VIEW, _KEY = "view.compare", "compare"
_PAGES = {"curves": "Did it help?", "grind": "Grind curve"}
_PAIRS = (("every pair", "all"), ("with the first", "first"), ("step by step", "next"))
_NO_CURVE = "The size of each batch over its passes or minutes, and how much more a target would take."
_EMPTY = (
    "A comparison needs two batches.\n\nPut the fields of each grind into a batch of its own in Fields, and "
    "measure them. Here then stands how many times finer one is than the other, how sure that is, and how "
    "much more grinding your target would take."
)


class Station(BaseStation):
    """Batches side by side, and the grind curve through them."""

    name, title = "compare", "Compare"
    tip = "Did the grind help, by how much, and how much more would it take?"
    work_keys, shows_work = (_KEY,), True

    def __init__(self, session: Session, parent: QWidget | None = None) -> None:
        super().__init__(session, parent)
        self.gatherer = Gatherer(session)
        self.shown: CompareAnswer | None = None
        self.batches: tuple[BatchSizes, ...] = ()
        self.figure, self.pairing = QComboBox(), QComboBox()
        self.curves = DrawnChart(lay_out_curves, "Cumulative curves of the batches")
        self.grind_chart = DrawnChart(lay_out_grind, "Grind curve", empty=_NO_CURVE)
        self.table, self.grind = RatioTable(), GrindPanel()
        self.said = SaidPanel(self.action("compare.common"))
        self._lay_out()
        self._listen()

    # -- building -----------------------------------------------------------------------------

    def _lay_out(self) -> None:
        for figure in FIGURES:
            self.figure.addItem(figure_words(figure), figure)
        for words, key in _PAIRS:
            self.pairing.addItem(words, key)
        for box, words in ((self.figure, "Figure compared"), (self.pairing, "Pairs compared")):
            box.setAccessibleName(words)
            box.setToolTip(words)
            box.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToContents)
            box.setMinimumContentsLength(8)
        split = side_by_side(self._left(), self._right(), (700, 400))
        self._whole = or_empty(_EMPTY, split, self.wants_station.emit)
        self.setLayout(parts.column(self._whole))

    def _left(self) -> QWidget:
        buttons = page_buttons(self, _PAGES, lambda name: self.action(f"compare.page_{name}"))
        copy = parts.action_button(self.action("compare.copy_picture"), text="Copy chart")
        numbers = parts.action_button(self.action("compare.copy_numbers"), text="Copy table")
        self._of_pairs = (self.pairing, numbers)
        copies = QWidget()  # they go into the next line together
        copies.setLayout(parts.row(copy, numbers, spacing=theme.TIGHT))
        line = flow(*buttons, theme.MEDIUM, self.figure, self.pairing, None, copies, spacing=theme.TIGHT)
        both = QSplitter(Qt.Orientation.Vertical)
        both.addWidget(self.curves)
        both.addWidget(self.table)
        both.setChildrenCollapsible(False)
        both.setSizes([430, 260])
        self._charts = QStackedWidget()
        self._charts.addWidget(both)
        self._charts.addWidget(self.grind_chart)
        return above(line, self._charts, theme.SMALL, WorkLine(self.session.tasks, _KEY))

    def _right(self) -> QWidget:
        self._panels = QStackedWidget()
        self._panels.addWidget(parts.scroll(self.said))
        self._panels.addWidget(parts.scroll(self.grind))
        self._show_page("curves")
        return panel(self._panels, at_least=340)

    def _listen(self) -> None:
        self.figure.activated.connect(lambda _i: self._start())
        self.pairing.activated.connect(lambda _i: self._start())
        self.said.ticked.connect(self._start)
        self.grind.changed.connect(lambda: self.grind_chart.show_chart(self.grind.chart))
        self.grind.wants_fields.connect(lambda: self.wants_station.emit("fields"))

    def commands(self) -> dict[str, Callable[[], None]]:
        """Return what each action does."""
        return {
            **{f"compare.page_{name}": partial(self._show_page, name) for name in _PAGES},
            "compare.next": lambda: self._step(1),
            "compare.previous": lambda: self._step(-1),
            "compare.common": self._start,
            "compare.target": self._ask_target,
            "compare.copy_picture": self._copy_picture,
            "compare.copy_numbers": self._copy_numbers,
        }

    # -- coming and going ---------------------------------------------------------------------

    def state_text(self) -> tuple[bool, str]:
        """Say how the last batch compares with the first, or what is missing."""
        if self.session.study is None:
            return False, ""
        if self.shown is None:
            used = {
                r.batch_id for r in self.session.open_study.fields() if r.measured and r.role in SIZED_ROLES
            }
            return False, "to be looked at" if len(used - {None}) > 1 else "needs two batches"
        names = [b.name for b in self.shown.comparison.batches]
        for row in self.shown.comparison.ratios:
            if (
                row.figure == self.shown.figure
                and not row.kind
                and {row.first, row.second} == {names[0], names[-1]}
            ):
                return True, _rail_words(row, names[0]) if row.shown else "no difference shown"
        return True, f"{len(names)} batches"

    def entered(self) -> None:
        """Compare as things are now."""
        self.refresh()

    def left(self) -> None:
        """Remember what was asked."""
        if self.session.writable:
            state = {
                "figure": self.figure.currentData(),
                "pairing": self.pairing.currentData(),
                **self.grind.view_state(),
            }
            self.keep_view(_VIEW, state)

    def study_opened(self) -> None:
        """Forget the last study."""
        self.gatherer.forget()
        self.shown, self.batches, self.said.left_out = None, (), set()
        if self.session.study is not None:
            kept = self.session.open_study.setting(_VIEW, {}) or {}
            for box, name in ((self.figure, "figure"), (self.pairing, "pairing")):
                box.setCurrentIndex(max(box.findData(kept.get(name)), 0))
            self.grind.restore(kept)
        if self.isVisible():
            self.refresh()
        self.state_changed.emit()

    def study_changed(self, changes: Changes, initiator: object) -> None:
        """Follow corrections; only while in view, since all batches are compared anew."""
        if {"particles", "fields", "scales", "batches", "slides", "settings"} & changes.what:
            if self.isVisible():
                self.refresh()
            else:
                self.shown = None
                self.state_changed.emit()

    # -- working ------------------------------------------------------------------------------

    def refresh(self) -> None:
        """Gather the batches and compare them."""
        self.batches = self._gathered()
        enough = len(self.batches) > 1
        self._whole.setCurrentIndex(1 if enough else 0)
        self.said.list_batches(self.batches)
        if not enough:
            self.shown = None
            self.state_changed.emit()
            return
        self._start()

    def _gathered(self) -> tuple[BatchSizes, ...]:
        study = self.session.study
        if study is None:
            return ()
        scales: dict[int, set[int]] = {}
        for row in study.fields():
            if row.role not in SIZED_ROLES or not row.measured:
                continue
            if row.scale_id is not None and row.batch_id is not None:
                scales.setdefault(row.batch_id, set()).add(row.scale_id)
        found = []
        for entry in study.batches():
            if entry.id not in scales:
                continue
            sample = self.gatherer.gather(entry.id).sample
            if len(sample):
                b = entry.batch
                found.append(BatchSizes(b.name, sample, scale_words(scales[entry.id]), b.passes, b.minutes))
        return with_own_names(by_grinding(found))

    def _start(self) -> None:
        batches = tuple(b for b in self.batches if b.name not in self.said.left_out)
        self.said.limits_card.setVisible(limits_differ(batches))
        if len(batches) < 2:
            self._refused("Tick two batches or more.")
            return
        question = CompareQuestion(
            batches, self.figure.currentData(), self.pairing.currentData(),
            self.action("compare.common").isChecked() and limits_differ(batches),
            profile_of(self.session), slide_of_field(self.session.open_study),
        )  # fmt: skip
        task = self.session.tasks.run(
            lambda progress: answer(question, progress), self._show, failed=self._failed,
            text="Comparing the batches", key=_KEY,
        )  # fmt: skip
        self.offer_again(task, "Stopped: the batches are not compared.", self._start)

    def _failed(self, error: Exception) -> None:
        if not isinstance(error, KnownError):
            self.session.tasks.unexpected(error)
            return
        self._refused(error.text)

    def _refused(self, text: str) -> None:
        self.shown = None
        self.said.show_refusal(text)
        self.curves.show_chart(None)
        self.table.show_answer(None)
        self.grind.show_answer(None)
        self.state_changed.emit()

    # -- showing ------------------------------------------------------------------------------

    def _show(self, found: CompareAnswer) -> None:
        self.shown = found
        self.said.show_answer(found)
        self.curves.show_chart(found.curves)
        self.table.show_answer(found)
        self.grind.show_answer(found)
        self.state_changed.emit()

    def _show_page(self, name: str) -> None:
        place = list(_PAGES).index(name)
        self._charts.setCurrentIndex(place)
        self._panels.setCurrentIndex(place)
        self.action(f"compare.page_{name}").setChecked(True)
        for widget in self._of_pairs:
            widget.setVisible(name == "curves")

    def _step(self, by: int) -> None:
        place = self.figure.currentIndex() + by
        if 0 <= place < self.figure.count():
            self.figure.setCurrentIndex(place)
            self._start()

    def _ask_target(self) -> None:
        self._show_page("grind")
        self.grind.target.setFocus(Qt.FocusReason.ShortcutFocusReason)
        self.grind.target.selectAll()

    def _copy_picture(self) -> None:
        chart = self.curves if self._charts.currentIndex() == 0 else self.grind_chart
        if chart.chart is not None:
            QGuiApplication.clipboard().setImage(chart.image())
            self.session.tell("The chart is copied as a picture.", DONE)

    def _copy_numbers(self) -> None:
        if self.shown is not None:
            QGuiApplication.clipboard().setText(self.table.text())
            self.session.tell("The ratios are copied; paste them into a table.", DONE)


def _rail_words(row: Ratio, first: str) -> str:
    """Return how the last batch compares with the first, with the interval."""
    ratio = np.array([row.ratio, row.low, row.high])
    if row.first != first:  # the ratio is that of the first to the last
        ratio = 1 / ratio
    finer = ratio[0] >= 1
    value, *limits = ratio if finer else 1 / ratio
    low, high = sorted(limits)
    way = "finer" if finer else "coarser"
    return f"{times_text(value)} times {way} ({times_text(low)} to {times_text(high)})"
