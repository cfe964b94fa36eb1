"""The scales of the study: which there are, which are used, their names."""

import dataclasses

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtGui import QAction
from PySide6.QtWidgets import QFrame, QLabel, QLineEdit, QListWidget, QListWidgetItem, QVBoxLayout

from app import number_text, parts, scale_words, theme
from app.session import Session
from app.stations.scale_form import entry, number_typed
from measure.errors import InvalidInput
from measure.output.objectives import keep_objective, objectives
from measure.scale import fit_from_plain
from measure.study.records import ScaleRow
from measure.study.study import Study

_MOST_SHOWN = 4


class ScaleList(QFrame):
    """Lists the scales; names, gives and removes the chosen one.

    Signals
    -------
    chosen(int)
        Id of the scale the user chose.
    """

    chosen = Signal(int)

    def __init__(self, session: Session, remove: QAction) -> None:
        super().__init__()
        self._session = session
        self.setProperty("look", "card")
        self.setAccessibleName("Scales of this study")
        self.list = QListWidget()
        self.list.setAccessibleName("Scales of this study")
        self.list.setWordWrap(True)
        self.list.setUniformItemSizes(False)
        self.name: QLineEdit = entry("Name of the zoom", "Rename the chosen scale", "name of the zoom")
        self.na: QLineEdit = entry(
            "NA of the objective",
            "Numerical aperture as printed on the objective, such as 0.25; sizes too small for it are told",
            "not told",
        )
        self.shows = parts.label("", "soft", wrap=True)
        self.give = parts.button("", self._give, tip="Use the chosen scale for fields that have none yet")
        column = QVBoxLayout(self)
        column.setContentsMargins(theme.MEDIUM, theme.SMALL, theme.MEDIUM, theme.SMALL)
        column.setSpacing(theme.SMALL)
        remove_button = parts.action_button(remove, icon="remove", text="Remove")
        parts.fill(
            column,
            (
                parts.label("Scales of this study", "heading"),
                self.list,
                parts.row(parts.label("Zoom"), self.name, remove_button),
                parts.row(_named("NA of the objective", self.na), self.na),
                self.shows,
                self.give,
            ),
        )
        self.list.currentItemChanged.connect(self._current)
        self.list.itemClicked.connect(lambda item: self.chosen.emit(item.data(Qt.ItemDataRole.UserRole)))
        self.list.itemActivated.connect(lambda item: self.chosen.emit(item.data(Qt.ItemDataRole.UserRole)))
        self.name.editingFinished.connect(self._rename)
        self.na.editingFinished.connect(self._keep_na)

    def chosen_id(self) -> int | None:
        """Return the id of the scale chosen."""
        item = self.list.currentItem()
        return None if item is None else item.data(Qt.ItemDataRole.UserRole)

    def chosen_row(self) -> ScaleRow | None:
        """Return the scale chosen."""
        study, wanted = self._session.study, self.chosen_id()
        if study is None or wanted is None:
            return None
        return next((row for row in study.scales() if row.id == wanted), None)

    def choose(self, scale_id: int) -> None:
        """Choose a scale."""
        for k in range(self.list.count()):
            if self.list.item(k).data(Qt.ItemDataRole.UserRole) == scale_id:
                self.list.setCurrentRow(k)

    def reload(self) -> None:
        """Read the scales anew; the choice stays where it can."""
        study, before = self._session.study, self.chosen_id()
        rows = study.scales() if study is not None else []
        self.setVisible(bool(rows))
        used = _used(study)
        self.list.blockSignals(True)
        self.list.clear()
        for row in rows:
            item = QListWidgetItem(row_words(row, used.get(row.id, 0)))
            item.setData(Qt.ItemDataRole.UserRole, row.id)
            item.setToolTip("\n".join(row.scale.notes) or "Click to see its lines")
            self.list.addItem(item)
        if rows:
            ids = [row.id for row in rows]
            self.list.setCurrentRow(ids.index(before) if before in ids else len(ids) - 1)
        self.list.blockSignals(False)
        self._fit_height()
        self._show_chosen()

    def _fit_height(self) -> None:
        line = self.list.fontMetrics().lineSpacing()
        shown = min(max(self.list.count(), 1), _MOST_SHOWN)
        self.list.setFixedHeight(shown * (4 * line + 14) + 6)
        for k in range(self.list.count()):
            self.list.item(k).setSizeHint(QSize(0, 4 * line + 12))

    def _current(self) -> None:
        self._show_chosen()
        if self.chosen_id() is not None:
            self.chosen.emit(self.chosen_id())

    def _show_chosen(self) -> None:
        row, study = self.chosen_row(), self._session.study
        self.name.setText(row.scale.zoom if row is not None else "")
        for box in (self.name, self.na):
            box.setEnabled(row is not None and self._session.writable)
        na = objectives(study).get(row.id) if row is not None and study is not None else None
        self.na.setText("" if na is None else f"{na:g}")
        self._say_shows("" if na is None else scale_words.objective_text(na))
        waiting = (
            [] if study is None else [f for f in study.fields() if f.role == "field" and f.scale_id is None]
        )
        self.give.setVisible(bool(waiting) and row is not None)
        self.give.setEnabled(self._session.writable)
        words = number_text.count(len(waiting), "field")
        self.give.setText(f"Use it for the {words} without a scale")

    def _rename(self) -> None:
        row = self.chosen_row()
        name = self.name.text().strip()
        if row is not None and name != row.scale.zoom:
            scale = dataclasses.replace(row.scale, zoom=name)
            self._session.do(self._session.open_study.update_scale, row.id, scale)

    def _keep_na(self) -> None:
        row, study = self.chosen_row(), self._session.study
        if row is None or study is None:
            return
        try:
            na = number_typed(self.na, "NA of the objective")
            words = "" if na is None else scale_words.objective_text(na)
        except InvalidInput as error:
            self._say_shows(error.text, "warning")
            return
        self._say_shows(words)
        if na != objectives(study).get(row.id):
            self._session.do(keep_objective, study, row.id, na)

    def _say_shows(self, text: str, look: str = "soft") -> None:
        parts.set_look(self.shows, look)
        self.shows.setText(text)
        self.shows.setVisible(bool(text))

    def _give(self) -> None:
        row, study = self.chosen_row(), self._session.study
        if row is None or study is None:
            return
        ids = [f.id for f in study.fields() if f.role == "field" and f.scale_id is None]
        if ids:
            self._session.do(study.update_fields, ids, scale_id=row.id)


def _named(text: str, box: QLineEdit) -> QLabel:
    made = parts.label(text)
    made.setBuddy(box)
    return made


def row_words(row: ScaleRow, used: int) -> str:
    """Return a scale of the list in four short lines."""
    scale = row.scale
    name = scale.zoom or "no zoom name"
    fit = fit_from_plain(row.fit, scale) if row.fit else None
    expanded = fit.expanded_um_per_px if fit is not None else 2 * scale.standard_uncertainty_um_per_px
    value = number_text.with_uncertainty(scale.um_per_px, expanded, scale_words.UNIT)
    use = f"used by {number_text.count(used, 'field')}" if used else "not used yet"
    date = scale.made[:10]
    return f"{name}\n{value}\n{scale_words.size_text(scale)} · {use}\n{date}"


def _used(study: Study | None) -> dict[int, int]:
    found: dict[int, int] = {}
    for row in study.fields() if study is not None else []:
        if row.scale_id is not None and row.role == "field":
            found[row.scale_id] = found.get(row.scale_id, 0) + 1
    return found
