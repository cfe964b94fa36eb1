"""What the user says of a ruling, and a scale that is simply typed."""

import math

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QFormLayout, QFrame, QLineEdit, QVBoxLayout

from app import parts, theme
from app.stations.scale_draft import Ruling
from measure.errors import InvalidInput
from measure.model import Scale
from measure.scale import typed_scale


def number_needed(box: QLineEdit, name: str) -> float:
    """Read a number that must be there.

    Raises
    ------
    InvalidInput
        If it is no number, or missing.
    """
    value = number_typed(box, name)
    if value is None:
        raise InvalidInput(f"{name} is missing.")
    return value


def number_typed(box: QLineEdit, name: str) -> float | None:
    """Read a number as people type it, with a point or a comma; None where nothing is typed.

    Raises
    ------
    InvalidInput
        If it is no number.
    """
    text = box.text().strip().replace(",", ".").replace("\u202f", "").replace("\u2212", "-")
    if not text:
        return None
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise InvalidInput(f"{name}: “{box.text()}” is no number.")
    return value


def entry(name: str, tip: str, hint: str = "") -> QLineEdit:
    """Return a box for one number or name."""
    box = QLineEdit()
    box.setAccessibleName(name)
    box.setToolTip(tip)
    box.setPlaceholderText(hint)
    return box


class _Card(QFrame):
    """A card with a form and a line that says what is wrong with it."""

    def __init__(self, heading: str, why: str = "") -> None:
        super().__init__()
        self.setProperty("look", "card")
        self.setAccessibleName(heading)
        self.form = QFormLayout()
        self.form.setVerticalSpacing(theme.TIGHT)
        self.form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.AllNonFixedFieldsGrow)
        self.trouble = parts.label("", "warning", wrap=True)
        self.trouble.hide()
        self.column = QVBoxLayout(self)
        self.column.setContentsMargins(theme.MEDIUM, theme.SMALL, theme.MEDIUM, theme.SMALL)
        self.column.setSpacing(theme.SMALL)
        self.column.addWidget(parts.label(heading, "heading"))
        if why:
            self.column.addWidget(parts.label(why, "soft", wrap=True))
        self.column.addLayout(self.form)
        self.column.addWidget(self.trouble)

    def show_trouble(self, text: str) -> None:
        """Say what is wrong, or nothing."""
        self.trouble.setText(text)
        self.trouble.setVisible(bool(text))


class RulingForm(_Card):
    """Division, certificate and zoom name.

    Signals
    -------
    settled()
        Something was changed and can be read.
    """

    settled = Signal()

    def __init__(self) -> None:
        super().__init__("Ruling")
        self.division = entry("Division, µm", "Distance between neighbouring lines; often 10 µm", "10")
        self.certificate = entry(
            "Certificate, ± µm", "Expanded uncertainty of the ruling's length on its certificate", "none"
        )
        self.factor = entry(
            "Coverage factor k", "Stands beside the uncertainty on the certificate; usually 2", "2"
        )
        self.zoom = entry("Zoom", "Your name for this zoom setting, such as 10x; one scale for each", "10x")
        self.division.setText("10")
        self.factor.setText("2")
        for box, words in (
            (self.zoom, "Zoom"),
            (self.division, "Division, µm"),
            (self.certificate, "Certificate, ± µm"),
            (self.factor, "Coverage factor k"),
        ):
            self.form.addRow(words, box)
            box.editingFinished.connect(self._settle)
        self._last = self._texts()

    def ruling(self) -> Ruling:
        """Return what is typed.

        Raises
        ------
        InvalidInput
            If a number cannot be read.
        """
        return Ruling(
            number_needed(self.division, "Division"),
            number_typed(self.certificate, "Certificate"),
            number_typed(self.factor, "Coverage factor") or 2.0,
            self.zoom.text().strip(),
        )

    def show_scale(self, scale: Scale) -> None:
        """Begin with what was said of an earlier ruling."""
        for box, value in (
            (self.division, scale.division_um),
            (self.certificate, scale.certificate_um),
            (self.factor, scale.coverage_factor),
        ):
            box.setText("" if value is None else f"{value:g}")
        self.division.setText(self.division.text() or "10")
        self.factor.setText(self.factor.text() or "2")
        self._last = self._texts()

    def _texts(self) -> tuple[str, ...]:
        return tuple(box.text() for box in (self.division, self.certificate, self.factor, self.zoom))

    def _settle(self) -> None:
        if self._texts() == self._last:
            return
        self._last = self._texts()
        try:
            self.ruling()
        except InvalidInput as error:
            self.show_trouble(error.text)
            return
        self.show_trouble("")
        self.settled.emit()


class TypedForm(_Card):
    """A scale known from elsewhere, typed.

    Signals
    -------
    typed(Scale)
        Add was pressed on a usable number.
    """

    typed = Signal(object)

    def __init__(self) -> None:
        super().__init__(
            "Type a scale",
            "When it is known from elsewhere. A printed magnification is not a scale: it may be off by 5 %.",
        )
        self.value = entry("Micrometres per pixel", "Micrometres for one pixel of the picture", "0.25")
        self.spread = entry("Standard uncertainty", "Of the number above, in µm per pixel", "not known")
        self.zoom = entry("Zoom of the typed scale", "Your name for this zoom setting", "10x")
        self.form.addRow("Zoom", self.zoom)
        self.form.addRow("µm per pixel", self.value)
        self.form.addRow("± (standard)", self.spread)
        self.add = parts.button("Add this number", self._add, tip="Keep the typed scale in the study")
        self.column.addWidget(self.add)
        for box in (self.value, self.spread, self.zoom):
            box.returnPressed.connect(self._add)

    def _add(self) -> None:
        try:
            value = number_needed(self.value, "µm per pixel")
            spread = number_typed(self.spread, "Standard uncertainty") or 0.0
            scale = typed_scale(value, spread, self.zoom.text().strip())
        except InvalidInput as error:
            self.show_trouble(error.text)
            return
        self.show_trouble("")
        for box in (self.value, self.spread, self.zoom):
            box.clear()
        self.typed.emit(scale)
