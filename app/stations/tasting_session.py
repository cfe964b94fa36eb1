"""One session: its papers, its answers, and after closing its result."""

from collections.abc import Callable

from PySide6.QtCore import Qt
from PySide6.QtGui import QAction
from PySide6.QtWidgets import QSplitter, QWidget

from app import parts, theme
from app.stations.tasting_answers import AnswerTable
from app.stations.tasting_guide import SessionGuide
from app.stations.tasting_result import ResultPanel
from app.stations.tasting_teach import Beside
from app.stations.tasting_work import answers_of, session_words
from measure.errors import InvalidInput
from measure.judge.panel_session import METHODS, PanelPlan, missing_plates
from measure.judge.panel_session_result import evaluate
from measure.judge.panel_session_words import PanelLimit, panel_limit
from measure.study.records import Tasting

_BUTTONS = {
    "worksheets": "Worksheets…",
    "key": "Key…",
    "enter": "Enter answers",
    "close": "Close the session",
}


class SessionPage(QWidget):
    """Shows a session; what is typed is told by ``answers.typed``.

    Attributes
    ----------
    limit : PanelLimit or None
        Of the closed session in view.
    """

    def __init__(self, action: Callable[[str], QAction]) -> None:
        super().__init__()
        self.limit: PanelLimit | None = None
        self.head = parts.label("", "heading", wrap=True)
        self.state = parts.label("", "soft", wrap=True)
        self.task = parts.label("", "small", wrap=True)
        self.answers = AnswerTable()
        self.result = ResultPanel(action("tasting.use"))
        buttons = [
            parts.action_button(action(f"tasting.{name}"), text=text) for name, text in _BUTTONS.items()
        ]
        remove = parts.action_button(action("tasting.remove"), look="quiet", text="Remove")
        top = parts.card(self.head, self.state, parts.row(*buttons, None, remove), self.task)
        self.result_area = parts.scroll(self.result)
        both = QSplitter(Qt.Orientation.Horizontal)
        both.addWidget(self.answers)
        both.addWidget(self.result_area)
        both.setChildrenCollapsible(False)
        both.setStretchFactor(1, 1)
        both.setSizes([430, 500])
        self.result_area.setMinimumWidth(380)
        self.guide = SessionGuide()
        self.beside = Beside(both, self.guide, (1, 1))
        self.setLayout(parts.column(top, self.beside, margin=theme.SMALL))
        parts.box_of(self).setStretch(1, 1)

    def show_session(self, tasting: Tasting) -> None:
        """Show a session.

        Raises
        ------
        InvalidInput
            If its plan cannot be read.
        """
        self.limit = None
        plan = PanelPlan.from_json(tasting.plan)
        method = METHODS[plan.method]
        self.head.setText(
            f"{tasting.name}: {method.title[0].lower()}{method.title[1:]}" if tasting.name else method.title
        )
        self.task.setText(f"Answer: {method.answer}. Type it and press Return.")
        self.task.setVisible(not tasting.closed)
        self.answers.show_session(plan, answers_of(tasting), closed=tasting.closed)
        self.result_area.setVisible(tasting.closed)
        self.beside.want_side(not tasting.closed)
        self.show_state(tasting)
        if tasting.closed:
            self._show_result(tasting, plan)

    def show_state(self, tasting: Tasting) -> None:
        """Say how far the session is."""
        plan = PanelPlan.from_json(tasting.plan)
        words = f"{METHODS[plan.method].standard}; {len(plan.assessors)} assessors, {session_words(tasting)}."
        if not tasting.closed:
            all_in = not missing_plates(plan, answers_of(tasting))
            words += " All answers are in; close the session." if all_in else " Blind: the key stays hidden."
        self.state.setText(words)
        self.guide.show_answers(plan, answers_of(tasting))

    def _show_result(self, tasting: Tasting, plan: PanelPlan) -> None:
        try:
            outcome = evaluate(plan, answers_of(tasting), closed=True)
        except InvalidInput as error:
            self.result_area.setVisible(False)
            self.state.setText(error.text)
            return
        why = ""
        try:
            self.limit = panel_limit(plan, outcome, name=tasting.name, made=tasting.made)
        except InvalidInput as error:
            why = error.text
        self.result.show_outcome(plan, outcome, self.limit, why)
