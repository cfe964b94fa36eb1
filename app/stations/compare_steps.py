"""What grinding brought and should bring: the batches measured, and the next passes or minutes."""

import math

import numpy as np
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QAbstractItemView, QHeaderView, QTableWidget, QTableWidgetItem

from app import number_text, parts
from measure.judge.grind import GrindCurve

_ROWS = 12
_NICE = (1, 2, 3, 5, 10, 15, 20, 30, 60)  # minutes people set a clock to
_UNKNOWN = "not known"
_REACH = 1.0  # as much more as was ground already; beyond it nobody should believe a forecast


class NextSteps(QTableWidget):
    """One row a step."""

    def __init__(self) -> None:
        super().__init__(0, 3)
        parts.dress_rows(self, "What grinding brought, and should bring")
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        head = self.horizontalHeader()
        head.setSectionResizeMode(QHeaderView.ResizeMode.Stretch)
        head.setSectionResizeMode(0, QHeaderView.ResizeMode.ResizeToContents)
        self.setMinimumHeight(60)

    def show_curve(self, curve: GrindCurve, figure: str) -> bool:
        """Show the batches measured and what the curve says of the next steps; whether it says anything."""
        doses = next_doses(curve) if curve.promises else []
        self.setHorizontalHeaderLabels([curve.unit.capitalize(), figure, "95 %"])
        rows = [(f"{p.dose:g}, measured", p.value, p.low, p.high) for p in curve.points] if doses else []
        at = np.array(doses, dtype=float)
        if doses:
            triples = zip(doses, curve.values(at), *curve.band(at), strict=True)
            rows += [(f"{dose:g}", float(v), float(low), float(high)) for dose, v, low, high in triples]
        self.setRowCount(len(rows))
        for row, (name, value, low, high) in enumerate(rows):
            for column, text in enumerate((name, *_texts(value, low, high, curve.is_share))):
                item = QTableWidgetItem(text)
                side = Qt.AlignmentFlag.AlignLeft if column == 0 else Qt.AlignmentFlag.AlignRight
                item.setTextAlignment(side | Qt.AlignmentFlag.AlignVCenter)
                self.setItem(row, column, item)
        return bool(rows)

    def least_height(self) -> int:
        """Return the px it takes to show three of its rows."""
        return (
            self.horizontalHeader().sizeHint().height() + 3 * self.verticalHeader().defaultSectionSize() + 8
        )


def next_doses(curve: GrindCurve) -> list[float]:
    """Return the doses after the last one, in steps people grind in, as far as a forecast reaches."""
    last, step = curve.last_dose, 1.0
    if curve.unit == "minutes":
        step = float(next((n for n in _NICE if n * _ROWS >= _REACH * last), _NICE[-1]))
    first = math.floor(last / step + 1e-9) * step + step
    count = min(_ROWS, max(3, math.ceil(_REACH * last / step)))
    return [first + k * step for k in range(count)]


def _texts(value: float, low: float, high: float, is_share: bool) -> tuple[str, str]:
    known = math.isfinite(low) and math.isfinite(high)
    if is_share:
        ends = f"{number_text.percent(low)} to {number_text.percent(high)}" if known else _UNKNOWN
        return number_text.percent(value), ends
    words = number_text.interval(value, low, high)
    middle, _, rest = words.partition(" (")
    return middle.removesuffix(f"{number_text.THIN}{number_text.MICRO}"), rest.replace(")", "") or _UNKNOWN
