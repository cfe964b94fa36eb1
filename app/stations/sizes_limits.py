"""The page of limits: felt profile, specification and how volumes are made; all kept in the study."""

from collections.abc import Callable

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QGridLayout, QLabel, QWidget

from app import number_text, parts, theme
from app.number_boxes import NumberBox
from app.stations.sizes_work import Answer
from measure.errors import InvalidInput
from measure.judge.felt import FeltProfile
from measure.judge.specification import PIECES_ABOVE, Clause, Specification
from measure.model import KINDS, Kind
from measure.sizes.volume import DEFAULT_FLAKE_UM, VolumeModels

_CAUTION = (
    "A verdict is about what a tongue may feel, nothing else: a fine grind says nothing about whether a food "
    "is safe to eat. Your food-safety plan and the rules where you are decide that."
)


class LimitsPage(QWidget):
    """Editors for what sizes are judged by.

    Signals
    -------
    profile_edited(FeltProfile), specification_edited(Specification), models_edited(VolumeModels)
        Something was changed by hand.
    """

    profile_edited = Signal(object)
    specification_edited = Signal(object)
    models_edited = Signal(object)

    def __init__(self, tell: Callable[[str], None]) -> None:
        super().__init__()
        self._tell = tell
        self._profile, self._models = FeltProfile(), VolumeModels()
        self.ramps: dict[Kind, tuple[NumberBox, NumberBox]] = {}
        self.not_felt, self.felt = _spin(0.1, 90.0, " %", 1), _spin(0.2, 99.0, " %", 1)
        self.x90, self.coarse = (
            _spin(0.0, 2000.0, " µm", 0, none="none"),
            _spin(0.0, 5000.0, " µm", 0, none="none"),
        )
        self.flake = _spin(1.0, 200.0, " µm", 1)
        self.sources = parts.label("", "small", wrap=True)
        self.outcome = parts.label("", wrap=True)
        self._lay_out()
        self.show_profile(self._profile)

    def _lay_out(self) -> None:
        reset = parts.button(
            "Back to the published profile", lambda: self.profile_edited.emit(FeltProfile()), look="quiet"
        )
        felt = parts.card(self._ramp_grid(), self.sources, reset, heading="What size is felt")
        spec = QGridLayout()
        _line(
            spec,
            0,
            "x₉₀ by volume at most",
            self.x90,
            "Largest x90 by volume the batch may have; 0 for no limit",
        )
        _line(
            spec, 1, "no piece per gram above", self.coarse, "Fewer than one piece per gram above this size"
        )
        self.x90.editingFinished.connect(self._specification_edited)
        self.coarse.editingFinished.connect(self._specification_edited)
        limits = parts.card(spec, self.outcome, heading="Your specification")
        volumes = QGridLayout()
        _line(volumes, 0, "thickness of skins", self.flake, "Skins count as flakes of this thickness")
        self.flake.editingFinished.connect(self._models_edited)
        self.model_words = parts.label("", "small", wrap=True)
        how = parts.card(volumes, self.model_words, heading="How volumes are made")
        caution = parts.label(_CAUTION, "small", wrap=True)
        self.setLayout(parts.column(felt, limits, how, caution, None))

    def _ramp_grid(self) -> QGridLayout:
        grid = QGridLayout()
        for column, words in enumerate(("", "nobody up to", "all from")):
            grid.addWidget(parts.label(words, "small"), 0, column)
        for row, kind in enumerate(KINDS, start=1):
            look = theme.KIND_STYLE[kind]
            grid.addWidget(parts.label(f"{look.letter}  {look.word}"), row, 0)
            pair = _spin(1.0, 2000.0, " µm", 0), _spin(2.0, 5000.0, " µm", 0)
            for column, (box, words) in enumerate(
                zip(pair, ("nobody up to", "all from"), strict=True), start=1
            ):
                box.setAccessibleName(f"{look.word}: {words}")
                box.editingFinished.connect(lambda kind=kind: self._ramp_edited(kind))
                grid.addWidget(box, row, column)
            self.ramps[kind] = pair
        row = len(KINDS) + 1
        grid.addWidget(parts.label("felt share"), row, 0)
        for column, (box, words) in enumerate(
            ((self.not_felt, "not felt up to"), (self.felt, "felt from")), start=1
        ):
            box.setAccessibleName(f"felt share: {words}")
            box.setToolTip(f"Share of the volume: {words}")
            box.editingFinished.connect(self._shares_edited)
            grid.addWidget(box, row, column)
        return grid

    def show_profile(self, profile: FeltProfile) -> None:
        """Show a felt profile."""
        self._profile = profile
        for kind, (none_um, all_um) in self.ramps.items():
            _set(none_um, profile[kind].none_um)
            _set(all_um, profile[kind].all_um)
        _set(self.not_felt, 100 * profile.not_felt_share)
        _set(self.felt, 100 * profile.felt_share)
        self.sources.setText("\n".join(profile.describe()))

    def show_specification(self, specification: Specification) -> None:
        """Show a specification."""
        found = {clause.figure: clause for clause in specification.clauses}
        _set(self.x90, found["volume.x90_um"].at_most if "volume.x90_um" in found else 0.0)
        _set(self.coarse, found[PIECES_ABOVE].size_um or 0.0 if PIECES_ABOVE in found else 0.0)

    def show_models(self, models: VolumeModels) -> None:
        """Show the volume models."""
        self._models = models
        _set(self.flake, models[Kind.SKIN].thickness_um or DEFAULT_FLAKE_UM)
        self.model_words.setText("\n".join(models.describe()))

    def show_answer(self, answer: Answer) -> None:
        """Show how the specification fares."""
        if not answer.clauses:
            self.outcome.setText("No limit is set.")
            parts.set_look(self.outcome, "soft")
            return
        several = len(answer.clauses) > 1  # else the one says it
        lines = [f"{answer.outcome.capitalize()}."] if answer.final and several else []
        for result in answer.clauses:
            lines.append(f"{result.outcome.capitalize()}: {result.reason}" if answer.final else "…")
            if result.decides and answer.final:
                lines.append(number_text.grouped(result.decides))
        self.outcome.setText("\n".join(lines))
        looks = {"passes": "done", "fails": "error"}
        parts.set_look(self.outcome, looks.get(answer.outcome, "soft") if answer.final else "soft")

    def _ramp_edited(self, kind: Kind) -> None:
        none_um, all_um = (box.value() for box in self.ramps[kind])
        ramp = self._profile[kind]
        if (none_um, all_um) != (ramp.none_um, ramp.all_um):
            self._try(lambda: self.profile_edited.emit(self._profile.with_ramp(kind, none_um, all_um)))

    def _shares_edited(self) -> None:
        from dataclasses import replace

        low, high = self.not_felt.value() / 100, self.felt.value() / 100
        before = self._profile
        if abs(low - before.not_felt_share) + abs(high - before.felt_share) > 1e-9:
            note = "set by hand"
            self._try(
                lambda: self.profile_edited.emit(
                    replace(before, not_felt_share=low, felt_share=high, note=note)
                )
            )

    def _specification_edited(self) -> None:
        clauses = []
        if self.x90.value() > 0:
            clauses.append(Clause("volume.x90_um", self.x90.value()))
        if self.coarse.value() > 0:
            clauses.append(Clause(PIECES_ABOVE, 1.0, self.coarse.value()))
        self.specification_edited.emit(Specification("our specification", tuple(clauses)))

    def _models_edited(self) -> None:
        if self.flake.value() != self._models[Kind.SKIN].thickness_um:
            self.models_edited.emit(self._models.with_model(Kind.SKIN, "flake", self.flake.value()))

    def _try(self, change: Callable[[], None]) -> None:
        try:
            change()
        except InvalidInput as error:
            self._tell(error.text)
            self.show_profile(self._profile)


def _spin(low: float, high: float, unit: str, decimals: int, *, none: str = "") -> NumberBox:
    made = NumberBox()
    made.setRange(low, high)
    made.setDecimals(decimals)
    made.setSuffix(unit)
    made.setKeyboardTracking(False)
    if none:
        made.setSpecialValueText(none)
    return made


def _set(box: NumberBox, value: float) -> None:
    box.blockSignals(True)
    box.setValue(value)
    box.blockSignals(False)


def _line(grid: QGridLayout, row: int, words: str, box: NumberBox, tip: str) -> None:
    name: QLabel = parts.label(words)
    name.setBuddy(box)
    box.setAccessibleName(words)
    box.setToolTip(tip)
    grid.addWidget(name, row, 0)
    grid.addWidget(box, row, 1)
