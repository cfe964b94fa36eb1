"""The table into which answers are typed, plate by plate, without anything of the key."""

from collections.abc import Mapping

from PySide6.QtCore import Qt, QTimer, Signal
from PySide6.QtWidgets import (
    QAbstractItemDelegate,
    QAbstractItemView,
    QHeaderView,
    QTableWidget,
    QTableWidgetItem,
    QWidget,
)

from measure.judge.panel_session import PanelPlan, answer_text, missing_plates

_ANSWER = 3


class AnswerTable(QTableWidget):
    """Codes of every plate and the answer to it; Return goes on to the next plate.

    Signals
    -------
    typed(int, str)
        Plate and the text typed for it.
    """

    typed = Signal(int, str)

    def __init__(self) -> None:
        super().__init__(0, 4)
        self._stay = False
        self.verticalHeader().setVisible(False)
        self.verticalHeader().setDefaultSectionSize(28)
        self.setAccessibleName("Answers")
        self.setToolTip("Type the answer of each plate and press Return")
        self.setTabKeyNavigation(False)
        self.setShowGrid(False)
        self.setWordWrap(False)
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        trigger = QAbstractItemView.EditTrigger
        self.setEditTriggers(trigger.AnyKeyPressed | trigger.DoubleClicked | trigger.SelectedClicked)
        head = self.horizontalHeader()
        head.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        head.setSectionResizeMode(_ANSWER, QHeaderView.ResizeMode.Stretch)
        self.itemChanged.connect(self._changed)

    def show_session(self, plan: PanelPlan, answers: Mapping[str, object], *, closed: bool) -> None:
        """Show the plates; a closed session takes no more answers."""
        row = "Row" if plan.method == "series" else "Round"
        heads = ["Assessor", row, "Codes, left to right", "Answer"]
        self.blockSignals(True)
        self.setHorizontalHeaderLabels(heads)
        if self.rowCount() != len(plan.servings):
            self.setRowCount(len(plan.servings))
        seen: dict[str, int] = {}
        for place, serving in enumerate(plan.servings):
            seen[serving.assessor] = seen.get(serving.assessor, 0) + 1
            number = seen[serving.assessor] if plan.method == "series" else serving.round
            for column, text in enumerate((serving.assessor, str(number), "  ".join(serving.codes))):
                self.setItem(place, column, _fixed(text))
            text = answer_text(plan, answers, place)
            item = QTableWidgetItem(_marked(text, serving.answer) if closed else text)
            if closed:
                item.setFlags(item.flags() & ~Qt.ItemFlag.ItemIsEditable)
                pairs = zip(serving.codes, serving.samples, strict=True)
                tip = [f"{code}: {name}" for code, name in pairs]
                item.setToolTip("\n".join([*tip, f"right: {serving.answer}"] if serving.answer else tip))
            self.setItem(place, _ANSWER, item)
        self.blockSignals(False)

    def begin(self, plan: PanelPlan, answers: Mapping[str, object]) -> None:
        """Go to the first plate without an answer and wait for typing."""
        missing = missing_plates(plan, answers)
        self.setFocus()
        if missing:
            self._edit(missing[0])

    def finish(self) -> None:
        """Take over what is being typed, and stop typing."""
        self.setCurrentCell(-1, -1)

    def refuse(self, plate: int, text: str) -> None:
        """Put back what stood there and stay on the plate whose answer was not accepted."""
        self._stay = True
        self.blockSignals(True)
        item = self.item(plate, _ANSWER)
        if item is not None:
            item.setText(text)
        self.blockSignals(False)

    def closeEditor(self, editor: QWidget, hint: QAbstractItemDelegate.EndEditHint) -> None:  # noqa: N802
        """Qt: go on after Return."""
        super().closeEditor(editor, hint)
        stay, self._stay = self._stay, False
        if hint == QAbstractItemDelegate.EndEditHint.SubmitModelCache:
            row = self.currentRow() if stay else self.currentRow() + 1
            if row < self.rowCount():
                # the editor that closes must be gone before another opens
                QTimer.singleShot(0, lambda: self._edit(row))

    def _edit(self, row: int) -> None:
        item = self.item(row, _ANSWER)
        if item is None or not item.flags() & Qt.ItemFlag.ItemIsEditable:
            return
        self.setCurrentCell(row, _ANSWER)
        self.editItem(item)

    def _changed(self, item: QTableWidgetItem) -> None:
        if item.column() == _ANSWER:
            self.typed.emit(item.row(), item.text())


def _fixed(text: str) -> QTableWidgetItem:
    item = QTableWidgetItem(text)
    item.setFlags(Qt.ItemFlag.ItemIsEnabled)
    return item


def _marked(answer: str, right: str) -> str:
    """Return an answer with whether it was right, where there is a right one."""
    if not right:
        return answer
    if not answer:
        return "no answer"
    return f"{answer}  right" if answer == right else f"{answer}  missed"
