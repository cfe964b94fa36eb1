"""What is known of the chosen fields: batch, scale, blank oil, what the file claims, and quality."""

from collections.abc import Sequence

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QComboBox, QFormLayout, QFrame, QGridLayout, QVBoxLayout, QWidget

from app import number_text, parts, theme
from app.flow import flow
from app.help_words import narrow
from app.messages import DONE
from app.session import Session
from app.stations import fields_words
from app.stations.fields_blank_check import BlankCheck
from measure.output.objectives import objectives
from measure.study.records import TABLE_METHOD, FieldRow, ScaleRow
from measure.study.study import Study

_MIXED = "several"


class FieldDetails(QFrame):
    """Shows and changes what the chosen fields have in common."""

    def __init__(self, session: Session, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setProperty("look", "card")
        self._session = session
        self._ids: list[int] = []
        self._smears: list[int] = []  # of these, the fields of smears
        self.heading = parts.label("Field", "heading", wrap=True)
        self.heading.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.batch, self.slide, self.scale, self.blank, self.role = (QComboBox() for _ in range(5))
        self.remarks = parts.label("", "warning", wrap=True)
        self.blank_doubt = parts.label("", "warning", wrap=True)
        self._blank_check = BlankCheck(session, self.blank_doubt)
        self.embedded, self.story = parts.label("", "soft", wrap=True), parts.label("", "soft", wrap=True)
        self.figures = QWidget()
        self._grid = QGridLayout(self.figures)
        self._lay_out()
        self.batch.activated.connect(lambda: self._change("batch_id", self.batch))
        self.slide.activated.connect(lambda: self._change("slide_id", self.slide))
        self.scale.activated.connect(lambda: self._change("scale_id", self.scale))
        self.blank.activated.connect(lambda: self._change("blank_id", self.blank))
        self.role.activated.connect(lambda: self._change("role", self.role))

    def _lay_out(self) -> None:
        column = QVBoxLayout(self)
        column.setContentsMargins(theme.MEDIUM, theme.SMALL, theme.MEDIUM, theme.SMALL)
        column.setSpacing(theme.SMALL)
        form = parts.form(
            ("Batch", self.batch, "Which grind this smear is of"),
            ("Slide", self.slide, "Which smear of the batch"),
            ("Scale", self.scale, "Micrometres per pixel of the zoom it was taken at"),
            ("Blank oil", self.blank, "A picture of the oil alone, to take uneven light out"),
            ("Shows", self.role, "What the picture is of"),
        )
        for box in (self.batch, self.slide, self.scale, self.blank, self.role):
            box.setMinimumContentsLength(10)
            box.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self._form: QFormLayout = form
        self._column = column
        self._grid.setContentsMargins(0, 0, 0, 0)
        self._grid.setHorizontalSpacing(theme.MEDIUM)
        self._grid.setVerticalSpacing(2)
        self._grid.setColumnStretch(1, 1)
        self._grid.setColumnStretch(3, 1)
        parts.fill(
            column,
            (self.heading, form, self.blank_doubt, self.remarks, self.story, self.embedded, self.figures),
        )

    def lay_out_buttons(self, *buttons: QWidget) -> None:
        """Put the buttons of the station's actions into the card."""
        self.buttons = QWidget()
        line = flow(*buttons)
        self.buttons.setLayout(line)
        self._column.addWidget(self.buttons)

    def show_fields(self, rows: list[FieldRow]) -> None:
        """Show the chosen fields."""
        self._ids = [row.id for row in rows]
        study = self._session.study
        if not rows or study is None:
            return
        one = rows[0] if len(rows) == 1 else None
        name = one.name if one else number_text.count(len(rows), "picture")
        size = ""
        if one is not None and (one.role != "table" or one.width_px * one.height_px > 1):
            size = number_text.picture_size(one.width_px, one.height_px)
        self.heading.setText(f"{name}  ·  {size}" if size else name)
        self._fill_boxes(study, rows)
        scale = self._session.scale_of(one)
        remarks = fields_words.remarks_of(one, scale) if one else []
        if one is not None and one.role == "table":
            remarks = [*one.result_notes]
        elif one is not None and one.scale_id is not None:
            limit = fields_words.fine_limit(one, scale, objectives(study).get(one.scale_id))
            remarks += [limit] if limit else []
        self.remarks.setText("\n".join(remarks))
        self.remarks.setVisible(bool(remarks))
        story = one.note.split(". SHA")[0] if one is not None else ""
        self.story.setText(f"{story}." if story else "")
        self.story.setVisible(bool(story))
        self.buttons.setVisible(any(row.role == "field" for row in rows))
        self._blank_check.show(rows)
        self.show_embedded(one)
        self._show_figures(one)

    def show_embedded(self, row: FieldRow | None) -> None:
        """Compare what the file in view says of itself with the scale."""
        picture = self._session.picture() if row and row.id == self._session.current_field_id else None
        if picture is None:
            self.embedded.hide()
            return
        scale = self._session.scale_of(row)
        words, differs = fields_words.embedded_words(
            picture.embedded_um_per_px, picture.embedded_source, scale
        )
        said = [f"{note[:1].upper()}{note[1:]}." for note in picture.notes]
        text = " ".join((*said, words)).strip()
        self.embedded.setText(text)
        parts.set_look(self.embedded, "warning" if differs else "soft")
        self.embedded.setVisible(bool(text))

    def _fill_boxes(self, study: Study, rows: list[FieldRow]) -> None:
        batches = [("none yet", None), *((row.batch.name, row.id) for row in study.batches())]
        calibrated = [row for row in study.scales() if row.scale.method != TABLE_METHOD]
        scales = [("none yet", None), *((_scale_words(row), row.id) for row in calibrated)]
        blanks = [(row.name, row.id) for row in study.fields() if row.role == "blank"]
        tables = any(row.role == "table" for row in rows)
        hidden = {"ruling"} if tables else {"ruling", "table"}
        roles = [(words, role) for role, words in fields_words.ROLE_WORDS.items() if role not in hidden]
        _fill(self.batch, batches, {row.batch_id for row in rows})
        homes = {row.batch_id for row in rows}
        slides = [(row.slide.name, row.id) for row in study.slides() if {row.slide.batch_id} == homes]
        _fill(self.slide, [("not told", None), *slides], {row.slide_id for row in rows})
        _fill(self.scale, scales, {row.scale_id for row in rows})
        smeared = {row.id: row.blank_id for row in rows if row.role == "field"}
        self._smears = list(smeared)
        _fill(self.blank, [("none", None), *blanks], set(smeared.values()))
        _fill(self.role, roles, {row.role for row in rows})
        smears = all(row.role == "field" for row in rows)
        self._form.setRowVisible(self.blank, bool(blanks) and bool(smeared))
        self._form.setRowVisible(self.scale, smears)
        self._form.setRowVisible(self.slide, bool(slides) and smears)
        for box in (self.batch, self.slide, self.scale, self.blank, self.role):
            box.setEnabled(self._session.writable and (box is self.batch or not tables))

    def _show_figures(self, row: FieldRow | None) -> None:
        while self._grid.count():
            item = self._grid.takeAt(0)
            old = item.widget() if item is not None else None
            if old is not None:
                old.hide()  # it goes at the next turn of the event loop, and must not be seen until then
                old.deleteLater()
        quality = row.quality if row is not None and row.measured else None
        self.figures.setVisible(quality is not None)
        if quality is None:
            return
        for place, (name, value, tip) in enumerate(fields_words.quality_rows(quality)):
            line, side = divmod(place, 2)
            words, figure = parts.label(name, "soft"), parts.label(value)
            for label in (words, figure):
                label.setToolTip(narrow(tip))
            figure.setAccessibleName(f"{name} {value}")
            self._grid.addWidget(words, line, 2 * side)
            self._grid.addWidget(figure, line, 2 * side + 1)

    def _change(self, what: str, box: QComboBox) -> None:
        value = box.currentData()
        ids = self._smears if what == "blank_id" else self._ids
        if value == _MIXED or not ids:
            return
        done = self._session.do(self._session.open_study.update_fields, ids, **{what: value})
        if done is not None and value == "blank" and len(ids) == 1:
            self._offer_blank(ids[0])

    def _offer_blank(self, blank_id: int) -> None:
        """Offer a picture of blank oil to the fields of its size that have none."""
        study = self._session.open_study
        blank = study.field(blank_id)
        size = (blank.width_px, blank.height_px)
        rows = [row for row in study.fields() if row.role == "field" and row.blank_id is None]
        wanting = [row.id for row in rows if (row.width_px, row.height_px) == size]
        if not wanting:
            return
        words = f"{blank.name} shows blank oil. Taken off a field, it takes uneven light out."
        button = f"Use it for {number_text.count(len(wanting), 'field')}"

        def use() -> None:
            fields = number_text.count(len(wanting), "field")
            text = f"Use {blank.name} as blank oil of {fields}"
            if self._session.do(study.update_fields, wanting, text=text, blank_id=blank_id) is not None:
                self._session.tell(f"It is the blank oil of {fields} from the next measuring on.", DONE)

        self._session.offered.emit(words, button, use)


def _fill(box: QComboBox, choices: Sequence[tuple[str, object]], values: set) -> None:
    box.blockSignals(True)
    box.clear()
    for words, value in choices:
        box.addItem(words, value)
    if len(values) > 1:
        box.addItem(_MIXED, _MIXED)
        box.setCurrentIndex(box.count() - 1)
    else:
        value = next(iter(values), None)
        place = next((i for i, (_, known) in enumerate(choices) if known == value), 0)
        box.setCurrentIndex(place)
    box.blockSignals(False)


def _scale_words(row: ScaleRow) -> str:
    scale = row.scale
    value = number_text.quantity(scale.um_per_px, "µm/px", 4)
    return f"{scale.zoom}, {value}" if scale.zoom else value
