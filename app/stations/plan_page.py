"""What a plan of the count says: oil, pieces and fields in figures and sentences; slides made of it."""

import math
from collections.abc import Callable

from PySide6.QtCore import QSignalBlocker, QSize, Qt
from PySide6.QtGui import QAction, QGuiApplication, QResizeEvent
from PySide6.QtWidgets import QBoxLayout, QComboBox, QGridLayout, QLabel, QSizePolicy, QVBoxLayout, QWidget

from app import number_text, parts, theme
from app.flow import flow
from app.messages import DONE
from app.session import Session
from app.stations.compare_chart import DrawnChart
from app.stations.plan_known import frame_words
from app.stations.plan_picture import FieldSketch
from app.stations.plan_slides import SlidesWanted, make_slides
from measure.errors import InvalidInput
from measure.output.charts_plan import lay_out_plan, plan_chart
from measure.sizes.plan import figure_words
from measure.sizes.plan_whole import WASTE, WholePlan, Wishes
from measure.sizes.rounding import short_number

_BESIDE_IN_LINES = 50  # of text; from this width on the sketch stands beside the sentences
_NEW = -1


class PlanPage(QWidget):
    """The page in place of the picture.

    Parameters
    ----------
    close : QAction
        Switches the plan off.
    made : callable
        Called with the id of the batch whose slides were made.
    """

    def __init__(self, session: Session, close: QAction, made: Callable[[int], None]) -> None:
        super().__init__()
        self._session, self._made = session, made
        self._wanted: SlidesWanted | None = None
        self.whole: WholePlan | None = None
        self.oil, self.fields, self.pieces = (_Figure(words) for words in ("of oil", "to take", "to count"))
        self.trouble = parts.label("", "warning", wrap=True)
        self.trouble.setAlignment(Qt.AlignmentFlag.AlignTop)
        self.steps, self.careful, self.basis = Points(""), Points("warning"), Points("soft")
        self.chart = _Chart()
        self.sketch, self.sketch_words = FieldSketch(), parts.label("", "soft", wrap=True)
        self.batch = QComboBox()
        self.batch.setAccessibleName("Batch of the slides")
        self.batch.setToolTip("The batch the slides are of")
        self.batch.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToContents)
        self.make = parts.button("Make slides", self._make, look="primary")
        self.make.setToolTip("With film, oil and places to take; undo takes them back")
        self.fault = parts.label("", "error", wrap=True)
        self.copy = parts.button("Copy the plan", self.copy_text, tip="As text, for a message or the bench")
        self._lay_out(close)

    def _lay_out(self, close: QAction) -> None:
        back = parts.button("Back to the pictures", close.trigger, tip=close.toolTip())
        head = flow(parts.label("Plan dilution and count", "heading"), None, self.copy, back)
        head.setContentsMargins(theme.SMALL, theme.TIGHT, theme.SMALL, theme.TIGHT)
        figures = parts.row(self.oil, self.fields, self.pieces, spacing=theme.MEDIUM)
        self._careful_card = parts.card(self.careful, heading="Be careful")
        chart = parts.card(self.chart, heading="What more fields bring")
        parts.box_of(chart).setStretch(1, 1)
        sketch = parts.card(self.sketch, self.sketch_words, heading="How full a field should look")
        slides = parts.card(
            parts.label("Film, oil and the places of each slide are put into the study.", "soft", wrap=True),
            flow(self.batch, self.make),
            self.fault,
            heading="Slides of this plan",
        )
        left = parts.column(parts.card(self.steps, heading="What to do"), self._careful_card, chart)
        left.setStretch(2, 1)
        rests = parts.card(self.basis, heading="What it rests on")
        self._beside = QBoxLayout(QBoxLayout.Direction.LeftToRight)
        self._beside.setSpacing(theme.SMALL)
        self._beside.addLayout(left, 1)
        self._beside.addLayout(parts.column(slides, sketch, rests, None), 1)
        self._answer = QWidget()
        answer = QVBoxLayout(self._answer)
        answer.setContentsMargins(0, 0, 0, 0)
        answer.setSpacing(theme.SMALL)
        answer.addLayout(figures)
        answer.addLayout(self._beside, 1)
        inner = QWidget()
        whole = parts.column(self.trouble, self._answer, margin=theme.SMALL)
        whole.setStretch(1, 1)
        inner.setLayout(whole)
        self.area = parts.scroll(inner)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        parts.fill(column, (head, self.area))
        column.setStretch(1, 1)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Qt: the sketch beside the sentences where there is room, else below."""
        super().resizeEvent(event)
        wide = event.size().width() > _BESIDE_IN_LINES * self.fontMetrics().lineSpacing()
        way = QBoxLayout.Direction.LeftToRight if wide else QBoxLayout.Direction.TopToBottom
        self._beside.setDirection(way)

    # showing ------------------------------------------------------------------------------------------------

    def show_trouble(self, words: str) -> None:
        """Say why there is no plan."""
        self.whole = self._wanted = None
        self.trouble.setText(words)
        self.trouble.show()
        self._answer.hide()
        self.copy.setEnabled(False)

    def show_plan(self, wishes: Wishes, whole: WholePlan, slides: int) -> None:
        """Show a plan for so many slides."""
        self.whole = whole
        plan, likely, request = whole.plan, whole.likely, wishes.request
        self.trouble.hide()
        self._answer.show()
        self.copy.setEnabled(True)
        oil = "no oil" if plan.parts_oil == 0 else _parts(plan.oil_mass)
        self.oil.show_figure(
            oil, "of oil by mass to 1 part of paste" if plan.parts_oil else "is needed",
            _span(*likely.oil_mass) if likely else "",
        )  # fmt: skip
        each = math.ceil(plan.fields / slides)
        several = f", {number_text.fixed(each, 0)} on each of {slides} slides" if slides > 1 else ""
        self.fields.show_figure(
            number_text.count(plan.fields, "field"), f"to take{several}",
            _span(*likely.fields) if likely else "",
        )  # fmt: skip
        self.pieces.show_figure(
            number_text.count(plan.pieces_model_free, "piece"),
            f"to know {figure_words(request.figure)} within ±{short_number(100 * request.relative_error)} %",
            _span(*likely.pieces) if likely else "",
        )
        self.steps.show_points(
            [(f"{n}.", number_text.grouped(step)) for n, step in enumerate(whole.steps, 1)]
        )
        rests = (whole.likely_words, whole.fewer_words, *whole.expected, WASTE)
        self.basis.show_points([("•", number_text.grouped(words)) for words in rests if words])
        self.careful.show_points([("•", number_text.grouped(words)) for words in whole.warnings])
        limits = (wishes.median_limits_um, wishes.sigma_g_limits)
        self.chart.show_chart(plan_chart(request, plan, *limits))
        self._careful_card.setVisible(bool(whole.warnings))
        self.sketch.show_field(request)
        self.sketch_words.setText(
            f"{frame_words(request.frame_um)}, about {number_text.number(plan.pieces_per_field, 2)} whole "
            "pieces. Where yours is fuller, thin the paste more; where it is emptier, less."
        )
        field_mm = (request.frame_um[0] / 1000, request.frame_um[1] / 1000)
        self._wanted = SlidesWanted(
            slides, each, field_mm, request.film_um, max(round(wishes.smallest_um or 5), 1), plan.oil_mass
        )
        self._show_batches()

    def _show_batches(self) -> None:
        """Offer a new batch first, for one that is measured is done, then those there are."""
        study, before = self._session.open_study, self.batch.currentData()
        with QSignalBlocker(self.batch):
            self.batch.clear()
            self.batch.addItem("of a new batch", _NEW)
            for row in study.batches():
                self.batch.addItem(f"of {row.batch.name}", row.id)
            measured = {row.batch_id for row in study.fields()}
            waiting = [row.id for row in study.batches() if row.id not in measured]
            wanted = before if before is not None else (waiting[-1] if waiting else _NEW)
            self.batch.setCurrentIndex(max(0, self.batch.findData(wanted)))
        slides = self._wanted.slides if self._wanted is not None else 1
        self.make.setText("Make the slide" if slides == 1 else f"Make {slides} slides")
        self.make.setEnabled(self._session.writable and self._wanted is not None)
        self.batch.setEnabled(self._session.writable)
        self.fault.setVisible(False)

    # doing --------------------------------------------------------------------------------------------------

    def text(self) -> str:
        """Return the plan as text."""
        figures = (self.oil, self.fields, self.pieces)
        lines = [" ".join(part for part in one.texts() if part) for one in figures]
        found = ["Plan of dilution and count", "", *lines, "", self.steps.text(), "", self.basis.text()]
        return "\n".join([*found, "", self.careful.text()] if self.whole and self.whole.warnings else found)

    def copy_text(self) -> None:
        """Copy the plan as text."""
        if self.whole is not None:
            QGuiApplication.clipboard().setText(self.text())
            self._session.tell("The plan is copied as text.", DONE)

    def _make(self) -> None:
        wanted = self._wanted
        if wanted is None:
            return
        try:
            wanted.plans()
        except InvalidInput as error:
            self.fault.setText(error.text)
            self.fault.setVisible(True)
            return
        chosen = self.batch.currentData()
        words = number_text.count(wanted.slides, "slide")
        batch_id = self._session.do(
            make_slides,
            self._session,
            None if chosen == _NEW else chosen,
            wanted,
            f"Make {words} of the plan",
        )
        if batch_id is not None:
            self.batch.setCurrentIndex(self.batch.findData(batch_id))
            self._made(batch_id)
            self._session.tell(f"Made {words}, with the places where fields are taken.", DONE)


class Points(QWidget):
    """Sentences below one another, each behind its number or dot."""

    def __init__(self, look: str) -> None:
        super().__init__()
        self._look = look
        self._lines: list[tuple[QLabel, QLabel]] = []
        self._grid = QGridLayout(self)
        self._grid.setContentsMargins(0, 0, 0, 0)
        self._grid.setVerticalSpacing(theme.TIGHT)
        self._grid.setColumnStretch(1, 1)

    def show_points(self, points: list[tuple[str, str]]) -> None:
        """Show these, each as its mark and its words."""
        while len(self._lines) < len(points):
            line = parts.label("", self._look), parts.label("", self._look, wrap=True)
            row = len(self._lines)
            self._grid.addWidget(line[0], row, 0, Qt.AlignmentFlag.AlignTop)
            self._grid.addWidget(line[1], row, 1)
            self._lines.append(line)
        for place, line in enumerate(self._lines):
            for label, text in zip(line, points[place] if place < len(points) else ("", ""), strict=True):
                label.setText(text)
                label.setVisible(bool(text))

    def text(self) -> str:
        """Return all of them as text."""
        return "\n".join(f"{mark.text()} {words.text()}" for mark, words in self._lines if words.text())


class _Chart(DrawnChart):
    """The chart; it is content with little height and takes more."""

    def __init__(self) -> None:
        super().__init__(lay_out_plan, "How well the figure is known with how many fields")
        self.setMinimumHeight(180)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)

    def sizeHint(self) -> QSize:
        """Qt: wide and low."""
        return QSize(640, 210)


class _Figure(QWidget):
    """A large number, what it is, and how far it may move."""

    def __init__(self, words: str) -> None:
        super().__init__()
        self.value, self.words = parts.label("", "title"), parts.label(words, wrap=True)
        self.span = parts.label("", "soft", wrap=True)
        card = parts.card(self.value, self.words, self.span, None)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(card)

    def show_figure(self, value: str, words: str, span: str) -> None:
        """Show it."""
        labels: tuple[QLabel, ...] = (self.value, self.words, self.span)
        for label, text in zip(labels, (value, words, span), strict=True):
            label.setText(text)
        self.span.setVisible(bool(span))
        self.setAccessibleName(f"{value} {words} {span}".strip())

    def texts(self) -> tuple[str, str, str]:
        """Return the number, what it is, and how far it may move."""
        return self.value.text(), self.words.text(), self.span.text()


def _parts(mass: float) -> str:
    return number_text.count(round(mass), "part") if mass >= 1 else f"{short_number(mass)} parts"


def _span(low: float, high: float) -> str:
    """Return what a figure may be with the limits of what is expected; empty where they agree."""
    ends = [number_text.fixed(round(v), 0) if v >= 3 else number_text.number(v, 2) for v in (low, high)]
    return "" if ends[0] == ends[1] else f"perhaps {ends[0]} to {ends[1]}"
