"""What a closed session found: sentences, curve, each assessor's own, and the limit for this study."""

from collections.abc import Sequence

from PySide6.QtGui import QAction
from PySide6.QtWidgets import QWidget

from app import parts
from app.stations.compare_chart import DrawnChart
from app.stations.tasting_work import VerdictChange
from measure.judge.compare_words import in_words
from measure.judge.panel_session import PanelPlan
from measure.judge.panel_session_result import PanelOutcome
from measure.judge.panel_session_words import PanelLimit, outcome_sentences
from measure.output.charts_panel import lay_out_panel, panel_chart

_LIMIT_WORDS = (
    "Use it and the verdict on every batch follows this panel instead of published work. Salt keeps its own "
    "sizes, because it dissolves. It holds for people and pastes like these; undo brings the old limit back."
)


_USE, _USED = "Use as this study's limit", "The verdict follows this limit"


class ResultPanel(QWidget):
    """Shows a `PanelOutcome`."""

    def __init__(self, use: QAction) -> None:
        super().__init__()
        self.words = parts.label("", wrap=True)
        self.careful = parts.label("", "warning", wrap=True)
        self.own = parts.label("", "small", wrap=True)
        self.chart = DrawnChart(lay_out_panel, "Share that feels it, by size")
        self.chart.setMinimumSize(320, 230)
        self.limit = parts.label("", wrap=True)
        self.known = parts.label("", "soft", wrap=True)
        self.changes = parts.label("", wrap=True)
        self._use = parts.action_button(use, look="primary", text=_USE)
        self.found = parts.card(self.words, self.careful, heading="Result")
        self.limits = parts.card(
            self.limit,
            self.known,
            parts.row(self._use, None),
            self.changes,
            heading="The limit of this panel",
        )
        self.people = parts.card(self.own, heading="Each assessor")
        self.drawn = parts.card(self.chart, heading="Who felt it, by size")
        self.setLayout(parts.column(self.found, self.limits, self.drawn, self.people, None))

    def show_outcome(
        self, plan: PanelPlan, outcome: PanelOutcome, limit: PanelLimit | None, why: str
    ) -> None:
        """Show a result; ``why`` says why there is no limit."""
        self.words.setText(in_words("\n".join(outcome_sentences(plan, outcome))))
        self.careful.setText("\n".join(outcome.warnings))
        self.careful.setVisible(bool(outcome.warnings))
        chart = panel_chart(outcome)
        self.chart.show_chart(chart)
        self.drawn.setVisible(chart is not None)
        own = outcome.assessors or {}
        self.own.setText("\n".join(f"{name}: {words}" for name, words in own.items()))
        self.people.setVisible(bool(own))
        self.limit.setText(_LIMIT_WORDS if limit is not None else why)
        self.known.setText(limit.words if limit is not None else "")
        self.known.setVisible(limit is not None)
        parts.set_look(self.known, "warning" if limit is not None and limit.rough else "soft")
        self.changes.setVisible(False)

    def say_in_use(self, used: bool) -> None:
        """Say whether the verdict follows this panel already."""
        self._use.setText(_USED if used else _USE)

    def show_changes(self, changes: Sequence[VerdictChange]) -> None:
        """Say what the limit did to the verdicts."""
        lines = []
        for c in changes:
            turned = f"{c.before} before, {c.after} now" if c.before != c.after else f"{c.after}, as before"
            lines.append(f"{c.name}: {turned}")
        self.changes.setText("\n".join(lines))
        self.changes.setVisible(bool(lines))
