"""What a plan of the count is asked with: cards of boxes at the side of the Fields station."""

from PySide6.QtCore import QSignalBlocker, Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QComboBox, QVBoxLayout, QWidget

from app import number_text, parts, theme
from app.stations import plan_asked
from app.stations.plan_entry import NumberLine
from app.stations.plan_known import Expected, Known, KnownScale, frame_words
from measure.errors import InvalidInput
from measure.sizes.composition import Paste, paste_of
from measure.sizes.plan import PASTE_G_PER_CM3, PlanRequest, figure_words
from measure.sizes.plan_rare import SALT_G_PER_CM3
from measure.sizes.plan_whole import USUAL_SOLIDS, Wishes

FIGURES = (
    "volume.x50_um", "volume.x90_um", "volume.x10_um", "number.x50_um", "number.x90_um", "number.x10_um",
    "means_um.D[4,3]", "means_um.D[3,2]", "means_um.D[1,0]",
)  # fmt: skip
NO_BATCH, NO_SCALE = -1, -1
_NEEDS = (
    ("magnification", "na", "Tells nothing without the aperture above."),
    ("camera_px_um", "magnification", "Tells nothing without aperture and magnification."),
    ("grains_share", "grains_um", "Give their largest size below, too."),
    ("grains_um", "grains_share", "Give their share of the mass above, too."),
    ("grain_g_per_cm3", "grains_share", "Tells nothing without coarse grains."),
)


