"""The result card of the Scale station, and the card for lines marked by hand."""

from PySide6.QtCore import Signal
from PySide6.QtGui import QAction
from PySide6.QtWidgets import QFrame, QLineEdit, QVBoxLayout

from app import help_words, number_text, parts, scale_words, theme
from app.stations.scale_draft import Draft
from app.stations.scale_form import entry, number_typed
from measure.errors import InvalidInput
from measure.model import Scale
from measure.scale import RulingFit
from measure.scale.cross_check import label_um


class ResultCard(QFrame):
    """Micrometres per pixel with its uncertainty, in words."""

    def __init__(self) -> None:
        super().__init__()
        self.setProperty("look", "card")
        self.setAccessibleName("Result")
        self.figure = parts.label("", "heading", wrap=True)
        self.words = parts.label("", "soft", wrap=True)
        self.doubts = parts.label("", "warning", wrap=True)
        column = QVBoxLayout(self)
        column.setContentsMargins(theme.MEDIUM, theme.SMALL, theme.MEDIUM, theme.SMALL)
        column.setSpacing(theme.TIGHT)
        parts.fill(column, (parts.label("Result", "soft"), self.figure, self.words, self.doubts))
        self.figure.setToolTip(f"{help_words.tip('um_per_px')}\n\n{help_words.tip('scale_uncertainty')}")

    def show_fit(self, fit: RulingFit | None, trouble: str = "", claim: str = "", hint: str = "") -> None:
        """Show a fit; without one, say why there is none and what else can be done."""
        self.setVisible(fit is not None or bool(trouble or hint))
        if fit is None:
            self._say("", hint, trouble)
            return
        scale = fit.scale
        lines = [
            "In about 95 of 100 cases the true value lies within the ±, which is twice the "
            f"{scale_words.uncertainty_text(fit)}.",
            f"{scale_words.graduations_text(fit)}.",
            scale_words.effect_text(scale),
        ]
        lines += [text for text in (scale_words.unsure_text(scale), claim) if text]
        self._say(scale_words.result_text(fit), "\n".join(lines), "\n".join(fit.warnings))

    def show_scale(self, scale: Scale | None) -> None:
        """Show a scale whose lines are not known."""
        self.setVisible(scale is not None)
        if scale is None:
            return
        u = scale.standard_uncertainty_um_per_px
        words = scale_words.effect_text(scale) if u else "Its uncertainty is not known."
        how = {"typed": "Typed.", "by hand": "Lines marked by hand.", "ruling": "From a ruling."}
        text = f"{how.get(scale.method, '')} {words}".strip()
        self._say(scale_words.scale_text(scale.um_per_px, u), text, "\n".join(scale.notes))

    def _say(self, figure: str, words: str, doubts: str) -> None:
        for label, text in ((self.figure, figure), (self.words, words), (self.doubts, doubts)):
            label.setText(text)
            label.setVisible(bool(text))


class MarkedCard(QFrame):
    """Lines marked by hand: how many, and the length from the first to the last.

    Signals
    -------
    length_typed(object)
        A length in µm, or None for as many divisions as there are.
    """

    length_typed = Signal(object)

    def __init__(self, back: QAction, clear: QAction) -> None:
        super().__init__()
        self.setProperty("look", "card")
        self.setAccessibleName("Marked by hand")
        self.count = parts.label("", wrap=True)
        self.length = entry(
            "Length from first to last, µm", "Length on the ruling from the first line marked to the last"
        )
        self.trouble = parts.label("", "warning", wrap=True)
        self.trouble.hide()
        column = QVBoxLayout(self)
        column.setContentsMargins(theme.MEDIUM, theme.SMALL, theme.MEDIUM, theme.SMALL)
        column.setSpacing(theme.SMALL)
        buttons = parts.row(
            parts.action_button(back, icon="undo", text="Take one back"),
            parts.action_button(clear, icon="close", text="Clear"),
            None,
        )
        first = parts.label("From first to last, µm")
        first.setBuddy(self.length)
        parts.fill(
            column,
            (
                parts.label("Marked by hand", "heading"),
                self.count,
                parts.row(first, self.length),
                self.trouble,
                buttons,
            ),
        )
        self.length.editingFinished.connect(self._typed)
        self._shown = ""

    def show_draft(self, draft: Draft | None, division_um: float) -> None:
        """Show how many lines are marked."""
        self.setVisible(draft is not None and draft.by_hand)
        if draft is None or not draft.by_hand:
            return
        count, gaps = len(draft.points_px), draft.gaps()
        text = f"{number_text.count(count, 'line')} marked"
        if count < 2:
            text += ". Mark another one, far away."
        elif gaps:
            divisions = number_text.count(gaps, "division")
            text += f", taken as {divisions}. If lines between were left out, correct the length."
        else:
            text += ". Type the length between them, as the ruling or the bar says."
        self.count.setText(text)
        length = draft.length_um if draft.length_um is not None else gaps * division_um
        self._shown = f"{length:g}" if length else ""
        self.length.setText(self._shown)
        self.length.setEnabled(count >= 2)

    def _typed(self) -> None:
        if self.length.text() == self._shown:
            return
        try:
            value = _length_typed(self.length)
        except InvalidInput as error:
            self.trouble.setText(error.text)
            self.trouble.show()
            return
        self.trouble.hide()
        self.length_typed.emit(value)


def _length_typed(box: QLineEdit) -> float | None:
    """Read a length as people type it: a number of micrometres, or with the unit a bar names."""
    try:
        return number_typed(box, "The length")
    except InvalidInput:
        length, has_unit = label_um(box.text())
        if not has_unit:
            raise
        return length
