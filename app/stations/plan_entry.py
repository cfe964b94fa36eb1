"""A box for one number of a plan: its unit beside it, what stands for it while empty, its fault below."""

from dataclasses import dataclass

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QVBoxLayout, QWidget

from app import parts
from app.stations.scale_form import entry, number_typed
from measure.errors import InvalidInput

_WIDTH_IN_LINES = 7  # of text; a number is no longer


@dataclass(frozen=True)
class Asked:
    """A number that is asked for.

    Attributes
    ----------
    name : str
        What it is kept as, its unit in its name; shares are kept as shares.
    words, unit, tip : str
        As its reader sees it.
    low, high : float
        Smallest and largest that make sense, in the unit shown.
    usual : float or None
        What stands for it, in the unit shown, where the study knows nothing; None where it need not be told.
    per_cent : bool
        It is shown in per cent.
    whole : bool
        It is a whole number.
    empty : str
        What stands in the empty box where nothing else does.
    """

    name: str
    words: str
    unit: str
    tip: str
    low: float
    high: float
    usual: float | None = None
    per_cent: bool = False
    whole: bool = False
    empty: str = "not asked"


class NumberLine(QWidget):
    """The box.

    Signals
    -------
    kept()
        Another number was typed, or it was emptied; it may be at fault.
    """

    kept = Signal()

    def __init__(self, asked: Asked) -> None:
        super().__init__()
        self.asked = asked
        self.line = entry(asked.words, asked.tip)
        self.line.setAccessibleDescription(f"{asked.tip} {asked.unit}".strip())
        self.line.setMaximumWidth(_WIDTH_IN_LINES * self.fontMetrics().lineSpacing())
        self.fault = parts.label("", "error", wrap=True)
        self.fault.hide()
        self._last = ""
        self._kept: float | None = None
        self._offered: float | None = None
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(2)
        across = parts.row(self.line, parts.label(asked.unit, "soft"), None)
        across.setStretch(0, 1)
        column.addLayout(across)
        column.addWidget(self.fault)
        self.setFocusProxy(self.line)
        self.offer(None)
        self.line.editingFinished.connect(self._finished)

    def typed(self) -> float | None:
        """Return what is typed, a share where per cent are shown; None where nothing is, or at fault."""
        shown = self._read()
        return shown if shown is None or not self.asked.per_cent else shown / 100

    def to_keep(self) -> float | None:
        """Return what is to be kept: what is typed, and what was kept before where that is at fault."""
        return self._kept if self._fault() else self.typed()

    def value(self) -> float | None:
        """Return what is typed, else what stands for it."""
        typed = self.typed()
        return typed if typed is not None else self._offered

    def offer(self, value: float | None) -> None:
        """Say what stands for it while it is empty: what the study knows, else what is usual."""
        asked, factor = self.asked, 100 if self.asked.per_cent else 1
        if value is None and asked.usual is not None:
            value = asked.usual / factor
        self._offered = value
        self.line.setPlaceholderText(asked.empty if value is None else f"{float(f'{value * factor:.4g}'):g}")

    def show_value(self, value: float | None) -> None:
        """Show what is kept; what is being typed, or is at fault, stays."""
        if self.line.hasFocus() and self.line.text() != self._last:
            return
        before, self._kept = self._kept, value
        if self.at_fault and value == before:
            return
        factor = 100 if self.asked.per_cent else 1
        self._last = "" if value is None else f"{value * factor:.10g}"
        self.line.setText(self._last)
        self.say_fault(self._fault())

    @property
    def at_fault(self) -> bool:
        """Whether something is wrong with it; the words stand below it."""
        return bool(self.fault.text())

    def say_fault(self, text: str) -> None:
        """Say what is wrong, or nothing."""
        self.fault.setText(text)
        self.fault.setVisible(bool(text))

    def check(self) -> bool:
        """Say what is wrong with what is typed; return whether it is right."""
        self.say_fault(self._fault())
        return not self.at_fault

    def _finished(self) -> None:
        if self.line.text() != self._last:
            self._last = self.line.text()
            self.check()
            self.kept.emit()

    def _read(self) -> float | None:
        return None if self._fault() else number_typed(self.line, self.asked.words)

    def _fault(self) -> str:
        asked = self.asked
        try:
            value = number_typed(self.line, asked.words)
        except InvalidInput as error:
            return error.text
        if value is None:
            return ""
        if not asked.low <= value <= asked.high or (asked.whole and value != round(value)):
            of = f" {asked.unit}" if asked.unit else ""
            kind = "a whole number" if asked.whole else "a number"
            return f"{asked.words}: {kind} from {asked.low:g} to {asked.high:g}{of}."
        return ""
