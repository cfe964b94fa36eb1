"""The panel of the report: title, sections, batches, and the tables to hand over beside it."""

from collections.abc import Sequence

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QAction
from PySide6.QtWidgets import QCheckBox, QGridLayout, QLineEdit, QListWidget, QListWidgetItem, QWidget

from app import parts, theme
from measure.output.export import FORMATS
from measure.output.report import SECTIONS

_NAME = Qt.ItemDataRole.UserRole
_SHORT = {
    "csv": "CSV", "xlsx": "XLSX", "parquet": "Parquet", "json": "Figures, JSON", "coco": "Outlines, COCO",
    "geojson": "Outlines, GeoJSON", "labels": "Label images", "svg": "Charts, SVG", "png": "Charts, PNG",
}  # fmt: skip


class ChoicePanel(QWidget):
    """What the report holds.

    Signals
    -------
    changed()
        Another report is wanted.
    """

    changed = Signal()

    def __init__(self, save: QAction, tables: QAction, everything: QAction) -> None:
        super().__init__()
        self.title = QLineEdit()
        self.title.setPlaceholderText("Title; the recipe when empty")
        self.title.setAccessibleName("Title of the report")
        self.title.editingFinished.connect(self._title_left)
        self._title_before = ""
        self.sections, self.batches = self._list("Sections"), self._list("Batches")
        for name, (words, tip) in SECTIONS.items():
            self._add(self.sections, name, words, tip)
        self.formats = {name: QCheckBox(_SHORT[name]) for name in FORMATS}
        for name, box in self.formats.items():
            box.setToolTip(FORMATS[name][0].upper() + FORMATS[name][1:])
            box.setChecked(name in ("csv", "xlsx"))
        self.comma = QCheckBox("Decimal comma in CSV, with semicolons")
        self._save, self._everything, self._tables = save, everything, tables
        self._lay_out()

    def _lay_out(self) -> None:
        self.saved = parts.label("", "small", wrap=True)
        self.say_saved("")
        save = parts.action_button(self._save, look="primary", text="Save the report…")
        whole = parts.action_button(self._everything, text="All sections")
        write = parts.action_button(self._tables, text="Write to a folder…")
        grid = QGridLayout()
        grid.setHorizontalSpacing(theme.SMALL)
        grid.setVerticalSpacing(theme.TIGHT)
        for place, box in enumerate(self.formats.values()):
            grid.addWidget(box, place // 2, place % 2)
        self.setLayout(
            parts.column(
                parts.card(self.title, parts.row(save, None), self.saved, heading="Report"),
                parts.card(self.batches, heading="Batches"),
                parts.card(self.sections, parts.row(whole, None), heading="Sections"),
                parts.card(grid, self.comma, parts.row(write, None), heading="Tables and files"),
                None,
            )
        )

    def _list(self, name: str) -> QListWidget:
        made = QListWidget()
        made.setAccessibleName(f"{name} of the report")
        made.setToolTip("Untick to leave out (Space)")
        made.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        made.itemChanged.connect(lambda _item: self.changed.emit())
        return made

    def _add(self, to: QListWidget, name: str, words: str, tip: str, on: bool = True) -> None:
        item = QListWidgetItem(words)
        item.setData(_NAME, name)
        item.setToolTip(tip)
        item.setCheckState(Qt.CheckState.Checked if on else Qt.CheckState.Unchecked)
        to.blockSignals(True)
        to.addItem(item)
        to.blockSignals(False)
        row = max(to.sizeHintForRow(0), 18)
        to.setFixedHeight(row * to.count() + 10)

    def _title_left(self) -> None:
        if self.title.text() != self._title_before:
            self._title_before = self.title.text()
            self.changed.emit()

    def say_saved(self, words: str) -> None:
        """Say where the report was saved, or nothing."""
        self.saved.setText(words)
        self.saved.setVisible(bool(words))

    def list_batches(self, names: Sequence[str]) -> None:
        """Show the batches there are, those unticked before left so."""
        off = set(self._unticked(self.batches))
        self.batches.blockSignals(True)
        self.batches.clear()
        for name in names:
            self._add(self.batches, name, name, name, on=name not in off)
        self.batches.blockSignals(False)

    def chosen_sections(self) -> tuple[str, ...]:
        """Return the names of the sections wanted."""
        return self._ticked(self.sections)

    def chosen_batches(self) -> tuple[str, ...]:
        """Return the names of the batches wanted, empty for all."""
        ticked = self._ticked(self.batches)
        return () if len(ticked) == self.batches.count() else ticked

    @property
    def nothing_chosen(self) -> bool:
        """Whether no section, or no batch of several, is ticked."""
        none_of_batches = self.batches.count() > 0 and not self._ticked(self.batches)
        return not self.chosen_sections() or none_of_batches

    def chosen_formats(self) -> tuple[str, ...]:
        """Return the formats to write."""
        return tuple(name for name, box in self.formats.items() if box.isChecked())

    def tick_all(self) -> None:
        """Tick every section."""
        self.sections.blockSignals(True)
        for i in range(self.sections.count()):
            self.sections.item(i).setCheckState(Qt.CheckState.Checked)
        self.sections.blockSignals(False)
        self.changed.emit()

    def view_state(self) -> dict:
        """Return the choices, to be kept with the study."""
        return {
            "title": self.title.text(), "without": self._unticked(self.sections),
            "batches_without": self._unticked(self.batches), "formats": list(self.chosen_formats()),
            "comma": self.comma.isChecked(),
        }  # fmt: skip

    def restore(self, kept: dict) -> None:
        """Take up choices kept before."""
        self._title_before = str(kept.get("title", ""))
        self.title.setText(self._title_before)
        for box, key in ((self.sections, "without"), (self.batches, "batches_without")):
            off = kept.get(key) or []
            box.blockSignals(True)
            for i in range(box.count()):
                on = box.item(i).data(_NAME) not in off
                box.item(i).setCheckState(Qt.CheckState.Checked if on else Qt.CheckState.Unchecked)
            box.blockSignals(False)
        wanted = kept.get("formats", ["csv", "xlsx"])
        for name, tick in self.formats.items():
            tick.setChecked(name in wanted)
        self.comma.setChecked(bool(kept.get("comma")))

    @staticmethod
    def _ticked(box: QListWidget) -> tuple[str, ...]:
        items = (box.item(i) for i in range(box.count()))
        return tuple(i.data(_NAME) for i in items if i.checkState() == Qt.CheckState.Checked)

    @staticmethod
    def _unticked(box: QListWidget) -> list[str]:
        items = (box.item(i) for i in range(box.count()))
        return [i.data(_NAME) for i in items if i.checkState() != Qt.CheckState.Checked]
