"""Boxes one types or steps a number in; all are made here, so that all look alike."""

from PySide6.QtWidgets import QAbstractSpinBox, QDoubleSpinBox, QSpinBox

from app import theme


class WholeBox(QSpinBox):
    """A whole number."""

    def __init__(self) -> None:
        super().__init__()
        _keep_clear_of_border(self)


class NumberBox(QDoubleSpinBox):
    """A number with decimals."""

    def __init__(self) -> None:
        super().__init__()
        _keep_clear_of_border(self)


def _keep_clear_of_border(box: QAbstractSpinBox) -> None:
    # the style sheet's padding does not reach the line inside a box with arrows
    box.lineEdit().setTextMargins(theme.TIGHT + 2, 0, theme.TIGHT, 0)
