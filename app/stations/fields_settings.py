"""How fields are measured: smallest size, sensitivity and cutting, each with a word on what it does."""

from PySide6.QtCore import QSignalBlocker, Qt, QTimer, Signal
from PySide6.QtWidgets import QFrame, QSlider, QVBoxLayout, QWidget

from app import number_text, parts, theme
from app.number_boxes import NumberBox
from measure.model import FieldSettings

# a hand that moves a slider gets a preview this long after it pauses
PAUSE_MS = 120
_STEPS = 100


class SettingsForm(QFrame):
    """The three settings.

    Signals
    -------
    trying(FieldSettings)
        The settings are being moved; show what they would find.
    settled(FieldSettings)
        The settings were let go; keep them.
    """

    trying = Signal(object)
    settled = Signal(object)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setProperty("look", "card")
        self.smallest = NumberBox()
        self.smallest.setRange(0.0, 1000.0)
        self.smallest.setDecimals(1)
        self.smallest.setSingleStep(0.5)
        self.smallest.setSuffix(f"{number_text.THIN}{number_text.MICRO}")
        self.smallest.setSpecialValueText("as the picture allows")
        self.smallest.setKeyboardTracking(False)
        self.sensitivity, self.cutting = _slider(), _slider()
        self.note = parts.label("", "soft", wrap=True)
        self._lay_out()
        self._pause = QTimer(self)
        self._pause.setSingleShot(True)
        self._pause.setInterval(PAUSE_MS)
        self._pause.timeout.connect(lambda: self.trying.emit(self.settings()))
        self._settle = QTimer(self)
        self._settle.setSingleShot(True)
        self._settle.setInterval(4 * PAUSE_MS)
        self._settle.timeout.connect(lambda: self.settled.emit(self.settings()))
        for widget in (self.smallest, self.sensitivity, self.cutting):
            widget.valueChanged.connect(self._moved)

    def _lay_out(self) -> None:
        column = QVBoxLayout(self)
        column.setContentsMargins(theme.MEDIUM, theme.SMALL, theme.MEDIUM, theme.SMALL)
        column.setSpacing(theme.SMALL)
        form = parts.form(
            (
                "Smallest size",
                self.smallest,
                "Pieces below this area-equivalent diameter are not counted. Left at the bottom it is "
                "10 pixels across, about the least whose size can be told.",
            ),
            (
                "Sensitivity",
                self.sensitivity,
                "How faint a piece may be and still be found. Raise it when pale pieces are missed, lower it "
                "when haze is outlined.",
            ),
            (
                "Cutting",
                self.cutting,
                "How shallow a neck between touching pieces is still cut. Raise it when clusters stay whole, "
                "lower it when single pieces fall apart; at the bottom nothing is cut.",
            ),
        )
        self.heading = parts.label("How it is measured", "heading")
        self.head = parts.row(self.heading, None)
        parts.fill(column, (self.head, form, self.note))

    def settings(self) -> FieldSettings:
        """Return the settings as they stand."""
        smallest = self.smallest.value()
        return FieldSettings(
            smallest_um=smallest if smallest > 0 else None,
            sensitivity=self.sensitivity.value() / _STEPS,
            cut_strength=self.cutting.value() / _STEPS,
        )

    def show_settings(self, settings: FieldSettings) -> None:
        """Show settings without telling anyone."""
        with QSignalBlocker(self.smallest):
            self.smallest.setValue(settings.smallest_um or 0.0)
        for slider, share in (
            (self.sensitivity, settings.sensitivity),
            (self.cutting, settings.cut_strength),
        ):
            with QSignalBlocker(slider):
                slider.setValue(round(share * _STEPS))

    def _moved(self) -> None:
        self._pause.start()
        self._settle.start()


def _slider() -> QSlider:
    made = QSlider(Qt.Orientation.Horizontal)
    made.setRange(0, _STEPS)
    made.setSingleStep(2)
    made.setPageStep(10)
    made.setValue(_STEPS // 2)
    return made