class PlanForm(QWidget):
    """Boxes, and choices of what the study knows.

    Signals
    -------
    kept()
        Something was typed or chosen.
    left()
        The user wants to go back (Esc).
    """

    kept = Signal()
    left = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.boxes = {asked.name: NumberLine(asked) for asked in plan_asked.ALL}
        self.like, self.figure = QComboBox(), QComboBox()
        self.scale, self.solids_from = QComboBox(), QComboBox()
        self.like_words = parts.label("", "soft", wrap=True)
        self.label_words = parts.label("", "soft", wrap=True)
        self._known = Known()
        self._expected: Expected | None = None
        for figure in FIGURES:
            self.figure.addItem(figure_words(figure), figure)
        self.solids_from.addItem("share of the volume", "share")
        self.solids_from.addItem("the label of the paste", "label")
        self._lay_out()
        for box in self.boxes.values():
            box.kept.connect(self.kept)
        for choice in (self.like, self.figure, self.scale, self.solids_from):
            choice.activated.connect(lambda _i: self.kept.emit())

    def _lay_out(self) -> None:
        self._label = parts.form(*self._rows(plan_asked.LABEL))
        self._label_part = QWidget()
        inner = QVBoxLayout(self._label_part)
        inner.setContentsMargins(0, 0, 0, 0)
        inner.addLayout(self._label)
        inner.addWidget(self.label_words)
        solids = self._rows((plan_asked.SOLIDS,))
        self.solids_form = parts.form(
            ("Solids from", self.solids_from, "A share you know, or the grams on the label of the paste"),
            *solids,
        )
        cards = (
            parts.card(
                parts.form(("Like", self.like, "A batch already measured, whose sizes you expect again")),
                parts.form(*self._rows(plan_asked.EXPECTED)),
                self.like_words,
                heading="Sizes expected",
            ),
            parts.card(
                parts.form(
                    ("Figure", self.figure, "The figure you want to know"), *self._rows(plan_asked.WANTED)
                ),
                heading="What you want to know",
            ),
            parts.card(
                parts.form(
                    (
                        "Scale",
                        self.scale,
                        "Of the zoom you will photograph at; it tells how large a field is",
                    ),
                    *self._rows(plan_asked.SLIDE),
                ),
                heading="Slide and field",
            ),
            parts.card(self.solids_form, self._label_part, heading="Paste"),
            parts.card(parts.form(*self._rows(plan_asked.OPTICS)), heading="Objective, if you like"),
            parts.card(parts.form(*self._rows(plan_asked.RARE)), heading="Coarse or rare, if you like"),
        )
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(theme.SMALL)
        parts.fill(column, cards)

    def _rows(self, asked: tuple) -> list[tuple[str, QWidget, str]]:
        return [(one.words, self.boxes[one.name], one.tip) for one in asked]

    def begin(self) -> None:
        """Put the cursor where a newcomer has something to type."""
        self.boxes["median_um"].setFocus()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Qt: go back on Esc; in a box the letter of the action is text."""
        if event.key() == Qt.Key.Key_Escape:
            self.left.emit()
        else:
            super().keyPressEvent(event)

    # showing ------------------------------------------------------------------------------------------------

    def show_kept(self, kept: dict, known: Known, writable: bool) -> None:
        """Show what is kept of the plan, beside what the study knows."""
        self._known = known
        self._fill(self.like, [(name, batch_id) for batch_id, name in known.batches], "no batch", NO_BATCH)
        self._choose(self.like, kept.get("batch"))
        self.like.setEnabled(bool(known.batches))
        self._fill(self.scale, [(_zoom(one), one.scale_id) for one in known.scales], "no scale", NO_SCALE)
        self._choose(self.scale, kept.get("scale"))
        self.scale.setEnabled(bool(known.scales))
        self._choose(self.figure, kept.get("figure"))
        self._choose(self.solids_from, kept.get("solids_from"))
        numbers = kept.get("numbers")
        numbers = numbers if isinstance(numbers, dict) else {}
        for name, box in self.boxes.items():
            value = numbers.get(name)
            box.show_value(float(value) if isinstance(value, int | float) else None)
            box.line.setReadOnly(not writable)
        self._offer_scale()
        self._suit()

    def show_expected(self, expected: Expected | None) -> None:
        """Show what the batch chosen lets expect."""
        self._expected = expected if expected is not None and expected.usable else None
        use = self._expected
        self.boxes["median_um"].offer(use.median_um if use else None)
        self.boxes["sigma_g"].offer(use.sigma_g if use else None)
        self.like_words.setText(_like_words(expected))

    def _offer_scale(self) -> None:
        scale = self.chosen_scale()
        size = scale.frame_um if scale is not None else None
        self.boxes["field_width_um"].offer(size[0] if size else None)
        self.boxes["field_height_um"].offer(size[1] if size else None)
        self.boxes["smallest_um"].offer(scale.smallest_um if scale else None)
        self.boxes["na"].offer(scale.na if scale else None)
        self.boxes["film_um"].offer(self._known.film_um)

    def _suit(self) -> None:
        by_label = self.solids_from.currentData() == "label"
        self._label_part.setVisible(by_label)
        self.solids_form.setRowVisible(self.boxes["solids"], not by_label)

    @staticmethod
    def _fill(box: QComboBox, items: list[tuple[str, int]], none: str, none_data: int) -> None:
        with QSignalBlocker(box):
            box.clear()
            for words, data in items:
                box.addItem(words, data)
            box.addItem(none, none_data)

    @staticmethod
    def _choose(box: QComboBox, data: object) -> None:
        with QSignalBlocker(box):
            box.setCurrentIndex(max(0, box.findData(data)) if data is not None else 0)

    # reading ------------------------------------------------------------------------------------------------

    def batch_id(self) -> int | None:
        """Return the batch whose sizes are expected; None for none."""
        data = self.like.currentData()
        return None if data in (None, NO_BATCH) else int(data)

    def chosen_scale(self) -> KnownScale | None:
        """Return the scale of the zoom planned for; None for none."""
        wanted = self.scale.currentData()
        return next((one for one in self._known.scales if one.scale_id == wanted), None)

    def as_kept(self) -> dict:
        """Return what is to be kept: what was typed and chosen, and nothing the study knows by itself."""
        typed = {name: box.to_keep() for name, box in self.boxes.items()}
        return {
            "batch": self.like.currentData() if self._known.batches else None,
            "scale": self.scale.currentData() if self._known.scales else None,
            "figure": self.figure.currentData(),
            "solids_from": self.solids_from.currentData(),
            "numbers": {name: value for name, value in typed.items() if value is not None},
        }

    def value(self, name: str) -> float | None:
        """Return a number as it stands: typed, known or usual."""
        return self.boxes[name].value()

    def wishes(self) -> Wishes | None:
        """Return what is to be planned; None where something is at fault, which then stands beside it."""
        self._suit()
        right = [box.check() for box in self.boxes.values()]
        right += [self._check_pair(*needs) for needs in _NEEDS]
        paste = self._paste()
        by_label = self.solids_from.currentData() == "label"
        if not all(right) or (by_label and paste is None):
            return None
        grains = (self.value("grains_share"), self.value("grains_um"))
        use = self._expected
        typed_median = self.boxes["median_um"].typed()
        typed_spread = self.boxes["sigma_g"].typed()
        limited = use is not None and use.limited and (typed_median is None or typed_spread is None)
        return Wishes(
            self._request(paste),
            paste,
            self.value("smallest_um"),
            self.value("na"),
            self.value("magnification"),
            self.value("camera_px_um"),
            self.value("rare_share"),
            self.value("above_um"),
            None if grains[0] is None or grains[1] is None else (grains[0], grains[1]),
            self.value("grain_g_per_cm3") or SALT_G_PER_CM3,
            _limits(typed_median, use.median_limits_um) if use and limited else None,
            _limits(typed_spread, use.sigma_g_limits) if use and limited else None,
        )

    def faults(self) -> list[str]:
        """Return what is at fault, each in a sentence."""
        found = [
            box.fault.text()
            if box.asked.words in box.fault.text()
            else f"{box.asked.words}: {box.fault.text()}"
            for box in self.boxes.values()
            if box.at_fault
        ]
        by_label = self.solids_from.currentData() == "label"
        return [*found, self.label_words.text()] if by_label and self._paste() is None else found

    def _request(self, paste: Paste | None) -> PlanRequest:
        values = {name: box.value() or 0.0 for name, box in self.boxes.items()}
        return PlanRequest(
            median_um=values["median_um"],
            sigma_g=values["sigma_g"],
            relative_error=values["relative_error"],
            figure=self.figure.currentData(),
            cover=values["cover"],
            film_um=values["film_um"],
            solids=(values["solids"] or USUAL_SOLIDS) if paste is None else paste.solids,
            frame_um=(values["field_width_um"], values["field_height_um"]),
            variation=values["variation"],
            paste_g_per_cm3=PASTE_G_PER_CM3 if paste is None else paste.g_per_cm3,
        )

    def _check_pair(self, name: str, other: str, words: str) -> bool:
        box = self.boxes[name]
        if box.typed() is None or self.boxes[other].value() is not None or self.boxes[other].at_fault:
            return True
        box.say_fault(words)
        return False

    def _paste(self) -> Paste | None:
        """Return the paste by its label; None where it is not asked for, or cannot be."""
        if self.solids_from.currentData() != "label":
            return None
        grams = {one.name: self.boxes[one.name].typed() for one in plan_asked.LABEL}
        given = {name: value for name, value in grams.items() if value is not None}
        try:
            paste = paste_of(given)
        except InvalidInput as error:
            parts.set_look(self.label_words, "error" if given else "soft")
            self.label_words.setText(
                error.text if given else "Type what the label says, in g of each in 100 g."
            )
            return None
        parts.set_look(self.label_words, "soft")
        self.label_words.setText(f"{number_text.percent(paste.solids)} of the volume is solids.")
        return paste


def _limits(typed: float | None, known: tuple[float, float]) -> tuple[float, float]:
    return known if typed is None else (typed, typed)


def _zoom(scale: KnownScale) -> str:
    zoom = scale.zoom or "no zoom name"
    if scale.frame_um is None:
        return zoom
    return f"{zoom}, {frame_words(scale.frame_um)}"


def _like_words(expected: Expected | None) -> str:
    if expected is None:
        return "A guess, until a batch is measured: change it to what you know of your paste."
    if not expected.usable:
        pieces = number_text.count(expected.pieces, "piece")
        return f"{expected.name} has {pieces}, too few to expect anything from; these are guesses."
    median = number_text.interval(expected.median_um, *expected.median_limits_um)
    spread = number_text.interval(expected.sigma_g, *expected.sigma_g_limits, unit="")
    pieces = number_text.count(expected.pieces, "piece")
    limit = f" from {number_text.quantity(expected.smallest_um)} on" if expected.smallest_um > 0 else ""
    return f"{expected.name}: median {median}, spread {spread}; {pieces}{limit}."
