"""What stands beside an open session: the way, what will decide, and who has answered; nothing of the key."""

from collections.abc import Mapping

from PySide6.QtCore import QSize
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QFrame, QSizePolicy, QWidget

from app import parts
from app.stations.compare_chart import DrawnChart
from app.stations.tasting_example import example_card
from app.stations.tasting_teach import top_aligned, way_card
from app.stations.tasting_work import COUNTED
from measure.judge.panel_session import PanelPlan, missing_plates
from measure.output.charts_guess import guess_chart, lay_out_guess

_MOST_LINES = 14  # of assessors in view beside a chart; more are scrolled to
_NO_LIMIT = 16_777_215  # px, Qt's own
_CHART_HIGH = 260  # px, from which a chart can be read


class SessionGuide(QWidget):
    """The cards; a chart stands there where it has room."""

    def __init__(self) -> None:
        super().__init__()
        self.answered = top_aligned(parts.label("", "soft", wrap=True))
        inner = QWidget()
        inner.setLayout(parts.column(self.answered, None))
        self._area = parts.scroll(inner)
        for shown in (inner, self._area.viewport()):  # the card is seen through it
            shown.setAutoFillBackground(False)
        self._way, self._some = way_card(), parts.card(self._area, heading="Answers so far")
        self.chart = _Chart()
        self.decides = top_aligned(parts.label("", "soft", wrap=True))
        self.counted = parts.card(self.decides, self.chart, heading="How many decide")
        parts.box_of(self.counted).setStretch(2, 1)
        self.example = example_card()
        self._beside: QFrame | None = None
        self._lines = 0
        self.setLayout(parts.column(self._way, self._some, self.counted, self.example))

    def show_answers(self, plan: PanelPlan, answers: Mapping[str, object]) -> None:
        """Count the answers of each assessor, and say how many right ones the plan asks for."""
        missing = set(missing_plates(plan, answers))
        lines = []
        for name in plan.assessors:
            plates = [i for i, serving in enumerate(plan.servings) if serving.assessor == name]
            given = sum(i not in missing for i in plates)
            lines.append(f"{name}: {'all' if given == len(plates) else given} of {len(plates)}")
        self.answered.setText("\n".join(lines))
        self._lines = len(lines)
        self._show_chart(plan)
        self._suit()

    def _show_chart(self, plan: PanelPlan) -> None:
        """Choose the chart of the test; a plan that seeks likeness is decided by few right answers."""
        self._beside = self.example if plan.method == "series" else None
        if plan.method in COUNTED and plan.similarity is None:
            chart = guess_chart(plan.method, len(plan.servings), plan.alpha)
            self.chart.show_chart(chart)
            self.decides.setText(chart.in_words())
            self._beside = self.counted

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Qt: show the chart where it has room."""
        super().resizeEvent(event)
        self._suit()

    def _suit(self) -> None:
        line = self.fontMetrics().lineSpacing()
        listed = (min(self._lines, _MOST_LINES) + 1) * line
        way = max(self._way.heightForWidth(self.width()), self._way.minimumSizeHint().height())
        room = self.height() - way - listed - 6 * line
        roomy = self._beside is not None and room > _CHART_HIGH
        for card in (self.counted, self.example):
            card.setVisible(roomy and card is self._beside)
        self._area.setMinimumHeight(listed if roomy else 0)
        self._area.setMaximumHeight(listed if roomy else _NO_LIMIT)
        box = parts.box_of(self)
        for place, card in enumerate((self._way, self._some, self.counted, self.example)):
            box.setStretch(place, int(card is (self._beside if roomy else self._some)))


class _Chart(DrawnChart):
    """The chart; it is content with little height and takes more."""

    def __init__(self) -> None:
        super().__init__(lay_out_guess, "Right answers when all guess")
        self.setMinimumHeight(160)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)

    def sizeHint(self) -> QSize:
        """Qt: wide and low."""
        return QSize(640, 200)
