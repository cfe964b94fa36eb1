"""Boxes one types or steps a number in; all are made here, so that all look alike.

They show a decimal point, as every figure of the window does, and take a comma for one. Left to the system, a
typed 30,5 was read as 305 where a comma marks thousands, and 30.5 as 305 or not at all where a point does.
"""

from PySide6.QtCore import QLocale
from PySide6.QtGui import QValidator
from PySide6.QtWidgets import QAbstractSpinBox, QDoubleSpinBox, QSpinBox

from app import theme


class WholeBox(QSpinBox):
    """A whole number."""

    def __init__(self) -> None:
        super().__init__()
        self.setLocale(_plain_numbers())
        _keep_clear_of_border(self)


class NumberBox(QDoubleSpinBox):
    """A number with decimals."""

    def __init__(self) -> None:
        super().__init__()
        self.setLocale(_plain_numbers())
        _keep_clear_of_border(self)

    def validate(self, text: str, place: int) -> tuple[QValidator.State, str, int]:
        """Qt: take a comma for a decimal point as it is typed."""
        state, _, _ = super().validate(text.replace(",", "."), place)
        return state, text.replace(",", "."), place


def _plain_numbers() -> QLocale:
    """Return how all boxes write and read numbers: a point, and no mark of thousands either way."""
    plain = QLocale.c()
    plain.setNumberOptions(
        QLocale.NumberOption.OmitGroupSeparator | QLocale.NumberOption.RejectGroupSeparator
    )
    return plain


def _keep_clear_of_border(box: QAbstractSpinBox) -> None:
    # the style sheet's padding does not reach the line inside a box with arrows
    box.lineEdit().setTextMargins(theme.TIGHT + 2, 0, theme.TIGHT, 0)
